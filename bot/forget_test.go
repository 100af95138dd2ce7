package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"shimwright/dialog"
	"shimwright/store"
	"shimwright/store/boltstore"
	"shimwright/store/redisstore"
	"shimwright/store/redistest"
)

// The canaries: names that must be nowhere in the raw store afterwards.
const (
	canarySaw   = "Zinnober-Canary"
	canaryBlade = "Kobalt-Canary"
	canaryHuman = "Quendolin-Canary"
)

// inBothStores runs a test on a service with the demo shop, renamed to the
// canaries, once for each engine. raw is every byte that the engine keeps.
func inBothStores(t *testing.T, f func(s *service, raw func() []byte)) {
	demo := demoShop()
	demo.Saws[0].Profile.Name, demo.Saws[0].Profile.BladeName, demo.People[1].Name = canarySaw, canaryBlade, canaryHuman
	for i := range demo.Records {
		demo.Records[i].Blade = canaryBlade
	}
	fill := func(s *service) *service {
		s.clock.set(demoDay(660))
		if _, err := bringIn(s.Context(), s.store, importing{Shop: homeShop, Copy: demo}, s.clock.now()); err != nil {
			s.Fatal(err)
		}
		return s
	}
	t.Run("file", func(t *testing.T) {
		path := filepath.Join(t.TempDir(), "test.db")
		inner, err := boltstore.Open(path)
		if err != nil {
			t.Fatal(err)
		}
		f(fill(newServiceWith(t, inner, newTestClock())), func() []byte {
			b, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			return b
		})
	})
	t.Run("redis", func(t *testing.T) {
		server := redistest.Start(t)
		inner, err := redisstore.Open(t.Context(), server.URL(0))
		if err != nil {
			t.Fatal(err)
		}
		f(fill(newServiceWith(t, inner, newTestClock())), func() []byte { return redistest.Raw(t, server.Client(t)) })
	})
}

// holds reports which canaries a raw store shows.
func holds(raw []byte, canaries ...string) (list []string) {
	for _, c := range canaries {
		if bytes.Contains(raw, []byte(c)) {
			list = append(list, c)
		}
	}
	return list
}

// talk does what leaves traces: the saw is spoken of, measured, charted and
// reported, a person asks, a reminder is set.
func talk(s *service) {
	s.Helper()
	for _, text := range []string{canarySaw, "menu", "history", "report", "remind me", "Berlin", "the blade is a " + canaryBlade, "people"} {
		s.sayHome(text)
		s.clock.advance(time.Minute)
	}
}

// A saw that is forgotten by word of mouth is gone: its name, its blade, its
// records, what was said of it, its charts, its report.
func TestForgottenSawIsGone(t *testing.T) {
	inBothStores(t, func(s *service, raw func() []byte) {
		talk(s)
		path := reportLink.FindString(string(s.request("GET", "/v1/conversations/bench?max=200", "").body))
		if path == "" || s.request("GET", path, "").StatusCode != 200 {
			s.Fatalf("no report at %q", path)
		}
		if got := holds(raw(), canarySaw, canaryBlade); len(got) != 2 {
			s.Fatalf("the raw store shows %q only: the search proves nothing", got)
		}
		s.sayHome("forget this machine")
		if a := s.sayHome("no"); !strings.Contains(a.Replies[0].Text, "level") {
			s.Errorf("not forgotten: %+v", a.Replies)
		}
		s.sayHome("forget this machine")
		last := posted{ID: "m-last", Conversation: "bench", Text: "forget"}
		if a := s.post(last); !strings.Contains(a.Replies[0].Text, "deleted") {
			s.Fatalf("answered %+v", a.Replies)
		}
		if got := holds(raw(), canarySaw, canaryBlade, strings.TrimPrefix(path, dialog.ReportPath)); len(got) > 0 {
			b := raw()
			i := bytes.Index(b, []byte(got[0]))
			s.Errorf("the raw store still shows %q: %q", got, b[max(0, i-90):min(len(b), i+90)])
		}
		for at, want := range map[string]int{path: 404, "/v1/machines/saw-1/records": 404, "/v1/conversations/bench": 200} {
			if res := s.request("GET", at, ""); res.StatusCode != want || bytes.Contains(res.body, []byte(canarySaw)) {
				s.Errorf("%s: status %d %s", at, res.StatusCode, res.body)
			}
		}
		// A repeat of the message finds that its answer is gone too.
		if res := s.request("POST", "/v1/messages", bodyOf(last)); res.StatusCode != 410 {
			s.Errorf("the same message again: %d %s", res.StatusCode, res.body)
		}
		if a := s.sayHome("menu"); !strings.Contains(a.Replies[0].Text, "No saw is set up yet") {
			s.Errorf("afterwards: %+v", a.Replies)
		}
		if faults, err := s.store.Check(s.Context()); err != nil || len(faults) > 0 {
			s.Errorf("the store: %v %v", faults, err)
		}
	})
}

