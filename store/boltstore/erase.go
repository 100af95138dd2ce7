package boltstore

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"

	bolt "go.etcd.io/bbolt"

	"shimwright/store"
	"shimwright/store/internal/values"
)

// Erase removes what scope names and rewrites the file without it. It holds up
// every other call meanwhile: about a second for each 100 MB of the file.
func (s *Store) Erase(ctx context.Context, scope store.Scope) error {
	if scope.Shop == "" {
		return errors.New("store: erase without a shop")
	}
	err := s.write(ctx, func(t *tx) error {
		t.erase(scope)
		if t.dirty {
			t.put(t.meta, keyScrub, []byte{1})
		}
		return nil
	})
	if err != nil {
		return err
	}
	scrub := false
	err = s.view(ctx, func(t *tx) error {
		scrub = t.meta.Get(keyScrub) != nil
		return nil
	})
	if err != nil || !scrub {
		return err
	}
	if err := s.compact(); err != nil {
		return fmt.Errorf("store: erased, but the old pages are still in the file until Erase is repeated or the store opened again: %w", err)
	}
	return nil
}

func (t *tx) erase(scope store.Scope) {
	if scope.Saw == "" && scope.Person == "" {
		t.eraseShop(scope.Shop)
		return
	}
	if scope.Saw != "" {
		t.eraseSaw(scope.Shop, scope.Saw)
	}
	if scope.Person != "" {
		t.erasePerson(scope.Shop, scope.Person)
	}
}

func (t *tx) eraseShop(shop string) {
	t.eraseReminders(shop, func(store.Reminder) bool { return true })
	for _, id := range t.conversations(shop) {
		t.eraseConversation(store.Conversation{Shop: shop, ID: id})
	}
	t.eraseDead(shop, func(store.DeadLetter) bool { return true })
	for _, k := range keysOf(t.data, key(nil).str(shop)) {
		t.del(t.data, k)
	}
	for _, k := range keysOf(t.pointing, key(nil).str(shop)) {
		p := parse(k)
		p.str()
		t.point(p.str(), shop, "")
	}
	if t.shops.Get([]byte(shop)) != nil {
		t.del(t.shops, []byte(shop))
	}
}

func (t *tx) eraseSaw(shop, saw string) {
	if k := docKey(shop, store.KindSaw, saw); t.data.Get(k) != nil {
		t.del(t.data, k)
	}
	t.eraseReminders(shop, func(m store.Reminder) bool { return m.Saw == saw })
	t.eachRecord(shop, func(k []byte, rec store.Record) {
		if rec.Saw == saw {
			t.del(t.data, k)
			t.del(t.data, of(shop, tagRecordID).str(rec.ID))
		}
	})
	for _, k := range keysOf(t.data, of(shop, tagLast).str(saw)) {
		t.del(t.data, k)
	}
	t.eraseDocs(shop, store.KindDrawing)
	t.eraseDocs(shop, store.KindSent)
	for _, id := range t.conversations(shop) {
		c := store.Conversation{Shop: shop, ID: id}
		r, err := t.row(c)
		t.fail(err)
		t.changeEntries(c, t.numbers(c, r), func(e store.Entry) *store.Entry {
			e = values.Blank(e)
			return &e
		})
	}
	t.eraseDead(shop, func(store.DeadLetter) bool { return true })
}

func (t *tx) erasePerson(shop, person string) {
	t.eraseDocs(shop, store.KindSent)
	t.eachRecord(shop, func(k []byte, rec store.Record) {
		if rec.Person == person {
			rec.Person = ""
			t.put(t.data, k, values.Record(rec))
		}
	})
	gone := map[string]bool{}
	for _, id := range t.conversations(shop) {
		c := store.Conversation{Shop: shop, ID: id}
		r, err := t.row(c)
		t.fail(err)
		names, err := values.ReadNames(r.senders)
		t.fail(err)
		switch {
		case len(names) == 1 && names[0] == person:
			t.eraseConversation(c)
			gone[id] = true
		case slices.Contains(names, person):
			t.eraseLines(c, r, person)
			r.senders = values.Names(slices.DeleteFunc(names, func(n string) bool { return n == person }))
			t.putRow(c, r)
		}
	}
	t.eraseReminders(shop, func(m store.Reminder) bool { return m.Person == person || gone[m.Conversation] })
	t.eraseDead(shop, func(d store.DeadLetter) bool { return gone[d.Out.Conversation] })
}

