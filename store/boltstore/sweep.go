package boltstore

import (
	"bytes"
	"time"

	"shimwright/store"
	"shimwright/store/internal/values"
)

// sweep looks at the next keys of the bucket data after from, deletes what
// expired more than store.SweepAfter ago, and returns where to go on. Every
// commit pays for a few keys, so that what is swept keeps pace with what is
// written and there is no index to keep.
func (t *tx) sweep(from []byte, keys int, now time.Time) (next []byte) {
	if now.IsZero() {
		return from
	}
	now = now.Add(-store.SweepAfter)
	var expired [][]byte
	c := t.data.Cursor()
	k, v := c.Seek(from)
	for ; k != nil && keys > 0; k, v = c.Next() {
		keys--
		if expiredAt(k, v, now) {
			expired = append(expired, bytes.Clone(k))
		}
	}
	next = bytes.Clone(k) // nil at the end: begin again
	for _, k := range expired {
		t.deleteExpired(k)
	}
	return next
}

// expiredAt reports whether a value is one that expires, and has.
func expiredAt(k, v []byte, now time.Time) bool {
	p := parse(k)
	p.str()
	tag := p.tag()
	if tag == tagConversation {
		p.str()
		switch p.tag() {
		case convEntry:
			at, err := values.EntryAt(v)
			return err == nil && store.Expired(at.Add(store.KeepIDs), now)
		case convDoc:
			tag = tagOther
		}
	}
	if tag != tagOther && tag != tagSaw && tag != tagPeople {
		return false
	}
	_, expires, err := values.DocHead(v)
	return err == nil && store.Expired(expires, now)
}

// deleteExpired deletes an entry with its id, or a document.
func (t *tx) deleteExpired(k []byte) {
	p := parse(k)
	c := store.Conversation{Shop: p.str()}
	if p.tag() == tagConversation {
		c.ID = p.str()
		if p.tag() == convEntry {
			e, err := values.ReadEntry(t.data.Get(k))
			t.fail(err)
			id := conv(c, convID).str(e.Inbound.ID)
			if bytes.Equal(t.data.Get(id), key(nil).num(e.Seq)) {
				t.del(t.data, id)
			}
		}
	}
	t.del(t.data, k)
}
