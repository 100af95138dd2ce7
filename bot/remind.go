package main

import (
	"context"
	"fmt"
	"log/slog"
	"runtime/debug"
	"sync"
	"time"

	"shimwright/store"
)

// How due reminders are looked for.
const (
	dueEvery   = 10 * time.Second
	dueBatch   = 256
	dueAtOnce  = 32
	dueTime    = 15 * time.Second // for handling one
	dueRetry   = 30 * time.Second // after the first failure of one; doubled each time
	dueLast    = time.Hour
	dueForgets = 4096 // failures remembered; beyond that all start afresh
)

// dueList is what reminders need of the store.
type dueList interface {
	Due(ctx context.Context, now time.Time, max int) ([]store.DueReminder, error)
}

// reminders hands what has fallen due to the dialog, by the same way as a
// message: load, step, commit. Every replica looks and nothing is claimed: the
// commit that names the reminder as fired takes effect once, whoever is first.
// What follows from it (a text, or nothing because the person has said STOP)
// is in that commit's outbox.
type reminders struct {
	store  dueList
	fire   func(context.Context, store.DueReminder) error // nil also when another replica was first
	now    func() time.Time
	random func() float64
	log    *slog.Logger
	failed map[reminderKey]failure
}

type reminderKey struct{ shop, id string }

type failure struct {
	times int
	until time.Time
}

// newReminders returns reminders that are handled by fire.
func newReminders(s dueList, fire func(context.Context, store.DueReminder) error, now func() time.Time, random func() float64, log *slog.Logger) *reminders {
	return &reminders{store: s, fire: fire, now: now, random: random,
		log: log, failed: map[reminderKey]failure{}}
}

// run looks for due reminders until ctx ends. The pause is spread a little, so
// that replicas do not all look at once.
func (r *reminders) run(ctx context.Context) {
	for {
		n, err := r.once(ctx)
		if err != nil && ctx.Err() == nil {
			r.log.Error("due reminders could not be looked for", "error", err)
		}
		pause := dueEvery/2 + time.Duration(r.random()*float64(dueEvery))
		if n >= dueBatch {
			pause = 0 // a backlog, say after a long stop
		}
		select {
		case <-ctx.Done():
			return
		case <-time.After(pause):
		}
	}
}

// once handles what is due now and returns how many it handled. One that fails
// holds up no other, and is tried again after a growing pause.
func (r *reminders) once(ctx context.Context) (int, error) {
	now := r.now()
	list, err := r.store.Due(ctx, now, dueBatch+len(r.failed))
	if err != nil {
		return 0, err
	}
	list = r.ready(list, now)
	errs := make([]error, len(list))
	slots := make(chan struct{}, dueAtOnce)
	var wg sync.WaitGroup
	for i, d := range list {
		slots <- struct{}{}
		wg.Go(func() {
			defer func() { <-slots }()
			if ctx.Err() != nil {
				errs[i] = ctx.Err()
				return
			}
			errs[i] = r.one(ctx, d)
		})
	}
	wg.Wait()
	done := 0
	for i, err := range errs {
		if err == nil {
			delete(r.failed, keyOf(list[i]))
			done++
		} else if ctx.Err() == nil {
			r.fault(list[i], err, now)
		}
	}
	return done, ctx.Err()
}

// one handles one reminder. A fault of the program in it stops only this one.
func (r *reminders) one(ctx context.Context, d store.DueReminder) (err error) {
	ctx, cancel := context.WithTimeout(ctx, dueTime)
	defer cancel()
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("panic: %v\n%s", p, debug.Stack())
		}
	}()
	return r.fire(ctx, d)
}

// ready leaves out those that failed a short while ago, and forgets failures
// of those that are due no more.
func (r *reminders) ready(list []store.DueReminder, now time.Time) []store.DueReminder {
	keep := map[reminderKey]failure{}
	ready := list[:0]
	for _, d := range list {
		f, failed := r.failed[keyOf(d)]
		if failed {
			keep[keyOf(d)] = f
		}
		if !failed || !now.Before(f.until) {
			ready = append(ready, d)
		}
	}
	if len(keep) > dueForgets {
		clear(keep)
	}
	r.failed = keep
	return ready
}

// fault notes a failure.
func (r *reminders) fault(d store.DueReminder, err error, now time.Time) {
	f := r.failed[keyOf(d)]
	pause := dueLast
	if f.times < 10 {
		pause = min(dueLast, dueRetry<<f.times)
	}
	f.times++
	f.until = now.Add(pause)
	r.failed[keyOf(d)] = f
	r.log.Error("a reminder could not be handled", "reminder", d.ID, "shop", d.Shop,
		"times", f.times, "again", pause, "error", err)
}

func keyOf(d store.DueReminder) reminderKey { return reminderKey{d.Shop, d.ID} }
