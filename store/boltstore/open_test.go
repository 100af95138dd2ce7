package boltstore

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	bolt "go.etcd.io/bbolt"

	"shimwright/store"
	"shimwright/store/storetest"
)

// The failure: file locked by another process.
func TestFileLockedByAnotherProcess(t *testing.T) {
	path := filepath.Join(t.TempDir(), "store.db")
	c := startChild(t, "hold", path)
	c.line(t) // it has the file open
	s, err := Open(path)
	if !errors.Is(err, store.ErrLocked) || !strings.Contains(err.Error(), path) {
		t.Fatalf("Open: %v, %v", s, err)
	}
	c.kill()
	if s, err = Open(path); err != nil {
		t.Fatalf("after the other process ended: %v", err)
	}
	defer func() { _ = s.Close() }()
	if _, err := Open(path); !errors.Is(err, store.ErrLocked) {
		t.Errorf("opened twice in one process: %v", err)
	}
	if lockWait > 900*time.Millisecond {
		t.Errorf("Open waits %v for the lock, it should fail within a second", lockWait)
	}
}

// A file that was cut short, or some of whose pages are not what they were, is
// called damaged when it is opened or when it is checked: it ends no process. On
// Linux a read beyond the end of a mapped file is a SIGBUS (mmap(2)).
func TestDamagedFile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "store.db")
	s, err := open(path)
	if err != nil {
		t.Fatal(err)
	}
	err = s.db.Update(func(tx *bolt.Tx) error {
		for i := range 2000 {
			if err := tx.Bucket(bucketShops).Put(fmt.Appendf(nil, "shop-%d", i), bytes.Repeat([]byte("x"), 100)); err != nil {
				return err
			}
		}
		return nil
	})
	if err = errors.Join(err, s.Close()); err != nil {
		t.Fatal(err)
	}
	good, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	page := os.Getpagesize() // that of bbolt's files too
	refused := 0
	for n := 2 * page; n < len(good); n += page {
		refused += damages(t, fmt.Sprintf("cut at %d", n), good[:n])
		broken := bytes.Clone(good)
		for i := n; i < n+page; i++ {
			broken[i] ^= 0xa5
		}
		refused += damages(t, fmt.Sprintf("page at %d broken", n), broken)
	}
	if refused < len(good)/page { // every file that was cut, and some of the others
		t.Errorf("%d of %d pages that were missing or broken were noticed", refused, 2*(len(good)/page-2))
	}
}

// damages opens and checks a file, and returns 1 when it is called damaged.
func damages(t *testing.T, name string, file []byte) int {
	t.Helper()
	path := filepath.Join(t.TempDir(), "store.db")
	if err := os.WriteFile(path, file, 0o600); err != nil {
		t.Fatal(err)
	}
	s, err := open(path)
	if err != nil {
		if !strings.Contains(err.Error(), "is damaged") || !strings.Contains(err.Error(), "restore a backup") {
			t.Errorf("%s: %v", name, err)
		}
		return 1
	}
	defer s.Close()
	if faults, err := s.Check(t.Context()); err != nil || len(faults) > 0 {
		return 1
	}
	return 0
}