// eraseDocs removes the documents of a kind that a shop has many of.
func (t *tx) eraseDocs(shop string, kind store.Kind) {
	for _, k := range keysOf(t.data, of(shop, tagOther).str(string(kind))) {
		t.del(t.data, k)
	}
}

// conversations returns the ids of the conversations of a shop.
func (t *tx) conversations(shop string) (ids []string) {
	prefix := of(shop, tagConversation)
	c := t.data.Cursor()
	for k, _ := c.Seek(prefix); hasPrefix(k, prefix); {
		p := parse(k[len(prefix):])
		id := p.str()
		ids = append(ids, id)
		k, _ = c.Seek(append(of(shop, tagConversation).str(id), 0xff))
	}
	return ids
}

func (t *tx) eraseConversation(c store.Conversation) {
	q := t.queue(c)
	for _, tag := range []byte{convQueue, convHeld} {
		for _, k := range keysOf(t.data, conv(c, tag)) {
			q.drop(k)
		}
	}
	if t.data.Get(conv(c, convUnderway)) != nil {
		t.del(t.data, conv(c, convUnderway))
	}
	q.index()
	r, err := t.row(c)
	t.fail(err)
	t.changeEntries(c, t.numbers(c, r), func(store.Entry) *store.Entry { return nil })
	for _, k := range keysOf(t.data, of(c.Shop, tagConversation).str(c.ID)) {
		t.del(t.data, k)
	}
}

// eraseLines blanks what a person said in a conversation, and what they were
// answered.
func (t *tx) eraseLines(c store.Conversation, r row, person string) {
	t.changeEntries(c, t.numbers(c, r), func(e store.Entry) *store.Entry {
		if e.Inbound.From == person {
			e = values.Blank(e)
		}
		return &e
	})
}

// numbers returns the numbers of the entries that a conversation lists.
func (t *tx) numbers(c store.Conversation, r row) (seqs []uint64) {
	t.fail(t.backwards(c, r, func(h handled) (bool, error) {
		seqs = append(seqs, h.seq)
		return true, nil
	}))
	return seqs
}

func (t *tx) eraseReminders(shop string, which func(store.Reminder) bool) {
	list, err := t.reminders(shop)
	t.fail(err)
	for _, m := range list {
		if which(m) {
			t.forget(shop, m.ID)
		}
	}
}

func (t *tx) eraseDead(shop string, which func(store.DeadLetter) bool) {
	all, err := t.dead(shop)
	t.fail(err)
	for _, b := range all {
		if which(b.DeadLetter) {
			t.exhume(shop, b.Out.ID)
		}
	}
}

// eachRecord calls fn, which may change them, for every record of a shop.
func (t *tx) eachRecord(shop string, fn func(k []byte, rec store.Record)) {
	for _, k := range keysOf(t.data, of(shop, tagRecord)) {
		rec, err := values.ReadRecord(t.data.Get(k))
		t.fail(err)
		fn(k, rec)
	}
}

func compactPath(path string) string { return path + ".compact" }

// compact copies what is in use into a new file and puts that in place of the
// old one. The new file is locked before it has the name, so no other process
// can slip in.
func (s *Store) compact() error {
	s.file.Lock()
	defer s.file.Unlock()
	if s.db == nil {
		return errClosed
	}
	tmp := compactPath(s.path)
	_ = os.Remove(tmp)
	fresh, err := openFile(tmp)
	if err != nil {
		return err
	}
	err = bolt.Compact(fresh, s.db, 1<<20)
	if err == nil {
		err = fresh.Update(func(t *bolt.Tx) error { return t.Bucket(bucketMeta).Delete(keyScrub) })
	}
	if err == nil {
		err = os.Rename(tmp, s.path)
	}
	if err != nil {
		_ = fresh.Close()
		_ = os.Remove(tmp)
		return failed("rewriting "+s.path, err)
	}
	old := s.db
	s.db = fresh
	if err := old.Close(); err != nil {
		return failed("closing the old file", err)
	}
	return syncDir(filepath.Dir(s.path))
}

// syncDir makes the new name of a file durable.
func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return failed("opening "+dir, err)
	}
	defer func() { _ = d.Close() }()
	if err := d.Sync(); err != nil {
		return failed("syncing "+dir, err)
	}
	return nil
}
