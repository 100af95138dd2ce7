package dialog_test

import (
	"math"
	"regexp"
	"strings"
	"testing"
)

// TestTiltFoundAfterAKnock reads a stop after the saw was hit in the middle of
// the job: what was found is the reading from then on, not nothing.
func TestTiltFoundAfterAKnock(t *testing.T) {
	sh := begin("tilt stops")
	sh.says("square", "right", "unplugged", "bumped", "done", "0.5 top", "150", "done", "done", "0")
	r := sh.last(t, "tilt:90")
	want := math.Atan(0.5 / 150) // a gap of 0.5 mm over a square of 150 mm
	if r.AsFound == nil || math.Abs(r.AsFound.Value-want) > 1e-5 {
		t.Errorf("found %+v, want %.5f rad", r.AsFound, want)
	}
}

// TestTiltLevelDoubted says to a level what no plate at the stop can show: it is
// asked about before anything is made of it.
func TestTiltLevelDoubted(t *testing.T) {
	doubt := regexp.MustCompile(`Is (it|the [a-z ]+) right`)
	for name, c := range map[string]struct {
		lines  []string
		doubts bool
	}{
		"a table that is nearly level":        {[]string{"90", "0.3"}, false},
		"the plate's reading for the table's": {[]string{"90", "89.8"}, true},
		"an upright plate":                    {[]string{"90", "0.1", "89.8"}, false},
		"a level that shows 0 after all":      {[]string{"90", "0.1", "0.2"}, true},
		"zero on an upright plate":            {[]string{"0", "0.1", "-0.2"}, false},
		"90 after all":                        {[]string{"0", "0.1", "89.8"}, true},
		"a bevel stop":                        {[]string{"90", "0", "90", "done", "0", "44.9"}, false},
		"the point forgotten":                 {[]string{"90", "0", "90", "done", "0", "4.49"}, true},
		"the wrong side of upright":           {[]string{"0", "0", "0", "done", "0", "-45"}, true},
	} {
		sh := begin("tilt stops")
		sh.says("level", "level", "unplugged", "done")
		sh.says(c.lines...)
		if doubted := doubt.MatchString(sh.text()); doubted != c.doubts {
			t.Errorf("%s: doubted %v, want %v:\n%s", name, doubted, c.doubts, sh.text())
		}
	}
}

// TestTiltLargeQuestioned reads a stop further off than stops are, as a slipped
// point does: no screw is turned before that is settled, and what is right is
// asked about once.
func TestTiltLargeQuestioned(t *testing.T) {
	sh := begin("tilt stops")
	sh.says("square", "right", "unplugged", "done", "5 top", "150") // 1.9 degrees
	if !strings.Contains(sh.text(), "more than a stop is usually out") {
		t.Fatalf("taken without a question:\n%s", sh.text())
	}
	if sh.says("read again"); sh.prompt().Name != "tilt.set" {
		t.Fatalf("not read again:\n%s", sh.text())
	}
	sh.says("done", "0.5 top", "done", "done", "5 top", "right", "done", "done")
	if sh.says("4 top"); sh.prompt().Name != "tilt.screw" {
		t.Errorf("questioned though less than what was right:\n%s", sh.text())
	}
	sh.says("done", "done", "0")
	if r := sh.last(t, "tilt:90"); r.AsFound == nil || math.Abs(r.AsFound.Value-math.Atan(0.5/150)) > 1e-5 {
		t.Errorf("found %+v, want what was believed first", r.AsFound)
	}
}
