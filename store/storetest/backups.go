package storetest

import (
	"bytes"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"shimwright/store"
)

var backups = []contract{
	{"a backup restores to the same", func(f *fixture) {
		Fill(f, f.Store, Noon)
		first := f.dump(f.Store)
		copied := f.other()
		f.ok(copied.Restore(f.ctx, bytes.NewReader(first)))
		sameDump(f, "the copy", f.dump(copied), first)
		f.Store = copied // whose consistency is checked at the end
		f.goesOn()
	}},

	{"a backup is taken while commits go on", func(f *fixture) {
		stop, ended := make(chan bool), make(chan bool)
		go func() {
			defer close(ended)
			for n := 0; ; n++ {
				select {
				case <-stop:
					return
				default:
					f.count(f.Store, bench, fmt.Sprint("m-", n))
				}
			}
		}()
		for i := 0; i < 3; i++ {
			dump := f.dump(f.Store)
			copied := f.other()
			f.ok(copied.Restore(f.ctx, bytes.NewReader(dump)))
			d, err := copied.Load(f.ctx, store.Conversation{Shop: shop, ID: bench}, "")
			f.ok(err)
			f.same("both counters", string(d.Conversation.Body), string(d.People.Body))
			entries, err := copied.Transcript(f.ctx, store.Conversation{Shop: shop, ID: bench}, 0, 1<<20)
			f.ok(err)
			if fmt.Sprint(len(entries)) != string(d.People.Body) && len(entries) > 0 {
				f.Errorf("%d entries, the counter is %s", len(entries), d.People.Body)
			}
			f.ok(copied.Close())
		}
		close(stop)
		<-ended
	}},

	{"restore needs an empty store", func(f *fixture) {
		f.do(f.message("m-1"))
		dump := f.dump(f.Store)
		if f.Restore(f.ctx, bytes.NewReader(dump)) == nil {
			f.Error("restored over what was there")
		}
		if f.load("m-1").Seen == nil {
			f.Error("what was there is gone")
		}
	}},

	{"a damaged backup leaves the store empty", func(f *fixture) {
		other := f.other()
		Fill(f, other, Noon)
		dump := f.dump(other)
		f.ok(other.Close())
		lines := bytes.SplitAfter(dump, []byte("\n"))
		newer := bytes.Replace(dump, []byte(`"format":2`), []byte(`"format":3`), 1)
		altered := bytes.Replace(dump, []byte(`"version":1`), []byte(`"version":2`), 1) // as good a line as the true one
		for name, damaged := range map[string][]byte{
			"cut in a line":   dump[:len(dump)/2],
			"cut at a line":   bytes.Join(lines[:len(lines)-2], nil),
			"a line lost":     bytes.Join(append(append([][]byte{}, lines[:3]...), lines[4:]...), nil),
			"no backup":       []byte(`{"kind":"shop","shop":"x"}` + "\n"),
			"not JSON":        append(bytes.Join(lines[:4], nil), "hello\n"...),
			"unknown kind":    append(bytes.Join(lines[:4], nil), `{"kind":"spare"}`...),
			"lacks something": append(bytes.Join(lines[:4], nil), `{"kind":"document","shop":"x"}`...),
			"nothing":         nil,
			"newer":           newer,
			"altered":         altered,
		} {
			err := f.Restore(f.ctx, bytes.NewReader(damaged))
			if err == nil || errors.Is(err, store.ErrNewer) != (name == "newer") {
				f.Errorf("%s: %v", name, err)
			}
			f.empty()
		}
		f.ok(f.Restore(f.ctx, bytes.NewReader(dump)))
	}},

	{"what has expired is not in a backup", func(f *fixture) {
		c := f.message("m-1")
		c.Put = []store.Doc{{Kind: store.KindReport, ID: "r", Body: []byte("x"), Expires: f.at.Add(time.Hour)}}
		f.do(c)
		f.later(store.KeepIDs)
		f.do(store.Commit{})
		if dump := string(f.dump(f.Store)); strings.Contains(dump, "m-1") || strings.Contains(dump, "report") {
			f.Errorf("the backup has it:\n%s", dump)
		}
	}},
}

