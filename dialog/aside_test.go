package dialog_test

import (
	"strings"
	"testing"
)

// TestAsideForAnother holds a room of two. A question that was put to one of them is
// answered by that one only: another's yes neither agrees to reminders for them nor
// takes their place, and the question waits meanwhile.
func TestAsideForAnother(t *testing.T) {
	sh := newShop()
	here := func(person, text string) string {
		sh.view.Person, sh.view.Conversation = person, "room"
		sh.say(text)
		return said(sh.result)
	}
	for _, text := range []string{"level", "mm", "Birch", "left", "ok", "unplugged", "done", "0.01", "0.05", "0.05", "0.05", "0.05", "0.05", "0.05", "0.05"} {
		here("kim", text)
	}
	if got := here("kim", "guarded"); !strings.Contains(got, "Shall I text you when Birch") {
		t.Fatalf("asked\n%s", got)
	}
	here("owner", "yes")
	here("owner", "where")
	for _, p := range sh.view.People.Persons {
		if p.Consent != nil {
			t.Errorf("%s has agreed to reminders: %+v", p.ID, p.Consent)
		}
	}
	if got := here("kim", "yes"); !strings.Contains(got, "which time zone") {
		t.Errorf("kim's yes is answered with\n%s", got)
	}
	if got := here("owner", "Madrid"); strings.Contains(got, "I will text you") {
		t.Errorf("another's city is answered with\n%s", got)
	}
	if got := here("kim", "ok"); !strings.Contains(got, "I will text you about Birch") {
		t.Errorf("kim's is answered with\n%s", got)
	}
	// What the owner is asked before somebody goes is not for that one to answer.
	here("owner", "remove Kim")
	here("kim", "yes")
	if sh.view.People.Persons[1].Removed {
		t.Error("kim is out by kim's own word")
	}
	if got := here("owner", "yes"); !strings.Contains(got, "Kim is out") {
		t.Errorf("the owner's yes is answered with\n%s", got)
	}
}
