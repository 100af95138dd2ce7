package main

import (
	"context"
	"log/slog"
	"sync/atomic"
	"time"
)

// sharedClock is the time that all replicas go by: leases, reminders, and how
// long an acknowledgement counts would otherwise mean something else on a
// machine whose clock is off. It is this machine's clock, put right by that of
// the store where the two differ by more than maxSkew; so where the clocks are
// kept, and with the embedded store, it is this machine's.
type sharedClock struct {
	own func() time.Time
	off atomic.Int64 // milliseconds to add
}

// timekeeper is a store with a clock that every replica sees.
type timekeeper interface {
	Clock(ctx context.Context) (time.Time, error)
}

// Between looks at the store's clock, and how long one may take.
const (
	clockEvery = 30 * time.Second
	clockTime  = 2 * time.Second
)

func (c *sharedClock) now() time.Time { return c.own().Add(c.ahead()) }

// ahead is how far it is ahead of this machine's.
func (c *sharedClock) ahead() time.Duration { return time.Duration(c.off.Load()) * time.Millisecond }

// look compares the clocks and reports whether the time was put right.
func (c *sharedClock) look(ctx context.Context, k timekeeper) (bool, error) {
	ctx, cancel := context.WithTimeout(ctx, clockTime)
	defer cancel()
	before := c.own()
	at, err := k.Clock(ctx)
	if err != nil {
		return false, err
	}
	// The answer took some time, there and back.
	skew := at.Sub(before.Add(c.own().Sub(before) / 2))
	if (skew - c.ahead()).Abs() <= maxSkew {
		return false, nil
	}
	c.off.Store(skew.Milliseconds())
	return true, nil
}

// follow looks once, and then goes on looking, in what begin starts, until ctx
// ends.
func (c *sharedClock) follow(ctx context.Context, k timekeeper, log *slog.Logger, begin func(func())) {
	look := func() {
		changed, err := c.look(ctx, k)
		switch {
		case err != nil && ctx.Err() == nil:
			log.Warn("the clock of the store cannot be seen", "error", err)
		case changed:
			log.Warn("the clocks of this machine and of the store differ; that of the store counts", "ahead", c.ahead().String())
		}
	}
	look()
	begin(func() {
		for {
			select {
			case <-ctx.Done():
				return
			case <-time.After(clockEvery):
				look()
			}
		}
	})
}
