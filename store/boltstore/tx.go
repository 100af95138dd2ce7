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
	btx                                                *bolt.Tx
	meta, shops, data, times, log, addresses, pointing *bolt.Bucket
	count                                              map[string]int // changes of the counters
	added                                              piece          // to the log, not yet written
	dirty                                              bool
	err                                                error
}

// The counters in the bucket meta.
const (
	countWaiting = "waiting"
	countDead    = "dead"
)

func newTx(t *bolt.Tx) *tx {
	n := &tx{
		btx: t, meta: t.Bucket(bucketMeta), shops: t.Bucket(bucketShops), data: t.Bucket(bucketData),
		times: t.Bucket(bucketTimes), log: t.Bucket(bucketLog), addresses: t.Bucket(bucketAddresses), pointing: t.Bucket(bucketPointing),
	}
	n.log.FillPercent = 1 // it only grows at its end
	return n
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

// tally changes a counter.
func (t *tx) tally(counter string, by int) {
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

// flush writes the entries that were added and the counters that changed.
func (t *tx) flush() {
	t.flushLog()
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
	if err != nil || d.Version == 0 || store.Expired(d.Expires, now) {
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
