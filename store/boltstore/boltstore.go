// Package boltstore keeps the store in one file, for one process on one
// machine (go.etcd.io/bbolt).
//
// A commit is on the disk when it returns: the pages that it changed are
// written and synced (fdatasync), then the page that makes them count is
// written and synced. Commits that wait at the same moment share one such
// transaction, and none is told its outcome before the sync is done.
//
// # What a kill may do, and what a loss of power may do
//
// The process may be killed at any instant: what was acknowledged is there,
// what was not is there whole or not at all, and the file opens. The tests kill
// it to show that. They cannot show what a loss of power does, because after a
// kill the operating system still writes out what it was given. There the
// promise rests on three things below this package: that a synced write has
// left the cache of the drive (a drive that answers a flush from a volatile
// cache may lose the last commits, or, writing them out of order, leave a file
// that does not open); that the file system keeps its own order (ext4 and xfs
// with barriers do, some network file systems do not); and that a page that was
// not being written is not damaged by one that was. The two pages that make a
// transaction count carry a checksum and are written in turn, so that a torn
// one falls back to the transaction before it. Nothing else in the file has a
// checksum: a page that rots on the medium is found by Check, not by reading.
// Keep backups.
//
// # Forgetting
//
// Erase rewrites the file without what was erased, so that no page of it keeps
// a deleted line. What the file system, a solid-state drive or an earlier
// backup still holds of the old file is beyond its reach.
package boltstore

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"runtime/debug"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"time"

	bolt "go.etcd.io/bbolt"
	berrors "go.etcd.io/bbolt/errors"

	"shimwright/store"
)

// Schema is the version of the layout of the file.
const Schema = 1

// lockWait is how long Open waits for another process to let go of the file.
const lockWait = 500 * time.Millisecond

// The buckets. What lies in data and times is in keys.go.
var (
	bucketMeta      = []byte("meta")      // schema, counters
	bucketShops     = []byte("shops")     // shop → nothing
	bucketData      = []byte("data")      // everything that belongs to a shop
	bucketTimes     = []byte("times")     // what falls due, in the order of time
	bucketLog       = []byte("log")       // the entries of all transcripts, in order
	bucketAddresses = []byte("addresses") // address → shop
	bucketPointing  = []byte("pointing")  // shop, address → nothing

	keySchema = []byte("schema")
	keyScrub  = []byte("scrub") // there while erased pages have not been cleared
)

// Store is a store in a file. It is a store.Store.
type Store struct {
	path       string
	told       store.Told
	allowances store.Allowances

	file sync.RWMutex // held for writing while the file is exchanged or closed
	db   *bolt.DB     // nil once closed

	jobs  chan *job
	quit  chan struct{} // closed by Close
	ended chan struct{} // closed when the writer has ended
	once  sync.Once
	sweep []byte // where the sweep goes on; the writer's own
}

// Open opens the store in the file at path, making it when there is none. It
// fails with store.ErrLocked within a second when another process has it open,
// and with store.ErrNewer when a later version wrote it.
func Open(path string) (store.Store, error) { return open(path) }

func open(path string) (*Store, error) {
	db, err := openFile(path)
	if err != nil {
		return nil, err
	}
	s := &Store{
		path: path, db: db,
		jobs: make(chan *job, 256), quit: make(chan struct{}), ended: make(chan struct{}),
	}
	if err := s.ready(); err != nil {
		_ = s.db.Close()
		return nil, err
	}
	go s.writer()
	return s, nil
}

// ready looks whether the file is whole, and what is to be done before it is used.
func (s *Store) ready() (err error) {
	defer rescue(s.path, &err)()
	if err := whole(s.db); err != nil {
		return err
	}
	scrub, err := prepare(s.db)
	if err != nil {
		return err
	}
	_ = os.Remove(compactPath(s.path)) // left by a compaction that was cut off
	if scrub {
		return s.compact()
	}
	return nil
}

// whole fails when the file is shorter than what it says it holds: to read beyond
// its end would end the process.
func whole(db *bolt.DB) error {
	i, err := os.Stat(db.Path())
	if err != nil {
		return fmt.Errorf("store: reading %s: %w", db.Path(), err)
	}
	return db.View(func(tx *bolt.Tx) error {
		if i.Size() < tx.Size() {
			return damaged(db.Path(), fmt.Sprintf("%d of %d bytes are there", i.Size(), tx.Size()))
		}
		return nil
	})
}

func damaged(path string, what any) error {
	return fmt.Errorf("store: %s is not a store of this program, or is damaged (%v); restore a backup into a new file", path, what)
}

