package boltstore

import (
	"bytes"
	"sort"
	"time"

	"shimwright/store"
	"shimwright/store/internal/fields"
	"shimwright/store/internal/values"
)

// queue is the outbox of one conversation within a transaction: the messages
// in line, those held until their NotBefore, and the delivery under way of the
// first in line.
type queue struct {
	t *tx
	c store.Conversation
}

func (t *tx) queue(c store.Conversation) queue { return queue{t, c} }

// waiting counts what is not settled.
func (q queue) waiting() int {
	return countOf(q.t.data, conv(q.c, convQueue)) + countOf(q.t.data, conv(q.c, convHeld))
}

// underway returns the delivery under way; ok is false when there is none.
func (q queue) underway() (u store.Underway, ok bool) {
	packed := q.t.data.Get(conv(q.c, convUnderway))
	if packed == nil {
		return u, false
	}
	u, err := values.ReadUnderway(packed)
	q.t.fail(err)
	return u, err == nil
}

func (q queue) setUnderway(u store.Underway) {
	q.t.put(q.t.data, conv(q.c, convUnderway), values.Underway(u))
}

// leased reports whether a worker may be sending the first in line at now.
func (q queue) leased(now time.Time) bool {
	u, ok := q.underway()
	return ok && u.Token != 0 && u.Until.After(now)
}

// head returns the first in line and its key; a nil key when there is none.
func (q queue) head() (k []byte, item values.Item) {
	prefix := conv(q.c, convQueue)
	k, v := q.t.data.Cursor().Seek(prefix)
	if !hasPrefix(k, prefix) {
		return nil, item
	}
	item, err := values.ReadItem(v)
	q.t.fail(err)
	return bytes.Clone(k), item
}

// drop takes the message at k out of the outbox.
func (q queue) drop(k []byte) {
	q.t.del(q.t.data, k)
	q.t.tally(countWaiting, -1)
}

// dropHead takes the first in line out, and its delivery.
func (q queue) dropHead() {
	if k, _ := q.head(); k != nil {
		q.drop(k)
	}
	if q.t.data.Get(conv(q.c, convUnderway)) != nil {
		q.t.del(q.t.data, conv(q.c, convUnderway))
	}
}

// push puts a message at the end of the line.
func (q queue) push(item values.Item) {
	q.t.put(q.t.data, conv(q.c, convQueue).num(q.t.next()), item.Pack())
	q.t.tally(countWaiting, 1)
}

// hold keeps a message until its NotBefore.
func (q queue) hold(item values.Item) {
	q.t.put(q.t.data, conv(q.c, convHeld).time(item.NotBefore).num(q.t.next()), item.Pack())
	q.t.tally(countWaiting, 1)
}

// release puts those whose NotBefore has come at the end of the line.
func (q queue) release(now time.Time) {
	for _, k := range keysOf(q.t.data, conv(q.c, convHeld)) {
		item, err := values.ReadItem(q.t.data.Get(k))
		q.t.fail(err)
		if item.NotBefore.After(now) {
			return
		}
		q.drop(k)
		item.Ready = item.NotBefore
		q.push(item)
	}
}

// ready is when the conversation next has something to send; false when its
// outbox is empty.
func (q queue) ready() (time.Time, bool) {
	if u, ok := q.underway(); ok {
		return u.Until, true
	}
	if k, item := q.head(); k != nil {
		return item.Ready, true
	}
	prefix := conv(q.c, convHeld)
	k, v := q.t.data.Cursor().Seek(prefix)
	if !hasPrefix(k, prefix) {
		return time.Time{}, false
	}
	item, err := values.ReadItem(v)
	q.t.fail(err)
	return item.NotBefore, true
}

// index puts the conversation where Claim finds it, after any change.
func (q queue) index() {
	k := conv(q.c, convReady)
	if old := q.t.data.Get(k); old != nil {
		q.t.del(q.t.times, append(append([]byte{timeReady}, old...), key(nil).str(q.c.Shop).str(q.c.ID)...))
	}
	ready, ok := q.ready()
	if !ok {
		q.t.del(q.t.data, k)
		return
	}
	q.t.put(q.t.data, k, key(nil).time(ready))
	q.t.put(q.t.times, at(timeReady, ready).str(q.c.Shop).str(q.c.ID), []byte{})
}

// enqueue adds the outgoing messages of a commit.
func (t *tx) enqueue(c *store.Commit) {
	changed := map[string]bool{}
	for _, o := range c.Outbox {
		q := t.queue(store.Conversation{Shop: c.Shop, ID: o.Conversation})
		changed[o.Conversation] = true
		if fields.Milli(o.NotBefore) > fields.Milli(c.At) {
			q.hold(values.Item{Out: o, Ready: o.NotBefore})
		} else {
			q.push(values.Item{Out: o, Ready: c.At})
		}
	}
	ids := make([]string, 0, len(changed))
	for id := range changed {
		ids = append(ids, id)
	}
	sort.Strings(ids)
	for _, id := range ids {
		t.queue(store.Conversation{Shop: c.Shop, ID: id}).index()
	}
}

// silence drops what waits. What a worker may be sending now stays at the head,
// so that nothing overtakes it, and is forgotten when it is settled or its
// lease ends.
func (t *tx) silence(c store.Conversation, now time.Time) {
	q := t.queue(c)
	keep, _ := q.head()
	if q.leased(now) {
		u, _ := q.underway()
		u.Silenced = true
		q.setUnderway(u)
	} else {
		keep = nil
	}
	for _, tag := range []byte{convQueue, convHeld} {
		for _, k := range keysOf(t.data, conv(c, tag)) {
			if !bytes.Equal(k, keep) {
				q.drop(k)
			}
		}
	}
	if keep == nil && t.data.Get(conv(c, convUnderway)) != nil {
		t.del(t.data, conv(c, convUnderway))
	}
	q.index()
}
