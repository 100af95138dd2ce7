//go:build unix

package boltstore

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"shimwright/store"
	"shimwright/store/storetest"
)

// fillUp commits until the file may not grow any more, in the other process.
func fillUp(path string) error {
	s, err := Open(path)
	if err != nil {
		return err
	}
	limit := syscall.Rlimit{Cur: 4 << 20, Max: 4 << 20}
	if err := syscall.Setrlimit(syscall.RLIMIT_FSIZE, &limit); err != nil {
		return err
	}
	body := []byte(strings.Repeat("x", 100<<10))
	for n := 0; n < 1000; n++ {
		err := s.Commit(context.Background(), store.Commit{
			Shop: "shop", Conversation: "c", At: storetest.Noon, Inbound: store.Handled{ID: fmt.Sprint(n)},
			Put: []store.Doc{{Kind: store.KindReport, ID: fmt.Sprint(n), Body: body}},
		})
		if err == nil {
			continue
		}
		if !errors.Is(err, store.ErrFull) {
			return fmt.Errorf("message %d: %w", n, err)
		}
		fmt.Println("full", n)
		// Reading goes on.
		if _, err := s.Load(context.Background(), store.Conversation{Shop: "shop", ID: "c"}, "0"); err != nil {
			return err
		}
		return s.Close()
	}
	return errors.New("it never got full")
}

// No room on the disk: here a limit on the size of the file.
func TestNoRoomLosesNothing(t *testing.T) {
	path := filepath.Join(t.TempDir(), "store.db")
	c := startChild(t, "fill", path)
	var n int
	if _, err := fmt.Sscanf(c.line(t), "full %d", &n); err != nil || n == 0 {
		t.Fatalf("the other process stored %d messages: %v", n, err)
	}
	if rest := c.rest(); len(rest) > 0 {
		t.Fatalf("the other process: %v", rest)
	}
	s, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = s.Close() }()
	entries, err := s.Transcript(t.Context(), store.Conversation{Shop: "shop", ID: "c"}, 0, 1000)
	if err != nil || len(entries) != n {
		t.Errorf("%d entries of %d, %v", len(entries), n, err)
	}
	if faults, err := s.Check(t.Context()); err != nil || len(faults) > 0 {
		t.Errorf("Check: %v %v", faults, err)
	}
}
