package calc

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"pgregory.net/rapid"
)

var newYear = time.Date(2025, 1, 1, 9, 0, 0, 0, time.UTC)

// visit is a check on a day after New Year 2025, found and left with U.
func visit(day int, found, left, u float64) Visit {
	return Visit{At: newYear.AddDate(0, 0, day), Found: Estimate{Value: found, U: u, DoF: 9}, Left: Estimate{Value: left, U: u, DoF: 9}}
}

// The staircase of ILAC-G24 / OIML D 10 (method 1; from memory), worked by hand
// on the stairs 1, 2, 3, 6, 12 months. Well within is the inner 80 %: 0.01 …
// 0.09 of a window 0 … 0.1.
func TestStaircase(t *testing.T) {
	w := Window{High: 0.1}
	toe := Window{High: 0.05, ToeIn: true}
	const fine, u = 0.05, 0.004
	for _, c := range []struct {
		name    string
		w       Window
		visits  []Visit
		rule    Rule
		months  int
		limited bool
	}{
		{"one visit", w, []Visit{visit(0, 0.2, fine, u)}, RuleFirst, 3, false},
		{"found well within after three months", w, []Visit{visit(0, 0, fine, u), visit(91, 0.05, fine, u)}, RuleLonger, 6, false},
		{"within, not well", w, []Visit{visit(0, 0, fine, u), visit(91, 0.005, fine, u)}, RuleSame, 3, false},
		{"undecided", w, []Visit{visit(0, 0, fine, u), visit(91, 0.099, fine, u)}, RuleSame, 3, false},
		{"found outside", w, []Visit{visit(0, 0, fine, u), visit(91, 0.12, fine, u)}, RuleShorter, 2, false},
		{"five and a half months are nearest six", w, []Visit{visit(0, 0, fine, u), visit(167, 0.005, fine, u)}, RuleSame, 6, false},
		{"the longest in a row counts, not a quick look", w,
			[]Visit{visit(0, 0, fine, u), visit(182, 0.06, fine, u), visit(212, 0.06, fine, u)}, RuleLonger, 12, false},
		{"but not one that ended outside", w,
			[]Visit{visit(0, 0, fine, u), visit(182, 0.13, fine, u), visit(243, 0.06, fine, u)}, RuleLonger, 3, false},
		{"outside after six good months and three more", w,
			[]Visit{visit(0, 0, fine, u), visit(182, 0.06, fine, u), visit(273, 0.13, fine, u)}, RuleShorter, 2, false},
		{"never above a year", w, []Visit{visit(0, 0, fine, u), visit(365, 0.05, fine, u)}, RuleLonger, 12, true},
		{"never under a month", w, []Visit{visit(0, 0, fine, u), visit(31, 0.2, fine, u)}, RuleShorter, 1, true},
		{"undecided at a toe-in limit is outside", toe, []Visit{visit(0, 0, 0.02, u), visit(91, 0.003, 0.02, u)}, RuleShorter, 2, false},
		{"left outside", w, []Visit{visit(0, 0, fine, u), visit(91, 0.05, 0.2, u)}, RuleLeftOutside, 1, false},
		{"left toed in, perhaps", toe, []Visit{visit(0, 0, 0.001, u)}, RuleLeftOutside, 1, false},
		{"left open at the rear, knowingly", toe, []Visit{visit(0, 0, 0.08, u), visit(91, 0.08, 0.08, u)}, RuleLonger, 6, false},
		{"a runout", AtMost(0.1), []Visit{visit(0, 0, 0.03, u), visit(91, 0.03, 0.03, u)}, RuleLonger, 6, false},
		{"a runout, not well within", AtMost(0.1), []Visit{visit(0, 0, 0.03, u), visit(91, 0.085, 0.03, u)}, RuleSame, 3, false},
		{"a gap", AtLeast(3), []Visit{visit(0, 0, 5, u), visit(91, 5, 5, u)}, RuleLonger, 6, false},
		{"a gap, not well within", AtLeast(3), []Visit{visit(0, 0, 5, u), visit(91, 3.5, 5, u)}, RuleSame, 3, false},
		{"two visits a day apart are two", w, []Visit{visit(0, 0, fine, u), visit(1, 0.12, fine, u)}, RuleShorter, 1, true},
		{"two visits in a day are one", w, []Visit{visit(0, 0, fine, u), visit(91, 0.12, 0.12, u), visit(91, 0.12, fine, u)}, RuleShorter, 2, false},
	} {
		h := History{Name: "height", Window: c.w, Visits: c.visits}
		next, err := h.Next()
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		due := c.visits[len(c.visits)-1].At.AddDate(0, c.months, 0)
		want := Reason{Rule: c.rule, Characteristic: "height", Months: c.months, Limited: c.limited}
		if !next.Due.Equal(due) || next.Reason != want {
			t.Errorf("%s: %v %+v; want %v %+v", c.name, next.Due, next.Reason, due, want)
		}
	}
}

