package boltstore

import (
	"bytes"
	"fmt"
	"slices"
	"time"

	"shimwright/store"
	"shimwright/store/internal/fields"
	"shimwright/store/internal/values"
)

// The bucket log holds the entries of all transcripts. What a transaction adds
// goes under one key, the number of its last entry, as one value: a batch of
// commits then writes its entries in one piece instead of a page each.

// pieceMax is about how many bytes of entries go under one key. As a page holds
// two keys at least, each transaction writes the last piece before it again.
const pieceMax = 8 << 10

// piece is a list of packed entries, in order.
type piece struct {
	first, last uint64
	list        [][]byte
	size        int
}

func readPiece(v []byte) (list [][]byte, err error) {
	r := fields.NewReader(v)
	for r.More() {
		list = append(list, r.View())
	}
	return list, r.Err()
}

func packPiece(list [][]byte) []byte {
	size := 0
	for _, packed := range list {
		size += len(packed) + 8
	}
	w := fields.NewWriter(size)
	for _, packed := range list {
		w.Bytes(packed)
	}
	return w.Packed()
}

// append adds an entry, whose number is the greatest so far, to what flush
// writes.
func (t *tx) append(e store.Entry) {
	t.dirty = true
	if t.added.first == 0 {
		t.added.first = e.Seq
	}
	packed := values.Entry(e)
	t.added.last = e.Seq
	t.added.list = append(t.added.list, packed)
	if t.added.size += len(packed); t.added.size > pieceMax {
		t.flushLog()
	}
}

// flushLog writes the entries that were added.
func (t *tx) flushLog() {
	if len(t.added.list) > 0 {
		t.put(t.log, key(nil).num(t.added.last), packPiece(t.added.list))
	}
	t.added = piece{}
}

// restoredKey is where an entry that came from a backup lies. Its number is
// its conversation's only: another engine counts each shop by itself. Numbers
// given later are greater than all of them.
func restoredKey(c store.Conversation, seq uint64) []byte {
	return key(nil).num(seq).str(c.Shop).str(c.ID)
}

// pieceOf returns the key and the entries of the piece in which an entry of a
// conversation lies.
func (t *tx) pieceOf(c store.Conversation, seq uint64) (k []byte, list [][]byte, err error) {
	if k := restoredKey(c, seq); t.log.Get(k) != nil {
		list, err = readPiece(t.log.Get(k))
		return k, list, err
	}
	if t.added.first != 0 && seq >= t.added.first {
		return nil, t.added.list, nil
	}
	k, v := t.log.Cursor().Seek(key(nil).num(seq))
	list, err = readPiece(v)
	return k, list, err
}

// entry reads an entry of the log.
func (t *tx) entry(c store.Conversation, seq uint64) (store.Entry, error) {
	_, list, err := t.pieceOf(c, seq)
	if err != nil {
		return store.Entry{}, err
	}
	for _, packed := range list {
		if n, err := values.ReadNumber(packed); err == nil && uint64(n) == seq {
			return values.ReadEntry(packed)
		}
	}
	return store.Entry{}, fmt.Errorf("store: entry %d is not in the log", seq)
}

// changeEntries calls change for each of the entries given that is there; it
// returns what to keep in its place, nil to delete it.
func (t *tx) changeEntries(c store.Conversation, seqs []uint64, change func(store.Entry) *store.Entry) {
	t.flushLog()
	wanted := map[uint64]bool{}
	for _, seq := range seqs {
		wanted[seq] = true
	}
	for _, seq := range seqs {
		if !wanted[seq] {
			continue // done with another of the same piece
		}
		k, list, err := t.pieceOf(c, seq)
		t.fail(err)
		delete(wanted, seq)
		if k == nil {
			continue // swept
		}
		k = bytes.Clone(k)
		list = slices.Clone(list)
		for i, packed := range list {
			n, err := values.ReadNumber(packed)
			t.fail(err)
			if uint64(n) != seq && !wanted[uint64(n)] {
				continue
			}
			delete(wanted, uint64(n))
			e, err := values.ReadEntry(packed)
			t.fail(err)
			if list[i] = nil; err == nil {
				if kept := change(e); kept != nil {
					list[i] = values.Entry(*kept)
				}
			}
		}
		t.putPiece(k, slices.DeleteFunc(list, func(p []byte) bool { return p == nil }))
	}
}

func (t *tx) putPiece(k []byte, list [][]byte) {
	if len(list) == 0 {
		t.del(t.log, k)
		return
	}
	t.put(t.log, k, packPiece(list))
}

// sweepPieces is how many pieces of the log go at once.
const sweepPieces = 64

// sweepLog deletes the oldest pieces of the log, those of which every entry
// expired more than store.SweepAfter ago, when there are many: whole pages then
// become free, where one piece would leave a page to be written again.
func (t *tx) sweepLog(now time.Time) {
	var expired [][]byte
	c := t.log.Cursor()
	for k, v := c.First(); k != nil && len(expired) < sweepPieces && allSwept(v, now); k, v = c.Next() {
		expired = append(expired, bytes.Clone(k))
	}
	if len(expired) < sweepPieces {
		return
	}
	for _, k := range expired {
		t.del(t.log, k)
	}
}

func allSwept(v []byte, now time.Time) bool {
	list, err := readPiece(v)
	if err != nil {
		return false
	}
	for _, packed := range list {
		at, err := values.EntryAt(packed)
		if err != nil || !swept(at.Add(store.KeepIDs), now) {
			return false
		}
	}
	return true
}

// swept reports whether something with this expiry may be deleted.
func swept(expires, now time.Time) bool {
	return !expires.IsZero() && store.Expired(expires.Add(store.SweepAfter), now)
}
