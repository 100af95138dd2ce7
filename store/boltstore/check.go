package boltstore

import (
	"bytes"
	"context"
	"fmt"
	"time"

	"shimwright/store"
	"shimwright/store/internal/values"
)

// Check verifies the pages of the file and that everything in it agrees with
// everything else.
func (s *Store) Check(ctx context.Context) ([]string, error) {
	var faults []string
	err := s.view(ctx, func(t *tx) error {
		for err := range t.btx.Check() {
			faults = append(faults, "page: "+err.Error())
		}
		if len(faults) > 0 {
			return nil // what lies on such pages cannot be read
		}
		c := checker{t: t, now: s.told.Now()}
		c.everyKey()
		c.everyEntry()
		c.everyTime()
		c.everyAddress()
		c.counters()
		faults = append(faults, c.faults...)
		return nil
	})
	return faults, err
}

// checker collects faults within one read transaction.
type checker struct {
	t             *tx
	faults        []string
	now           time.Time
	waiting, dead int
	entries       int // of the log, as listed
}

func (c *checker) fault(format string, args ...any) {
	c.faults = append(c.faults, fmt.Sprintf(format, args...))
}

// expect notes a fault when err is set or ok is false.
func (c *checker) expect(ok bool, err error, format string, args ...any) {
	if err != nil {
		c.fault(format+": "+err.Error(), args...)
	} else if !ok {
		c.fault(format, args...)
	}
}

// everyKey reads every key and value of a shop and what it refers to.
func (c *checker) everyKey() {
	data := c.t.data.Cursor()
	for k, v := data.First(); k != nil; k, v = data.Next() {
		p := parse(k)
		shop := p.str()
		if c.t.shops.Get([]byte(shop)) == nil {
			c.fault("key %q: shop %q is not in the list of shops", k, shop)
		}
		switch tag := p.tag(); tag {
		case tagConversation:
			c.conversation(k, v, store.Conversation{Shop: shop, ID: p.str()}, p)
		case tagPeople, tagSaw, tagOther:
			_, _, err := values.DocHead(v)
			c.expect(true, err, "document %q", k)
		case tagRecord:
			rec, err := values.ReadRecord(v)
			c.expect(bytes.Equal(c.t.data.Get(of(shop, tagRecordID).str(rec.ID)), k), err, "record %q is not found by its id %q", k, rec.ID)
			last := c.t.data.Get(of(shop, tagLast).str(rec.Saw).str(rec.Characteristic))
			c.expect(bytes.Compare(last, k) >= 0, nil, "record %q is newer than the last of its kind", rec.ID)
		case tagRecordID, tagLast:
			c.expect(c.t.data.Get(v) != nil, nil, "key %q names a record that is not there", k)
		case tagReminder:
			m, err := values.ReadReminder(v)
			c.expect(c.t.times.Get(at(timeDue, m.Due).str(shop).str(m.ID)) != nil, err, "reminder %q of shop %q will not fall due", m.ID, shop)
		case tagDead:
			b, err := readBuried(shop, v)
			c.expect(c.t.times.Get(b.timeKey()) != nil, err, "dead letter %q of shop %q is not in the list", b.Out.ID, shop)
			c.dead++
		default:
			c.fault("key %q: unknown tag %q", k, tag)
		}
		if p.err != nil {
			c.fault("key %q: %v", k, p.err)
		}
	}
}

func (c *checker) conversation(k, v []byte, in store.Conversation, p *parser) {
	switch tag := p.tag(); tag {
	case convRow:
		r, err := readRow(v)
		c.expect(true, err, "row %q", k)
		list, err := readHandled(r.recent)
		c.expect(true, err, "row %q", k)
		c.handled(in, list)
	case convHandled:
		list, err := readHandled(v)
		c.expect(len(list) > 0 && list[0].seq == p.num(), err, "list of handled messages %q", k)
		c.handled(in, list)
	case convQueue, convHeld:
		_, err := values.ReadItem(v)
		c.expect(true, err, "outgoing message %q", k)
		c.expect(c.t.data.Get(conv(in, convReady)) != nil, nil, "conversation %v: its outgoing messages will not be claimed", in)
		c.waiting++
	case convUnderway:
		head, _ := c.t.queue(in).head()
		c.expect(head != nil, nil, "conversation %v: a delivery is under way without a message", in)
	case convReady:
		ready, ok := c.t.queue(in).ready()
		c.expect(ok && bytes.Equal(v, key(nil).time(ready)), nil, "conversation %v: claimed at another time than its head is ready", in)
		c.expect(c.t.times.Get(at(timeReady, ready).str(in.Shop).str(in.ID)) != nil, nil, "conversation %v: its outgoing messages are not in the list", in)
	default:
		c.fault("key %q: unknown tag %q", k, tag)
	}
}

// handled checks that what a conversation lists is in the log. What has expired
// does not count: one of the two may have been swept.
func (c *checker) handled(in store.Conversation, list []handled) {
	for _, h := range list {
		if store.Expired(h.at.Add(store.KeepIDs), c.now) {
			continue
		}
		e, err := c.t.entry(in, h.seq)
		c.expect(e.Seq == h.seq && e.Inbound.ID == string(h.id), err, "conversation %v: entry %d is not the one listed", in, h.seq)
		c.entries++
	}
}

// everyEntry checks that every entry of the log is listed, unless it expired.
func (c *checker) everyEntry() {
	n := 0
	_ = c.t.log.ForEach(func(k, v []byte) error {
		list, err := readPiece(v)
		c.expect(len(list) > 0, err, "piece %x of the log", k)
		for _, packed := range list {
			if at, err := values.EntryAt(packed); err != nil || !store.Expired(at.Add(store.KeepIDs), c.now) {
				n++
			}
		}
		return nil
	})
	c.expect(n == c.entries, nil, "%d entries that count in the log, %d are listed", n, c.entries)
}

// everyTime checks that whatever falls due is there.
func (c *checker) everyTime() {
	times := c.t.times.Cursor()
	for k, _ := times.First(); k != nil; k, _ = times.Next() {
		p := parse(k[1:])
		p.num()
		var owner []byte
		switch k[0] {
		case timeDue:
			owner = of(p.str(), tagReminder).str(p.str())
		case timeReady:
			owner = conv(store.Conversation{Shop: p.str(), ID: p.str()}, convReady)
		case timeDead:
			p.num()
			owner = of(p.str(), tagDead).str(p.str())
		}
		if p.err != nil || owner == nil || c.t.data.Get(owner) == nil {
			c.fault("time %q: nothing falls due there", k)
		}
	}
}

func (c *checker) everyAddress() {
	_ = c.t.addresses.ForEach(func(k, v []byte) error {
		c.expect(c.t.pointing.Get(key(nil).str(string(v)).str(string(k))) != nil, nil, "address %q is not in the list of its shop", k)
		return nil
	})
	_ = c.t.pointing.ForEach(func(k, _ []byte) error {
		p := parse(k)
		shop := p.str()
		c.expect(string(c.t.addresses.Get([]byte(p.str()))) == shop, nil, "shop %q lists an address that is not its own", shop)
		return nil
	})
}

func (c *checker) counters() {
	if n := c.t.counter(countWaiting); n != c.waiting {
		c.fault("the counter says %d outgoing messages wait, %d are there", n, c.waiting)
	}
	if n := c.t.counter(countDead); n != c.dead {
		c.fault("the counter says %d dead letters, %d are there", n, c.dead)
	}
}
