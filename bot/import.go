package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"time"

	"shimwright/dialog"
	"shimwright/store"
)

// importing is a copy that is to be brought into a shop. A CSV has records only.
type importing struct {
	Shop string   `json:"shop"`
	Copy shopCopy `json:"copy"`
}

// importSum says what an import brought.
type importSum struct {
	Records int `json:"records"` // added
	Known   int `json:"known"`   // there already, the same
	Saws    int `json:"saws"`
	People  int `json:"people"`
}

// maxTold bounds how many faults of a file are told at once.
const maxTold = 10

// importChunk is how many records one commit adds.
const importChunk = 200

// bringIn adds a copy to a shop. Everything is looked at before anything is
// written: a record that is not well formed, or that differs from one of the
// same id, refuses the whole. What is there already, the same, is left; so a
// second import changes nothing, and one that was cut short is repeated.
func bringIn(ctx context.Context, s store.Store, in importing, now time.Time) (importSum, error) {
	b := &bringing{ctx: ctx, store: s, in: in, now: now}
	var sum importSum
	if err := b.look(); err != nil {
		return sum, err
	}
	sum = importSum{Records: len(b.records), Known: b.known, Saws: len(b.saws), People: b.newcomers}
	first := store.Commit{Shop: in.Shop, At: now, Read: b.read, Put: b.put}
	for begin := 0; begin == 0 || begin < len(b.records); begin += importChunk {
		c := store.Commit{Shop: in.Shop, At: now}
		if begin == 0 {
			c = first
		}
		c.Records = b.records[begin:min(begin+importChunk, len(b.records))]
		if begin == 0 && len(c.Put)+len(c.Records) == 0 {
			return sum, nil
		}
		err := s.Commit(ctx, c)
		if errors.Is(err, store.ErrStale) || errors.Is(err, store.ErrConflict) {
			return sum, fmt.Errorf("somebody worked on the shop meanwhile; import again: what was brought in stays, and nothing comes twice (%w)", err)
		}
		if err != nil {
			return sum, err
		}
	}
	return sum, nil
}

// bringing is an import at work.
type bringing struct {
	ctx   context.Context
	store store.Store
	in    importing
	now   time.Time

	faults    []string
	there     map[string]dialog.Saw // saws of the shop by id, those that come included
	saws      []dialog.Saw
	records   []store.Record
	known     int
	newcomers int
	read      []store.Version
	put       []store.Doc
}

func (b *bringing) fault(format string, args ...any) {
	b.faults = append(b.faults, fmt.Sprintf(format, args...))
}

// look finds out what is to be written, and everything that is wrong.
func (b *bringing) look() error {
	if b.in.Copy.Form != copyForm {
		return fmt.Errorf("the file says that it is of form %d; this program reads form %d", b.in.Copy.Form, copyForm)
	}
	for _, f := range []func() error{b.lookAtSaws, b.lookAtPeople, b.lookAtRecords} {
		if err := f(); err != nil {
			return err
		}
	}
	switch n := len(b.faults); {
	case n == 0:
		return nil
	case n > maxTold:
		b.faults = append(b.faults[:maxTold], fmt.Sprintf("and %d more", n-maxTold))
	}
	return errors.New("nothing was imported:\n  " + strings.Join(b.faults, "\n  "))
}

func (b *bringing) lookAtSaws() error {
	list, docs, err := shopSaws(b.ctx, b.store, b.in.Shop)
	if err != nil {
		return err
	}
	b.there = map[string]dialog.Saw{}
	for _, saw := range list {
		b.there[saw.ID] = saw
		b.read = append(b.read, store.Version{Kind: store.KindSaw, ID: saw.ID, Version: docs[saw.ID].Version})
	}
	for _, saw := range b.in.Copy.Saws {
		here, ok := b.there[saw.ID]
		switch {
		case saw.ID == "" || !plainName(saw.ID):
			b.fault("a saw has the id %q, which cannot be one", saw.ID)
		case ok && !strings.EqualFold(here.Profile.Name, saw.Profile.Name):
			b.fault("the saw %s is %q here and %q in the file: two saws would be mixed up; import into another shop with -shop", saw.ID, here.Profile.Name, saw.Profile.Name)
		case ok: // the one here is the newer
		case string(docs[saw.ID].Body) == tombstone:
			b.fault("the saw %s is being deleted; say something in the conversation, and import again", saw.ID)
		default:
			saw = saw.Elsewhere(b.now)
			b.there[saw.ID], b.saws = saw, append(b.saws, saw)
			b.put = append(b.put, store.Doc{Kind: store.KindSaw, ID: saw.ID, Body: encode(saw)})
		}
	}
	return nil
}

// lookAtPeople adds the people that the shop does not know: names for the
// records, without any way in.
func (b *bringing) lookAtPeople() error {
	people, version, err := loadPeople(b.ctx, b.store, b.in.Shop)
	if err != nil {
		return err
	}
	people.Persons = slices.Clone(people.Persons)
	changed := false
	for _, p := range b.in.Copy.People {
		i := slices.IndexFunc(people.Persons, func(q dialog.Person) bool { return q.ID == p.ID })
		switch {
		case p.ID == "":
			b.fault("a person has no id")
		case i < 0:
			p.Addresses, p.Devices, p.Links = nil, nil, nil
			people.Persons, changed = append(people.Persons, p), true
			b.newcomers++
		case people.Persons[i].Name == "" && p.Name != "":
			people.Persons[i].Name, changed = p.Name, true
		case people.Persons[i].Name != p.Name && p.Name != "":
			b.fault("the person %s is %q here and %q in the file: two people would be mixed up; import into another shop with -shop", p.ID, people.Persons[i].Name, p.Name)
		}
	}
	if changed {
		people.Schema = 1
		b.put = append(b.put, store.Doc{Kind: store.KindPeople, Version: version, Body: encode(people)})
	} else {
		b.read = append(b.read, store.Version{Kind: store.KindPeople, Version: version})
	}
	return nil
}

