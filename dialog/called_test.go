package dialog_test

import (
	"strings"
	"testing"
)

// TestSomebodyWithoutAName takes a job over before saying a name. Whoever had it is told
// so in words that they understand: their hands may be in the saw.
func TestSomebodyWithoutAName(t *testing.T) {
	sh := newShop()
	sh.view.People.Persons[1].Name, sh.view.People.Persons[1].ID = "", "p7x2k9"
	for _, text := range []string{"level", "mm", "Birch", "left", "ok", "unplugged"} {
		sh.say(text)
	}
	sh.stage("p7x2k9")
	sh.say("level")
	sh.say("take over")
	if len(sh.sent) != 1 || !strings.HasPrefix(sh.sent[0].Reply.Text, "Somebody has taken over on Birch. Keep your hands away") {
		t.Errorf("told %+v", sh.sent)
	}
	sh.stage("owner")
	if got := said(sh.say("level")); !strings.HasPrefix(got, "Somebody is on Birch") {
		t.Errorf("said\n%s", got)
	}
}

// TestStopInOtherWords: a person who wants no more texts need not know the one word.
func TestStopInOtherWords(t *testing.T) {
	for _, text := range []string{"Stop please", "STOP ALL", "please stop.", "No more texts!"} {
		sh := newShop()
		for _, before := range []string{"level", "mm", "Birch", "left", "ok", "unplugged"} {
			sh.say(before)
		}
		if got := said(sh.say(text)); !sh.states["page-owner"].Stopped || !strings.Contains(got, "Do not run the saw") {
			t.Errorf("%q is answered with\n%s", text, got)
		}
	}
}