// A shop that is forgotten by command is gone, its addresses too; so is a
// person, whose measurements stay.
func TestForgottenShopAndPersonAreGone(t *testing.T) {
	inBothStores(t, func(s *service, raw func() []byte) {
		talk(s)
		before := s.records("saw-1")
		if err := forgetIn(s.Context(), s.store, forgetting{Shop: homeShop, Person: canaryHuman}, s.clock.now()); err != nil {
			s.Fatal(err)
		}
		// The owner's own transcript of the word "people" still names them.
		s.clock.advance(store.KeepIDs + 2*store.SweepAfter)
		if got := s.records("saw-1"); len(got) != len(before) {
			s.Errorf("%d records left of %d", len(got), len(before))
		}
		people, _, err := loadPeople(s.Context(), s.store, homeShop)
		if err != nil || len(people.Persons) != 1 {
			s.Errorf("people %+v %v", people, err)
		}
		if err := forgetIn(s.Context(), s.store, forgetting{Shop: homeShop, Person: "Ada Berg"}, s.clock.now()); err == nil || !strings.Contains(err.Error(), "only owner") {
			s.Errorf("the only owner: %v", err)
		}
		if err := forgetIn(s.Context(), s.store, forgetting{Shop: homeShop, Person: "nobody"}, s.clock.now()); err == nil || !strings.Contains(err.Error(), "nobody called") {
			s.Errorf("a stranger: %v", err)
		}
		if err := forgetIn(s.Context(), s.store, forgetting{Shop: homeShop}, s.clock.now()); err != nil {
			s.Fatal(err)
		}
		if got := holds(raw(), canarySaw, canaryBlade, canaryHuman, "Ada Berg"); len(got) > 0 {
			s.Errorf("the raw store still shows %q", got)
		}
		if a := s.sayHome("menu"); !strings.Contains(a.Replies[0].Text, "No saw is set up yet") {
			s.Errorf("afterwards: %+v", a.Replies)
		}
	})
}

// records are the records of a saw by HTTP.
func (s *service) records(saw string) []string {
	s.Helper()
	res := s.request("GET", "/v1/machines/"+saw+"/records", "", header("Accept", "text/csv"))
	if res.StatusCode != 200 {
		s.Fatalf("records: %d %s", res.StatusCode, res.body)
	}
	return strings.Split(strings.TrimSpace(string(res.body)), "\r\n")[1:]
}

// An erasure that is cut short after the word was given is made good by the
// next message of the shop.
func TestForgettingCutShort(t *testing.T) {
	inner, err := boltstore.Open(filepath.Join(t.TempDir(), "test.db"))
	if err != nil {
		t.Fatal(err)
	}
	lame := &eraseless{Store: inner}
	s := newServiceWith(t, lame, newTestClock())
	if _, err := bringIn(t.Context(), s.store, importing{Shop: homeShop, Copy: demoShop()}, s.clock.now()); err != nil {
		t.Fatal(err)
	}
	s.sayHome("forget this machine")
	lame.on.Store(true)
	s.sayHome("forget")
	lame.on.Store(false)
	list, err := s.store.Records(t.Context(), store.RecordQuery{Shop: homeShop})
	if err != nil || len(list) == 0 {
		t.Fatalf("the records are gone already: %v", err)
	}
	if res := s.request("GET", "/v1/machines/saw-1/records", ""); res.StatusCode != 404 {
		t.Errorf("in between: %d", res.StatusCode)
	}
	s.sayHome("menu")
	if list, err := s.store.Records(t.Context(), store.RecordQuery{Shop: homeShop}); err != nil || len(list) > 0 {
		t.Errorf("%d records left, %v", len(list), err)
	}
}

// eraseless is a store that does not erase while it is on.
type eraseless struct {
	store.Store
	on atomic.Bool
}

func (e *eraseless) Erase(ctx context.Context, s store.Scope) error {
	if e.on.Load() {
		return store.ErrUnavailable
	}
	return e.Store.Erase(ctx, s)
}

// The command asks for the name once more.
func TestForgetCommand(t *testing.T) {
	folder := t.TempDir()
	if _, said, status := runCommand(t, folder, "", "import", demoFile(t, demoShop())); status != 0 {
		t.Fatal(said)
	}
	for _, c := range []struct {
		in, want string
		args     []string
		status   int
	}{
		{"", "say what to delete", []string{"forget"}, 1},
		{"", "say what to delete", []string{"forget", "everything"}, 1},
		{"yes\n", "nothing was deleted", []string{"forget", "saw", "Old Blue"}, 1},
		{"Bench\n", `there is no saw "Bench"; there are Old Blue`, []string{"forget", "saw", "Bench"}, 1},
		{"Old Blue\n", "Deleted.", []string{"forget", "saw", "Old Blue"}, 0},
		{"Old Blue\n", "no saw is set up yet", []string{"forget", "saw", "Old Blue"}, 1},
		{"Kim Osei\n", "Deleted.", []string{"forget", "person", "Kim Osei"}, 0},
		{"home\n", "Deleted.", []string{"forget", "shop"}, 0},
	} {
		out, said, status := runCommand(t, folder, c.in, c.args...)
		if status != c.status || !regexp.MustCompile(regexp.QuoteMeta(c.want)).MatchString(out+said) {
			t.Errorf("%v: %d %s%s", c.args, status, out, said)
		}
	}
	text, _, _ := runCommand(t, folder, "", "export")
	if !strings.Contains(text, `"people": []`) || !strings.Contains(text, `"records": []`) {
		t.Errorf("left: %s", text)
	}
}
