package boltstore

import (
	"bytes"
	"context"
	"fmt"
	"sort"
	"time"

	"shimwright/store"
	"shimwright/store/internal/values"
)

// Claim leases messages that may be sent at now, one of each conversation.
func (s *Store) Claim(ctx context.Context, now time.Time, lease time.Duration, max int) ([]store.Delivery, error) {
	s.told.Raise(now)
	idle := true
	err := s.view(ctx, func(t *tx) error {
		idle = len(t.readyAt(now, 1)) == 0
		return nil
	})
	if err != nil || idle || max <= 0 {
		return nil, err
	}
	var claimed []store.Delivery
	err = s.write(ctx, func(t *tx) error {
		claimed = nil
		for len(claimed) < max && t.err == nil {
			// A conversation may turn out to have nothing left, so look again.
			found := t.readyAt(now, max-len(claimed))
			if len(found) == 0 {
				break
			}
			for _, c := range found {
				if d, ok := t.claim(c, now, lease); ok {
					claimed = append(claimed, d)
				}
			}
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	return claimed, nil
}

// readyAt returns up to max conversations with something to send at now, the
// longest waiting first.
func (t *tx) readyAt(now time.Time, max int) (found []store.Conversation) {
	each(t.times, []byte{timeReady}, func(k, _ []byte) bool {
		p := parse(k[1:])
		if len(found) == max || p.time().After(now) {
			return false
		}
		found = append(found, store.Conversation{Shop: p.str(), ID: p.str()})
		return true
	})
	return found
}

// claim leases the first message of a conversation that is due at now, after
// dropping what is silenced or expired.
func (t *tx) claim(c store.Conversation, now time.Time, lease time.Duration) (d store.Delivery, ok bool) {
	q := t.queue(c)
	u, _ := q.underway()
	if u.Silenced {
		q.dropHead()
		u = store.Underway{}
	}
	q.release(now)
	for t.err == nil {
		k, item := q.head()
		if k == nil {
			break
		}
		if store.Expired(item.Expires, now) {
			q.dropHead()
			u = store.Underway{}
			continue
		}
		if u.Attempt == 0 && item.Ready.After(now) {
			break
		}
		u = store.Underway{Token: t.next(), Attempt: u.Attempt + 1, Until: now.Add(lease)}
		q.setUnderway(u)
		d, ok = store.Delivery{Shop: c.Shop, Out: item.Out, Attempt: u.Attempt, Token: u.Token}, true
		break
	}
	q.index()
	return d, ok
}

// Settle ends an attempt.
func (s *Store) Settle(ctx context.Context, d store.Delivery, o store.Outcome, next time.Time, reason string) error {
	when := next
	if when.IsZero() {
		when = s.told.Now()
	}
	return s.write(ctx, func(t *tx) error {
		q := t.queue(store.Conversation{Shop: d.Shop, ID: d.Out.Conversation})
		u, ok := q.underway()
		if !ok || u.Token == 0 || u.Token != d.Token {
			return store.ErrLost
		}
		_, item := q.head()
		switch {
		case u.Silenced || o == store.Sent || o == store.Dropped:
			q.dropHead()
		case o == store.Retry:
			q.setUnderway(store.Underway{Attempt: u.Attempt, Until: when})
		case o == store.Dead:
			q.dropHead()
			t.bury(store.DeadLetter{Shop: d.Shop, Out: item.Out, Attempt: u.Attempt, Reason: reason, At: when})
		default:
			return fmt.Errorf("store: unknown outcome %d", o)
		}
		q.index()
		return nil
	})
}

// buried is a dead letter with the number under which it is in times.
type buried struct {
	store.DeadLetter
	number uint64
}

func (b buried) timeKey() key {
	return at(timeDead, b.At).num(b.number).str(b.Shop).str(b.Out.ID)
}

func readBuried(shop string, packed []byte) (buried, error) {
	number, err := values.ReadNumber(packed)
	if err != nil {
		return buried{}, err
	}
	n := len(values.Number(int64(number)))
	d, err := values.ReadDead(shop, packed[n:])
	return buried{d, uint64(number)}, err
}

// bury adds a dead letter; the oldest goes when the shop has too many.
func (t *tx) bury(d store.DeadLetter) {
	t.exhume(d.Shop, d.Out.ID)
	b := buried{d, t.next()}
	t.put(t.data, of(d.Shop, tagDead).str(d.Out.ID), append(values.Number(int64(b.number)), values.Dead(d)...))
	t.put(t.times, b.timeKey(), []byte{})
	t.tally(countDead, 1)
	all, err := t.dead(d.Shop)
	t.fail(err)
	for len(all) > store.MaxDead {
		t.exhume(d.Shop, all[len(all)-1].Out.ID)
		all = all[:len(all)-1]
	}
}

// Bury adds a dead letter.
func (s *Store) Bury(ctx context.Context, d store.DeadLetter) error {
	return s.write(ctx, func(t *tx) error {
		if t.shops.Get([]byte(d.Shop)) == nil {
			return fmt.Errorf("%w: no shop %q", store.ErrNotFound, d.Shop)
		}
		t.bury(d)
		return nil
	})
}

// exhume takes a dead letter off the list; ok is false when there is none.
func (t *tx) exhume(shop, outID string) (d store.DeadLetter, ok bool) {
	k := of(shop, tagDead).str(outID)
	packed := t.data.Get(k)
	if packed == nil {
		return d, false
	}
	b, err := readBuried(shop, packed)
	t.fail(err)
	t.del(t.times, b.timeKey())
	t.del(t.data, k)
	t.tally(countDead, -1)
	return b.DeadLetter, true
}

// dead returns the dead letters of a shop, newest first.
func (t *tx) dead(shop string) (all []buried, err error) {
	each(t.data, of(shop, tagDead), func(_, v []byte) bool {
		var b buried
		b, err = readBuried(shop, v)
		all = append(all, b)
		return err == nil
	})
	sort.Slice(all, func(i, j int) bool { return bytes.Compare(all[i].timeKey(), all[j].timeKey()) > 0 })
	return all, err
}

// Dead lists dead letters, newest first.
func (s *Store) Dead(ctx context.Context, shop string, max int) ([]store.DeadLetter, error) {
	var letters []store.DeadLetter
	err := s.view(ctx, func(t *tx) error {
		if shop != "" {
			all, err := t.dead(shop)
			for _, b := range all[:min(len(all), max)] {
				letters = append(letters, b.DeadLetter)
			}
			return err
		}
		c := t.times.Cursor()
		k, _ := seekBefore(c, []byte{timeDead + 1})
		for ; hasPrefix(k, []byte{timeDead}) && len(letters) < max; k, _ = c.Prev() {
			p := parse(k[1:])
			p.time()
			p.num()
			in := p.str()
			b, err := readBuried(in, t.data.Get(of(in, tagDead).str(p.str())))
			if err != nil {
				return err
			}
			letters = append(letters, b.DeadLetter)
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	return letters, nil
}

// Resend moves a dead letter back to the end of its conversation's queue.
func (s *Store) Resend(ctx context.Context, shop, outID string, now time.Time) error {
	s.told.Raise(now)
	return s.write(ctx, func(t *tx) error {
		packed := t.data.Get(of(shop, tagDead).str(outID))
		if packed == nil {
			return fmt.Errorf("%w: no dead letter %q in this shop", store.ErrNotFound, outID)
		}
		b, err := readBuried(shop, packed)
		if err != nil {
			return err
		}
		q := t.queue(store.Conversation{Shop: shop, ID: b.Out.Conversation})
		if n := q.waiting() + 1; n > store.MaxQueue {
			return store.Full("the queue of conversation "+b.Out.Conversation, n, store.MaxQueue)
		}
		t.exhume(shop, outID)
		q.push(values.Item{Out: b.Out, Ready: now})
		q.index()
		return nil
	})
}
