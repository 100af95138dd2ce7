package boltstore

import (
	"bytes"
	"context"
	"fmt"
	"slices"

	bolt "go.etcd.io/bbolt"

	"shimwright/store"
	"shimwright/store/internal/values"
)

// Records returns records by q.
func (s *Store) Records(ctx context.Context, q store.RecordQuery) ([]store.Record, error) {
	var found []store.Record
	err := s.view(ctx, func(t *tx) error {
		prefix := of(q.Shop, tagRecord)
		since := of(q.Shop, tagRecord).time(q.Since)
		c := t.data.Cursor()
		k, v := seekBefore(c, append(slices.Clone(prefix), 0xff))
		for ; hasPrefix(k, prefix) && bytes.Compare(k, since) >= 0; k, v = c.Prev() {
			rec, err := values.ReadRecord(v)
			if err != nil {
				return err
			}
			if matches(q, rec) {
				found = append(found, rec)
			}
			if q.Max > 0 && len(found) == q.Max {
				break
			}
		}
		return nil
	})
	slices.Reverse(found)
	return found, err
}

func matches(q store.RecordQuery, rec store.Record) bool {
	return (q.Saw == "" || rec.Saw == q.Saw) &&
		(q.Characteristic == "" || rec.Characteristic == q.Characteristic)
}

// seekBefore moves c to the last key before k. It and Prev are for transactions
// that do not write: they stop at a page from which everything was deleted.
func seekBefore(c *bolt.Cursor, k []byte) (key, value []byte) {
	if found, _ := c.Seek(k); found == nil {
		return c.Last()
	}
	return c.Prev()
}

func hasPrefix(k, prefix []byte) bool { return k != nil && bytes.HasPrefix(k, prefix) }

// checkRecords reports a record whose id is taken.
func (t *tx) checkRecords(c *store.Commit) error {
	for _, rec := range c.Records {
		if t.data.Get(of(c.Shop, tagRecordID).str(rec.ID)) != nil {
			return fmt.Errorf("%w: there is a record %q already", store.ErrConflict, rec.ID)
		}
	}
	return nil
}

// addRecord adds a record and makes it the last of its saw and characteristic
// unless that is newer.
func (t *tx) addRecord(shop string, rec store.Record) {
	k := of(shop, tagRecord).time(rec.At).num(t.next())
	t.put(t.data, k, values.Record(rec))
	t.put(t.data, of(shop, tagRecordID).str(rec.ID), k)
	last := of(shop, tagLast).str(rec.Saw).str(rec.Characteristic)
	if bytes.Compare(k, t.data.Get(last)) > 0 {
		t.put(t.data, last, k)
	}
}
