package boltstore

import (
	"fmt"
	"testing"
	"time"

	"shimwright/store"
	"shimwright/store/storetest"
)

// What has expired is swept by the commits that follow, of other shops too, so
// that the file does not grow for ever.
func TestWhatHasExpiredIsSwept(t *testing.T) {
	s := openNew(t).(*Store)
	at := storetest.Noon
	commit := func(shop string, n int) {
		t.Helper()
		err := s.Commit(t.Context(), store.Commit{
			Shop: shop, Conversation: "c", At: at, Inbound: store.Handled{ID: fmt.Sprint(n)}, Answer: []byte("answer"),
			Put: []store.Doc{{Kind: store.KindDrawing, ID: fmt.Sprint(n), Body: []byte("spec"), Expires: at.Add(time.Hour)}},
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	for n := range 300 {
		commit("idle since", n)
	}
	before := keys(t, s)
	at = at.Add(store.KeepIDs + 2*store.SweepAfter)
	for n := range 300 {
		at = at.Add(time.Minute)
		commit("busy", n)
	}
	idle := 0
	err := s.view(t.Context(), func(tx *tx) error {
		idle = countOf(tx.data, of("idle since", tagOther)) + countOf(tx.data, conv(store.Conversation{Shop: "idle since", ID: "c"}, convHandled))
		return nil
	})
	if err != nil || idle > 0 {
		t.Errorf("%d keys of what expired are still there, %v", idle, err)
	}
	if after := keys(t, s); after > before+before/2 {
		t.Errorf("%d keys, %d before", after, before)
	}
	if faults, err := s.Check(t.Context()); err != nil || len(faults) > 0 {
		t.Errorf("Check: %v %v", faults, err)
	}
}

func keys(t *testing.T, s *Store) (n int) {
	t.Helper()
	err := s.view(t.Context(), func(tx *tx) error {
		n = countOf(tx.data, nil) + countOf(tx.log, nil)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return n
}
