// Package guard decides who may be asked to put a hand on a saw, and when.
//
// It rests on the power history of the saw, an append-only list of what was
// offered and acknowledged. Two values can only be got from it: Isolated, from
// a valid acknowledgement that the saw is unplugged, and Guarded, from one that
// it is ready to cut. A hands-on question or an adjustment cannot be built
// without the one, a powered step not without the other.
package guard

import "time"

// Limits of an acknowledgement (practice, no published source).
const (
	Idle = 30 * time.Minute // without a message of the person who gave it
	Life = 2 * time.Hour    // in any case
)

// What happened to the power of a saw.
type EventKind string

// The events. Those after Unplugged void it.
const (
	Unplugged EventKind = "unplugged" // acknowledged: unplugged, or isolated and locked off
	Ready     EventKind = "guarded"   // acknowledged: checked, guard and riving knife in place
	Offered   EventKind = "offered"   // a powered step was offered
	Cut       EventKind = "cut"       // the powered step was answered
	PowerOn   EventKind = "power-on"  // a person said that power is on
	Lapsed    EventKind = "lapsed"    // its time was over, or the person closed the saw up unasked
	Resumed   EventKind = "resumed"   // a job was taken up again
	Handed    EventKind = "handed"    // a job passed to another person
)

// Event is one entry of the power history.
type Event struct {
	Kind         EventKind `json:"kind"`
	Person       string    `json:"person,omitempty"`
	Conversation string    `json:"conversation,omitempty"`
	At           time.Time `json:"at"`
}

// Power is the power history of one saw. Seen is the time of the last message
// of the person who gave the latest acknowledgement: the earlier of sent and
// arrived.
type Power struct {
	Events []Event   `json:"events,omitempty"`
	Seen   time.Time `json:"seen,omitzero"`
}

// kept bounds the history that is stored with a saw.
const kept = 400

// With returns the history with one more event. The receiver is not changed.
func (p Power) With(e Event) Power {
	from := 0
	if len(p.Events) >= kept {
		from = len(p.Events) - kept + 1
	}
	events := make([]Event, 0, len(p.Events)-from+1)
	events = append(append(events, p.Events[from:]...), e)
	p.Events = events
	if e.Kind == Unplugged || e.Kind == Ready {
		p.Seen = e.At
	}
	return p
}

// last returns the latest event when it is of that kind and still in time.
func (p Power) last(kind EventKind, now time.Time) (Event, bool) {
	if len(p.Events) == 0 {
		return Event{}, false
	}
	e := p.Events[len(p.Events)-1]
	if e.Kind != kind || now.Sub(e.At) > Life || now.Sub(p.Seen) > Idle {
		return Event{}, false
	}
	return e, true
}

// Isolated is proof that one person has unplugged one saw, at the time of one
// step. Its zero value proves nothing and is refused.
type Isolated struct {
	person  string
	expires time.Time
}

// Guarded is proof that one person has made one saw ready for one powered step.
type Guarded struct {
	person  string
	expires time.Time
}

// Isolated returns the proof that person has the saw isolated now.
func (p Power) Isolated(person string, now time.Time) (Isolated, bool) {
	e, ok := p.last(Unplugged, now)
	if !ok || person == "" || e.Person != person {
		return Isolated{}, false
	}
	return Isolated{person: person, expires: p.expiry(e)}, true
}

// Guarded returns the proof that person has the saw ready for a cut now. An
// offer of that cut does not use it up; its answer does.
func (p Power) Guarded(person string, now time.Time) (Guarded, bool) {
	e, ok := p.ready(now)
	if !ok || person == "" || e.Person != person {
		return Guarded{}, false
	}
	return Guarded{person: person, expires: p.expiry(e)}, true
}

// Readier returns the person who holds a valid acknowledgement that the saw is ready
// for a cut, or "".
func (p Power) Readier(now time.Time) string {
	if e, ok := p.ready(now); ok {
		return e.Person
	}
	return ""
}

// ready returns the acknowledgement that the saw is ready for a cut, which an offer
// of that cut leaves standing.
func (p Power) ready(now time.Time) (Event, bool) {
	if e, ok := p.last(Ready, now); ok {
		return e, true
	}
	if _, ok := p.last(Offered, now); !ok {
		return Event{}, false
	}
	return p.readyBefore(now)
}

// readyBefore returns the acknowledgement on which the offer that is the last
// event rests.
func (p Power) readyBefore(now time.Time) (Event, bool) {
	n := len(p.Events) - 1
	if n < 1 || p.Events[n-1].Kind != Ready || p.Events[n-1].Person != p.Events[n].Person {
		return Event{}, false
	}
	return p.Events[n-1], now.Sub(p.Events[n-1].At) <= Life
}

// expiry is when a message that rests on e is no longer to be sent: half an hour after
// the person was last heard, however long what they said was under way.
func (p Power) expiry(e Event) time.Time {
	end := e.At.Add(Life)
	if idle := p.Seen.Add(Idle); idle.Before(end) {
		return idle
	}
	return end
}

// Holder returns the person who holds a valid acknowledgement that the saw is
// unplugged, or "".
func (p Power) Holder(now time.Time) string {
	if e, ok := p.last(Unplugged, now); ok {
		return e.Person
	}
	return ""
}

// Opened returns who opened the saw up: the person of the latest
// acknowledgement that it is unplugged, when nobody has acknowledged since that
// guard and riving knife are back in place. "" means that it is whole.
func (p Power) Opened() string {
	for i := len(p.Events) - 1; i >= 0; i-- {
		switch p.Events[i].Kind {
		case Unplugged:
			return p.Events[i].Person
		case Ready:
			return ""
		}
	}
	return ""
}

// Open reports whether somebody has opened the saw up.
func (p Power) Open() bool { return p.Opened() != "" }

// Heard returns the history after a message of person, sent at sent (the
// earlier of sent and arrived) and handled at now. An acknowledgement that
// has run out, by the gap before the message or by the message's own delay, is
// voided for good: a later message does not revive it.
func (p Power) Heard(person, conversation string, sent, now time.Time) Power {
	if len(p.Events) == 0 {
		return p
	}
	e := p.Events[len(p.Events)-1]
	switch e.Kind {
	case Unplugged, Ready, Offered:
	default:
		return p
	}
	ours := e.Person == person
	over := now.Sub(e.At) > Life || now.Sub(p.Seen) > Idle && !ours
	if ours {
		over = over || sent.Sub(p.Seen) > Idle
		if sent.After(p.Seen) {
			p.Seen = sent
		}
		over = over || now.Sub(p.Seen) > Idle
	}
	if over {
		return p.With(Event{Kind: Lapsed, Person: e.Person, Conversation: conversation, At: now})
	}
	return p
}
