package dialog_test

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"shimwright/dialog"
)

// Next dates as a person hears them, each worked by hand with the staircase of
// ILAC-G24 / OIML D 10 (from memory; stairs of 1, 2, 3, 6, 12 months, "well
// within" the inner 80 % of the window: practice) and with what happened since.
// The window is 0 to 0.1 mm, of the toe 0 to 0.05 mm.
func TestNextByHand(t *testing.T) {
	type visit struct {
		characteristic string
		day            int
		found, left, u float64
	}
	type event struct {
		kind, what string
		day        int
	}
	const level, toe, knife = "slider.level", "slider.toe", "riving-knife"
	for _, c := range []struct {
		name   string
		visits []visit
		events []event
		date   string // "" for none
		reason string
	}{
		{"nothing yet", nil, nil, "", ""},
		{"one visit: three months", []visit{{level, 0, 0.2, 0.05, 0.01}}, nil, "2 June 2026", "nothing is known"},
		{"well within after three months: six", []visit{{level, 0, 0.2, 0.05, 0.01}, {level, 92, 0.05, 0.05, 0.01}}, nil, "2 December 2026", "well inside"},
		{"within, not well: three again", []visit{{level, 0, 0.2, 0.05, 0.01}, {level, 92, 0.095, 0.05, 0.004}}, nil, "2 September 2026", "not by much"},
		{"found outside: two", []visit{{level, 0, 0.2, 0.05, 0.01}, {level, 92, 0.15, 0.05, 0.01}}, nil, "2 August 2026", "found outside"},
		{"left outside: one", []visit{{level, 0, 0.2, 0.15, 0.01}}, nil, "2 April 2026", "left outside"},
		// 0.004 ± 0.005 may be toe-in: undecided counts as outside there.
		{"a toe that may be toed in: one", []visit{{toe, 0, 0.2, 0.004, 0.005}}, nil, "2 April 2026", "left outside"},
		{"a level that may be low is no toe: three", []visit{{level, 0, 0.2, 0.004, 0.005}}, nil, "2 June 2026", "nothing is known"},
		// Found 0.003 ± 0.005: outside for a toe, undecided for a level.
		{"a toe found perhaps toed in: two", []visit{{toe, 0, 0.2, 0.025, 0.005}, {toe, 92, 0.003, 0.025, 0.005}}, nil, "2 August 2026", "found outside"},
		{"the earliest decides", []visit{{level, 0, 0.2, 0.05, 0.01}, {toe, 20, 0.02, 0.02, 0.005}, {level, 92, 0.05, 0.05, 0.01}}, nil, "22 June 2026", "nothing is known"},
		{"an interval of the owner's", []visit{{level, 0, 0.2, 0.05, 0.01}}, []event{{"interval", "5", 1}}, "2 August 2026", "the interval set"},
		{"given back to the records", []visit{{level, 0, 0.2, 0.05, 0.01}}, []event{{"interval", "5", 1}, {"interval", "0", 2}}, "2 June 2026", "nothing is known"},
		{"moved: the day after", []visit{{level, 0, 0.2, 0.05, 0.01}}, []event{{"moved", "", 10}}, "13 March 2026", "it was moved"},
		{"bumped, though an interval was set afterwards", []visit{{level, 0, 0.2, 0.05, 0.01}}, []event{{"bumped", "", 10}, {"interval", "5", 11}}, "13 March 2026", "it was moved"},
		{"moved before the check: no matter", []visit{{level, 20, 0.2, 0.05, 0.01}}, []event{{"moved", "", 10}}, "22 June 2026", "nothing is known"},
		{"moved, and only one of two checked since", []visit{{level, 0, 0.2, 0.05, 0.01}, {toe, 0, 0.02, 0.02, 0.005}, {level, 30, 0.05, 0.05, 0.01}},
			[]event{{"moved", "", 10}}, "13 March 2026", "it was moved"},
		{"a tool and a proof have no date", []visit{{"tool.square", 0, 0.2, 0.05, 0.01}, {"proof.rip", 0, 0.02, 0.02, 0.005}}, nil, "", ""},
		{"a quick check gives the rest a month", []visit{{level, 0, 0.2, 0.05, 0.01}, {toe + " quick", 90, 0.02, 0.02, 0.005}}, nil, "30 June 2026", "nothing is known"},
		{"a new blade spoils no level", []visit{{level, 0, 0.2, 0.05, 0.01}}, []event{{"blade", "ripping", 10}}, "2 June 2026", "nothing is known"},
		{"but the riving knife", []visit{{level, 0, 0.2, 0.05, 0.01}, {knife, 0, 0.05, 0.05, 0.01}}, []event{{"blade", "ripping", 10}}, "13 March 2026", "new blade"},
	} {
		sh := keeper("Europe/Berlin", "Old Blue")
		sh.all, sh.view.Last = nil, nil
		for _, v := range c.visits {
			high := 0.1
			if v.characteristic == toe {
				high = 0.05
			}
			name, quick := strings.CutSuffix(v.characteristic, " quick")
			sh.write("saw-1", name, v.day, v.found, v.left, v.u, 0, high)
			if quick {
				sh.all[len(sh.all)-1].Procedure = "quick-check"
			}
		}
		for _, e := range c.events {
			sh.view.Saws[0].Events = append(sh.view.Saws[0].Events,
				dialog.Event{Kind: e.kind, What: e.what, At: time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC).AddDate(0, 0, e.day)})
		}
		sh.now = sh.now.AddDate(0, 0, 95)
		got := said(sh.say("history"))
		_, line, ok := strings.Cut(got, "Next check ")
		switch {
		case c.date == "":
			if ok || len(c.visits) == 0 && !strings.Contains(got, "Nothing is written down") {
				t.Errorf("%s: %q", c.name, got)
			}
		case !strings.HasPrefix(line, c.date+": ") || !strings.Contains(line, c.reason):
			t.Errorf("%s: %q, want %s and %q", c.name, line, c.date, c.reason)
		}
	}
}

