package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"

	"shimwright/dialog"
	"shimwright/store"
)

// forgetting says what is to be deleted: one saw, one person, or with neither
// the whole shop. They are named by name or id.
type forgetting struct {
	Shop   string `json:"shop"`
	Saw    string `json:"saw,omitempty"`
	Person string `json:"person,omitempty"`
}

// forgetIn deletes for good.
func forgetIn(ctx context.Context, s store.Store, f forgetting, now time.Time) error {
	switch {
	case f.Saw != "":
		return forgetSawIn(ctx, s, f, now)
	case f.Person != "":
		return forgetPersonIn(ctx, s, f, now)
	}
	return s.Erase(ctx, store.Scope{Shop: f.Shop})
}

// forgetSawIn puts a tombstone in a saw's place, so that nobody works on it
// while it goes, then erases it.
func forgetSawIn(ctx context.Context, s store.Store, f forgetting, now time.Time) error {
	list, docs, err := shopSaws(ctx, s, f.Shop)
	if err != nil {
		return err
	}
	saw, err := oneSaw(list, f.Saw)
	if err != nil {
		return err
	}
	err = s.Commit(ctx, store.Commit{Shop: f.Shop, At: now,
		Put: []store.Doc{{Kind: store.KindSaw, ID: saw.ID, Version: docs[saw.ID].Version, Body: []byte(tombstone)}}})
	if errors.Is(err, store.ErrStale) {
		return errors.New("somebody works on the saw at this moment; try again")
	}
	if err != nil {
		return err
	}
	if saw.Report != "" {
		if err := s.Point(ctx, reportAddress(dialog.ReportHash(saw.Report)), f.Shop, ""); err != nil && !errors.Is(err, store.ErrStale) {
			return err
		}
	}
	return s.Erase(ctx, store.Scope{Shop: f.Shop, Saw: saw.ID})
}

// forgetPersonIn takes a person out of the people and of their jobs, then
// erases what they said. What they measured stays, without them.
func forgetPersonIn(ctx context.Context, s store.Store, f forgetting, now time.Time) error {
	people, version, err := loadPeople(ctx, s, f.Shop)
	if err != nil {
		return err
	}
	who, err := onePerson(people.Persons, f.Person)
	if err != nil {
		return err
	}
	ids := []string{who.ID} // and those who turned out to be the same person
	for _, p := range people.Persons {
		if p.ID != who.ID && people.Self(p.ID) == who.ID {
			ids = append(ids, p.ID)
		}
	}
	people.Persons = slices.DeleteFunc(slices.Clone(people.Persons), func(p dialog.Person) bool { return slices.Contains(ids, p.ID) })
	if who.Role == dialog.Owner && !slices.ContainsFunc(people.Persons, func(p dialog.Person) bool { return p.Role == dialog.Owner && !p.Removed }) {
		return errors.New("that is the only owner; make somebody else one first, or forget the whole shop")
	}
	c := store.Commit{Shop: f.Shop, At: now, Put: []store.Doc{{Kind: store.KindPeople, Version: version, Body: encode(people)}}}
	saws, docs, err := shopSaws(ctx, s, f.Shop)
	if err != nil {
		return err
	}
	for _, saw := range saws {
		if saw.Running != nil && saw.Running.Person == who.ID {
			left := saw.Elsewhere(now)
			left.Report = saw.Report
			c.Put = append(c.Put, store.Doc{Kind: store.KindSaw, ID: saw.ID, Version: docs[saw.ID].Version, Body: encode(left)})
		}
	}
	err = s.Commit(ctx, c)
	if errors.Is(err, store.ErrStale) {
		return errors.New("somebody works in the shop at this moment; try again")
	}
	if err != nil {
		return err
	}
	for _, d := range who.Devices {
		if err := s.Point(ctx, deviceAddress(d.Hash), f.Shop, ""); err != nil && !errors.Is(err, store.ErrStale) {
			return err
		}
	}
	if err := closeDoors(ctx, s, f.Shop, who.Addresses); err != nil {
		return err
	}
	for _, id := range ids {
		if err := s.Erase(ctx, store.Scope{Shop: f.Shop, Person: id}); err != nil {
			return err
		}
	}
	return nil
}

// onePerson returns the person whom an operator means by a name or an id.
func onePerson(list []dialog.Person, name string) (dialog.Person, error) {
	var names []string
	for _, p := range list {
		if name != "" && (p.ID == name || strings.EqualFold(p.Name, name)) {
			return p, nil
		}
		if p.Into != "" {
			continue // they turned out to be another
		}
		if p.Name == "" {
			names = append(names, p.ID) // all that they are known by
			continue
		}
		names = append(names, p.Name)
	}
	if len(names) == 0 {
		return dialog.Person{}, errors.New("there is nobody in the shop yet")
	}
	return dialog.Person{}, fmt.Errorf("there is nobody called %q in the shop; there are %s", name, strings.Join(names, ", "))
}

// known reports why what is to be deleted is not there, before anybody is asked
// to be sure of it.
func (f forgetting) known(ctx context.Context, a archive) error {
	if f.Saw == "" && f.Person == "" {
		return nil
	}
	held, err := a.export(ctx, exportQuery{Shop: f.Shop})
	switch {
	case err != nil:
		return err
	case f.Saw != "":
		_, err = oneSaw(held.Saws, f.Saw)
	default:
		_, err = onePerson(held.People, f.Person)
	}
	return err
}

// forgetCommand deletes a saw, a person or a shop, once its name is typed again.
func forgetCommand(ctx context.Context, c console, args []string) (err error) {
	flags := commandFlags(c, "forget")
	shop := flags.String("shop", homeShop, "the shop")
	if err := flags.Parse(args); err != nil {
		return err
	}
	f, name := forgetting{Shop: *shop}, ""
	switch rest := flags.Args(); {
	case len(rest) == 2 && rest[0] == "saw":
		f.Saw, name = rest[1], rest[1]
	case len(rest) == 2 && rest[0] == "person":
		f.Person, name = rest[1], rest[1]
	case len(rest) == 1 && rest[0] == "shop":
		name = *shop
	default:
		return errors.New("say what to delete: forget saw \"Old Blue\", forget person Kim, or forget shop")
	}
	cfg, err := LoadConfig()
	if err != nil {
		return err
	}
	a, err := openArchive(ctx, cfg)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, a.close()) }()
	if err := f.known(ctx, a); err != nil {
		return err
	}
	fmt.Fprintf(c.out, "This deletes %s %s and everything that is known of it, for good; `export` takes a copy away first.\nType %s to do it: ", flags.Arg(0), name, name)
	line, _ := bufio.NewReader(c.in).ReadString('\n')
	if strings.TrimSpace(line) != name {
		return errors.New("nothing was deleted")
	}
	if err := a.forget(ctx, f); err != nil {
		return err
	}
	fmt.Fprintln(c.out, "Deleted.")
	return nil
}

// answerErased: the message was handled before, and a saw or a person was
// forgotten since.
func answerErased() *problem {
	return &problem{Code: "erased", Status: http.StatusGone, Title: "The answer was deleted",
		Detail: "The message was handled, and what was said then was deleted since."}
}
