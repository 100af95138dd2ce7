package dialog_test

import (
	"math"
	"testing"
	"time"

	"shimwright/dialog"
)

// kept returns what is kept of a tool.
func kept(t *testing.T, sh *shop, kind string) dialog.Tool {
	t.Helper()
	for _, tool := range sh.view.Saws[0].Profile.Tools {
		if tool.Kind == kind {
			return tool
		}
	}
	return dialog.Tool{}
}

// TestSquareFlip: the gap is twice the error; right of the other, with the
// stock to the left, is more than 90 degrees.
func TestSquareFlip(t *testing.T) {
	for name, c := range map[string]struct {
		lines    []string
		error    float64 // rad
		decision string
	}{
		"true":         {[]string{"0", "ok"}, 0, "within"},
		"a hair":       {[]string{"0.02", "ok", "right"}, 0.02 / 300, "within"},
		"more than 90": {[]string{"0.3", "150", "right"}, 0.3 / 300, "within"}, // corrected: its doubt is left
		"less than 90": {[]string{"0.3", "150", "left"}, -0.3 / 300, "within"},
		"for a drawer": {[]string{"1.2", "150", "left"}, 0, "outside"},
	} {
		sh := begin("references")
		sh.says("square")
		sh.says(c.lines...)
		if got := float64(kept(t, sh, dialog.Square).Error); math.Abs(got-c.error) > 1e-6 {
			t.Errorf("%s: kept %g, want %g\n%s", name, got, c.error, sh.text())
		}
		if r := sh.last(t, "tool.square"); r.Decision != c.decision || r.Unit != "rad" {
			t.Errorf("%s: %+v", name, r)
		}
	}
}

// TestSquareCorrectsTilt: the blade read with a square that is out is judged by
// what the square is out, so that a true blade is found true.
func TestSquareCorrectsTilt(t *testing.T) {
	// A square of 90.0955 degrees against a true blade: at 150 mm from the foot it
	// leans in by 0.25 mm, so the gap is open at the bottom.
	for _, checked := range []bool{false, true} {
		sh := begin("references")
		if checked {
			sh.says("square", "0.5", "150", "right", "no")
		} else {
			sh.says("caliper", "0", "no")
		}
		sh.says("tilt", "gap")
		for range 20 {
			p := sh.prompt()
			switch {
			case p.Name == "tilt.gap" && p.Stop != nil && *p.Stop == 90:
				sh.say("0.25 at the bottom")
			case p.Name == "tilt.height":
				sh.say("150 mm")
			case p.Acknowledge != "":
				sh.say(p.Acknowledge)
			case p.Kind == dialog.KindChoice:
				sh.say("ok")
			}
			if v := sh.result.Turn.Verdict; v != nil {
				within := v.Decision != "outside"
				if within != checked {
					t.Errorf("checked %v: %+v", checked, v)
				}
				break
			}
		}
		if sh.result.Turn.Verdict == nil {
			t.Fatalf("no verdict; at %+v\n%s", sh.prompt(), sh.text())
		}
	}
}

// TestCaliperCorrection: what the closed jaws show is taken off what is read,
// unless it can be zeroed.
func TestCaliperCorrection(t *testing.T) {
	for _, c := range []struct {
		lines []string
		want  float64
	}{
		{[]string{"0"}, 0},
		{[]string{"0.04", "yes"}, 0},
		{[]string{"0.04", "no"}, -0.04},
		{[]string{"-0.03", "no"}, 0.03},
		{[]string{"0.5", "no"}, 0},
	} {
		sh := begin("references")
		sh.says("caliper")
		sh.says(c.lines...)
		if got := float64(kept(t, sh, dialog.Caliper).Correction); math.Abs(got-c.want) > 1e-9 {
			t.Errorf("%v: kept %g, want %g\n%s", c.lines, got, c.want, sh.text())
		}
	}
	// A knife of 2.21 by a caliper that shows 0.04 when closed is 2.17: too thin
	// for a plate of 2.2.
	sh := begin("references")
	sh.says("caliper", "0.04", "no", "no", "knife", "unplugged", "2.21", "2.2", "3.2", "no")
	if p := sh.prompt(); p.Name != "knife" {
		t.Errorf("the correction is not applied: %+v\n%s", p, sh.text())
	}
}