// A correction takes the place of what it corrects, in the text and the chart.
func TestCorrectedRecord(t *testing.T) {
	sh := keeper("Europe/Berlin", "Old Blue")
	sh.write("saw-1", "slider.level", 92, 0.5, 0.5, 0.01, 0, 0.1)
	fixed := sh.all[len(sh.all)-1]
	fixed.ID, fixed.Corrects = fixed.ID+"-2", fixed.ID
	fixed.AsFound, fixed.AsLeft = &dialog.Measured{Value: 0.05, Uncertainty: 0.01}, &dialog.Measured{Value: 0.05, Uncertainty: 0.01}
	sh.all = append(sh.all, fixed)
	sh.view.Last = []dialog.Record{fixed}
	sh.now = sh.now.AddDate(0, 0, 95)
	res := sh.say("history")
	if got := said(res); strings.Contains(got, "0.5") || !strings.Contains(got, "left +0.05 mm") {
		t.Errorf("said %q", got)
	}
	chart := res.Turn.Replies[0].Drawing.Chart
	if len(chart.Points) != 2 || chart.Points[1].Left.Value != 0.05 {
		t.Errorf("the chart shows %+v", chart.Points)
	}
}

// The course behind the chart takes the adjustments out: three visits that each
// found 0.02 more than was left fall on a line of 0.02 an interval, however far
// the screw was turned back. Worked by hand: left 0.03, found 0.05 and left 0.01,
// found 0.03 and left 0.00; undone, the course is -0.04, -0.02, 0.00.
func TestCourseWithoutAdjustments(t *testing.T) {
	sh := keeper("Europe/Berlin", "Old Blue")
	sh.all = nil
	sh.write("saw-1", "slider.level", 0, 0.2, 0.03, 0.01, 0, 0.1)
	sh.write("saw-1", "slider.level", 100, 0.05, 0.01, 0.01, 0, 0.1)
	sh.write("saw-1", "slider.level", 200, 0.03, 0.00, 0.01, 0, 0.1)
	c := dialog.ChartOf(sh.all, time.Time{})
	if c.Line == nil || math.Abs(c.Line.A+0.04) > 1e-12 || math.Abs(c.Line.B-0.0002) > 1e-15 || c.Line.S > 1e-12 || c.Line.DoF != 1 {
		t.Errorf("the line is %+v", c.Line)
	}
	for i, b := range c.Band {
		if want := -0.04 + 0.04*float64(i)/float64(len(c.Band)-1); math.Abs(b.Value-want) > 1e-12 {
			t.Errorf("at %v: %g, want %g", b.At, b.Value, want)
		}
	}
}

// What history says of a drift, by the control chart worked by hand in calc's
// tests: three intervals of 100 days with drifts 0.010, 0.015, 0.005 and next to
// no uncertainty, left at 0.05 in a window to 0.1, reach the limit's bound on
// day 185; without any drift it holds. Drifts of 0.04 with U = 0.001: no scatter,
// so √2·0.001 stands in its place, and 0.05 + 0.0004·T + 0.00141·√(1 + T²/30000) is
// 0.0997 on day 120 and 0.1001 on day 121.
func TestHistorySaysWhenItIsOut(t *testing.T) {
	for _, c := range []struct {
		found []float64
		want  string
	}{
		{[]float64{0.06, 0.065, 0.055}, "moves +0.003 mm a month, may be out from 30 June 2027 on."},
		{[]float64{0.05, 0.05, 0.05}, "moves 0.000 mm a month, stays inside for a year.\nNext check 27 December 2027: Slider level hardly moves, and a year is the longest."},
		{[]float64{0.09, 0.09, 0.09}, "a month, may be out from 26 April 2027 on."},
	} {
		sh := keeper("UTC", "Old Blue")
		sh.all = nil
		sh.write("saw-1", "slider.level", 0, 0.2, 0.05, 0.001, 0, 0.1)
		for i, f := range c.found {
			sh.write("saw-1", "slider.level", 100*(i+1), f, 0.05, 0.001, 0, 0.1)
		}
		sh.now = sh.now.AddDate(0, 0, 301)
		if got := said(sh.say("history")); !strings.Contains(got, c.want) {
			t.Errorf("%v: %q, want %q", c.found, got, c.want)
		}
	}
}

// Three readings within minutes say nothing of a drift, whatever their scatter:
// 0.01 mm in ten minutes would be 44 mm a month. Counted as one visit of the
// day, they leave two visits, and no line.
func TestNoDriftWithinADay(t *testing.T) {
	sh := keeper("UTC", "Old Blue")
	sh.all = nil
	sh.write("saw-1", "slider.level", 0, 0.2, 0.05, 0.01, 0, 0.1)
	for i, left := range []float64{0.05, 0.06, 0.07} {
		sh.write("saw-1", "slider.level", 100, left, left, 0.01, 0, 0.1)
		r := &sh.all[i+1]
		r.ID, r.At = fmt.Sprint(r.ID, "-", i), r.At.Add(time.Duration(10*i)*time.Minute)
		sh.view.Last[len(sh.view.Last)-1] = *r
	}
	sh.now = sh.now.AddDate(0, 0, 101)
	if got := said(sh.say("history")); !strings.Contains(got, "left +0.07 mm") || strings.Contains(got, "a month") {
		t.Errorf("said %q", got)
	}
	if c := dialog.ChartOf(sh.all, time.Time{}); len(c.Points) != 4 || c.Line != nil {
		t.Errorf("%d points are drawn, and the line %+v", len(c.Points), c.Line)
	}
}
