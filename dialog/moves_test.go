package dialog_test

import (
	"strings"
	"testing"

	"shimwright/dialog"
)

// atMoves is a shop whose saw is low at its rear, where its nuts are to be turned.
func atMoves(t *testing.T) *shop {
	t.Helper()
	sh := newShop()
	sh.say("level")
	for n := 0; n < 60 && sh.result.Turn.Prompt.Name != "slider.moves"; n++ {
		switch p := sh.result.Turn.Prompt; {
		case p.Name == "slider.height" && p.At.X > 900:
			sh.say("-0.2")
		case p.Name == "slider.height":
			sh.say("0.05")
		case p.Kind == dialog.KindConfirm:
			sh.say(p.Acknowledge)
		case p.Kind == dialog.KindReading:
			sh.say("0.01")
		case p.Name == "setup.name":
			sh.say("Old Blue")
		default:
			sh.say("ok")
		}
	}
	if p := sh.result.Turn.Prompt; p.Name != "slider.moves" {
		t.Fatalf("not at the moves: %+v", p)
	}
	return sh
}

// TestMovesAnswered tells what is said of all moves from what is said of one, and
// of the parts from what is said of the saw.
func TestMovesAnswered(t *testing.T) {
	for say, want := range map[string]struct{ name, said string }{
		"done": {"slider.height", ""}, "all done": {"slider.height", ""}, "yep, all done now": {"slider.height", ""},
		"this one done": {"slider.moves", "What became"}, "that one's done": {"slider.moves", "What became"}, "almost done": {"slider.moves", "What became"},
		"moved it": {"slider.moves", "or the whole saw"}, "I moved it": {"slider.moves", "or the whole saw"}, "bumped": {"told", "was hit"},
		"5 stuck": {"slider.height", "stuck"}, "which nut?": {"slider.moves", "through the table"}, "how hard?": {"slider.moves", "through the table"},
	} {
		sh := atMoves(t)
		if n := len(sh.result.Turn.Advice); n < 2 {
			t.Fatalf("%d moves", n)
		}
		if p := sh.say(say).Turn.Prompt; p.Name != want.name || !strings.Contains(said(sh.result), want.said) {
			t.Errorf("%q: %s is asked, want %s, and %q said:\n%s", say, p.Name, want.name, want.said, said(sh.result))
		}
	}
}

// TestMovesHalfAnswered takes nothing for an answer that says more than was
// understood, and the parts that are not named only as what is said of the rest.
func TestMovesHalfAnswered(t *testing.T) {
	for _, say := range []string{"nearly done", "5 half done", "5 turned too far", "not yet", "the left one", "2 left", "it's fine", "looks good",
		"5 done?", "not done, 5 stuck", "done, but 5 is not tight", "all but 5 done", "stuck"} {
		for _, one := range []bool{false, true} { // where one move is told at a time, it needs no number
			sh := atMoves(t)
			sh.view.Limits.OneMove = one
			p := sh.say(say).Turn.Prompt
			asked := strings.Contains(said(sh.result), "What became") || strings.Contains(say, "?") || one && strings.HasSuffix(say, "stuck")
			if p.Name != "slider.moves" || !asked {
				t.Errorf("%q, one move at a time %v: taken, and %s is asked:\n%s", say, one, p.Name, said(sh.result))
			}
		}
	}
	for say, want := range map[string]string{
		"5 stuck, the rest done": "support 5, blade side stuck; the rest made.", "5 is stuck, won't turn": "support 5, blade side stuck; the rest made.",
		"5 done, the others not": "support 6, outer side not moved; the rest made.", "all of them done": "",
		"support 5, blade side, is stuck": "support 5, blade side stuck; the rest made.",
	} {
		sh := atMoves(t)
		if p := sh.say(say).Turn.Prompt; p.Name != "slider.height" || !strings.Contains(said(sh.result), want) {
			t.Errorf("%q: %s is asked, want %q said:\n%s", say, p.Name, want, said(sh.result))
		}
	}
}

// TestMovesToldAndUpset lets something happen while moves are told: what became of
// them is asked before the job goes on, and what was made is kept as a fact, also
// where nothing was found to turn afterwards.
func TestMovesToldAndUpset(t *testing.T) {
	for _, event := range []string{"bumped", "new blade"} {
		for answer, want := range map[string]bool{"done": true, "5 stuck": true, "5 the wrong way": true, "none": false, "No.": false, "nothing": false} {
			sh := atMoves(t)
			if p := sh.say(event).Turn.Prompt; p.Name != "told" || p.Kind != dialog.KindChoice || len(sh.result.Turn.Advice) > 0 {
				t.Fatalf("%s: %+v is asked", event, p)
			}
			for _, other := range []string{"where", "fix 1", "back", "skip", "maybe", "ok?", "1 done"} {
				if p := sh.say(other).Turn.Prompt; p.Name != "told" {
					t.Fatalf("%s, %s: %s is asked", event, other, p.Name)
				}
			}
			if p := sh.say(answer).Turn.Prompt; p.Name != "slider.height" {
				t.Fatalf("%s, %s: %s is asked", event, answer, p.Name)
			}
			for sh.result.Turn.Prompt.Name == "slider.height" {
				sh.say("0.05")
			}
			if all := sh.all; len(all) == 0 || all[len(all)-1].Characteristic != "slider.level" || all[len(all)-1].Adjusted != want {
				t.Errorf("%s, %s: the records are %+v", event, answer, all)
			}
		}
	}
}

// TestMovesToldSingly asks where a channel carries one nut a message: only the nut that
// was told is asked for, and the rest was not turned.
func TestMovesToldSingly(t *testing.T) {
	sh := atMoves(t)
	sh.view.Limits = dialog.Limits{Segment: 160, Plain: true, OneMove: true}
	if sh.say("bumped"); !strings.Contains(said(sh.result), "support 5") || strings.Contains(said(sh.result), "6") {
		t.Errorf("asked:\n%s", said(sh.result))
	}
	if sh.say("done"); !strings.Contains(said(sh.result), "support 6, outer side not moved; the rest made") {
		t.Errorf("taken:\n%s", said(sh.result))
	}
	moves := sh.view.Saws[0].Running.Answers
	if m := moves[len(moves)-1].Moves; len(m) != 2 || m[0].Actual != m[0].Turns || m[1].Actual != 0 {
		t.Errorf("kept: %+v", m)
	}
}

// TestMovesToldByAnother lets somebody else hit the saw: who turns its nuts is asked,
// also when they come back to it later.
func TestMovesToldByAnother(t *testing.T) {
	sh := atMoves(t)
	sh.stage("kim")
	sh.say("bumped")
	sh.stage("owner")
	for _, say := range []string{"park", "guarded", "resume"} {
		sh.say(say)
	}
	if p := sh.result.Turn.Prompt; p.Name != "told" {
		t.Errorf("%+v is asked", p)
	}
}

// TestMovesToldAndEdited corrects the profile while moves are told: those that were
// not made are told anew, for the thread as it is.
func TestMovesToldAndEdited(t *testing.T) {
	sh := atMoves(t)
	turns := sh.result.Turn.Advice[0].Amount
	if p := sh.say("edit").Turn.Prompt; p.Name != "told" {
		t.Fatalf("%+v is asked", p)
	}
	sh.says("none", "ok", "left", "nuts", "M20", "ok", "ok", "ok")
	if a := sh.result.Turn.Advice; len(a) == 0 || a[0].Amount >= turns {
		t.Errorf("%v turns were told, and now %+v:\n%s", turns, a, said(sh.result))
	}
}
