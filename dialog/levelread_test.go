package dialog_test

import (
	"fmt"
	"strings"
	"testing"

	"shimwright/dialog"
)

// TestLevelTwoReadings answers a height with two readings of the indicator: they
// are no feeler leaves, which add up, and neither is taken.
func TestLevelTwoReadings(t *testing.T) {
	for _, said := range []string{"0.1 and 0.2", "0.10, 0.15", "0.05 0.20"} {
		sh := begin("level")
		sh.says("unplugged", "done", "0", "0.05", said)
		if !strings.Contains(sh.text(), "one reading at a time") {
			t.Errorf("%q is taken:\n%s", said, sh.text())
		}
	}
	// A height below a straightedge may still be felt with a leaf.
	sh := begin("level")
	if sh.says("unplugged", "done", "0", "0.10 goes, 0.15 doesn't"); !strings.Contains(sh.text(), "0.10 to 0.15 mm") {
		t.Errorf("leaves are not taken:\n%s", sh.text())
	}
}

// TestLevelFarOut: a slider that stands millimetres low is brought in by as many
// passes of an eighth of a turn as that takes (M10: 0.19 mm each), and is not given
// up as if turning did not help.
func TestLevelFarOut(t *testing.T) {
	sh, heights := begin("level"), table{}
	for i, mm := range []float64{-2.95, -2.7, -2.9, -2.6, -2.8, -2.5} {
		heights[fmt.Sprintf("support %d, %s side", i+1, []string{"blade", "outer"}[i%2])] = mm
	}
	heights[""] = 0 // the carriage's play
	for n := 0; sh.prompt().Kind != dialog.KindIdle && sh.prompt().Name != "ask.consent"; n++ {
		if n > 400 {
			t.Fatalf("no end\n%s", sh.text())
		}
		if p := sh.prompt(); p.Kind == dialog.KindChoice {
			sh.say(p.Choices[0]) // it is right
			continue
		}
		for _, m := range sh.result.Turn.Advice {
			turns := m.Amount
			if m.Move == "lower" {
				turns = -turns
			}
			heights[m.Part] += turns * 1.5 // M10; a table that is soft against its supports
		}
		sh.result.Turn.Advice = nil // turned
		sh.say(heights.answer(sh.result.Turn))
	}
	if r := sh.last(t, "slider.level"); r.Decision != "within" {
		t.Errorf("%+v; left %v\n%s", r.AsLeft, heights, sh.text())
	}
}
