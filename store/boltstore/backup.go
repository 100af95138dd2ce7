package boltstore

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"sort"
	"time"

	bolt "go.etcd.io/bbolt"

	"shimwright/store"
	"shimwright/store/internal/values"
)

// Backup writes the state of one instant while commits go on.
func (s *Store) Backup(ctx context.Context, w io.Writer) error {
	out := store.NewDumpWriter(w)
	now := s.told.Now()
	err := s.view(ctx, func(t *tx) error {
		c := t.shops.Cursor()
		for k, _ := c.First(); k != nil; k, _ = c.Next() {
			if err := errors.Join(ctx.Err(), out.Err()); err != nil {
				return err
			}
			if err := t.backupShop(out, string(k), now); err != nil {
				return err
			}
		}
		return t.addresses.ForEach(func(k, v []byte) error {
			out.Write(store.Line{Kind: store.LineAddress, Address: string(k), Shop: string(v)})
			return out.Err()
		})
	})
	if err != nil {
		return fmt.Errorf("store: backup: %w", err)
	}
	return out.End()
}

func (t *tx) backupShop(out *store.DumpWriter, shop string, now time.Time) error {
	out.Write(store.Line{Kind: store.LineShop, Shop: shop})
	for _, name := range t.documents(shop) {
		d, err := t.doc(shop, name.Kind, name.ID, now)
		if err != nil {
			return err
		}
		if d.Version > 0 {
			out.Write(store.DocLine(shop, d))
		}
	}
	for _, id := range t.conversations(shop) {
		if err := t.backupConversation(out, store.Conversation{Shop: shop, ID: id}, now); err != nil {
			return err
		}
	}
	var err error
	each(t.data, of(shop, tagRecord), func(_, v []byte) bool {
		var rec store.Record
		rec, err = values.ReadRecord(v)
		out.Write(store.RecordLine(shop, rec))
		return err == nil
	})
	if err != nil {
		return err
	}
	each(t.data, of(shop, tagReminder), func(_, v []byte) bool {
		var m store.Reminder
		m, err = values.ReadReminder(v)
		out.Write(store.ReminderLine(shop, m))
		return err == nil
	})
	if err != nil {
		return err
	}
	dead, err := t.dead(shop)
	for i := len(dead) - 1; i >= 0; i-- {
		out.Write(store.DeadLine(dead[i].DeadLetter))
	}
	return err
}

// documents names the documents of a shop that belong to no conversation, by
// kind and id.
func (t *tx) documents(shop string) (names []store.Version) {
	if t.data.Get(of(shop, tagPeople)) != nil {
		names = append(names, store.Version{Kind: store.KindPeople})
	}
	each(t.data, of(shop, tagSaw), func(k, _ []byte) bool {
		p := parse(k)
		p.str()
		p.tag()
		names = append(names, store.Version{Kind: store.KindSaw, ID: p.str()})
		return true
	})
	each(t.data, of(shop, tagOther), func(k, _ []byte) bool {
		p := parse(k)
		p.str()
		p.tag()
		names = append(names, store.Version{Kind: store.Kind(p.str()), ID: p.str()})
		return true
	})
	sort.SliceStable(names, func(i, j int) bool {
		if names[i].Kind != names[j].Kind {
			return names[i].Kind < names[j].Kind
		}
		return names[i].ID < names[j].ID
	})
	return names
}

func (t *tx) backupConversation(out *store.DumpWriter, c store.Conversation, now time.Time) error {
	r, err := t.row(c)
	if err != nil {
		return err
	}
	info := store.DumpConversation{ID: c.ID}
	if info.Senders, err = values.ReadNames(r.senders); err != nil {
		return err
	}
	if u, ok := t.queue(c).underway(); ok {
		info.Current = &u
	}
	if len(info.Senders) > 0 || info.Current != nil {
		out.Write(store.Line{Kind: store.LineConversation, Shop: c.Shop, Conversation: &info})
	}
	if d := r.doc(c.ID, now); d.Version > 0 {
		out.Write(store.DocLine(c.Shop, d))
	}
	entries, err := t.entries(c, 0, math.MaxInt, now)
	for _, e := range entries {
		out.Write(store.EntryLine(c, e))
	}
	for _, tag := range []byte{convQueue, convHeld} {
		if err != nil {
			return err
		}
		each(t.data, conv(c, tag), func(_, v []byte) bool {
			var item values.Item
			item, err = values.ReadItem(v)
			out.Write(store.OutLine(c.Shop, item.Out, item.Ready, tag == convHeld))
			return err == nil
		})
	}
	return err
}

