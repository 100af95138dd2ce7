package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
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

// A shop that its owner forgets by word of mouth is gone from both stores: its
// saws, records, people, what was said, its report, its devices and the numbers
// that had joined it. Only the whole words do it, only the owner may, and the
// message brought again has no second effect.
func TestForgottenShopIsGone(t *testing.T) {
	inBothStores(t, func(s *service, raw func() []byte) {
		p := newPaperOn(s.T, s, false)
		s.app.server.intake.member = func(string, string) bool { return false }
		talk(s)
		report := s.openedReport()
		code := codeFrom(s.T, textsOf(s.sayHome("invite"))...)
		p.tell(canaryHuman+"@network", "join "+code)
		p.tell(canaryHuman+"@network", canaryHuman+" B")
		if got := p.tell(canaryHuman+"@network", "forget this shop"); !has(got, "Only the owner can do that") {
			s.Errorf("somebody else: %q", got)
		}
		s.sayHome("forget this shop")
		for _, text := range []string{"ok", "forget", "yes"} {
			if s.sayHome(text); s.people(homeShop).Erased || living(s.people(homeShop)) < 2 {
				s.Fatalf("%q forgets a shop", text)
			}
			s.sayHome("forget this shop")
		}
		if got := holds(raw(), canarySaw, canaryBlade, canaryHuman, "Ada Berg"); len(got) != 4 {
			s.Fatalf("the raw store shows %q only: the search proves nothing", got)
		}
		last := posted{ID: "m-last", Conversation: "bench", Text: "Forget everything."}
		res := s.request("POST", "/v1/messages", bodyOf(last))
		if res.StatusCode != 200 || !bytes.Contains(res.body, []byte("The shop is deleted")) {
			s.Fatalf("answered %d %s", res.StatusCode, res.body)
		}
		b := raw()
		for _, got := range holds(b, canarySaw, canaryBlade, canaryHuman, "Ada Berg", strings.TrimPrefix(report, dialog.ReportPath)) {
			i := bytes.Index(b, []byte(got))
			s.Errorf("the raw store still shows %q: %q", got, b[max(0, i-90):min(len(b), i+90)])
		}
		if again := s.request("POST", "/v1/messages", bodyOf(last)); again.StatusCode != 200 || !bytes.Equal(again.body, res.body) {
			s.Errorf("the same message again: %d %s", again.StatusCode, again.body)
		}
		for at, want := range map[string]int{report: 404, "/v1/machines/saw-1/records": 404} {
			if res := s.request("GET", at, ""); res.StatusCode != want {
				s.Errorf("%s: status %d %s", at, res.StatusCode, res.body)
			}
		}
		if got := p.tell(canaryHuman+"@network", "menu"); len(got) != 1 || !has(got, "only people who were let in") {
			s.Errorf("the number that had joined hears %q", got)
		}
		if a := s.sayHome("menu"); !has(textsOf(a), "No saw is set up yet") {
			s.Errorf("afterwards: %+v", a.Replies)
		}
		if faults, err := s.store.Check(s.Context()); err != nil || len(faults) > 0 {
			s.Errorf("the store: %v %v", faults, err)
		}
	})
}

// A person who was linked from elsewhere is forgotten with all that they were,
// and their number is a stranger's.
func TestForgottenPersonIsGoneEverywhere(t *testing.T) {
	inBothStores(t, func(s *service, raw func() []byte) {
		p := newPaperOn(s.T, s, false)
		s.app.server.intake.member = func(_, sender string) bool { return sender == "known" }
		p.tell("known", "call me Kilo-Canary")
		code := codeFrom(s.T, textsOf(s.sayHome("invite"))...)
		p.tell("Lima-Canary@network", "join "+code)
		p.tell("Lima-Canary@network", "Lima-Canary")
		p.tell("Lima-Canary@network", "link "+codeFrom(s.T, p.tell("known", "link")...))
		if got := p.tell("Lima-Canary@network", "yes"); !has(got, "You are Kilo-Canary here too") {
			s.Fatalf("linked: %q", got)
		}
		if got := holds(raw(), "Kilo-Canary", "Lima-Canary"); len(got) != 2 {
			s.Fatalf("the raw store shows %q only", got)
		}
		if err := forgetIn(s.Context(), s.store, forgetting{Shop: homeShop, Person: "Kilo-Canary"}, s.clock.now()); err != nil {
			s.Fatal(err)
		}
		s.app.server.intake.member = func(string, string) bool { return false }
		for _, sender := range []string{"known", "Lima-Canary@network"} {
			if got := p.tell(sender, "menu"); len(got) != 1 || !has(got, "only people who were let in") {
				s.Errorf("%s hears %q", sender, got)
			}
		}
		if people := s.people(homeShop); slices.ContainsFunc(people.Persons, func(q dialog.Person) bool { return strings.Contains(q.Name, "Canary") && q.Name != canaryHuman }) {
			s.Errorf("people %+v", people.Persons)
		}
	})
}

