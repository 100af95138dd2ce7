package dialog_test

import (
	"testing"
	"time"

	"shimwright/dialog"
	"shimwright/dialog/guard"
)

// What a code looks like in a message, in any language, and what is none.
func TestCode(t *testing.T) {
	want := dialog.JoinHash("K7F3-Q9M2")
	for _, text := range []string{"join K7F3-Q9M2", "Join k7f3q9m2.", "link K7F3 Q9M2", "verbinden K7F3-Q9M2", "beitreten k7f3-q9m2",
		"vincular K7F3-Q9M2", "Código K7F3-Q9M2", "codigo k7f3-q9m2", " K7F3-Q9M2 ", "k7f3-q9m2!", "join code K7F3-Q9M2"} {
		if got, ok := dialog.Code(text); !ok || got != want {
			t.Errorf("%q is no code", text)
		}
	}
	for _, text := range []string{"", "join", "link", "K7F3Q9M2", "parallel", "unplugged", "old blue", "join the club", "join K7F3-Q9M", "join K7F3-Q9M2-A",
		"0.05", "-0.05 0.04", "join K7F3-Q9M*", "please join K7F3-Q9M2 now, will you, it is urgent, and then some more words",
		"12345678", "link 0.05 0.04", "slider-l", "crosscut"} {
		if _, ok := dialog.Code(text); ok {
			t.Errorf("%q is taken for a code", text)
		}
	}
}

// Who may leave a shop for another, and when.
func TestMayLeave(t *testing.T) {
	kim, ada := dialog.Person{ID: "kim", Role: dialog.Setter}, dialog.Person{ID: "ada", Role: dialog.Owner}
	open := guard.Power{}.With(guard.Event{Kind: guard.Unplugged, Person: "kim", At: time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)})
	gone := ada
	gone.Removed = true
	for _, c := range []struct {
		name    string
		persons []dialog.Person
		saws    []dialog.Saw
		id      string
		alone   bool
		want    bool
	}{
		{"nobody yet", nil, nil, "", true, true},
		{"one who sets up", []dialog.Person{ada, kim}, []dialog.Saw{{}}, "kim", false, true},
		{"in a job", []dialog.Person{ada, kim}, []dialog.Saw{{Running: &dialog.Job{Person: "kim"}}}, "kim", false, false},
		{"another in a job", []dialog.Person{ada, kim}, []dialog.Saw{{Running: &dialog.Job{Person: "ada"}}}, "kim", false, true},
		{"with a saw open", []dialog.Person{ada, kim}, []dialog.Saw{{Power: open}}, "kim", false, false},
		{"the only owner, of a saw", []dialog.Person{ada}, []dialog.Saw{{}}, "ada", false, false},
		{"the only owner, of others", []dialog.Person{ada, kim}, nil, "ada", false, false},
		{"the only owner, of nothing", []dialog.Person{ada}, []dialog.Saw{{Retired: true}}, "ada", false, true},
		{"a whole conversation with others", []dialog.Person{ada, kim}, nil, "kim", true, false},
		{"a whole conversation with one who is out", []dialog.Person{gone, kim}, nil, "kim", true, true},
	} {
		if got := dialog.MayLeave(dialog.People{Persons: c.persons}, c.saws, c.id, c.alone); got != c.want {
			t.Errorf("%s: %v", c.name, got)
		}
	}
}

// A code to link by ends after a quarter of an hour, and the newer word on
// reminders counts for the one person.
func TestLinkEnds(t *testing.T) {
	sh := crew()
	sh.view.Networks = []string{"sms"}
	sh.stage("kim")
	sh.say("link")
	sh.now = sh.now.Add(16 * time.Minute)
	sh.stage("owner")
	if got := said(sh.say("link K7F3-Q9M2")); got == "" || sh.states["page-owner"].Pending != "" {
		t.Errorf("after its time: %q", got)
	}
	sh.stage("kim")
	sh.say("link")
	sh.say("no reminders")
	sh.stage("owner")
	sh.say("link K7F3-Q9M2")
	sh.say("yes")
	p := sh.view.People
	ada, kim := p.Persons[0], p.Persons[1]
	if !kim.Removed || kim.Into != "owner" || kim.Consent != nil || len(kim.Devices)+len(kim.Addresses) > 0 {
		t.Errorf("Kim: %+v", kim)
	}
	if ada.Consent == nil || ada.Consent.Given || len(ada.Devices) != 2 || len(ada.Addresses) == 0 || ada.Role != dialog.Owner {
		t.Errorf("Ada: %+v", ada)
	}
}