// Fill puts one or more of everything into a store, in several states.
func Fill(t testing.TB, s store.Store, at time.Time) {
	t.Helper()
	f := &fixture{T: nil, Store: s, at: at}
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	ctx := t.Context()
	for i, shop := range []string{"b", "a", "a:b", "z{}"} {
		c := store.Commit{Shop: shop, Conversation: "c/" + shop, At: at, Inbound: f.message("m-1").Inbound, Answer: []byte{0, 255, 'x'}}
		held, hot := out("held"), out("hot")
		held.NotBefore, hot.Expires = at.Add(time.Hour), at.Add(time.Hour)
		c.Outbox = []store.Out{out("o-1"), held, hot}
		c.Put = []store.Doc{
			{Kind: store.KindConversation, ID: c.Conversation, Body: []byte{0, 1, 2}},
			{Kind: store.KindConversation, ID: "bare", Body: []byte{}},
			{Kind: store.KindSaw, ID: "s", Body: []byte("saw")}, {Kind: store.KindPeople, Body: []byte("people")},
			{Kind: store.KindDrawing, ID: "d", Body: []byte("spec"), Expires: at.Add(time.Hour)},
			{Kind: store.KindReport, ID: "r", Body: []byte("report")},
		}
		for n := 0; n < 3; n++ {
			c.Records = append(c.Records, record(fmt.Sprint(9-n), "s", "level", at), record(fmt.Sprint(6-n), "s", "toe", at.Add(-time.Hour)))
			c.Remind = append(c.Remind, remind(fmt.Sprint(n), at.Add(time.Duration(-n)*time.Minute)))
		}
		must(s.Commit(ctx, c))
		must(s.Commit(ctx, store.Commit{Shop: shop, Conversation: "c/" + shop, At: at, Fired: "1", FiredDue: at.Add(-time.Minute), Answer: []byte("due")}))
		must(s.Point(ctx, fmt.Sprint("address-", 9-i), "", shop))
		claimed, err := s.Claim(ctx, at, lease, 9)
		must(err)
		for j, d := range claimed {
			switch (i + j) % 3 {
			case 0:
				must(s.Settle(ctx, d, store.Dead, at, "no such number"))
			case 1:
				must(s.Settle(ctx, d, store.Retry, at.Add(time.Minute), ""))
			}
		}
	}
	must(s.Point(ctx, "address-0", "", "not yet there"))
}

// goesOn checks that a restored store works on from where it was.
func (f *fixture) goesOn() {
	f.Helper()
	again := store.Commit{Shop: "a", Conversation: "c/a", Inbound: store.Handled{ID: "m-1", Hash: []byte("hash of m-1")}}
	f.same("answer", f.seen(again), []byte{0, 255, 'x'})
	d, err := f.Load(f.ctx, store.Conversation{Shop: "a", ID: "c/a"}, "")
	f.ok(err)
	old := d.Conversation.Version
	d.Conversation.Body = []byte("next")
	f.do(store.Commit{Shop: "a", Conversation: "c/a", Put: []store.Doc{d.Conversation}, Inbound: store.Handled{ID: "m-9"}})
	d, err = f.Load(f.ctx, store.Conversation{Shop: "a", ID: "c/a"}, "")
	f.ok(err)
	if d.Conversation.Version <= old {
		f.Errorf("version %d after %d", d.Conversation.Version, old)
	}
	f.same("transcript", ids(f.transcript(store.Conversation{Shop: "a", ID: "c/a"}, 0, 9)), "m-1 1 m-9")
	if n := len(f.claimAll(f.at.Add(24 * time.Hour))); n == 0 {
		f.Error("nothing is left to send")
	}
	f.same("waiting", f.stats().Waiting, 0)
}

// Across checks that a backup goes from one engine through another and back
// without a change.
func Across(t *testing.T, from, through, back store.Store) {
	Fill(t, from, Noon)
	var dumps [3]bytes.Buffer
	for i, s := range []store.Store{from, through, back} {
		if i > 0 {
			if err := s.Restore(t.Context(), bytes.NewReader(dumps[i-1].Bytes())); err != nil {
				t.Fatal(err)
			}
		}
		if err := s.Backup(t.Context(), &dumps[i]); err != nil {
			t.Fatal(err)
		}
		sameDump(t, fmt.Sprint("backup ", i+1), dumps[i].Bytes(), dumps[0].Bytes())
	}
}

func sameDump(t testing.TB, what string, got, want []byte) {
	t.Helper()
	g, w := bytes.Split(got, []byte("\n")), bytes.Split(want, []byte("\n"))
	for i := range g {
		if i >= len(w) || !bytes.Equal(g[i], w[i]) {
			t.Fatalf("%s: line %d is\n%s\nwant\n%s", what, i+1, g[i], append(w, nil)[min(i, len(w))])
		}
	}
	if len(g) != len(w) {
		t.Fatalf("%s has %d lines, want %d", what, len(g), len(w))
	}
}

func (f *fixture) dump(s store.Store) []byte {
	f.Helper()
	var b bytes.Buffer
	f.ok(s.Backup(f.ctx, &b))
	return b.Bytes()
}

// dumpOf returns the lines of a backup that are of a shop.
func (f *fixture) dumpOf(shop string) (lines []string) {
	for _, l := range strings.Split(string(f.dump(f.Store)), "\n") {
		if strings.Contains(l, `"shop":"`+shop+`"`) {
			lines = append(lines, l)
		}
	}
	return lines
}
