package main

import (
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"shimwright/dialog"
	"shimwright/store"
)

// copyForm is the version of the form in which a shop is taken away.
const copyForm = 1

// shopCopy is everything of a shop, or of one of its saws, in a form that is
// its own: JSON, lengths in mm, angles in rad, times as RFC 3339 has them. What
// lets somebody in (devices, links, join codes) and what works only here
// (addresses) is left out.
type shopCopy struct {
	Form          int                `json:"shimwright_export"`
	At            time.Time          `json:"exported_at"`
	Shop          string             `json:"shop"`
	Name          string             `json:"name,omitempty"`
	People        []dialog.Person    `json:"people"`
	Saws          []dialog.Saw       `json:"saws"`
	Records       []dialog.Record    `json:"records"`
	Reminders     []reminderCopy     `json:"reminders,omitempty"`
	Conversations []conversationCopy `json:"conversations,omitempty"` // as far as they are kept
}

type reminderCopy struct {
	Saw    string    `json:"saw"`
	Person string    `json:"person"`
	Due    time.Time `json:"due"`
}

type conversationCopy struct {
	ID      string      `json:"id"`
	Entries []entryCopy `json:"entries"`
}

type entryCopy struct {
	At     time.Time       `json:"at"`
	Person string          `json:"person,omitempty"`
	Text   string          `json:"text,omitempty"`
	Answer json.RawMessage `json:"answer,omitempty"`
}

// exportQuery says what is taken: a shop, or one saw of it by name or id.
type exportQuery struct {
	Shop string `json:"shop"`
	Saw  string `json:"saw"` // "" for all
	One  bool   `json:"one"` // one saw, the only one where Saw is ""
}

// exportShop copies a shop, or one saw of it with its records.
func exportShop(ctx context.Context, s store.Store, q exportQuery, now time.Time) (shopCopy, error) {
	out := shopCopy{Form: copyForm, At: now, Shop: q.Shop, People: []dialog.Person{}, Records: []dialog.Record{}}
	saws, _, err := shopSaws(ctx, s, q.Shop)
	if err != nil {
		return out, err
	}
	query := store.RecordQuery{Shop: q.Shop}
	if q.One {
		saw, err := oneSaw(saws, q.Saw)
		if err != nil {
			return out, err
		}
		saws, query.Saw = []dialog.Saw{saw}, saw.ID
	}
	for i := range saws {
		saws[i].Report = ""
	}
	out.Saws = saws
	list, err := s.Records(ctx, query)
	if err != nil {
		return out, err
	}
	records, err := decodeRecords(list)
	if err != nil {
		return out, err
	}
	out.Records = append(out.Records, records...)
	people, _, err := loadPeople(ctx, s, q.Shop)
	if err != nil {
		return out, err
	}
	out.Name = people.Name
	for _, p := range people.Persons {
		out.People = append(out.People, dialog.Person{ID: p.ID, Name: p.Name, Role: p.Role, Unit: p.Unit, Lang: p.Lang, Zone: p.Zone,
			Work: p.Work, Consent: p.Consent, Removed: p.Removed, Into: p.Into})
	}
	if q.One {
		return out, nil
	}
	return out, out.addSaid(ctx, s)
}

// addSaid adds reminders and what was said, which only a backup of the store
// lists in full.
func (c *shopCopy) addSaid(ctx context.Context, s store.Store) error {
	r, w := io.Pipe()
	go func() { _ = w.CloseWithError(s.Backup(ctx, w)) }()
	defer r.Close()
	return store.ReadDump(r, func(l store.Line) error {
		switch {
		case l.Shop != c.Shop:
		case l.Kind == store.LineReminder:
			c.Reminders = append(c.Reminders, reminderCopy{Saw: l.Reminder.Saw, Person: l.Reminder.Person, Due: l.Reminder.Due})
		case l.Kind == store.LineEntry:
			e := entryCopy{At: l.Entry.At, Person: l.Entry.From, Text: string(l.Entry.Text), Answer: l.Entry.Answer}
			i := slices.IndexFunc(c.Conversations, func(x conversationCopy) bool { return x.ID == l.Entry.Conversation })
			if i < 0 {
				i = len(c.Conversations)
				c.Conversations = append(c.Conversations, conversationCopy{ID: l.Entry.Conversation})
			}
			c.Conversations[i].Entries = append(c.Conversations[i].Entries, e)
		}
		return nil
	})
}

// sawNames are the names of the saws of a copy by id.
func (c shopCopy) sawNames() map[string]string {
	names := map[string]string{}
	for _, saw := range c.Saws {
		names[saw.ID] = saw.Profile.Name
	}
	return names
}

// exportCommand writes a shop to a file or to standard output, as JSON, or its
// records as CSV.
func exportCommand(ctx context.Context, c console, args []string) (err error) {
	flags := commandFlags(c, "export")
	saw := flags.String("saw", "", "only this saw")
	shop := flags.String("shop", homeShop, "the shop")
	form := flags.String("format", "", "json (everything) or csv (the records); by default what the file's name ends with, else json")
	if err := flags.Parse(args); err != nil {
		return err
	}
	if flags.NArg() > 1 {
		return errors.New("give one file to write to, e.g. export shop.json or export records.csv, or none for standard output")
	}
	path := flags.Arg(0)
	if *form == "" {
		*form = strings.TrimPrefix(strings.ToLower(filepath.Ext(path)), ".")
	}
	if *form != "" && *form != "json" && *form != "csv" {
		return fmt.Errorf("there is no format %q; give json or csv", *form)
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
	copied, err := a.export(ctx, exportQuery{Shop: *shop, Saw: *saw, One: *saw != ""})
	if err != nil {
		return err
	}
	body := append(encodePretty(copied), '\n')
	if *form == "csv" {
		body = recordsCSV(copied.Records, copied.sawNames(), namesOf(dialog.People{Persons: copied.People}))
	}
	if err := writeOut(c, path, body); err != nil {
		return err
	}
	fmt.Fprintf(c.err, "%s of %s, %s.\n", some(len(copied.Records), "record"), some(len(copied.Saws), "saw"), some(len(copied.People), "person"))
	return nil
}

// encodePretty writes JSON that a person can read.
func encodePretty(v any) []byte {
	b, err := json.MarshalIndent(v, "", " ")
	if err != nil {
		panic(fmt.Sprintf("bot: a %T has no JSON: %v", v, err))
	}
	return b
}

// commandFlags are the flags of a command, told in the program's own way.
func commandFlags(c console, name string) *flag.FlagSet {
	f := flag.NewFlagSet(name, flag.ContinueOnError)
	f.SetOutput(c.err)
	return f
}
