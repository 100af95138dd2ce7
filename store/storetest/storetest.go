// Package storetest is the contract of store.Store as tests. Both engines run
// all of it, so that their semantics cannot differ. After every test the
// store's own consistency check runs.
package storetest

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"shimwright/store"
)

// Engine is what the suite needs to know of an engine.
type Engine struct {
	// Open returns a new, empty store.
	Open func(testing.TB) store.Store
	// Other returns another empty store beside the one of Open; Open again
	// when nil.
	Other func(testing.TB) store.Store
	// Replica opens the same data once more, as another process would; nil
	// when the engine has one process only.
	Replica func(testing.TB, store.Store) store.Store
	// Raw returns every byte that the engine keeps, keys included.
	Raw func(testing.TB, store.Store) []byte
}

// Run runs the suite against an engine.
func Run(t *testing.T, e Engine) {
	for _, group := range [][]contract{
		documents, handled, limits, reminders, outbox, silence, dead, records, directory, allowances, erasing, backups, together,
	} {
		for _, c := range group {
			t.Run(strings.ReplaceAll(c.name, " ", "_"), func(t *testing.T) {
				f := &fixture{T: t, Engine: e, Store: e.Open(t), ctx: context.Background(), at: Noon}
				c.run(f)
				if t.Failed() {
					return
				}
				f.consistent()
				if err := f.Close(); err != nil {
					t.Errorf("Close: %v", err)
				}
			})
		}
	}
}

// contract is one promise of the interface.
type contract struct {
	name string
	run  func(*fixture)
}

// Noon is when the tests begin.
var Noon = time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)

// The shop and conversation of most tests.
const (
	shop  = "sawdust-lane"
	bench = "bench-tablet"
)

// fixture is a store under test with what most tests do.
type fixture struct {
	*testing.T
	Engine
	store.Store
	ctx context.Context
	at  time.Time
	n   int // messages so far
}

// other is another empty store.
func (f *fixture) other() store.Store {
	if f.Other == nil {
		return f.Open(f)
	}
	return f.Other(f)
}

func (f *fixture) consistent() {
	f.Helper()
	faults, err := f.Check(f.ctx)
	if err != nil {
		f.Errorf("Check: %v", err)
	}
	for _, fault := range faults {
		f.Errorf("inconsistent: %s", fault)
	}
}

// later moves the time on.
func (f *fixture) later(d time.Duration) { f.at = f.at.Add(d) }

// do commits what must succeed.
func (f *fixture) do(c store.Commit) {
	f.Helper()
	if err := f.Commit(f.ctx, f.whole(c)); err != nil {
		f.Fatalf("Commit: %v", err)
	}
}

// whole fills in shop, conversation and time where they are missing.
func (f *fixture) whole(c store.Commit) store.Commit {
	if c.Shop == "" {
		c.Shop = shop
	}
	if c.Conversation == "" {
		c.Conversation = bench
	}
	if c.At.IsZero() {
		c.At = f.at
	}
	return c
}

// refuse commits what must fail with want.
func (f *fixture) refuse(want error, c store.Commit) {
	f.Helper()
	if err := f.Commit(f.ctx, f.whole(c)); !errors.Is(err, want) {
		f.Fatalf("Commit: %v, want %v", err, want)
	}
}

// seen commits what must have been handled before and returns the answer.
func (f *fixture) seen(c store.Commit) []byte {
	f.Helper()
	var seen *store.SeenError
	if err := f.Commit(f.ctx, f.whole(c)); !errors.As(err, &seen) {
		f.Fatalf("Commit: %v, want handled before", err)
	}
	return seen.Answer
}

// load loads the conversation bench.
func (f *fixture) load(id string) store.Documents {
	f.Helper()
	d, err := f.Load(f.ctx, store.Conversation{Shop: shop, ID: bench}, id)
	if err != nil {
		f.Fatalf("Load: %v", err)
	}
	return d
}

// get returns a document, version 0 when it is not there.
func (f *fixture) get(kind store.Kind, id string) store.Doc {
	f.Helper()
	d, err := f.Get(f.ctx, shop, kind, id)
	if err != nil && !errors.Is(err, store.ErrNotFound) {
		f.Fatalf("Get: %v", err)
	}
	if (err != nil) != (d.Version == 0) {
		f.Fatalf("Get: version %d with error %v", d.Version, err)
	}
	return d
}

// set writes a document over its present version.
func (f *fixture) set(kind store.Kind, id, body string) {
	f.Helper()
	f.do(store.Commit{Put: []store.Doc{{Kind: kind, ID: id, Version: f.get(kind, id).Version, Body: []byte(body)}}})
}

// message is an inbound message with an answer.
func (f *fixture) message(id string) store.Commit {
	f.n++
	return store.Commit{
		Inbound: store.Handled{ID: id, Hash: []byte("hash of " + id), Text: []byte("text of " + id), From: "kim"},
		Answer:  []byte(fmt.Sprintf("answer %d to %s", f.n, id)),
	}
}

// out is an outgoing message of the conversation bench.
func out(id string) store.Out {
	return store.Out{ID: id, Conversation: bench, Channel: "webhook", To: "to-" + bench, Body: []byte("body of " + id)}
}

func (f *fixture) same(what string, got, want any) {
	f.Helper()
	if g, w := fmt.Sprintf("%+v", got), fmt.Sprintf("%+v", want); g != w {
		f.Errorf("%s: %s\nwant %s", what, g, w)
	}
}

func (f *fixture) ok(err error) {
	f.Helper()
	if err != nil {
		f.Fatal(err)
	}
}

func (f *fixture) fails(want, err error) {
	f.Helper()
	if !errors.Is(err, want) {
		f.Fatalf("%v, want %v", err, want)
	}
}

// parallel calls fn for 0 to n-1, some at once; none may fail.
func (f *fixture) parallel(n int, fn func(i int) error) {
	f.Helper()
	const lanes = 20
	errs := make(chan error, lanes)
	for lane := range lanes {
		go func() {
			var err error
			for i := lane; i < n && err == nil; i += lanes {
				err = fn(i)
			}
			errs <- err
		}()
	}
	for range lanes {
		if err := <-errs; err != nil {
			f.Error(err)
		}
	}
	if f.Failed() {
		f.FailNow()
	}
}
