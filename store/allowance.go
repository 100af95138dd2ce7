package store

import (
	"sync"
	"time"
)

// Rate is how fast an allowance fills, and how much it holds.
type Rate struct {
	PerSecond float64
	Burst     int
}

// each is the time in which one is filled in.
func (r Rate) each() time.Duration { return time.Duration(float64(time.Second) / r.PerSecond) }

// Allowances are the allowances of an engine that one process has to itself.
// They are counted by the time at which an allowance will be full again: the
// generic cell rate algorithm (ITU-T I.371, annex A), whose one number the
// script for Redis keeps too. They end with the process.
type Allowances struct {
	mu    sync.Mutex
	full  map[string]time.Time
	sweep time.Time // when to look for those that are full
}

// sweepAllowances is how often those that are full again are forgotten.
const sweepAllowances = time.Minute

// Take is Store.Take.
func (a *Allowances) Take(name string, r Rate, want int, now time.Time) (got int, wait time.Duration) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if now.After(a.sweep) {
		for n, full := range a.full {
			if !full.After(now) {
				delete(a.full, n)
			}
		}
		a.sweep = now.Add(sweepAllowances)
	}
	missing := max(a.full[name].Sub(now), 0)
	room := time.Duration(r.Burst)*r.each() - missing
	if got = min(int(room/r.each()), want); got <= 0 {
		return 0, r.each() - room
	}
	if a.full == nil {
		a.full = map[string]time.Time{}
	}
	a.full[name] = now.Add(missing + time.Duration(got)*r.each())
	return got, 0
}