// TestIndicatorRepeats: a spread of one step is rounding; a larger one is kept
// and makes every later reading less certain.
func TestIndicatorRepeats(t *testing.T) {
	for _, c := range []struct {
		lines []string
		s     float64
		good  bool
	}{
		{[]string{"0.5", "0.5", "0.5", "0.5", "0.5"}, 0, true},
		{[]string{"0.5", "0.51", "0.5", "0.5", "0.51"}, 0, true},
		{[]string{"0.5", "0.51", "0.5", "0.49", "0.5"}, 0.0070711, true}, // s of these five by hand: √(2·0.01²/4)
		{[]string{"0.5", "0.56", "0.45", "0.5", "0.58", "drawer"}, 0, false},
	} {
		sh := begin("references")
		sh.says("indicator")
		sh.says(c.lines...)
		if got := float64(kept(t, sh, dialog.Indicator).Repeat); math.Abs(got-c.s) > 1e-6 {
			t.Errorf("%v: kept %g, want %g\n%s", c.lines, got, c.s, sh.text())
		}
		if r := sh.last(t, "tool.indicator"); (r.Decision == "within") != c.good {
			t.Errorf("%v: %s", c.lines, r.Decision)
		}
	}
}

// TestToolSpoils: a tool's correction makes stale what was read with that tool,
// and nothing else.
func TestToolSpoils(t *testing.T) {
	sh := begin("runout")
	sh.says("unplugged", "done", "0", "ok", "0", "0.01", "0.01", "0.01", "0", "-0.01", "-0.01", "-0.01", "0", "guarded", "no")
	sh.says("references", "caliper", "0.04", "no")
	sh.say("menu")
	if got := line(sh.text(), "Runout of the blade"); contains(got, "stale") {
		t.Errorf("a caliper spoils what an indicator read: %s", got)
	}
	sh.says("references", "indicator", "0.5", "0.56", "0.45", "0.5", "0.58", "drawer")
	sh.say("menu")
	if got := line(sh.text(), "Runout of the blade"); !contains(got, "stale") {
		t.Errorf("an indicator in the drawer leaves its readings good: %s", got)
	}
}

// TestCaliperSpoilsKnife: a knife whose thickness was read with a caliper that
// is out is measured again before a cut.
func TestCaliperSpoilsKnife(t *testing.T) {
	sh := begin("knife")
	sh.says("unplugged", "2.8", "2.2", "3.2", "no", "4", "6", "-3", "0.2", "0.2", "guarded", "no")
	sh.says("references", "caliper", "0.04", "no", "crosscut", "unplugged", "done")
	if p := sh.prompt(); p.Name != "knife.thickness" {
		t.Errorf("%+v\n%s", p, sh.text())
	}
}

// TestParkedJobKeepsItsTools: a job goes on with the tools that it began with.
func TestParkedJobKeepsItsTools(t *testing.T) {
	sh := begin("knife")
	sh.says("unplugged", "2.21", "park", "guarded", "references", "caliper", "0.04", "no", "no")
	sh.says("knife", "go on", "unplugged", "2.2", "3.2", "no")
	if p := sh.prompt(); p.Name != "knife.gap" {
		t.Errorf("a reading given before the check is corrected by it: %+v\n%s", p, sh.text())
	}
}

// TestJobsOfOneSecond: a program, or a phone that sends what it kept, may go through
// a job twice in a second; each has its own record.
func TestJobsOfOneSecond(t *testing.T) {
	sh := newShop()
	for _, s := range []string{"set up", "mm", "Birch", "left", "ok"} {
		sh.say(s)
	}
	ids := map[string]bool{}
	for range 3 {
		for _, s := range []string{"check tools", "caliper", "0"} {
			sh.now = sh.now.Add(-20 * time.Second) // that say lets pass
			for _, r := range sh.say(s).Records {
				ids[r.ID] = true
			}
		}
		sh.now = sh.now.Add(-20 * time.Second)
		sh.say("no") // no reminders
	}
	if len(ids) != 3 {
		t.Errorf("three jobs wrote the records %v\n%s", ids, sh.text())
	}
}