// restoreLines is how many lines of a backup go into one transaction.
const restoreLines = 500

// Restore reads a backup into an empty store.
func (s *Store) Restore(ctx context.Context, r io.Reader) error {
	empty := false
	err := s.view(ctx, func(t *tx) error {
		empty = t.empty()
		return nil
	})
	if err != nil {
		return err
	}
	if !empty {
		return errors.New("store: restore needs an empty store, and this one is not; give it a new file")
	}
	var lines []store.Line
	flush := func() error {
		batch := lines
		lines = nil
		return s.write(ctx, func(t *tx) error {
			for _, l := range batch {
				t.restore(l)
			}
			return nil
		})
	}
	err = store.ReadDump(r, func(l store.Line) error {
		if lines = append(lines, l); len(lines) < restoreLines {
			return nil
		}
		return flush()
	})
	if err == nil {
		err = flush()
	}
	if err != nil {
		return errors.Join(err, s.write(context.WithoutCancel(ctx), (*tx).wipe))
	}
	return nil
}

func (t *tx) empty() bool {
	for _, b := range []*bolt.Bucket{t.shops, t.data, t.addresses} {
		if k, _ := b.Cursor().First(); k != nil {
			return false
		}
	}
	return true
}

// wipe empties the store again after a restore that failed.
func (t *tx) wipe() error {
	t.dirty = true
	for _, name := range [][]byte{bucketShops, bucketData, bucketTimes, bucketLog, bucketAddresses, bucketPointing} {
		t.fail(t.btx.DeleteBucket(name))
		_, err := t.btx.CreateBucket(name)
		t.fail(err)
	}
	fresh := newTx(t.btx)
	t.shops, t.data, t.times, t.log = fresh.shops, fresh.data, fresh.times, fresh.log
	t.addresses, t.pointing = fresh.addresses, fresh.pointing
	for _, counter := range []string{countWaiting, countDead} {
		t.tally(counter, -t.counter(counter))
	}
	return nil
}

// atLeast makes the next numbers of the file greater than n.
func (t *tx) atLeast(n uint64) {
	if t.data.Sequence() < n {
		t.dirty = true
		t.fail(t.data.SetSequence(n))
	}
}

// restore writes what a line says.
func (t *tx) restore(l store.Line) {
	switch l.Kind {
	case store.LineShop:
		t.put(t.shops, []byte(l.Shop), []byte{})
	case store.LineDocument:
		t.putDoc(l.Shop, store.Doc(*l.Doc))
		t.atLeast(l.Doc.Version)
	case store.LineConversation:
		c := store.Conversation{Shop: l.Shop, ID: l.Conversation.ID}
		if len(l.Conversation.Senders) > 0 {
			t.changeRow(c, func(r *row) { r.senders = values.Names(l.Conversation.Senders) })
		}
		if u := l.Conversation.Current; u != nil {
			t.queue(c).setUnderway(*u)
			t.atLeast(u.Token)
		}
	case store.LineEntry:
		c, e := store.Conversation{Shop: l.Shop, ID: l.Entry.Conversation}, l.Entry.Entry()
		// The numbers of a backup are in order within a conversation only.
		t.putPiece(restoredKey(c, e.Seq), [][]byte{values.Entry(e)})
		t.changeRow(c, func(r *row) { t.list(c, r, e) })
		t.atLeast(e.Seq)
	case store.LineOut:
		q := t.queue(store.Conversation{Shop: l.Shop, ID: l.Out.Conversation})
		if item := (values.Item{Out: l.Out.Message(), Ready: l.Out.Ready}); l.Out.Held {
			q.hold(item)
		} else {
			q.push(item)
		}
		q.index()
	case store.LineRecord:
		t.addRecord(l.Shop, store.Record(*l.Record))
	case store.LineReminder:
		t.remind(l.Shop, store.Reminder(*l.Reminder))
	case store.LineDead:
		t.bury(l.Dead.Letter(l.Shop))
	case store.LineAddress:
		t.point(l.Address, "", l.Shop)
	}
}
