package main

import (
	"errors"
	"testing"
	"time"

	"shimwright/dialog"
	"shimwright/store"
)

// What was cut off or left lying is found by going through the shops, in both
// stores, wherever an earlier look was cut off itself; a second look finds
// nothing, and what is still good stays.
func TestTidy(t *testing.T) {
	onEachStore(t, func(t *testing.T, inner store.Store) {
		failing := &failingStore{Store: inner}
		failing.left.Store(1 << 30)
		clock := newTestClock()
		s := newServiceWith(t, failing, clock)
		if _, err := bringIn(t.Context(), s.store, importing{Shop: homeShop, Copy: demoShop()}, clock.now()); err != nil {
			t.Fatal(err)
		}
		s.sayHome("invite")
		s.sayHome("link")
		old, err := s.app.pairing.invite(t.Context(), invitation{})
		if err != nil {
			t.Fatal(err)
		}
		before := s.people(homeShop)
		clock.advance(8 * 24 * time.Hour)
		good, err := s.app.pairing.invite(t.Context(), invitation{Name: "Lee"})
		if err != nil {
			t.Fatal(err)
		}
		// A saw and a shop whose erasure was cut off.
		s.sayHome("forget this machine")
		failing.left.Store(1)
		s.sayHome("forget")
		failing.left.Store(1 << 30)
		if err := s.store.Commit(t.Context(), store.Commit{Shop: "left", At: clock.now(),
			Put: []store.Doc{{Kind: store.KindPeople, Body: encode(dialog.People{Schema: 1, Erased: true})}}}); err != nil {
			t.Fatal(err)
		}
		if list, err := s.store.Records(t.Context(), store.RecordQuery{Shop: homeShop}); err != nil || len(list) == 0 {
			t.Fatalf("the erasure of the saw was not cut off: %v", err)
		}
		var last tidied
		for cut := 0; ; cut++ {
			failing.left.Store(int64(cut))
			last, err = tidyFrom(t.Context(), s.store, "", clock.now())
			failing.left.Store(1 << 30)
			if err == nil {
				break
			}
			if cut > 20 {
				t.Fatalf("it does not come to an end: %v", err)
			}
		}
		if again, err := tidyFrom(t.Context(), s.store, "", clock.now()); err != nil || again.Gone+again.Saws+again.Codes != 0 || again.Next != "" {
			t.Errorf("a second look did %+v after %+v, %v", again, last, err)
		}
		if list, err := s.store.Records(t.Context(), store.RecordQuery{Shop: homeShop}); err != nil || len(list) != 0 {
			t.Errorf("%d records of the saw are left, %v", len(list), err)
		}
		shops, err := s.store.Shops(t.Context(), "", 9)
		for _, shop := range shops {
			if shop == "left" {
				t.Errorf("the shop is still there: %v, %v", shops, err)
			}
		}
		addresses := []string{linkAddress(tokenHash(old.Token)), joinAddress(before.Joins[0].Hash)}
		for _, q := range before.Persons {
			for _, c := range q.Links {
				addresses = append(addresses, joinAddress(c.Hash))
			}
		}
		for _, address := range addresses {
			if shop, err := s.store.Resolve(t.Context(), address); !errors.Is(err, store.ErrNotFound) {
				t.Errorf("%.12s leads to %q, %v", address, shop, err)
			}
		}
		if who, err := s.app.pairing.peek(t.Context(), good.Token); err != nil || who.Name != "Lee" {
			t.Errorf("a link that is good opens %+v, %v", who, err)
		}
		if faults, err := s.store.Check(t.Context()); err != nil || len(faults) > 0 {
			t.Errorf("the store: %v %v", faults, err)
		}
	})
}

// The command says what it did, beside a running service and without one.
func TestTidyCommand(t *testing.T) {
	folder := t.TempDir()
	if _, said, status := runCommand(t, folder, "", "import", demoFile(t, demoShop())); status != 0 {
		t.Fatal(said)
	}
	const want = "1 shop looked at: 0 shops and 0 saws that were forgotten are gone, 0 codes that nobody used in time taken out.\n"
	if out, said, status := runCommand(t, folder, "", "tidy"); status != 0 || out != want {
		t.Errorf("%d %s%s", status, out, said)
	}
}
