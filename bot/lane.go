package main

import (
	"context"
	"sync"
)

// maxWaiting bounds how many messages of one conversation may wait.
const maxWaiting = 64

// lanes lets one at a time through for each key, in order of arrival. A lane
// exists while somebody is in it, so that idle ones cost nothing.
type lanes struct {
	mu sync.Mutex
	m  map[string]*lane
}

// lane is the queue of one key; whoever is at work is not in waiting.
type lane struct{ waiting []chan struct{} }

func newLanes() *lanes { return &lanes{m: map[string]*lane{}} }

// enter waits for its turn and returns what ends it. It gives up when ctx ends,
// and at once, with errCrowded, when too many wait already.
func (l *lanes) enter(ctx context.Context, key string) (leave func(), err error) {
	l.mu.Lock()
	q, busy := l.m[key]
	if !busy {
		l.m[key] = &lane{}
		l.mu.Unlock()
		return func() { l.leave(key) }, nil
	}
	if len(q.waiting) >= maxWaiting {
		l.mu.Unlock()
		return nil, errCrowded
	}
	turn := make(chan struct{})
	q.waiting = append(q.waiting, turn)
	l.mu.Unlock()
	select {
	case <-turn:
		return func() { l.leave(key) }, nil
	case <-ctx.Done():
		l.abandon(key, turn)
		return nil, context.Cause(ctx)
	}
}

// leave lets the next one in, or closes the lane.
func (l *lanes) leave(key string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	q := l.m[key]
	if len(q.waiting) == 0 {
		delete(l.m, key)
		return
	}
	next := q.waiting[0]
	q.waiting = q.waiting[1:]
	close(next)
}

// abandon takes back a place in the queue; a turn that came meanwhile is
// passed on.
func (l *lanes) abandon(key string, turn chan struct{}) {
	l.mu.Lock()
	q := l.m[key]
	for i, w := range q.waiting {
		if w == turn {
			q.waiting = append(q.waiting[:i:i], q.waiting[i+1:]...)
			l.mu.Unlock()
			return
		}
	}
	l.mu.Unlock()
	l.leave(key)
}

// busy reports whether somebody is in a lane.
func (l *lanes) busy(key string) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.m[key] != nil
}

// len is the number of lanes in use.
func (l *lanes) len() int {
	l.mu.Lock()
	defer l.mu.Unlock()
	return len(l.m)
}
