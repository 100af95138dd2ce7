package boltstore

import (
	"context"
	"fmt"
	"time"

	"shimwright/store"
	"shimwright/store/internal/fields"
	"shimwright/store/internal/values"
)

// Commit is all or nothing, and on the disk when it returns nil.
func (s *Store) Commit(ctx context.Context, c store.Commit) error {
	if err := c.WellFormed(); err != nil {
		return err
	}
	now := s.told.Raise(c.At)
	limit := c.Limits()
	return s.write(ctx, func(t *tx) error { return t.commit(&c, now, limit) })
}

// commit checks everything, then writes everything.
func (t *tx) commit(c *store.Commit, now time.Time, limit error) error {
	here := store.Conversation{Shop: c.Shop, ID: c.Conversation}
	r, err := t.row(here)
	if err != nil {
		return err
	}
	if err := t.checkHandled(c, here, r, now); err != nil {
		return err
	}
	if err := t.checkVersions(c, now); err != nil {
		return err
	}
	if limit != nil {
		return limit
	}
	if err := t.checkRoom(c); err != nil {
		return err
	}
	if err := t.checkRecords(c); err != nil {
		return err
	}
	t.apply(c, here, r, now)
	return nil
}

// checkHandled reports a message or reminder that was handled before.
func (t *tx) checkHandled(c *store.Commit, here store.Conversation, r row, now time.Time) error {
	if c.Inbound.ID != "" {
		seen, err := t.find(here, r, c.Inbound.ID, now)
		switch {
		case err != nil:
			return err
		case seen != nil && !values.Same(seen.Inbound.Hash, c.Inbound.Hash):
			return store.ErrConflict
		case seen != nil:
			return &store.SeenError{Answer: seen.Answer}
		}
	}
	if c.Fired != "" {
		packed := t.data.Get(of(c.Shop, tagReminder).str(c.Fired))
		if packed == nil {
			return &store.SeenError{}
		}
		m, err := values.ReadReminder(packed)
		if err != nil {
			return err
		}
		if fields.Milli(m.Due) != fields.Milli(c.FiredDue) {
			return &store.SeenError{}
		}
	}
	return nil
}

// checkVersions reports a document that changed meanwhile.
func (t *tx) checkVersions(c *store.Commit, now time.Time) error {
	check := func(kind store.Kind, id string, relied uint64) error {
		present, err := t.version(c.Shop, kind, id, now)
		if err == nil && present != relied {
			err = fmt.Errorf("%w: %s %q has version %d, not %d", store.ErrStale, kind, id, present, relied)
		}
		return err
	}
	for _, v := range c.Read {
		if err := check(v.Kind, v.ID, v.Version); err != nil {
			return err
		}
	}
	for _, d := range c.Put {
		if err := check(d.Kind, d.ID, d.Version); err != nil {
			return err
		}
	}
	return nil
}

// checkRoom reports a queue or a list of reminders that would grow too long.
func (t *tx) checkRoom(c *store.Commit) error {
	added := map[string]int{}
	for _, o := range c.Outbox {
		added[o.Conversation]++
	}
	for id, n := range added {
		q := t.queue(store.Conversation{Shop: c.Shop, ID: id})
		waiting := q.waiting()
		if c.Silence && id == c.Conversation {
			waiting = 0
			if q.leased(c.At) {
				waiting = 1
			}
		}
		if waiting+n > store.MaxQueue {
			return store.Full("the queue of conversation "+id, waiting+n, store.MaxQueue)
		}
	}
	if len(c.Remind) == 0 {
		return nil
	}
	ids := map[string]bool{}
	each(t.data, of(c.Shop, tagReminder), func(k, _ []byte) bool {
		ids[reminderID(k)] = true
		return true
	})
	delete(ids, c.Fired)
	for _, id := range c.Forget {
		delete(ids, id)
	}
	for _, m := range c.Remind {
		ids[m.ID] = true
	}
	if len(ids) > store.MaxReminders {
		return store.Full("the list of reminders", len(ids), store.MaxReminders)
	}
	return nil
}

// apply writes what a checked commit changes.
func (t *tx) apply(c *store.Commit, here store.Conversation, r row, now time.Time) {
	if t.shops.Get([]byte(c.Shop)) == nil {
		t.put(t.shops, []byte(c.Shop), []byte{})
	}
	for _, e := range c.Moved {
		old, err := t.find(here, r, e.Inbound.ID, now)
		t.fail(err)
		if old == nil {
			t.add(here, &r, e)
		}
	}
	version := t.next()
	for _, d := range c.Put {
		d.Version = version
		if d.Kind == store.KindConversation && d.ID == here.ID {
			r.setDoc(d)
		} else {
			t.putDoc(c.Shop, d)
		}
	}
	if c.Fired != "" {
		t.forget(c.Shop, c.Fired)
	}
	for _, id := range c.Forget {
		t.forget(c.Shop, id)
	}
	for _, m := range c.Remind {
		t.remind(c.Shop, m)
	}
	for _, rec := range c.Records {
		t.addRecord(c.Shop, rec)
	}
	if c.Silence {
		t.silence(here, c.At)
	}
	t.enqueue(c)
	if c.Inbound.ID != "" || c.Fired != "" {
		t.add(here, &r, store.Entry{At: c.At, Inbound: c.Inbound, Fired: c.Fired, Answer: c.Answer})
	}
	t.putRow(here, r)
}

// putDoc writes a document with its version, or deletes it when it has no body.
func (t *tx) putDoc(shop string, d store.Doc) {
	k := docKey(shop, d.Kind, d.ID)
	switch {
	case d.Kind == store.KindConversation:
		t.changeRow(store.Conversation{Shop: shop, ID: d.ID}, func(r *row) { r.setDoc(d) })
	case d.Body == nil:
		t.del(t.data, k)
	default:
		t.put(t.data, k, values.Doc(d))
	}
}

func reminderID(k []byte) string {
	p := parse(k)
	p.str()
	p.tag()
	return p.str()
}

// forget drops a reminder.
func (t *tx) forget(shop, id string) {
	k := of(shop, tagReminder).str(id)
	packed := t.data.Get(k)
	if packed == nil {
		return
	}
	m, err := values.ReadReminder(packed)
	t.fail(err)
	t.del(t.times, at(timeDue, m.Due).str(shop).str(id))
	t.del(t.data, k)
}

// remind sets a reminder in place of one with the same id.
func (t *tx) remind(shop string, m store.Reminder) {
	t.forget(shop, m.ID)
	t.put(t.data, of(shop, tagReminder).str(m.ID), values.Reminder(m))
	t.put(t.times, at(timeDue, m.Due).str(shop).str(m.ID), []byte{})
}

// Due returns the reminders due at now, the longest due first.
func (s *Store) Due(ctx context.Context, now time.Time, max int) ([]store.DueReminder, error) {
	s.told.Raise(now)
	var due []store.DueReminder
	err := s.view(ctx, func(t *tx) (err error) {
		each(t.times, []byte{timeDue}, func(k, _ []byte) bool {
			p := parse(k[1:])
			if len(due) == max || p.time().After(now) {
				return false
			}
			shop, id := p.str(), p.str()
			var m store.Reminder
			m, err = values.ReadReminder(t.data.Get(of(shop, tagReminder).str(id)))
			due = append(due, store.DueReminder{Shop: shop, Reminder: m})
			return err == nil
		})
		return err
	})
	if err != nil {
		return nil, err
	}
	return due, nil
}
