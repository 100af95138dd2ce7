package main

import (
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"shimwright/bot/channel/page"
	"shimwright/bot/channel/webhook"
	"shimwright/dialog"
	"shimwright/store"
	"shimwright/store/boltstore"
)

// counted makes ids that a test can foresee.
func counted() func() string {
	n := 0
	return func() string { n++; return fmt.Sprint(n) }
}

func TestSpeaker(t *testing.T) {
	day := time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC)
	now := day.Add(9 * time.Hour)
	n := newcomers{newID: counted()}
	kim := dialog.Person{ID: "p1", Name: "kim", Role: dialog.Owner,
		Addresses: []dialog.Address{{Channel: webhook.Name, To: "kim", Conversation: "rig", Used: day}}}
	lee := dialog.Person{ID: "p7", Name: "Lee", Devices: []dialog.Device{{Hash: "a"}, {Hash: "b", Revoked: true}}}
	gone := dialog.Person{ID: "p8", Removed: true, Devices: []dialog.Device{{Hash: "c"}}}
	for _, c := range []struct {
		name    string
		speaker speaker
		people  []dialog.Person
		want    string // id of the speaker
		role    dialog.Role
		changed bool
		err     error
	}{
		{"the owner of a new shop", speaker{kind: local, conversation: "page-1"}, nil, homeOwner, dialog.Owner, true, nil},
		{"the first whom a program speaks for owns the shop", speaker{kind: program, sender: "kim", conversation: "rig"}, nil, "p1", dialog.Owner, true, nil},
		{"the second one sets up and measures", speaker{kind: program, sender: "lee", conversation: "rig"}, []dialog.Person{kim}, "p2", dialog.Setter, true, nil},
		{"the first one again, the same day", speaker{kind: program, sender: "kim", conversation: "rig"}, []dialog.Person{kim}, "p1", dialog.Owner, false, nil},
		{"the same name in another conversation is another person", speaker{kind: program, sender: "kim", conversation: "rig-2"}, []dialog.Person{kim}, "p3", dialog.Setter, true, nil},
		{"a paired phone", speaker{kind: paired, device: "a", conversation: "page-2"}, []dialog.Person{kim, lee}, "p7", "", true, nil},
		{"a revoked phone", speaker{kind: paired, device: "b"}, []dialog.Person{kim, lee}, "", "", false, errRevoked},
		{"the phone of somebody who left", speaker{kind: paired, device: "c"}, []dialog.Person{gone}, "", "", false, errRevoked},
	} {
		t.Run(c.name, func(t *testing.T) {
			before := string(encode(c.people))
			got, err := c.speaker.in(dialog.People{Persons: c.people}, n, now)
			people, id, changed := got.people, got.id, got.changed
			if !errors.Is(err, c.err) || id != c.want || changed != c.changed {
				t.Fatalf("got %q, changed %v, error %v; want %q, %v, %v", id, changed, err, c.want, c.changed, c.err)
			}
			if string(encode(c.people)) != before {
				t.Error("the people given were changed")
			}
			if err != nil {
				return
			}
			i := slices.IndexFunc(people.Persons, func(p dialog.Person) bool { return p.ID == id })
			if p := people.Persons[i]; c.role != "" && p.Role != c.role {
				t.Errorf("role %q, want %q", p.Role, c.role)
			}
			if _, ok := reachable(people, id, c.speaker.conversation); !ok {
				t.Error("the speaker has no address now")
			}
		})
	}
}

func TestAddressesFollowThePerson(t *testing.T) {
	now := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	var people dialog.People
	say := func(conversation string, at time.Time) bool {
		t.Helper()
		p, err := speaker{kind: local, conversation: conversation}.in(people, newcomers{}, at)
		if err != nil {
			t.Fatal(err)
		}
		people = p.people
		return p.changed
	}
	say("phone", now)
	if say("phone", now.Add(time.Hour)) {
		t.Error("the same day in the same place changed the people")
	}
	if !say("phone", now.Add(24*time.Hour)) {
		t.Error("the next day did not")
	}
	say("bench", now)
	say("phone", now)
	if a, _ := reachable(people, homeOwner, ""); a.Conversation != "phone" || a.Channel != page.Name {
		t.Errorf("reached at %+v, want where they were heard last", a)
	}
	for i := range 20 {
		say(fmt.Sprint("browser-", i), now)
	}
	if n := len(people.Persons[0].Addresses); n != maxAddresses {
		t.Errorf("%d addresses are kept, want %d", n, maxAddresses)
	}
}

// TestFoundingSurvivesCrashes stops the founding of a shop at each of its two
// steps, and goes on with what is in the file.
func TestFoundingSurvivesCrashes(t *testing.T) {
	who := caller{kind: program}
	t.Run("after the address, before the first commit", func(t *testing.T) {
		path := filepath.Join(t.TempDir(), "test.db")
		first, err := boltstore.Open(path)
		if err != nil {
			t.Fatal(err)
		}
		shop, err := directory{store: first, newID: newID}.found(t.Context(), who, "rig")
		if err != nil {
			t.Fatal(err)
		}
		first.Close() // the crash: nothing was committed
		s := newServiceOn(t, path, newTestClock())
		s.post(posted{ID: "m-1", Conversation: "rig", Sender: "kim", Text: "menu"}, s.signed)
		if got, err := s.store.Resolve(t.Context(), conversationAddress("rig")); err != nil || got != shop {
			t.Errorf("the conversation belongs to %q (%v), want %q", got, err, shop)
		}
		if list, _ := s.store.Shops(t.Context(), "", 10); len(list) != 1 {
			t.Errorf("shops %v, want one", list)
		}
	})
	t.Run("after the commit, before the answer", func(t *testing.T) {
		path := filepath.Join(t.TempDir(), "test.db")
		clock := newTestClock()
		m := posted{ID: "m-1", Conversation: "rig", Sender: "kim", Text: "menu"}
		var first answer
		t.Run("first run", func(t *testing.T) {
			s := newServiceOn(t, path, clock)
			first = s.post(m, s.signed) // its answer is lost on the way
		})
		s := newServiceOn(t, path, clock)
		if again := s.post(m, s.signed); string(encode(again)) != string(encode(first)) {
			t.Errorf("got %s, first %s", encode(again), encode(first))
		}
	})
	t.Run("two replicas at once", func(t *testing.T) {
		s := newService(t)
		shops := make(chan string, 20)
		for range cap(shops) {
			go func() {
				shop, err := directory{store: s.store, newID: newID}.found(t.Context(), who, "rig")
				if err != nil {
					t.Error(err)
				}
				shops <- shop
			}()
		}
		first := <-shops
		for range cap(shops) - 1 {
			if shop := <-shops; shop != first {
				t.Errorf("shops %q and %q", first, shop)
			}
		}
	})
	t.Run("the store is away", func(t *testing.T) {
		s := newService(t)
		s.store.down.Store(true)
		if _, err := (directory{store: s.store, newID: newID}).found(t.Context(), who, "rig"); !errors.Is(err, store.ErrUnavailable) {
			t.Errorf("error %v", err)
		}
	})
}