// The control chart (method 2) by hand. Three intervals of 100 days.
//
// Drifts 0.010, 0.015, 0.005: b = 1e-4 a day, s² = (0 + 0.005² + 0.005²)/2, so
// s = 0.005; t₉₅(2)·s = 0.021513. From 0.05 the bound
// 0.05 + 1e-4·T + 0.021513·√(1 + T²/30000) is 0.09998 on day 185 and 0.10017 on
// day 186.
//
// Drifts 0.010 three times with U = 0.01: s = 0, and √(0.01² + 0.01²) = 0.014142
// takes its place. From 0.048: 0.09984 on day 262, 0.10001 on day 263.
func TestDriftByHand(t *testing.T) {
	w := Window{High: 0.1}
	month := 365.2425 / 12
	for _, c := range []struct {
		name     string
		w        Window
		visits   []Visit
		days     int
		perMonth float64
		high     bool
		limited  bool
	}{
		{"scatter", w, []Visit{visit(0, 0, 0.05, 0.001), visit(100, 0.06, 0.05, 0.001), visit(200, 0.065, 0.05, 0.001),
			visit(300, 0.055, 0.05, 0.001)}, 185, 1e-4 * month, true, false},
		{"no scatter: the readings' own uncertainty", w, []Visit{visit(0, 0, 0.05, 0.01), visit(100, 0.06, 0.05, 0.01),
			visit(200, 0.06, 0.05, 0.01), visit(300, 0.06, 0.048, 0.01)}, 262, 1e-4 * month, true, false},
		{"downward, from the mirrored place", w, []Visit{visit(0, 0, 0.05, 0.001), visit(100, 0.04, 0.05, 0.001), visit(200, 0.035, 0.05, 0.001),
			visit(300, 0.045, 0.05, 0.001)}, 185, -1e-4 * month, false, false},
		{"no drift to speak of", w, []Visit{visit(0, 0, 0.05, 0.001), visit(100, 0.05, 0.05, 0.001), visit(200, 0.05, 0.05, 0.001),
			visit(300, 0.05, 0.05, 0.001)}, 365, 0, false, true},
		{"fast drift", w, []Visit{visit(0, 0, 0.01, 0.001), visit(20, 0.08, 0.01, 0.001), visit(40, 0.08, 0.01, 0.001),
			visit(60, 0.08, 0.01, 0.001)}, 31, 0.0035 * month, true, true},
		{"adjusted in between: only the drift counts", w, []Visit{visit(0, 0, 0.05, 0.001), visit(100, 0.06, 0.02, 0.001),
			visit(200, 0.035, 0.07, 0.001), visit(300, 0.075, 0.05, 0.001)}, 185, 1e-4 * month, true, false},
		{"left open at the rear: only closing counts", Window{High: 0.05, ToeIn: true}, []Visit{visit(0, 0, 0.08, 0.001),
			visit(100, 0.09, 0.08, 0.001), visit(200, 0.09, 0.08, 0.001), visit(300, 0.09, 0.08, 0.001)}, 365, 1e-4 * month, false, true},
	} {
		next, err := History{Name: "height", Window: c.w, Visits: c.visits}.Next()
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		last := c.visits[len(c.visits)-1].At
		if got := int(math.Round(days(last, next.Due))); got != c.days || next.Reason.Rule != RuleDrift {
			t.Errorf("%s: %d days, %+v; want %d", c.name, got, next.Reason, c.days)
		}
		within(t, c.name+" drift", next.Reason.PerMonth, c.perMonth, 1e-9)
		if next.Reason.Limited != c.limited || (!c.limited && next.Reason.AtHigh != c.high) {
			t.Errorf("%s: %+v", c.name, next.Reason)
		}
	}
}