func (b *bringing) lookAtRecords() error {
	list, err := b.store.Records(b.ctx, store.RecordQuery{Shop: b.in.Shop})
	if err != nil {
		return err
	}
	bodies := map[string][]byte{}
	for _, r := range list {
		var rec dialog.Record
		if err := json.Unmarshal(r.Body, &rec); err != nil {
			return fmt.Errorf("the stored record %s cannot be read: %w", r.ID, err)
		}
		bodies[r.ID] = encode(rec.InUTC())
	}
	coming := map[string]bool{}
	for _, r := range b.in.Copy.Records {
		coming[r.ID] = true
	}
	for i, r := range b.in.Copy.Records {
		b.lookAtRecord(i, r.InUTC(), bodies, coming)
	}
	return nil
}

func (b *bringing) lookAtRecord(i int, r dialog.Record, bodies map[string][]byte, coming map[string]bool) {
	if err := r.Check(); err != nil {
		b.fault("record %d (%s): %v", i+1, clip(r.ID), err)
		return
	}
	body := encode(r)
	old, known := bodies[r.ID]
	_, saw := b.there[r.Saw]
	switch {
	case !saw:
		b.fault("record %d (%s) is of the saw %s, which is not here; import the JSON, which holds the saws too", i+1, clip(r.ID), clip(r.Saw))
	case len(body) > store.MaxRecord:
		b.fault("record %d (%s) has %d bytes; a record may have %d", i+1, clip(r.ID), len(body), store.MaxRecord)
	case known && !bytes.Equal(old, body):
		b.fault("record %d (%s) is here already and differs; records never change: give a correction an id of its own and name this one in corrects", i+1, clip(r.ID))
	case known:
		b.known++
	case r.Corrects != "" && bodies[r.Corrects] == nil && !coming[r.Corrects]:
		b.fault("record %d (%s) corrects %s, which is neither here nor in the file", i+1, clip(r.ID), clip(r.Corrects))
	default:
		bodies[r.ID] = body
		b.records = append(b.records, store.Record{ID: r.ID, Saw: r.Saw, Characteristic: r.Characteristic, Person: r.Person,
			At: r.At.Truncate(time.Millisecond), Body: body})
	}
}

// importCommand reads what export wrote.
func importCommand(ctx context.Context, c console, args []string) (err error) {
	flags := commandFlags(c, "import")
	shop := flags.String("shop", homeShop, "the shop")
	if err := flags.Parse(args); err != nil {
		return err
	}
	if flags.NArg() != 1 {
		return errors.New("say which file, e.g. import shop.json or import records.csv, or - for standard input")
	}
	in := io.Reader(c.in)
	if flags.Arg(0) != "-" {
		f, err := os.Open(flags.Arg(0))
		if err != nil {
			return err
		}
		defer f.Close()
		in = f
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
	copied, err := readCopy(in, func() (shopCopy, error) { return a.export(ctx, exportQuery{Shop: *shop}) })
	if err != nil {
		return fmt.Errorf("nothing was imported: %w", err)
	}
	sum, err := a.bringIn(ctx, importing{Shop: *shop, Copy: copied})
	if err != nil {
		return err
	}
	were := "were"
	if sum.Known == 1 {
		were = "was"
	}
	fmt.Fprintf(c.out, "%s added, %d %s there already; %s and %s added.\n",
		some(sum.Records, "record"), sum.Known, were, some(sum.Saws, "saw"), some(sum.People, "person"))
	return nil
}

// readCopy reads a copy of a shop, or a CSV of records. here returns the shop
// as it is, which a CSV's names of saws are held to.
func readCopy(in io.Reader, here func() (shopCopy, error)) (shopCopy, error) {
	body, err := io.ReadAll(io.LimitReader(in, maxImport+1))
	if err != nil {
		return shopCopy{}, err
	}
	if len(body) > maxImport {
		return shopCopy{}, fmt.Errorf("the file has more than %d bytes; split it", maxImport)
	}
	if text := bytes.TrimLeft(body, "\ufeff \t\r\n"); len(text) > 0 && text[0] == '{' {
		return readJSONCopy(body)
	}
	out := shopCopy{Form: copyForm}
	var names map[string]string
	if out.Records, names, err = parseRecordsCSV(bytes.NewReader(body)); err != nil {
		return out, err
	}
	mine, err := here()
	if err != nil {
		return out, err
	}
	for id, name := range mine.sawNames() {
		if told, ok := names[id]; ok && !strings.EqualFold(told, name) {
			return out, fmt.Errorf("the saw %s is %q here and %q in the file: two saws would be mixed up", id, name, told)
		}
	}
	return out, nil
}

func readJSONCopy(body []byte) (shopCopy, error) {
	var out shopCopy
	d := json.NewDecoder(bytes.NewReader(bytes.TrimPrefix(body, []byte("\ufeff"))))
	err := d.Decode(&out)
	var syntax *json.SyntaxError
	var kind *json.UnmarshalTypeError
	switch {
	case errors.As(err, &syntax):
		return out, fmt.Errorf("the file is not JSON: %s, after byte %d", strings.TrimPrefix(syntax.Error(), "json: "), syntax.Offset)
	case errors.As(err, &kind):
		return out, fmt.Errorf("%s is a %s where a %s is wanted", kind.Field, kind.Value, kind.Type)
	case err != nil:
		return out, fmt.Errorf("the file cannot be read as JSON: %w", err)
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return out, errors.New("the file goes on after its JSON object")
	}
	return out, nil
}
