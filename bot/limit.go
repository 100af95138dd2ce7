package main

import (
	"sync"
	"time"

	"golang.org/x/time/rate"
)

// limiter bounds how often one sender may write. It forgets a sender whose
// allowance is full again, so that it holds no more than are writing now.
type limiter struct {
	rate  rate.Limit
	burst int

	mu    sync.Mutex
	m     map[string]*rate.Limiter
	sweep time.Time // when to look for senders to forget
}

// sweepEvery is how often idle senders are forgotten.
const sweepEvery = time.Minute

func newLimiter(perSecond float64, burst int) *limiter {
	return &limiter{rate: rate.Limit(perSecond), burst: burst, m: map[string]*rate.Limiter{}}
}

// take counts one message of a sender. When there were too many it returns how
// long the sender has to wait.
func (l *limiter) take(sender string, now time.Time) (wait time.Duration) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if now.After(l.sweep) {
		for k, b := range l.m {
			if b.TokensAt(now) >= float64(l.burst) {
				delete(l.m, k)
			}
		}
		l.sweep = now.Add(sweepEvery)
	}
	b := l.m[sender]
	if b == nil {
		b = rate.NewLimiter(l.rate, l.burst)
		l.m[sender] = b
	}
	if b.AllowN(now, 1) {
		return 0
	}
	missing := 1 - b.TokensAt(now)
	return time.Duration(missing / float64(l.rate) * float64(time.Second))
}