// The earliest decides, and an event comes before it: by hand.
func TestNextDate(t *testing.T) {
	w := Window{High: 0.1}
	quick := History{Name: "toe", Window: w, Visits: []Visit{visit(0, 0, 0.05, 0.01), visit(91, 0.13, 0.05, 0.01)}}
	slow := History{Name: "height", Window: w, Visits: []Visit{visit(0, 0, 0.05, 0.01), visit(91, 0.05, 0.05, 0.01)}}
	next, err := NextDate([]History{slow, quick, {Name: "also quick", Window: w, Visits: quick.Visits}})
	sane(t, err)
	if next.Reason.Characteristic != "toe" || next.Reason.Months != 2 {
		t.Errorf("%+v", next)
	}
	event := next.NoLaterThan(newYear.AddDate(0, 0, 95))
	if !event.Due.Equal(newYear.AddDate(0, 0, 95)) || event.Reason != (Reason{Rule: RuleEvent}) {
		t.Errorf("%+v", event)
	}
	if same := next.NoLaterThan(next.Due.AddDate(0, 0, 1)); same != next {
		t.Errorf("%+v", same)
	}
	// The last of a month stays the last of a month.
	for from, want := range map[string]string{"2025-01-31": "2025-02-28", "2024-01-31": "2024-02-29", "2025-03-31": "2025-04-30",
		"2025-01-15": "2025-02-15", "2025-12-31": "2026-01-31"} {
		at, err := time.Parse(time.DateOnly, from)
		sane(t, err)
		if got := addMonths(at, 1).Format(time.DateOnly); got != want {
			t.Errorf("a month after %s is %s, want %s", from, got, want)
		}
	}
}

func TestNextDateRefuses(t *testing.T) {
	good := visit(0, 0.05, 0.05, 0.01)
	_, err := NextDate(nil)
	refused(t, err, "histories")
	_, err = NextDate([]History{{Window: AtMost(1)}})
	refused(t, err, "visits")
	_, err = NextDate([]History{{Visits: []Visit{good}}})
	refused(t, err, "window")
	_, err = History{Window: AtMost(1), Visits: []Visit{visit(5, 0, 0, 0), good}}.Next()
	refused(t, err, "visits")
	for _, v := range unusable {
		for _, bad := range []Visit{visit(1, v, 0, 0), visit(1, 0, v, 0), visit(1, 0, 0, v)} {
			_, err = History{Window: AtMost(1), Visits: []Visit{good, bad}}.Next()
			refused(t, err, "visits")
		}
	}
	huge := math.MaxFloat64
	_, err = History{Window: AtMost(1), Visits: []Visit{visit(0, 0, -huge, 0), visit(9, huge, -huge, 0), visit(18, huge, -huge, 0),
		visit(27, huge, -huge, 0)}}.Next()
	refused(t, err, "visits")
	_, err = History{Window: AtMost(1), Visits: []Visit{visit(0, 0, 0, 0), visit(9, huge/8, 0, 0), visit(18, huge/8, 0, 0),
		visit(27, huge/8, 0, 0)}}.Next()
	refused(t, err, "visits")
}

// A characteristic that drifts and scatters, checked when it is told to be, is
// found inside its window as often as a 95 % bound on both sides promises for
// the one that is reached: 97.5 %.
func TestDriftCoverage(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 71))
	w := Window{High: 0.1}
	hits, trials := 0, 0
	for trials < 10000 {
		rate, scatter := 0.0003+0.0003*r.Float64(), 0.001+0.002*r.Float64()
		h := History{Window: w, Visits: []Visit{visit(0, 0, 0.03, 1e-6)}}
		for i := range 4 + r.IntN(4) {
			day := 90*(i+1) + r.IntN(40)
			gone := days(h.Visits[i].At, newYear.AddDate(0, 0, day))
			h.Visits = append(h.Visits, visit(day, 0.03+rate*gone+scatter*r.NormFloat64(), 0.03, 1e-6))
		}
		next, err := h.Next()
		sane(t, err)
		if next.Reason.Limited {
			continue
		}
		trials++
		gone := days(h.Visits[len(h.Visits)-1].At, next.Due)
		if found := 0.03 + rate*gone + scatter*r.NormFloat64(); found <= w.High {
			hits++
		}
	}
	covers(t, "found within on the due date", hits, trials, 0.965, 0.985)
}