// A program's shop is forgotten too, cut off at each write: the message brought
// again, or the next one, does the rest, and what comes then founds another shop.
func TestForgettingTheShopCutOff(t *testing.T) {
	onEachStore(t, func(t *testing.T, inner store.Store) {
		t.Cleanup(func() { _ = inner.Close() })
		for cut := range 4 {
			for _, again := range []bool{true, false} {
				rig := fmt.Sprintf("rig-%d-%v", cut, again)
				failing := &failingStore{Store: inner}
				failing.left.Store(1 << 30)
				clock := newTestClock()
				clock.advance(time.Duration(2*cut+len(rig)) * time.Hour) // the allowances lie in the store
				s := newServiceWith(t, keptOpen{failing}, clock)
				n := 0
				say := func(text string) response {
					n++
					return s.request("POST", "/v1/messages", bodyOf(posted{ID: fmt.Sprint("m-", n), Conversation: rig, Sender: "kim", Text: text}), s.signed)
				}
				for _, text := range []string{"call me " + rig, "level", "mm", "Old Blue", "left", "ok", "park", "forget the shop"} {
					say(text)
				}
				shop, err := s.store.Resolve(t.Context(), conversationAddress(rig))
				if err != nil {
					t.Fatal(err)
				}
				failing.left.Store(int64(cut))
				first := say("forget everything")
				failing.left.Store(1 << 30)
				if again {
					n--
					if res := say("forget everything"); res.StatusCode != 200 || !bytes.Contains(res.body, []byte("The shop is deleted")) ||
						first.StatusCode == 200 && !bytes.Equal(res.body, first.body) {
						t.Errorf("%s: again: %d %s", rig, res.StatusCode, res.body)
					}
				}
				res := say("menu")
				if cut == 0 && !again {
					if !bytes.Contains(res.body, []byte("Old Blue")) {
						t.Errorf("%s: it never came, and yet %s", rig, res.body)
					}
					continue
				}
				if res.StatusCode != 200 || !bytes.Contains(res.body, []byte("No saw is set up yet")) {
					t.Errorf("%s: then: %d %s", rig, res.StatusCode, res.body)
				}
				if now, err := s.store.Resolve(t.Context(), conversationAddress(rig)); err != nil || now == shop {
					t.Errorf("%s: then in shop %q, %v", rig, now, err)
				}
				if list, err := s.store.Shops(t.Context(), "", 100); err != nil || slices.Contains(list, shop) {
					t.Errorf("%s: the shop is still there (%v)", rig, err)
				}
			}
		}
	})
}

// On a network the last word arrives although nothing of the shop is left.
func TestForgettingTheShopByText(t *testing.T) {
	p := newPaper(t, true)
	p.app.server.intake.member = func(string, string) bool { return false }
	code := codeFrom(t, textsOf(p.sayHome("link"))...)
	p.tell("+447700900001", "link "+code)
	p.tell("+447700900001", "forget this shop")
	m := p.from("+447700900001", "forget everything")
	if got := p.after(m); len(got) != 1 || !has(got, "The shop is deleted") {
		t.Errorf("the last word: %q", got)
	}
	if got := p.after(m); len(got) != 0 {
		t.Errorf("brought again: %q", got)
	}
	if got := p.tell("+447700900001", "hello"); len(got) != 1 || !has(got, "only people who were let in") {
		t.Errorf("then: %q", got)
	}
	if _, err := p.store.Get(t.Context(), homeShop, store.KindPeople, ""); !errors.Is(err, store.ErrNotFound) {
		t.Errorf("the people are still there: %v", err)
	}
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
		{"Nope\n", `there is nobody called "Nope" in the shop; there are `, []string{"forget", "person", "Nope"}, 1},
		{"Nope\n", "Kim Osei", []string{"forget", "person", "Nope"}, 1},
		{"Kim Osei\n", "Deleted.", []string{"forget", "person", "Kim Osei"}, 0},
		{"home\n", "Deleted.", []string{"forget", "shop"}, 0},
		{"Nope\n", "there is nobody in the shop", []string{"forget", "person", "Nope"}, 1},
	} {
		out, said, status := runCommand(t, folder, c.in, c.args...)
		if asks := strings.Contains(out, "This deletes"); asks != (c.status == 0 || c.want == "nothing was deleted") {
			t.Errorf("%v: whether it asks to be sure: %v\n%s", c.args, asks, out)
		}
		if status != c.status || !regexp.MustCompile(regexp.QuoteMeta(c.want)).MatchString(out+said) {
			t.Errorf("%v: %d %s%s", c.args, status, out, said)
		}
	}
	text, _, _ := runCommand(t, folder, "", "export")
	if !strings.Contains(text, `"people": []`) || !strings.Contains(text, `"records": []`) {
		t.Errorf("left: %s", text)
	}
}
