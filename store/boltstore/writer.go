package boltstore

import (
	"context"
	"fmt"
	"time"

	"shimwright/store"
)

// job is one change that waits for the writer.
type job struct {
	ctx context.Context
	// fn checks first and writes only when everything is in order: an error
	// that it returns means that it wrote nothing. It may be run again, so it
	// sets its results afresh each time.
	fn   func(*tx) error
	err  error
	done chan error
}

const (
	maxBatch   = 512
	gatherFrom = 4                    // fewer callers than this are not waited for
	gatherWait = 5 * time.Millisecond // for the callers of the last batch to come back

	sweepKeys = 4 // keys of the bucket data looked at for each job
)

// write runs fn in a transaction that it may share with others, and returns
// when that is on the disk. A job whose context ends before its turn comes is
// not run; one whose context ends later may still take effect.
func (s *Store) write(ctx context.Context, fn func(*tx) error) error {
	j := &job{ctx: ctx, fn: fn, done: make(chan error, 1)}
	select {
	case <-s.quit:
		return errClosed
	default:
	}
	select {
	case s.jobs <- j:
	case <-ctx.Done():
		return fmt.Errorf("%w: %w", store.ErrUnavailable, ctx.Err())
	case <-s.quit:
		return errClosed
	}
	select {
	case err := <-j.done:
		return err
	case <-ctx.Done():
		return fmt.Errorf("%w: %w", store.ErrUnavailable, ctx.Err())
	case <-s.ended:
		select {
		case err := <-j.done:
			return err
		default:
			return errClosed
		}
	}
}

// writer runs the jobs, as many at once as are waiting, until Close.
func (s *Store) writer() {
	defer close(s.ended)
	last := 1
	for {
		select {
		case j := <-s.jobs:
			batch := s.gather([]*job{j}, last)
			last = len(batch)
			s.run(batch)
		case <-s.quit:
			return
		}
	}
}

// gather adds to batch the jobs that are waiting. The callers of the last
// batch have just been told its outcome and are likely to come back; it waits
// a moment for as many, or small batches would alternate with large ones. Few
// callers never wait.
func (s *Store) gather(batch []*job, last int) []*job {
	var wait <-chan time.Time
	for len(batch) < maxBatch {
		select {
		case j := <-s.jobs:
			batch = append(batch, j)
			continue
		default:
		}
		if len(batch) >= last || last < gatherFrom {
			break
		}
		if wait == nil {
			timer := time.NewTimer(gatherWait)
			defer timer.Stop()
			wait = timer.C
		}
		select {
		case j := <-s.jobs:
			batch = append(batch, j)
			continue
		case <-wait:
		case <-s.quit:
		}
		break
	}
	return batch
}

// run runs a batch in one transaction and tells the outcomes when that is on
// the disk; also "handled before" may rest on a job of the same batch.
func (s *Store) run(batch []*job) {
	s.file.RLock()
	again := s.transact(batch)
	if again {
		for _, j := range batch {
			s.transact([]*job{j})
		}
	}
	s.file.RUnlock()
	for _, j := range batch {
		j.done <- j.err
	}
}

// transact runs the jobs in one transaction and sets their outcomes. When one
// fails after it began to write, nothing is written; it reports whether the
// jobs should then be tried one by one.
func (s *Store) transact(batch []*job) (again bool) {
	fail := func(err error) {
		for _, j := range batch {
			j.err = err
		}
	}
	if s.db == nil {
		fail(errClosed)
		return false
	}
	btx, err := s.db.Begin(true)
	if err != nil {
		fail(failed("beginning a transaction", err))
		return false
	}
	defer func() { _ = btx.Rollback() }() // no effect after a commit
	t := newTx(btx)
	for _, j := range batch {
		if err := j.ctx.Err(); err != nil {
			j.err = fmt.Errorf("%w: %w", store.ErrUnavailable, err)
			continue
		}
		j.err = j.fn(t)
		if t.err != nil {
			fail(t.err)
			return len(batch) > 1
		}
	}
	if !t.dirty {
		return false
	}
	if now := s.told.Now(); !now.IsZero() {
		t.sweepLog(now)
		s.sweep = t.sweep(s.sweep, sweepKeys*len(batch), now)
	}
	t.flush()
	if t.err != nil {
		fail(t.err)
		return len(batch) > 1
	}
	if err := btx.Commit(); err != nil {
		fail(failed("committing", err))
	}
	return false
}
