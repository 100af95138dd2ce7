package store

import (
	"sync/atomic"
	"time"
)

// Told is the latest time that callers have told an engine. It stands in for
// a clock when something without a time of its own (Load, Get, Transcript) must
// know what has expired. It belongs to one open Store and is not stored: a
// replica with a wrong clock misleads itself only, and only until it ends.
type Told struct{ ms atomic.Int64 }

// Raise notes now and returns the latest time told.
func (t *Told) Raise(now time.Time) time.Time {
	if now.IsZero() {
		return t.Now()
	}
	for ms := now.UnixMilli(); ; {
		old := t.ms.Load()
		if ms <= old || t.ms.CompareAndSwap(old, ms) {
			return t.Now()
		}
	}
}

// Now returns the latest time told, the zero time when there was none.
func (t *Told) Now() time.Time {
	if ms := t.ms.Load(); ms > 0 {
		return time.UnixMilli(ms).UTC()
	}
	return time.Time{}
}
