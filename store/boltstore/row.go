package boltstore

import (
	"bytes"
	"slices"
	"time"

	"shimwright/store"
	"shimwright/store/internal/fields"
	"shimwright/store/internal/values"
)

// row is what is stored of a conversation under one key: its document, who
// wrote, and what was handled last. A message changes all of it, and a commit
// is as fast as it touches few pages. The entries themselves lie in the log.
//
// Everything in it stays packed, and belongs to the transaction, until it is
// needed.
type row struct {
	version uint64 // of the document; 0: there is none
	expires time.Time
	body    []byte
	senders []byte // packed names
	recent  []byte // packed list of handled; a full list moves to a key of its own
}

// handled is an entry of the log as a conversation lists it.
type handled struct {
	seq uint64
	at  time.Time
	id  []byte // empty for a reminder
}

// recentMax is how many handled messages a row lists.
const recentMax = 16

func (r row) pack() []byte {
	w := fields.NewWriter(len(r.body) + len(r.senders) + len(r.recent) + 64)
	values.PutDoc(w, store.Doc{Version: r.version, Expires: r.expires, Body: r.body})
	return w.Bytes(r.senders).Bytes(r.recent).Packed()
}

func readRow(packed []byte) (row, error) {
	f := fields.NewReader(packed)
	r := row{version: uint64(f.Int()), expires: f.Time(), body: f.View(), senders: f.View(), recent: f.View()}
	return r, f.Err()
}

// doc is the document of a row as it counts at now, its body copied.
func (r row) doc(id string, now time.Time) store.Doc {
	d := store.Doc{Kind: store.KindConversation, ID: id}
	if r.version > 0 && !store.Expired(r.expires, now) {
		d.Version, d.Expires, d.Body = r.version, r.expires, append([]byte{}, r.body...)
	}
	return d
}

// setDoc sets the document of a row, or deletes it when it has no body.
func (r *row) setDoc(d store.Doc) {
	r.version, r.expires, r.body = d.Version, d.Expires, d.Body
	if d.Body == nil {
		r.version, r.expires = 0, time.Time{}
	}
}

// handledList goes through a packed list; stop early by returning false.
func handledList(packed []byte, fn func(h handled) bool) error {
	r := fields.NewReader(packed)
	for r.More() {
		h := handled{seq: uint64(r.Int()), at: r.Time(), id: r.View()}
		if r.Err() == nil && !fn(h) {
			return nil
		}
	}
	return r.Err()
}

// readHandled unpacks a list.
func readHandled(packed []byte) (list []handled, err error) {
	err = handledList(packed, func(h handled) bool {
		list = append(list, h)
		return true
	})
	return list, err
}

// row reads the row of a conversation; one that is not there is empty.
func (t *tx) row(c store.Conversation) (row, error) {
	packed := t.data.Get(conv(c, convRow))
	if packed == nil {
		return row{}, nil
	}
	return readRow(packed)
}

// putRow writes a row, or deletes it when nothing is in it.
func (t *tx) putRow(c store.Conversation, r row) {
	k := conv(c, convRow)
	if r.version == 0 && len(r.senders)+len(r.recent) == 0 {
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

// add appends an entry to the log and to the row, which the caller writes.
func (t *tx) add(c store.Conversation, r *row, e store.Entry) {
	e.Seq = t.next()
	t.append(e)
	t.list(c, r, e)
}

// list is add for an entry that is in the log. A list that is full moves out of
// the row first.
func (t *tx) list(c store.Conversation, r *row, e store.Entry) {
	n, first := 0, uint64(0)
	t.fail(handledList(r.recent, func(h handled) bool {
		if n++; n == 1 {
			first = h.seq
		}
		return true
	}))
	if n >= recentMax {
		t.put(t.data, conv(c, convHandled).num(first), bytes.Clone(r.recent))
		r.recent = nil
	}
	w := fields.NewWriter(len(r.recent) + len(e.Inbound.ID) + 48).Raw(r.recent)
	r.recent = w.Int(int64(e.Seq)).Time(e.At).Str(e.Inbound.ID).Packed()
	if from := e.Inbound.From; from != "" && !hasName(r.senders, from) {
		r.senders = fields.NewWriter(len(r.senders) + len(from) + 8).Raw(r.senders).Str(from).Packed()
	}
}

func hasName(packed []byte, name string) bool {
	r := fields.NewReader(packed)
	for r.More() {
		if string(r.View()) == name {
			return true
		}
	}
	return false
}

// find returns the entry that handled id, nil when there is none or it is older
// than ids are kept.
func (t *tx) find(c store.Conversation, r row, id string, now time.Time) (found *store.Entry, err error) {
	if id == "" {
		return nil, nil
	}
	search := func(packed []byte) {
		damaged := handledList(packed, func(h handled) bool {
			if string(h.id) == id && !store.Expired(h.at.Add(store.KeepIDs), now) {
				var e store.Entry
				e, err = t.entry(c, h.seq)
				found = &e
			}
			return found == nil
		})
		if err == nil {
			err = damaged
		}
	}
	search(r.recent)
	each(t.data, conv(c, convHandled), func(_, v []byte) bool {
		if found == nil && err == nil {
			search(v)
		}
		return found == nil && err == nil
	})
	return found, err
}

// backwards calls fn for everything that a conversation lists as handled, the
// newest first, until fn returns false.
func (t *tx) backwards(c store.Conversation, r row, fn func(handled) (bool, error)) error {
	var lists [][]byte
	each(t.data, conv(c, convHandled), func(_, v []byte) bool {
		lists = append(lists, v)
		return true
	})
	for _, packed := range slices.Backward(append(lists, r.recent)) {
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
		e, err := t.entry(c, h.seq)
		list = append(list, e)
		return true, err
	})
	slices.Reverse(list)
	return list, err
}
