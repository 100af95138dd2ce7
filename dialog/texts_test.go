package dialog_test

import (
	"strings"
	"testing"
)

// TestToeOfNothing reads a slider that shows no toe: it may still pinch, and is called
// neither open nor closed.
func TestToeOfNothing(t *testing.T) {
	sh := begin("parallel")
	sh.says("unplugged", "done", "ok")
	for n := 0; n < 20 && sh.prompt().Name == "slider.indicator"; n++ {
		sh.say("0.10")
	}
	if said := sh.text(); !strings.Contains(said, "No toe over") || strings.Contains(said, "oe-out") || strings.Contains(said, "oe-in") {
		t.Errorf("a toe of nothing is called:\n%s", said)
	}
}

// TestSlotSetUp names the mitre slot while a saw is being set up: the job that follows
// is called what that saw has, as far as it is known.
func TestSlotSetUp(t *testing.T) {
	for _, c := range []struct {
		says []string
		want string
	}{
		{[]string{"slot"}, "mitre slot parallel"},
		{[]string{"parallel"}, "slider parallel"},
		{[]string{"no slider", "left", "parallel"}, "mitre slot parallel"},
		{[]string{"left", "slot"}, "slider parallel"},
	} {
		sh := newShop()
		sh.says("set up", "mm", "Fir")
		if sh.says(c.says...); !strings.Contains(sh.text(), "then on with "+c.want+".") {
			t.Errorf("%v: %s", c.says, sh.text())
		}
	}
}

// TestLevelLeans reads an upright plate with a level of a tenth: whatever it shows off
// upright leans to a side, and which is asked.
func TestLevelLeans(t *testing.T) {
	for _, c := range []struct {
		table, plate string
		asked        bool
	}{{"0", "90", false}, {"0.1", "90.1", false}, {"0", "90.05", true}, {"0.05", "90", true}, {"0", "89.96", true}} {
		sh := begin("tilt")
		sh.says("level", "level", "unplugged", "done", "90", c.table, c.plate)
		if asked := sh.prompt().Name == "leans"; asked != c.asked {
			t.Errorf("%s and %s: %s is asked:\n%s", c.table, c.plate, sh.prompt().Name, sh.text())
		}
	}
}