func TestOpenRefuses(t *testing.T) {
	dir := t.TempDir()
	newer := filepath.Join(dir, "newer.db")
	s, err := open(newer)
	if err != nil {
		t.Fatal(err)
	}
	err = s.db.Update(func(tx *bolt.Tx) error {
		return tx.Bucket(bucketMeta).Put(keySchema, []byte(strconv.Itoa(Schema+1)))
	})
	if err = errors.Join(err, s.Close()); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(newer); !errors.Is(err, store.ErrNewer) {
		t.Errorf("a newer schema: %v", err)
	}
	text := filepath.Join(dir, "text.db")
	if err := os.WriteFile(text, bytes.Repeat([]byte("not a store\n"), 4096), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, path := range []string{text, filepath.Join(dir, "missing", "store.db"), dir} {
		if _, err := Open(path); err == nil || !strings.Contains(err.Error(), path) {
			t.Errorf("%s: %v", path, err)
		}
	}
	if left, err := os.ReadFile(text); err != nil || !bytes.HasPrefix(left, []byte("not a store")) {
		t.Error("a file that is not a store was written to")
	}
}

func TestWhatIsStoredIsThereAfterOpeningAgain(t *testing.T) {
	path := filepath.Join(t.TempDir(), "store.db")
	var first, second bytes.Buffer
	for i, w := range []*bytes.Buffer{&first, &second} {
		s, err := Open(path)
		if err != nil {
			t.Fatal(err)
		}
		if i == 0 {
			storetest.Fill(t, s, storetest.Noon)
		}
		if faults, err := s.Check(t.Context()); err != nil || len(faults) > 0 {
			t.Errorf("Check: %v %v", faults, err)
		}
		if err := errors.Join(s.Backup(t.Context(), w), s.Close()); err != nil {
			t.Fatal(err)
		}
	}
	if first.String() != second.String() {
		t.Errorf("before:\n%s\nafter:\n%s", &first, &second)
	}
}

// An erased page that could not be cleared at once is cleared at the next
// opening.
func TestClearingIsMadeUpForWhenOpening(t *testing.T) {
	path := filepath.Join(t.TempDir(), "store.db")
	s, err := open(path)
	if err != nil {
		t.Fatal(err)
	}
	const canary = "canary-in-an-old-page"
	err = s.Commit(t.Context(), store.Commit{Shop: canary, At: storetest.Noon, Put: []store.Doc{{Kind: store.KindSaw, ID: "s", Body: []byte(canary)}}})
	if err != nil {
		t.Fatal(err)
	}
	// As Erase, up to the moment before the file is rewritten.
	err = s.write(t.Context(), func(tx *tx) error {
		tx.erase(store.Scope{Shop: canary})
		tx.put(tx.meta, keyScrub, []byte{1})
		return nil
	})
	if err = errors.Join(err, s.Close()); err != nil {
		t.Fatal(err)
	}
	contains := func() bool {
		raw, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		return bytes.Contains(raw, []byte(canary))
	}
	if !contains() {
		t.Skip("left out: the pages of the canary were used again already, so there is nothing to clear")
	}
	if err := os.WriteFile(compactPath(path), []byte("left by a compaction that was cut off"), 0o600); err != nil {
		t.Fatal(err)
	}
	if s, err = open(path); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if contains() {
		t.Error("the canary is still in the file")
	}
	if _, err := os.Stat(compactPath(path)); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("the half of a new file is still there: %v", err)
	}
}

// Calls that come while the file is rewritten wait and then see the new one.
func TestErasingWhileOthersCommit(t *testing.T) {
	s := openNew(t)
	done := make(chan error)
	for lane := range 4 {
		go func() {
			var err error
			for n := 0; n < 50 && err == nil; n++ {
				err = s.Commit(context.Background(), store.Commit{
					Shop: fmt.Sprint("shop-", lane), Conversation: "c", At: storetest.Noon,
					Inbound: store.Handled{ID: fmt.Sprint(n)},
				})
			}
			done <- err
		}()
	}
	for range 5 {
		if err := s.Commit(t.Context(), store.Commit{Shop: "gone", At: storetest.Noon}); err != nil {
			t.Fatal(err)
		}
		if err := s.Erase(t.Context(), store.Scope{Shop: "gone"}); err != nil {
			t.Fatal(err)
		}
	}
	for range 4 {
		if err := <-done; err != nil {
			t.Error(err)
		}
	}
	for lane := range 4 {
		entries, err := s.Transcript(t.Context(), store.Conversation{Shop: fmt.Sprint("shop-", lane), ID: "c"}, 0, 99)
		if err != nil || len(entries) != 50 {
			t.Errorf("lane %d: %d entries, %v", lane, len(entries), err)
		}
	}
}

// One commit that is stale, full or seen does not disturb the others of its
// batch.
func TestRefusalsDoNotFailOthersOfTheBatch(t *testing.T) {
	s := openNew(t)
	const lanes, rounds = 32, 20
	results := make(chan error, lanes)
	for round := range rounds {
		for lane := range lanes {
			c := store.Commit{
				Shop: "shop", Conversation: fmt.Sprint("c-", lane), At: storetest.Noon,
				Inbound: store.Handled{ID: fmt.Sprint("m-", round)},
			}
			switch lane % 4 {
			case 1:
				c.Read = []store.Version{{Kind: store.KindPeople, Version: 99}}
			case 2:
				c.Answer = make([]byte, store.MaxAnswer+1)
			case 3:
				c.Inbound.ID = "always the same"
			}
			go func() {
				err := s.Commit(context.Background(), c)
				var seen *store.SeenError
				switch {
				case lane%4 == 0 && err == nil, lane%4 == 3 && round == 0 && err == nil:
				case lane%4 == 1 && errors.Is(err, store.ErrStale), lane%4 == 2 && errors.Is(err, store.ErrFull):
				case lane%4 == 3 && errors.As(err, &seen):
				default:
					results <- fmt.Errorf("lane %d, round %d: %v", lane, round, err)
					return
				}
				results <- nil
			}()
		}
		for range lanes {
			if err := <-results; err != nil {
				t.Error(err)
			}
		}
	}
	for lane := 0; lane < lanes; lane += 4 {
		entries, err := s.Transcript(t.Context(), store.Conversation{Shop: "shop", ID: fmt.Sprint("c-", lane)}, 0, 99)
		if err != nil || len(entries) != rounds {
			t.Errorf("lane %d: %d entries, %v", lane, len(entries), err)
		}
	}
}
