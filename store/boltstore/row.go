package boltstore

import (
	"slices"
	"time"

	"shimwright/store"
	"shimwright/store/internal/fields"
	"shimwright/store/internal/values"
)

// row is what is stored of a conversation under one key: its document, who
// wrote, and what was handled last. A message changes all of it, and a commit
// is as fast as it touches few pages. The entries themselves lie in the log.
type row struct {
	doc     store.Doc // version 0: there is no document
	senders []string
	recent  []handled // in order; the older ones are under convHandled
}

// handled is an entry of the log as a conversation lists it.
type handled struct {
	seq uint64
	at  time.Time
	id  string // empty for a reminder
}

// recentMax is how many handled messages a row lists. A full list moves to a
// key of its own.
const recentMax = 16

func (r row) pack() []byte {
	names, list := values.Names(r.senders), packHandled(r.recent)
	rest := fields.NewWriter(len(names) + len(list) + 16).Bytes(names).Bytes(list).Packed()
	return append(values.Doc(r.doc), rest...)
}

func packHandled(list []handled) []byte {
	w := fields.NewWriter(48 * len(list))
	for _, h := range list {
		w.Int(int64(h.seq)).Time(h.at).Str(h.id)
	}
	return w.Packed()
}

func readHandled(packed []byte) (list []handled, err error) {
	r := fields.NewReader(packed)
	for r.More() {
		list = append(list, handled{seq: uint64(r.Int()), at: r.Time(), id: r.Str()})
	}
	return list, r.Err()
}

// row reads the row of a conversation; one that is not there is empty.
func (t *tx) row(c store.Conversation) (row, error) {
	packed := t.data.Get(conv(c, convRow))
	if packed == nil {
		return row{doc: store.Doc{Kind: store.KindConversation, ID: c.ID}}, nil
	}
	return readRow(c.ID, packed)
}

func readRow(id string, packed []byte) (r row, err error) {
	if r.doc, err = values.ReadDoc(store.KindConversation, id, packed); err != nil {
		return r, err
	}
	if r.doc.Version == 0 {
		r.doc.Body = nil
	}
	rest := fields.NewReader(packed)
	for range 3 { // version, expiry, body
		rest.View()
	}
	if r.senders, err = values.ReadNames(rest.View()); err != nil {
		return r, err
	}
	if r.recent, err = readHandled(rest.View()); err == nil {
		err = rest.Err()
	}
	return r, err
}

// putRow writes a row, or deletes it when nothing is in it.
func (t *tx) putRow(c store.Conversation, r row) {
	k := conv(c, convRow)
	if r.doc.Version == 0 && len(r.senders)+len(r.recent) == 0 {
		t.del(t.data, k)
		return
	}
	t.put(t.data, k, r.pack())
}

// changeRow reads, changes and writes a row.
func (t *tx) changeRow(c store.Conversation, change func(*row)) {
	r, err := t.row(c)
	t.fail(err)
	change(&r)
	t.putRow(c, r)
}

// add appends an entry to the log and to the row, which the caller writes. A
// list that is full moves out of the row first.
func (t *tx) add(c store.Conversation, r *row, e store.Entry) {
	e.Seq = t.next()
	t.append(e)
	t.list(c, r, e)
}

// list is add for an entry that is in the log.
func (t *tx) list(c store.Conversation, r *row, e store.Entry) {
	if len(r.recent) == recentMax {
		t.put(t.data, conv(c, convHandled).num(r.recent[0].seq), packHandled(r.recent))
		r.recent = nil
	}
	r.recent = append(r.recent, handled{seq: e.Seq, at: e.At, id: e.Inbound.ID})
	if from := e.Inbound.From; from != "" && !slices.Contains(r.senders, from) {
		r.senders = append(r.senders, from)
	}
}

// find returns the entry that handled id, nil when there is none or it is older
// than ids are kept.
func (t *tx) find(c store.Conversation, r row, id string, now time.Time) (*store.Entry, error) {
	var found *store.Entry
	err := t.backwards(c, r, func(h handled) (bool, error) {
		if h.id != id || id == "" || store.Expired(h.at.Add(store.KeepIDs), now) {
			return true, nil
		}
		e, err := t.entry(h.seq)
		found = &e
		return false, err
	})
	return found, err
}

// backwards calls fn for everything that a conversation lists as handled, the
// newest first, until fn returns false.
func (t *tx) backwards(c store.Conversation, r row, fn func(handled) (bool, error)) error {
	for _, h := range slices.Backward(r.recent) {
		if more, err := fn(h); err != nil || !more {
			return err
		}
	}
	var lists [][]byte
	each(t.data, conv(c, convHandled), func(_, v []byte) bool {
		lists = append(lists, v)
		return true
	})
	for _, packed := range slices.Backward(lists) {
		list, err := readHandled(packed)
		if err != nil {
			return err
		}
		for _, h := range slices.Backward(list) {
			if more, err := fn(h); err != nil || !more {
				return err
			}
		}
	}
	return nil
}

// entries returns the entries of a conversation that count at now, in order:
// the newest max with a number greater than after.
func (t *tx) entries(c store.Conversation, after uint64, max int, now time.Time) (list []store.Entry, err error) {
	r, err := t.row(c)
	if err != nil {
		return nil, err
	}
	err = t.backwards(c, r, func(h handled) (bool, error) {
		if h.seq <= after || len(list) >= max {
			return false, nil
		}
		if store.Expired(h.at.Add(store.KeepIDs), now) {
			return true, nil
		}
		e, err := t.entry(h.seq)
		list = append(list, e)
		return true, err
	})
	slices.Reverse(list)
	return list, err
}
