package main

import (
	"sync"
	"time"

	"shimwright/bot/channel"
)

// When a channel counts as down: after so many failures in a row, whatever the
// message. Then one message at a time is tried, at growing intervals.
const (
	openAfter = 5
	firstOpen = 2 * time.Second
	lastOpen  = 5 * time.Minute
)

// route is a channel with its slots and its circuit.
type route struct {
	channel channel.Channel
	limits  channel.Limits
	slots   chan struct{} // holds one for each attempt under way

	mu       sync.Mutex
	inside   int       // messages that have, or wait for, a slot
	failures int       // in a row, while the circuit is closed
	opened   int       // times in a row that it opened; 0: it is closed
	until    time.Time // no attempt before it: a pause asked for, or the circuit
	waits    map[string]chan channel.Receipt
	silent   int // messages in a row whose report never came
}

func newRoute(c channel.Channel) *route {
	return &route{channel: c, limits: c.Limits(), slots: make(chan struct{}, slotsEach),
		waits: map[string]chan channel.Receipt{}}
}

// admit lets a message in to wait for a slot. When there is no room it says
// from when on another try makes sense.
func (r *route) admit(now time.Time) (ok bool, ready time.Time) {
	r.mu.Lock()
	defer r.mu.Unlock()
	switch {
	case now.Before(r.until):
		return false, r.until
	case r.inside >= slotsEach+queueEach, r.opened > 0 && r.inside > 0: // an open circuit has one probe at a time
		return false, now
	}
	r.inside++
	return true, now
}

// enter waits for a slot. When none comes free in time, or the channel asked
// for a pause meanwhile, the message leaves again. period goes back to done.
func (r *route) enter(now func() time.Time) (period int, ok bool, ready time.Time) {
	select {
	case r.slots <- struct{}{}:
		r.mu.Lock()
		defer r.mu.Unlock()
		if now().Before(r.until) {
			<-r.slots
			r.inside--
			return 0, false, r.until
		}
		return r.opened, true, now()
	case <-time.After(queueTime):
		r.mu.Lock()
		defer r.mu.Unlock()
		r.inside--
		return 0, false, now()
	}
}

// done gives the slot back and learns from how the attempt ended. Attempts
// that began before the circuit opened and fail after it say nothing new.
func (r *route) done(period int, now time.Time, err error, random func() float64) {
	e := asSendError(err)
	r.mu.Lock()
	defer r.mu.Unlock()
	r.inside--
	<-r.slots
	if e == errExpired || e == errSilenced { // it was not asked
		return
	}
	if e == nil || !e.Temporary { // the network is there, whatever it said
		r.failures, r.opened = 0, 0
		return
	}
	r.pause(now.Add(e.After))
	if period != r.opened {
		return
	}
	if r.failures++; r.failures < openAfter && r.opened == 0 {
		return
	}
	open := lastOpen
	if r.opened < 16 {
		open = min(lastOpen, firstOpen<<r.opened)
	}
	r.opened++
	r.pause(now.Add(open/2 + time.Duration(random()*float64(open/2))))
}

// roomy reports whether nothing waits for a slot, so that a whole batch has
// room: one claimed earlier would in part go back to the outbox untried, and
// each time that counts.
func (r *route) roomy() bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.inside < slotsEach
}

// pause keeps attempts away until t.
func (r *route) pause(t time.Time) {
	if t.After(r.until) {
		r.until = t
	}
}

// down reports whether the circuit is open.
func (r *route) down() bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.opened > 0
}
