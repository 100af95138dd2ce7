package main

import (
	"math"
	"testing"

	"shimwright/dialog"
)

// TestAdviceIsAsDescribed: a move of every kind reaches a program as the description of
// the interface names it (each exchange is checked against that as it is made), with its
// motion in the axes: forward is along the feed, and a tilt has an angle as soon as a
// turn has shown what the screw does.
func TestAdviceIsAsDescribed(t *testing.T) {
	s := newService(t)
	var last answer
	say := func(texts ...string) {
		for _, text := range texts {
			s.clock.advance(2e9)
			last = s.sayHome(text)
		}
	}
	moves := func(kind string) dialog.Advice {
		t.Helper()
		if len(last.Advice) != 1 || last.Advice[0].Move != kind {
			t.Fatalf("advice %+v, want one to move %s; %+v", last.Advice, kind, last.Replies)
		}
		return last.Advice[0]
	}
	say("new saw", "mm", "Old Blue", "left", "blade", "315", "left", "yes", "ok")

	// A square on the side that the blade leans to, open at the bottom: it leans too
	// much, by the gap over the height. What a turn does is not known before the first.
	say("tilt", "ok", "left", "unplugged", "done", "bottom 0.25", "80")
	if a := moves("turn"); a.Change.Angle != nil || a.Direction != "clockwise" {
		t.Errorf("a trial turn: %+v", a)
	}
	say("done", "done", "bottom 0.15")
	if a := moves("tilt-less"); a.Change.Angle == nil || math.Abs(*a.Change.Angle+0.15/80) > 0.1/80 {
		t.Errorf("a turn whose effect is known: %+v", a)
	}
	say("park", "guarded")

	// By hand: the far end leans to the rear by (20.24 - 20)/(4·300), and 900 mm from
	// the pivot that is 0.18 mm; then as much to the front.
	say("crosscut", "unplugged", "done", "fits")
	for _, c := range []struct {
		width, kind string
		x           float64
	}{{"20.24", "back", -0.18}, {"19.76", "forward", 0.18}} {
		say("guarded", "done", c.width, "20", "300")
		if v := last.Verdict; v == nil || v.Name != "crosscut:90" { // as its record is called
			t.Errorf("the verdict is on %+v", v)
		}
		say("unplugged")
		if a := moves(c.kind); math.Abs(a.Change.X-c.x) > 0.001 {
			t.Errorf("%s: %+v", c.kind, a)
		}
		say("done")
	}
}
