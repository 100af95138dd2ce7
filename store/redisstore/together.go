package redisstore

import (
	"context"
	"errors"
	"sync"
	"time"

	"github.com/redis/go-redis/v9"

	"shimwright/store"
)

// How calls go together.
const (
	flightMost = 128                   // calls in one round trip
	flightTime = 10 * time.Second      // for one, whatever the client allows
	overtake   = 20 * time.Millisecond // after which another does not wait for the one under way
	flightsMax = 8                     // at once
)

// together sends the calls of many goroutines to one server in one round trip:
// what is called while one is under way waits for it and goes with the next. So
// the busier it is, the less of the work is that of the network, here and in
// Redis, and with nothing under way a call goes at once. A round trip that does
// not come back holds up only what went with it.
type together struct {
	client *redis.Client

	mu      sync.Mutex
	queue   []waiting
	flights int       // under way
	left    time.Time // when the last one went
}

// waiting is a call and what is closed when it has ended.
type waiting struct {
	ctx  context.Context
	cmd  redis.Cmder
	done chan struct{}
}

// do sends cmd and waits for its answer. After its deadline it does not wait, and
// cmd, which may be in use, is not to be looked at. Where ctx is cancelled, what has
// been sent is waited for, so that a claim made while the program stops is not left
// to run out; what has not been is not sent any more.
func (t *together) do(ctx context.Context, cmd redis.Cmder) error {
	if ctx.Err() != nil {
		return ctx.Err()
	}
	w := waiting{ctx, cmd, make(chan struct{})}
	t.mu.Lock()
	t.queue = append(t.queue, w)
	t.mu.Unlock()
	late := time.NewTimer(overtake)
	defer late.Stop()
	t.start()
	for {
		select {
		case <-w.done:
			return cmd.Err()
		case <-late.C:
			t.start()
			late.Reset(overtake)
		case <-ctx.Done():
			if errors.Is(ctx.Err(), context.DeadlineExceeded) {
				return ctx.Err()
			}
			<-w.done
			return cmd.Err()
		}
	}
}

// start sends off what waits, unless it goes with a round trip that is to come
// back soon.
func (t *together) start() {
	t.mu.Lock()
	defer t.mu.Unlock()
	if len(t.queue) > 0 && (t.flights == 0 || t.flights < flightsMax && time.Since(t.left) >= overtake) {
		t.flights++
		t.left = time.Now()
		go t.fly()
	}
}

// fly sends what waits until nothing does.
func (t *together) fly() {
	for {
		list := t.next()
		if len(list) == 0 {
			return
		}
		ctx, cancel := context.WithTimeout(context.Background(), flightTime)
		pipe := t.client.Pipeline()
		for _, w := range list {
			if err := w.ctx.Err(); err != nil {
				w.cmd.SetErr(err)
				continue
			}
			_ = pipe.Process(ctx, w.cmd) // queues it
		}
		_, _ = pipe.Exec(ctx) // each command has its own error
		cancel()
		for _, w := range list {
			close(w.done)
		}
	}
}

// next takes what goes now out of the queue; where that is nothing, the flight
// is over.
func (t *together) next() []waiting {
	t.mu.Lock()
	defer t.mu.Unlock()
	n := min(len(t.queue), flightMost)
	list := t.queue[:n:n]
	if t.queue = t.queue[n:]; len(t.queue) == 0 {
		t.queue = nil
	}
	if n == 0 {
		t.flights--
	}
	t.left = time.Now()
	return list
}

// send sends a command, with others where they all go to one server. In a
// cluster each goes alone: one master that does not answer would hold up the
// calls to the others.
func (s *Store) send(ctx context.Context, cmd redis.Cmder) error {
	if s.together == nil {
		return s.client.Process(ctx, cmd)
	}
	return s.together.do(ctx, cmd)
}

// read is send for a command that changes nothing. One that failed together
// with others, which might not be sent twice, is sent again by itself.
func (s *Store) read(ctx context.Context, cmd redis.Cmder) error {
	err := s.send(ctx, cmd)
	if s.together != nil && ctx.Err() == nil && errors.Is(failed(err), store.ErrUnavailable) {
		err = s.client.Process(ctx, cmd)
	}
	return err
}
