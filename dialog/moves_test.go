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
		"moved it": {"slider.moves", "or the whole saw"}, "I moved it": {"slider.moves", "or the whole saw"}, "bumped": {"slider.height", "was hit"},
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
