package main

import (
	"fmt"
	"net/http"
	"strings"
	"testing"
	"time"

	"shimwright/dialog"
)

// phoneOf is a paired device and the conversation on it.
type phoneOf struct {
	name   string
	cookie func(*http.Request)
}

// pairedAs pairs a device for a person, who is added where they are new; "" is
// the owner.
func (s *service) pairedAs(name string, role dialog.Role) phoneOf {
	s.Helper()
	l, err := s.app.pairing.invite(s.Context(), invitation{Shop: homeShop, Name: name, Role: role})
	if err != nil {
		s.Fatal(err)
	}
	token, err := s.app.pairing.accept(s.Context(), l.Token, "a phone")
	if err != nil {
		s.Fatal(err)
	}
	return phoneOf{"phone-" + name, func(r *http.Request) { r.AddCookie(&http.Cookie{Name: cookieName, Value: token}) }}
}

// A shop of three by HTTP, each with a device of their own: who may do what, a
// job handed on, everything that is due, a phone that is lost, somebody who leaves.
func TestCrewByHTTP(t *testing.T) {
	s := newService(t, func(cfg *Config) { cfg.LocalOwner = false })
	s.clock.set(demoDay(660))
	if _, err := bringIn(t.Context(), s.store, importing{Shop: homeShop, Copy: demoShop()}, s.clock.now()); err != nil {
		t.Fatal(err)
	}
	n := 0
	sayAs := func(p phoneOf, text string) []string {
		t.Helper()
		n++
		return textsOf(s.post(posted{ID: fmt.Sprint("m-crew-", n), Conversation: p.name, Text: text}, p.cookie))
	}
	ada, lee, max := s.pairedAs("", ""), s.pairedAs("Lee", dialog.Setter), s.pairedAs("Max", dialog.Measure)
	for _, c := range []struct {
		who  phoneOf
		text string
		want string
	}{
		{lee, "people", "Lee: sets up and measures."},
		{max, "people", "Max: measures."},
		{lee, "invite", "Only the owner can do that"},
		{max, "edit", "Only somebody who may set up"},
		{max, "forget this shop", "Only the owner can do that"},
		{ada, "moved", "Old Blue"},
		{max, "due this month", "Old Blue: "},
		{lee, "level", "unplugged"},
		{max, "level", "Lee is on Old Blue"},
		{max, "leave", ""},
		{lee, "hand over to max", "is with Max now"},
		{max, "where", "Slider level on Old Blue"},
		{lee, "unplugged", ""},
		{max, "unplugged", "Unplugged, blade at rest"},
		{lee, "take over", "unplugged"},
		{max, "where", ""},
		{lee, "park", "guarded"},
		{lee, "guarded", ""},
		{lee, "remind me", ""},
	} {
		if got := sayAs(c.who, c.text); !has(got, c.want) && !strings.Contains(strings.Join(got, " "), c.want) {
			t.Errorf("%s, %q: %q", c.who.name, c.text, got)
		}
		s.clock.advance(time.Second)
	}
	if got := sayAs(ada, "Lee may measure"); !has(got, "Lee: measures.") {
		t.Errorf("a role: %q", got)
	}
	if got := sayAs(lee, "edit"); !has(got, "Only somebody who may set up") {
		t.Errorf("the new role: %q", got)
	}
	sayAs(ada, "lost phone of lee")
	sayAs(ada, "remove max")
	if got := sayAs(ada, "yes"); !has(got, "Max is out") {
		t.Errorf("removed: %q", got)
	}
	for _, p := range []phoneOf{lee, max} {
		for _, path := range []string{"/v1/conversations/" + p.name, "/v1/machines/saw-1/records"} {
			if res := s.request("GET", path, "", p.cookie); res.StatusCode != 401 {
				t.Errorf("%s reads %s: %d", p.name, path, res.StatusCode)
			}
		}
		if res := s.request("POST", "/v1/messages", bodyOf(posted{ID: "late", Conversation: p.name, Text: "menu"}), p.cookie); res.StatusCode != 401 {
			t.Errorf("%s speaks: %d", p.name, res.StatusCode)
		}
	}
	if got := sayAs(ada, "people"); !has(got, "Lee: measures.") || has(got, "Max") {
		t.Errorf("left: %q", got)
	}
}

// TestComesBackByACode: whoever was taken out is told to ask for a code, and the
// code that they then bring lets them in again, from where they were.
func TestComesBackByACode(t *testing.T) {
	p := newPaper(t, false)
	n := 0
	lee := func(text string) []string {
		n++
		return textsOf(p.post(posted{ID: fmt.Sprint("m-back-", n), Conversation: "rig-lee", Sender: "lee", Text: text}, p.signed))
	}
	invite := func() string { return "join " + codeFrom(t, textsOf(p.sayHome("invite"))...) }
	lee(invite())
	lee("Lee")
	p.sayHome("remove Lee")
	if got := p.sayHome("yes"); !has(textsOf(got), "Lee is out") {
		t.Fatalf("%q", textsOf(got))
	}
	if got := lee("menu"); !has(got, "for a join code") {
		t.Errorf("who is out is told %q", got)
	}
	if got := lee("join K7F3-Q9M2"); !has(got, "for a join code") {
		t.Errorf("a code of nobody's: %q", got)
	}
	if got := lee(invite()); !has(got, "You are in") {
		t.Errorf("a fresh code: %q", got)
	}
	if got := lee("Lee"); !has(got, "You are Lee here") {
		t.Errorf("and the name: %q", got)
	}
}