// Whatever the history: between one and twelve months, the same in any unit and
// mirrored about the middle, and never later for being found nearer a limit.
func TestNextDateProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 8).Draw(t, "visits")
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 6))
		unit := rapid.SampledFrom([]float64{25.4, 1 / 25.4, 1000}).Draw(t, "unit")
		a := History{Window: Window{High: 0.1}}
		b := History{Window: Window{High: 0.1 * unit}}
		c := History{Window: Window{Low: -0.1}}
		day := 0
		for range n {
			found, left := 0.13*r.Float64(), 0.02+0.06*r.Float64()
			a.Visits = append(a.Visits, visit(day, found, left, 0.01))
			b.Visits = append(b.Visits, visit(day, found*unit, left*unit, 0.01*unit))
			c.Visits = append(c.Visits, visit(day, -found, -left, 0.01))
			day += 1 + r.IntN(400)
		}
		next, err := a.Next()
		sane(t, err)
		last := a.Visits[n-1].At
		if next.Due.Before(addMonths(last, 1)) || next.Due.After(addMonths(last, 12)) {
			t.Errorf("due %v after %v", next.Due, last)
		}
		for name, h := range map[string]History{"in another unit": b, "mirrored": c} {
			other, err := h.Next()
			sane(t, err)
			if !other.Due.Equal(next.Due) || other.Reason.Rule != next.Reason.Rule {
				t.Errorf("%s %v %+v after %v %+v", name, other.Due, other.Reason, next.Due, next.Reason)
			}
		}
	})
}

func FuzzNextDate(f *testing.F) {
	f.Add(0.05, 0.06, 0.05, 0.01, 100, 0.0, 0.1, true)
	f.Add(1e308, -1e308, math.NaN(), 5e-324, 1, math.Inf(-1), 1e308, false)
	f.Fuzz(func(t *testing.T, left, found, again, u float64, step int, low, high float64, toeIn bool) {
		h := History{Window: Window{Low: low, High: high, ToeIn: toeIn}}
		for i := range 5 {
			h.Visits = append(h.Visits, visit(i*(step%1000), found, left, u))
			next, err := h.Next()
			sane(t, err, next.Reason.PerMonth)
			if err == nil && (next.Reason.Rule == 0 || next.Due.Before(h.Visits[i].At)) {
				t.Errorf("%+v", next)
			}
			first, err := NextDate([]History{h, h})
			sane(t, err)
			if err == nil && (!first.Due.Equal(next.Due) || first.NoLaterThan(h.Visits[0].At).Due.After(h.Visits[0].At)) {
				t.Errorf("%+v of two like %+v", first, next)
			}
			found = again
		}
	})
}

// What lies within a day of the first is one visit; a look every morning, some
// minutes earlier or later, is not one visit that never ends.
func TestApart(t *testing.T) {
	var visits []Visit
	noon := time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
	for day, minutes := range []int{0, -5, 5, -10, 0, 10} {
		visits = append(visits, Visit{At: noon.AddDate(0, 0, day).Add(time.Duration(minutes) * time.Minute), Found: Estimate{Value: float64(day)}, Left: Estimate{Value: float64(-day)}})
	}
	var got []string
	for _, v := range Apart(visits) {
		got = append(got, fmt.Sprint(v.Found.Value, v.Left.Value, v.At.Day()))
	}
	// By hand: the second lies 23 h 55 min after the first, the fourth 23 h 45 min
	// after the third; the sixth 24 h 10 min after the fifth.
	if want := "[0 -1 3 2 -3 5 4 -4 6 5 -5 7]"; fmt.Sprint(got) != want {
		t.Errorf("%v, want %v", got, want)
	}
}