// rescue makes an error of what the library throws at a page that is damaged, and
// of the fault of memory at one that the file no longer has. It is deferred twice:
// defer rescue(path, &err)().
func rescue(path string, err *error) func() {
	before := debug.SetPanicOnFault(true)
	return func() {
		debug.SetPanicOnFault(before)
		if r := recover(); r != nil {
			*err = damaged(path, r)
		}
	}
}

func openFile(path string) (db *bolt.DB, err error) {
	defer rescue(path, &err)()
	db, err = bolt.Open(path, 0o600, &bolt.Options{Timeout: lockWait, FreelistType: bolt.FreelistMapType})
	switch {
	case err == nil:
		return db, nil
	case errors.Is(err, berrors.ErrTimeout):
		return nil, fmt.Errorf("%w: %s; end that process, or give this one another file", store.ErrLocked, path)
	case errors.Is(err, berrors.ErrInvalid), errors.Is(err, berrors.ErrChecksum), errors.Is(err, berrors.ErrVersionMismatch):
		return nil, damaged(path, err)
	case errors.Is(err, fs.ErrPermission):
		return nil, fmt.Errorf("store: no permission to read and write %s: %w", path, err)
	}
	return nil, fmt.Errorf("store: opening %s: %w", path, err)
}

// prepare makes the buckets of a new file and checks the schema of an old one.
// It reports whether erased pages still have to be cleared.
func prepare(db *bolt.DB) (scrub bool, err error) {
	var found int
	err = db.View(func(tx *bolt.Tx) error {
		if meta := tx.Bucket(bucketMeta); meta != nil {
			found, _ = strconv.Atoi(string(meta.Get(keySchema)))
			scrub = meta.Get(keyScrub) != nil
		}
		return nil
	})
	switch {
	case err != nil:
		return false, fmt.Errorf("store: reading %s: %w", db.Path(), err)
	case found > Schema:
		return false, fmt.Errorf("%w: %s has schema %d, this program knows %d", store.ErrNewer, db.Path(), found, Schema)
	case found == Schema:
		return scrub, nil
	}
	err = db.Update(func(tx *bolt.Tx) error {
		for _, name := range [][]byte{bucketMeta, bucketShops, bucketData, bucketTimes, bucketLog, bucketAddresses, bucketPointing} {
			if _, err := tx.CreateBucketIfNotExists(name); err != nil {
				return err
			}
		}
		return tx.Bucket(bucketMeta).Put(keySchema, []byte(strconv.Itoa(Schema)))
	})
	if err != nil {
		return false, failed("preparing "+db.Path(), err)
	}
	return false, nil
}

// Close ends the store. What was acknowledged is in the file.
func (s *Store) Close() error {
	s.once.Do(func() { close(s.quit) })
	<-s.ended
	s.file.Lock()
	defer s.file.Unlock()
	if s.db == nil {
		return nil
	}
	err := s.db.Close()
	s.db = nil
	if err != nil {
		return fmt.Errorf("store: closing %s: %w", s.path, err)
	}
	return nil
}

// Ping reports whether the file is open.
func (s *Store) Ping(ctx context.Context) error {
	return s.view(ctx, func(*tx) error { return nil })
}

// Take takes from an allowance. No other process has the file, so none shares
// it.
func (s *Store) Take(ctx context.Context, name string, r store.Rate, want int, now time.Time) (got int, wait time.Duration, err error) {
	got, wait = s.allowances.Take(name, r, want, now)
	return got, wait, nil
}

// view runs fn on a consistent state that it cannot change.
func (s *Store) view(ctx context.Context, fn func(*tx) error) error {
	if err := ctx.Err(); err != nil {
		return fmt.Errorf("%w: %w", store.ErrUnavailable, err)
	}
	s.file.RLock()
	defer s.file.RUnlock()
	if s.db == nil {
		return errClosed
	}
	return s.db.View(func(t *bolt.Tx) error { return fn(newTx(t)) })
}

var errClosed = fmt.Errorf("%w: it was closed", store.ErrUnavailable)

// failed names the kind of a failure of the file.
func failed(doing string, err error) error {
	// bbolt keeps only the text of some errors of the system.
	for _, full := range []syscall.Errno{syscall.ENOSPC, syscall.EDQUOT, syscall.EFBIG} {
		if errors.Is(err, full) || strings.Contains(err.Error(), full.Error()) {
			return fmt.Errorf("%w: %s: %w", store.ErrFull, doing, err)
		}
	}
	switch {
	case errors.Is(err, berrors.ErrDatabaseNotOpen):
		return errClosed
	}
	return fmt.Errorf("%w: %s: %w", store.ErrUnavailable, doing, err)
}
