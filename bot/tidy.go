package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"shimwright/dialog"
	"shimwright/store"
)

// Some things are left for whoever comes by next: an erasure that was cut off,
// and codes whose time is over, which open nothing and lie in the directory
// still. Where nobody comes by, a command goes through all shops. Each step done
// again, or by two at once, changes nothing.

// tidyShops is how many shops one look goes through.
const tidyShops = 100

// tidied is what one look did.
type tidied struct {
	Next  string `json:"next"` // where the next one goes on, "" at the end
	Shops int    `json:"shops"`
	Gone  int    `json:"gone"`  // shops whose erasure was finished
	Saws  int    `json:"saws"`  // the same of saws
	Codes int    `json:"codes"` // that were over
}

// tidyFrom looks at the shops after one.
func tidyFrom(ctx context.Context, s store.Store, after string, now time.Time) (done tidied, err error) {
	list, err := s.Shops(ctx, after, tidyShops)
	if err != nil {
		return done, err
	}
	for _, shop := range list {
		if err := done.shop(ctx, s, shop, now); err != nil {
			return done, err
		}
	}
	if len(list) == tidyShops {
		done.Next = list[len(list)-1]
	}
	return done, nil
}

func (t *tidied) shop(ctx context.Context, s store.Store, shop string, now time.Time) error {
	t.Shops++
	people, version, err := loadPeople(ctx, s, shop)
	if err != nil {
		return err
	}
	if people.Erased {
		t.Gone++
		return s.Erase(ctx, store.Scope{Shop: shop})
	}
	_, docs, err := shopSaws(ctx, s, shop)
	if err != nil {
		return err
	}
	for id, d := range docs {
		if string(d.Body) == tombstone {
			if err := s.Erase(ctx, store.Scope{Shop: shop, Saw: id}); err != nil {
				return err
			}
			t.Saws++
		}
	}
	return t.codes(ctx, s, shop, people, version, now)
}

// codes takes those that are over out of the directory, then out of the people:
// a crash in between leaves them to be found again.
func (t *tidied) codes(ctx context.Context, s store.Store, shop string, people dialog.People, version uint64, now time.Time) error {
	var over []string
	people.Joins = slices.DeleteFunc(slices.Clone(people.Joins), func(j dialog.Join) bool {
		if now.Before(j.Expires) {
			return false
		}
		over = append(over, joinAddress(j.Hash))
		return true
	})
	people.Persons = slices.Clone(people.Persons)
	for i := range people.Persons {
		q := &people.Persons[i]
		q.Links = slices.DeleteFunc(slices.Clone(q.Links), func(c dialog.LinkCode) bool {
			if now.Before(c.Expires) {
				return false
			}
			address := joinAddress(c.Hash)
			if hash, pairing := strings.CutPrefix(c.Hash, linkMark); pairing {
				address = linkAddress(hash)
			}
			over = append(over, address)
			return true
		})
	}
	if len(over) == 0 {
		return nil
	}
	for _, address := range over {
		if err := s.Point(ctx, address, shop, ""); err != nil && !errors.Is(err, store.ErrStale) {
			return err
		}
	}
	err := s.Commit(ctx, store.Commit{Shop: shop, At: now,
		Put: []store.Doc{{Kind: store.KindPeople, Version: version, Body: encode(people)}}})
	if errors.Is(err, store.ErrStale) {
		return nil // somebody is at work there; another time
	}
	if err == nil {
		t.Codes += len(over)
	}
	return err
}

// tidyCommand goes through all shops and says what it did.
func tidyCommand(ctx context.Context, c console, _ []string) (err error) {
	cfg, err := LoadConfig()
	if err != nil {
		return err
	}
	k, err := openKeeper(ctx, cfg)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, k.close()) }()
	var sum tidied
	for {
		did, err := k.tidy(ctx, sum.Next)
		if err != nil {
			return err
		}
		sum = tidied{did.Next, sum.Shops + did.Shops, sum.Gone + did.Gone, sum.Saws + did.Saws, sum.Codes + did.Codes}
		if sum.Next == "" {
			break
		}
	}
	fmt.Fprintf(c.out, "%s looked at: %s and %s that were forgotten are gone, %s that nobody used in time taken out.\n",
		some(sum.Shops, "shop"), some(sum.Gone, "shop"), some(sum.Saws, "saw"), some(sum.Codes, "code"))
	return nil
}
