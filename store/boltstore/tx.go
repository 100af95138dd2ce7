package boltstore

import (
	"bytes"
	"strconv"
	"time"

	bolt "go.etcd.io/bbolt"

	"shimwright/store"
	"shimwright/store/internal/values"
)

// tx is a transaction with its buckets. Its writing methods keep the first
// error in err; the transaction is then rolled back as a whole.
type tx struct {
	btx                                           *bolt.Tx
	meta, shops, data, times, addresses, pointing *bolt.Bucket
	count                                         map[string]int // changes of the counters
	dirty                                         bool
	err                                           error
}

// The counters in the bucket meta.
const (
	countWaiting = "waiting"
	countDead    = "dead"
)

func newTx(t *bolt.Tx) *tx {
	return &tx{
		btx: t, meta: t.Bucket(bucketMeta), shops: t.Bucket(bucketShops), data: t.Bucket(bucketData),
		times: t.Bucket(bucketTimes), addresses: t.Bucket(bucketAddresses), pointing: t.Bucket(bucketPointing),
	}
}

func (t *tx) fail(err error) {
	if t.err == nil && err != nil {
		t.err = failed("writing", err)
	}
}

func (t *tx) put(b *bolt.Bucket, k, v []byte) {
	t.dirty = true
	t.fail(b.Put(k, v))
}

func (t *tx) del(b *bolt.Bucket, k []byte) {
	t.dirty = true
	t.fail(b.Delete(k))
}

// next returns the next number of the file: versions, entries, tokens and
// places in a queue are all taken from it and never used twice.
func (t *tx) next() uint64 {
	t.dirty = true
	n, err := t.data.NextSequence()
	t.fail(err)
	return n
}

// add changes a counter.
func (t *tx) add(counter string, by int) {
	if t.count == nil {
		t.count = map[string]int{}
	}
	t.count[counter] += by
}

// counter reads a counter, changes of this transaction included.
func (t *tx) counter(name string) int {
	n, _ := strconv.Atoi(string(t.meta.Get([]byte(name))))
	return n + t.count[name]
}

// flush writes the counters that changed.
func (t *tx) flush() {
	for name, by := range t.count {
		if by != 0 {
			t.put(t.meta, []byte(name), []byte(strconv.Itoa(t.counter(name))))
			t.count[name] = 0
		}
	}
}

// each calls fn for every key of b that begins with prefix, in order, until it
// returns false. fn must not change b.
func each(b *bolt.Bucket, prefix []byte, fn func(k, v []byte) bool) {
	c := b.Cursor()
	for k, v := c.Seek(prefix); k != nil && bytes.HasPrefix(k, prefix); k, v = c.Next() {
		if !fn(k, v) {
			return
		}
	}
}

// keysOf returns copies of the keys of b that begin with prefix.
func keysOf(b *bolt.Bucket, prefix []byte) [][]byte {
	var keys [][]byte
	each(b, prefix, func(k, _ []byte) bool {
		keys = append(keys, bytes.Clone(k))
		return true
	})
	return keys
}

// countOf counts the keys of b that begin with prefix.
func countOf(b *bolt.Bucket, prefix []byte) int {
	n := 0
	each(b, prefix, func(_, _ []byte) bool { n++; return true })
	return n
}

// doc returns a document as it counts at now: one that has expired has
// version 0.
func (t *tx) doc(shop string, kind store.Kind, id string, now time.Time) (store.Doc, error) {
	none := store.Doc{Kind: kind, ID: id}
	packed := t.data.Get(docKey(shop, kind, id))
	if packed == nil {
		return none, nil
	}
	d, err := values.ReadDoc(kind, id, packed)
	if err != nil || store.Expired(d.Expires, now) {
		return none, err
	}
	return d, nil
}

// version is the present version of a document.
func (t *tx) version(shop string, kind store.Kind, id string, now time.Time) (uint64, error) {
	packed := t.data.Get(docKey(shop, kind, id))
	if packed == nil {
		return 0, nil
	}
	version, expires, err := values.DocHead(packed)
	if err != nil || store.Expired(expires, now) {
		return 0, err
	}
	return version, nil
}

// entry returns the entry that handled id, nil when there is none or it is
// older than ids are kept.
func (t *tx) entry(c store.Conversation, id string, now time.Time) (*store.Entry, error) {
	number := t.data.Get(conv(c, convID).str(id))
	if number == nil {
		return nil, nil
	}
	packed := t.data.Get(append(conv(c, convEntry), number...))
	if packed == nil {
		return nil, nil
	}
	e, err := values.ReadEntry(packed)
	if err != nil || store.Expired(e.At.Add(store.KeepIDs), now) {
		return nil, err
	}
	return &e, nil
}
