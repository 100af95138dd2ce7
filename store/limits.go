package store

import (
	"errors"
	"fmt"
	"time"
)

// Limits, the same in every engine; a commit that passes one is refused whole
// with an error that wraps ErrFull.
const (
	MaxID        = 512       // bytes of one id, name or address
	MaxDoc       = 512 << 10 // bytes of one document
	MaxAnswer    = 64 << 10  // bytes of one stored answer
	MaxInbound   = 16 << 10  // bytes of one stored inbound text
	MaxRecord    = 64 << 10  // bytes of one record
	MaxOut       = 16 << 10  // bytes of one outgoing message
	MaxQueue     = 1000      // outgoing messages waiting in one conversation
	MaxReminder  = 4 << 10   // bytes of one reminder
	MaxReminders = 1000      // reminders of one shop
	MaxDead      = 1000      // dead letters of one shop; the oldest go
	MaxMoved     = 1000      // entries that move with a conversation
	MaxStats     = 10000     // how far Stats counts what is due

	// KeepIDs is how long handled ids are kept with their answers.
	KeepIDs = 7 * 24 * time.Hour
	// SweepAfter is how long past its expiry something still lies there, so
	// that a replica whose clock runs ahead takes nothing away too early.
	SweepAfter = time.Hour
)

// Full returns an ErrFull that names what passed its limit.
func Full(what string, size, limit int) error {
	return fmt.Errorf("%w: %s has %d, the limit is %d", ErrFull, what, size, limit)
}

// Expired reports whether something with this expiry is over at now.
func Expired(expires, now time.Time) bool {
	return !expires.IsZero() && !now.Before(expires)
}

// Validate reports whether the commit is well formed and keeps the limits.
func (c Commit) Validate() error {
	if err := c.WellFormed(); err != nil {
		return err
	}
	return c.Limits()
}

// WellFormed reports a programmer's mistake: something missing or doubled. An
// engine calls it first.
func (c Commit) WellFormed() error {
	switch {
	case c.Shop == "":
		return errors.New("store: commit without a shop")
	case c.At.IsZero():
		return errors.New("store: commit without a time")
	case c.Conversation == "" && (c.Inbound.ID != "" || c.Fired != "" || c.Silence || len(c.Moved) > 0):
		return errors.New("store: a commit that handles something needs its conversation")
	}
	put := make(map[Version]bool, len(c.Put))
	for _, d := range c.Put {
		name := Version{Kind: d.Kind, ID: d.ID}
		if d.Kind == "" || put[name] {
			return fmt.Errorf("store: document %s %q put twice, or without a kind", d.Kind, d.ID)
		}
		put[name] = true
	}
	for _, o := range c.Outbox {
		if o.ID == "" || o.Conversation == "" || o.Channel == "" {
			return errors.New("store: outgoing message without id, conversation or channel")
		}
	}
	for _, r := range c.Remind {
		if r.ID == "" || r.Due.IsZero() {
			return errors.New("store: reminder without id or due time")
		}
	}
	records := make(map[string]bool, len(c.Records))
	for _, r := range c.Records {
		if r.ID == "" || r.At.IsZero() || records[r.ID] {
			return fmt.Errorf("store: record %q added twice, or without id or time", r.ID)
		}
		records[r.ID] = true
	}
	for _, e := range c.Moved {
		if e.At.IsZero() || (e.Inbound.ID == "" && e.Fired == "") {
			return errors.New("store: moved entry without a time or without an id")
		}
	}
	return nil
}

// Limits reports the first limit that the commit passes by itself, as an
// ErrFull. An engine reports it after SeenError, ErrConflict and ErrStale; the
// number of messages in the queue and of reminders it checks itself.
func (c Commit) Limits() error {
	l := limits{}
	l.ids("shop", c.Shop)
	l.ids("conversation", c.Conversation)
	l.entry(Entry{Inbound: c.Inbound, Fired: c.Fired, Answer: c.Answer})
	for _, d := range c.Put {
		l.ids("document", string(d.Kind), d.ID)
		l.size("document "+string(d.Kind)+" "+d.ID, len(d.Body), MaxDoc)
	}
	for _, r := range c.Records {
		l.ids("record", r.ID, r.Saw, r.Characteristic, r.Person)
		l.size("record "+r.ID, len(r.Body), MaxRecord)
	}
	for _, o := range c.Outbox {
		l.ids("outgoing message", o.ID, o.Conversation, o.Channel, o.To)
		l.size("outgoing message "+o.ID, len(o.Body), MaxOut)
	}
	for _, r := range c.Remind {
		l.ids("reminder", r.ID, r.Conversation, r.Saw, r.Person)
		l.size("reminder "+r.ID, len(r.Body), MaxReminder)
	}
	l.size("list of moved entries", len(c.Moved), MaxMoved)
	for _, e := range c.Moved {
		l.entry(e)
	}
	return l.err
}

// limits keeps the first limit that was passed.
type limits struct{ err error }

func (l *limits) size(what string, size, limit int) {
	if l.err == nil && size > limit {
		l.err = Full(what, size, limit)
	}
}

func (l *limits) ids(what string, ids ...string) {
	for _, id := range ids {
		l.size("an id of a "+what, len(id), MaxID)
	}
}

func (l *limits) entry(e Entry) {
	l.ids("handled message", e.Inbound.ID, e.Inbound.From, e.Fired, string(e.Inbound.Hash))
	l.size("inbound text", len(e.Inbound.Text), MaxInbound)
	l.size("answer", len(e.Answer), MaxAnswer)
}

// CheckAddress reports what is wrong with the arguments of Point.
func CheckAddress(address, from, to string) error {
	if address == "" {
		return errors.New("store: an address cannot be empty")
	}
	l := limits{}
	l.ids("address", address)
	l.ids("shop", from, to)
	return l.err
}
