package main

import (
	"context"
	"sync"
	"time"

	"shimwright/store"
)

// limiter bounds how often one sender may write, to all replicas together: the
// allowance lies in the store. So that not every message asks there, a replica
// draws some at a time and spends them here; at most these come on top.
type limiter struct {
	store interface {
		Take(ctx context.Context, name string, r store.Rate, want int, now time.Time) (int, time.Duration, error)
	}
	use  string // tells the allowances of one use from those of another
	rate store.Rate
	draw int

	mu    sync.Mutex
	hand  map[string]drawn
	sweep time.Time // when to look for senders to forget
}

// drawn is what is left of a draw.
type drawn struct {
	left int
	at   time.Time
}

const (
	// draws is in how many parts the burst is drawn.
	draws = 10
	// sweepEvery is how often idle senders are forgotten.
	sweepEvery = time.Minute
)

func newLimiter(s store.Store, use string, perSecond float64, burst int) *limiter {
	return &limiter{store: s, use: use, rate: store.Rate{PerSecond: perSecond, Burst: burst}, draw: max(burst/draws, 1), hand: map[string]drawn{}}
}

// take counts one message of a sender. When there were too many it returns how
// long the sender has to wait.
func (l *limiter) take(ctx context.Context, sender string, now time.Time) (wait time.Duration, err error) {
	if l.inHand(sender, now) {
		return 0, nil
	}
	// Nothing of the sender lies in the store but a hash.
	got, wait, err := l.store.Take(ctx, veiled(l.use, sender), l.rate, l.draw, now)
	if err != nil || got == 0 {
		return wait, storeProblem(err)
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	l.hand[sender] = drawn{l.hand[sender].left + got - 1, now}
	return 0, nil
}

// inHand spends one of what was drawn before.
func (l *limiter) inHand(sender string, now time.Time) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	if now.After(l.sweep) {
		for k, d := range l.hand {
			if now.Sub(d.at) > sweepEvery {
				delete(l.hand, k)
			}
		}
		l.sweep = now.Add(sweepEvery)
	}
	d := l.hand[sender]
	if d.left == 0 {
		return false
	}
	l.hand[sender] = drawn{d.left - 1, now}
	return true
}
