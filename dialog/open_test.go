package dialog_test

import (
	"strings"
	"testing"
)

// twoSaws is a shop in which Old Blue stands open, its job just left.
func twoSaws() *shop {
	sh := newShop()
	sh.says("set up", "mm", "Birch", "right", "ok", "set up", "Old Blue", "left", "ok", "level", "unplugged", "done", "park")
	return sh
}

const leftOpen = "Do not run Old Blue: it was left open"

// TestLeftOpenPassed leaves a saw open. Nothing that is said of it passes the question
// by; another saw may be worked at, and what stands open is said then and later.
func TestLeftOpenPassed(t *testing.T) {
	sh := twoSaws()
	for _, text := range []string{"ok", "menu", "Old Blue", "saws", "Old Blue", "history", "due", "units", "where", "skip", "back", "rip cut", "retire", "no"} {
		if sh.say(text); text != "saws" && !strings.Contains(sh.text(), "Do not run Old Blue as it is") {
			t.Fatalf("%s passes it by:\n%s", text, sh.text())
		}
	}
	for _, text := range []string{"Birch", "menu", "units", "full run", "park"} {
		if sh.say(text); !strings.Contains(sh.text(), leftOpen) && text != "full run" {
			t.Errorf("%s: what stands open is not said:\n%s", text, sh.text())
		}
	}
	sh.stage("kim")
	if sh.say("Birch"); strings.Contains(sh.text(), leftOpen) {
		t.Errorf("Kim, who has no part in it, is told:\n%s", sh.text())
	}
	if sh.say("Old Blue"); !strings.Contains(sh.text(), "Do not run Old Blue as it is") {
		t.Errorf("Kim is not asked for the saw that she names:\n%s", sh.text())
	}
	sh.say("guarded")
	sh.stage("owner")
	if sh.say("menu"); strings.Contains(sh.text(), "not run") {
		t.Errorf("it is whole again:\n%s", sh.text())
	}
}

// TestLeftOpenWhileAnotherRuns: with a job on another saw under way as well, what is
// said of neither asks for the open one again, not for the other's next question.
func TestLeftOpenWhileAnotherRuns(t *testing.T) {
	sh := twoSaws()
	sh.says("guarded", "Birch", "tilt", "go on", "unplugged", "retire")
	for _, text := range []string{"plugged in", "english", "power is on"} {
		if sh.say(text); !strings.Contains(sh.text(), "Do not run Old Blue as it is") {
			t.Errorf("%s passes it by:\n%s", text, sh.text())
		}
	}
}

// TestLeftOpenOvertaken lets one person be asked whether a saw is whole and answer
// when another has opened it again: it is not whole.
func TestLeftOpenOvertaken(t *testing.T) {
	sh := twoSaws()
	sh.stage("kim")
	sh.say("Old Blue")
	sh.stage("owner")
	sh.says("resume", "unplugged")
	sh.stage("kim")
	if sh.say("guarded"); strings.Contains(sh.text(), "whole") {
		t.Errorf("Kim says that it is whole:\n%s", sh.text())
	}
	sh.stage("owner")
	if sh.say("park"); !strings.Contains(sh.text(), "Do not run Old Blue as it is") {
		t.Errorf("it is left open and nothing is said:\n%s", sh.text())
	}
}

// TestTwoPlugs holds two saws unplugged: that the one is whole again says nothing of
// the other.
func TestTwoPlugs(t *testing.T) {
	sh := twoSaws()
	sh.says("Birch", "level", "unplugged", "park", "guarded")
	if sh.view.Saws[0].Power.Open() {
		t.Errorf("Birch is not whole:\n%s", sh.text())
	}
	if sh.view.Saws[1].Power.Holder(sh.now) != "owner" {
		t.Errorf("the plug of Old Blue counts no more:\n%s", sh.text())
	}
}
