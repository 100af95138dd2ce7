package boltstore

import (
	"bytes"
	"slices"
	"time"

	"shimwright/store"
	"shimwright/store/internal/values"
)

// sweep looks at the next keys of the bucket data after from, deletes what
// expired more than store.SweepAfter ago, and returns where to go on. Every commit pays for a
// few keys, so that what is swept keeps pace with what is written and there is
// no index to keep.
func (t *tx) sweep(from []byte, keys int, now time.Time) (next []byte) {
	type found struct{ k, v []byte }
	var old []found
	c := t.data.Cursor()
	k, v := c.Seek(from)
	for ; k != nil && keys > 0; k, v = c.Next() {
		keys--
		if perishable(k) {
			old = append(old, found{bytes.Clone(k), v})
		}
	}
	next = bytes.Clone(k) // nil at the end: begin again
	for _, f := range old {
		t.sweepOne(f.k, f.v, now)
	}
	return next
}

// perishable reports whether a key is of something that expires.
func perishable(k []byte) bool {
	p := parse(k)
	p.str()
	switch p.tag() {
	case tagPeople, tagSaw, tagOther:
		return true
	case tagConversation:
		p.str()
		tag := p.tag()
		return tag == convRow || tag == convHandled
	}
	return false
}

// sweepOne deletes a document, or what has expired in a row or list.
func (t *tx) sweepOne(k, v []byte, now time.Time) {
	p := parse(k)
	c := store.Conversation{Shop: p.str()}
	if p.tag() != tagConversation {
		_, expires, err := values.DocHead(v)
		if err == nil && swept(expires, now) {
			t.del(t.data, k)
		}
		return
	}
	c.ID = p.str()
	old := func(h handled) bool { return swept(h.at.Add(store.KeepIDs), now) }
	if p.tag() == convHandled {
		list, err := readHandled(v)
		if err == nil && !slices.ContainsFunc(list, func(h handled) bool { return !old(h) }) {
			t.del(t.data, k)
		}
		return
	}
	r, err := readRow(v)
	if err != nil {
		return // Check will say so
	}
	// A list that is still growing is not trimmed: it moves to a key of its own
	// when it is full, and goes as a whole. To rewrite the rows of others with
	// every commit would double what a commit writes.
	gone, idle := r.version > 0 && swept(r.expires, now), len(r.recent) > 0
	err = handledList(r.recent, func(h handled) bool {
		idle = old(h)
		return idle
	})
	if err != nil || !gone && !idle {
		return
	}
	if gone {
		r.setDoc(store.Doc{})
	}
	if idle {
		r.recent = nil
	}
	t.putRow(c, r)
}
