package boltstore

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"shimwright/store"
	"shimwright/store/storetest"
)

// The process is killed (SIGKILL) at random instants under load, with the same
// file again and again. Every acknowledged answer is there, none twice, and the
// file opens and is consistent. The short form kills 20 times; with
// SHIMWRIGHT_LONG=1 it is 200:
//
//	SHIMWRIGHT_LONG=1 go test -run TestKilledAtRandomInstants ./store/boltstore
func TestKilledAtRandomInstants(t *testing.T) {
	kills := 20
	if os.Getenv("SHIMWRIGHT_LONG") != "" {
		kills = 200
	}
	random := rand.New(rand.NewPCG(7, 2026))
	path := filepath.Join(t.TempDir(), "store.db")
	acknowledged := map[string]bool{}
	for kill := range kills {
		c := startChild(t, "load", path)
		c.line(t) // open
		first := c.line(t)
		time.Sleep(time.Duration(random.IntN(40_000)) * time.Microsecond)
		c.kill()
		for _, line := range append([]string{first}, c.rest()...) {
			id, ok := strings.CutPrefix(line, "ack ")
			if !ok {
				t.Fatalf("kill %d: the other process said %q", kill, line)
			}
			if acknowledged[id] {
				t.Fatalf("kill %d: %s was acknowledged twice", kill, id)
			}
			acknowledged[id] = true
		}
		afterKill(t, path, kill, acknowledged)
		if t.Failed() {
			return
		}
	}
	t.Logf("%d kills, %d answers acknowledged", kills, len(acknowledged))
}

// afterKill opens the file and looks for everything that was acknowledged.
func afterKill(t *testing.T, path string, kill int, acknowledged map[string]bool) {
	t.Helper()
	s, err := Open(path)
	if err != nil {
		t.Fatalf("kill %d: %v", kill, err)
	}
	defer func() { _ = s.Close() }()
	if faults, err := s.Check(t.Context()); err != nil || len(faults) > 0 {
		t.Errorf("kill %d: Check: %v %v", kill, faults, err)
	}
	stored := map[string]bool{}
	for lane := range childLanes {
		c := store.Conversation{Shop: fmt.Sprint("shop-", lane%3), ID: fmt.Sprint("c-", lane)}
		for _, id := range laneAfterKill(t, s, c, lane) {
			stored[id] = true
		}
	}
	for id := range acknowledged {
		if !stored[id] {
			t.Errorf("kill %d: %s was acknowledged and is lost", kill, id)
		}
	}
	// What is stored and was not acknowledged was under way at a kill: at most
	// one of each conversation for each kill so far.
	if extra := len(stored) - len(acknowledged); extra > childLanes*(kill+1) {
		t.Errorf("kill %d: %d stored and not acknowledged", kill, extra)
	}
}

// laneAfterKill checks one conversation and returns the ids stored in it.
func laneAfterKill(t *testing.T, s store.Store, c store.Conversation, lane int) (ids []string) {
	t.Helper()
	entries, err := s.Transcript(t.Context(), c, 0, 1<<20)
	if err != nil {
		t.Fatal(err)
	}
	for i, e := range entries {
		want := fmt.Sprintf("%d-%d", lane, i+1)
		if e.Inbound.ID != want || string(e.Answer) != "answer to "+want {
			t.Fatalf("%v: entry %d is %s with the answer %q", c, i+1, e.Inbound.ID, e.Answer)
		}
		ids = append(ids, e.Inbound.ID)
	}
	d, err := s.Load(t.Context(), c, fmt.Sprintf("%d-%d", lane, len(entries)))
	if err != nil {
		t.Fatal(err)
	}
	if len(entries) == 0 {
		return nil
	}
	counted, _, _ := strings.Cut(string(d.Conversation.Body), " ")
	if counted != strconv.Itoa(len(entries)) || d.Seen == nil {
		t.Errorf("%v: the document counts %s, the transcript %d (seen: %v)", c, counted, len(entries), d.Seen != nil)
	}
	records, err := s.Records(t.Context(), store.RecordQuery{Shop: c.Shop, Characteristic: c.ID})
	if err != nil || len(records) != len(entries) {
		t.Errorf("%v: %d records, %d entries, %v", c, len(records), len(entries), err)
	}
	again := store.Commit{Shop: c.Shop, Conversation: c.ID, At: storetest.Noon, Inbound: store.Handled{ID: ids[0], Hash: []byte(ids[0])}}
	var seen *store.SeenError
	if err := s.Commit(t.Context(), again); !errors.As(err, &seen) || string(seen.Answer) != "answer to "+ids[0] {
		t.Errorf("%v: the first message again: %v", c, err)
	}
	return ids
}
