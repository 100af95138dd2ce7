package calc

import (
	"math"
	"time"
)

// Visit is one finished check of a characteristic.
type Visit struct {
	At    time.Time
	Found Estimate // before anything was adjusted
	Left  Estimate // after; equal to Found where nothing was adjusted
}

// History is what the records know of one characteristic of one saw.
type History struct {
	Name   string
	Window Window
	Visits []Visit // in order of time; those less than a day apart count as one
}

// Limits of an interval between two checks, and the first one, in months
// (practice).
const (
	ShortestInterval = 1
	LongestInterval  = 12
	FirstInterval    = 3
)

// Rule is how a next date was arrived at.
type Rule int

// The rules. Same, Longer and Shorter are the staircase of ILAC-G24 / OIML D 10
// (method 1), Drift is its control chart (method 2).
const (
	RuleFirst       Rule = iota + 1 // one visit only: nothing is known of drift
	RuleSame                        // found within, but not well within
	RuleLonger                      // found well within
	RuleShorter                     // found outside
	RuleDrift                       // when the drift's 95 % bound leaves the window
	RuleLeftOutside                 // left outside the window: as soon as may be
	RuleEvent                       // something happened that makes it due earlier
)

// Reason says why a next date is what it is; the wording is made elsewhere.
type Reason struct {
	Rule           Rule
	Characteristic string  // the one that decides
	Months         int     // between last visit and due date, rounded, for a Rule of the staircase
	PerMonth       float64 // drift in a month, for RuleDrift, in the unit of the window
	AtHigh         bool    // for RuleDrift: it is the high limit that is neared
	Limited        bool    // the shortest or longest interval took the place of the result
}

// Next is when to check again.
type Next struct {
	Due    time.Time
	Reason Reason
}

// NextDate returns the earliest date at which one of the characteristics is
// due, and which and why. Where several are due at once the first one given
// decides.
func NextDate(histories []History) (Next, error) {
	if len(histories) == 0 {
		return Next{}, bad("histories", "are none")
	}
	var first Next
	for i, h := range histories {
		n, err := h.Next()
		if err != nil {
			return Next{}, err
		}
		if i == 0 || n.Due.Before(first.Due) {
			first = n
		}
	}
	return first, nil
}

// NoLaterThan returns the next date brought forward to t, where an event such
// as a change of blade asks for it earlier.
func (n Next) NoLaterThan(t time.Time) Next {
	if !t.Before(n.Due) {
		return n
	}
	return Next{Due: t, Reason: Reason{Rule: RuleEvent}}
}

// Next returns when this characteristic alone is due: by its drift where there
// are three intervals or more, by the staircase below that, never under
// ShortestInterval or over LongestInterval after the last visit.
func (h History) Next() (Next, error) {
	if err := h.check(); err != nil {
		return Next{}, err
	}
	visits := Apart(h.Visits)
	last := visits[len(visits)-1]
	w := h.watched(last.Left)
	left, err := Decide(last.Left, w)
	if err != nil {
		return Next{}, err
	}
	switch {
	case left == Outside:
		return h.months(last.At, ShortestInterval, RuleLeftOutside), nil
	case len(visits) == 1:
		return h.months(last.At, FirstInterval, RuleFirst), nil
	case len(visits) <= 3:
		return h.staircase(visits, w)
	}
	return h.drift(visits, w)
}

func (h History) check() error {
	if err := h.Window.check(); err != nil {
		return err
	}
	if len(h.Visits) == 0 {
		return bad("visits", "are none")
	}
	for i, v := range h.Visits {
		if i > 0 && v.At.Before(h.Visits[i-1].At) {
			return bad("visits", "are not in order of time")
		}
		if v.Found.check() != nil || v.Left.check() != nil {
			return bad("visits", "hold an estimate that cannot be used")
		}
	}
	return nil
}

// watched is the window that the characteristic can leave. A fence that was
// knowingly left open past the high limit, because its toe-in limit could not be
// decided otherwise, can only leave it by closing.
func (h History) watched(left Estimate) Window {
	if h.Window.ToeIn && left.Value > h.Window.High && Clear(left, h.Window) {
		return Window{Low: h.Window.Low, High: math.Inf(1), ToeIn: true}
	}
	return h.Window
}

// Apart joins visits within a day of the first of them: what was found first,
// and what was left last. Who looks every morning makes a visit each time or
// every other, never one that goes on.
func Apart(visits []Visit) []Visit {
	var joined []Visit
	var began time.Time
	for _, v := range visits {
		if n := len(joined); n > 0 && v.At.Sub(began) < 24*time.Hour {
			joined[n-1].Left, joined[n-1].At = v.Left, v.At
			continue
		}
		joined, began = append(joined, v), v.At
	}
	return joined
}

// days returns the days from a to b.
func days(a, b time.Time) float64 { return b.Sub(a).Hours() / 24 }

// daysPerMonth is the mean length of a month of the Gregorian calendar.
const daysPerMonth = 365.2425 / 12

// stairs are the intervals, in months, that the staircase steps between: about
// a doubling each (practice; ILAC-G24 leaves the steps open).
var stairs = []int{1, 2, 3, 6, 12}

// wellWithin is the share of the window about its middle in which a
// characteristic is found "well within" (ILAC-G24 gives 80 % as an example).
const wellWithin = 0.8

// staircase steps up from the longest interval that was survived in a row, or
// down from the last one.
func (h History) staircase(visits []Visit, w Window) (Next, error) {
	n := len(visits)
	last := visits[n-1]
	found, err := Decide(last.Found, w)
	if err != nil {
		return Next{}, err
	}
	base := days(visits[n-2].At, last.At)
	if found == Outside {
		return h.step(last.At, base, -1, RuleShorter), nil
	}
	for i := n - 2; i > 0; i-- {
		if d, err := Decide(visits[i].Found, w); err != nil || d == Outside {
			break
		}
		base = math.Max(base, days(visits[i-1].At, visits[i].At))
	}
	if found == Within && w.wellInside(last.Found.Value) {
		return h.step(last.At, base, 1, RuleLonger), nil
	}
	return h.step(last.At, base, 0, RuleSame), nil
}

// wellInside reports whether v lies in the inner part of the window. A
// one-sided window counts from zero.
func (w Window) wellInside(v float64) bool {
	switch margin := (1 - wellWithin) / 2 * w.width(); {
	case math.IsInf(w.Low, -1):
		return v <= w.High-2*margin
	case math.IsInf(w.High, 1):
		return v >= w.Low+2*margin
	default:
		return v >= w.Low+margin && v <= w.High-margin
	}
}

// step returns the date by stairs from the stair nearest to base days.
func (h History) step(last time.Time, base float64, by int, rule Rule) Next {
	nearest, miss := 0, math.Inf(1)
	for i, m := range stairs {
		if e := math.Abs(math.Log(base / (float64(m) * daysPerMonth))); e < miss {
			nearest, miss = i, e
		}
	}
	i := min(max(nearest+by, 0), len(stairs)-1)
	n := h.months(last, stairs[i], rule)
	n.Reason.Limited = i != nearest+by
	return n
}

func (h History) months(last time.Time, months int, rule Rule) Next {
	return Next{Due: addMonths(last, months), Reason: Reason{Rule: rule, Characteristic: h.Name, Months: months}}
}

// addMonths returns the same day of the month, months later, or the last day of
// that month where it is shorter.
func addMonths(t time.Time, months int) time.Time {
	due := t.AddDate(0, months, 0)
	if due.Day() < t.Day() {
		due = due.AddDate(0, 0, -due.Day())
	}
	return due
}

// drift fits the change from as-left to as-found against the length of each
// interval, a line through the origin since no time is no drift, and looks for
// the first day on which the 95 % bound for what would be found leaves the
// window:
//
//	left + b·T ± max(t₉₅·s, U)·√(1 + T²/ΣT²)
//
// U is the uncertainty of an as-found less an as-left reading: the scatter of a
// few intervals may happen to be smaller than the readings can be trusted.
func (h History) drift(visits []Visit, w Window) (Next, error) {
	var t, d []float64
	var u2 float64
	for i := 1; i < len(visits); i++ {
		before, after := visits[i-1], visits[i]
		t = append(t, days(before.At, after.At))
		d = append(d, after.Found.Value-before.Left.Value)
		u2 += before.Left.U*before.Left.U + after.Found.U*after.Found.U
	}
	line, err := FitProportional(t, d)
	if err != nil {
		return Next{}, renamed(renamed(err, "y", "visits"), "x", "visits")
	}
	last := visits[len(visits)-1]
	spread := math.Max(studentT(Coverage, line.DoF)*line.S, math.Sqrt(u2/float64(len(t))))
	n := Next{Reason: Reason{Rule: RuleDrift, Characteristic: h.Name, PerMonth: line.B * daysPerMonth}}
	if err := inRange("visits", n.Reason.PerMonth, spread); err != nil {
		return Next{}, err
	}
	earliest, latest := addMonths(last.At, ShortestInterval), addMonths(last.At, LongestInterval)
	lastDay := int(math.Round(days(last.At, latest)))
	for day := 0; ; day++ {
		middle := last.Left.Value + line.At(float64(day))
		half := spread * math.Sqrt(1+line.lever(float64(day)))
		above, below := middle+half-w.High, w.Low-(middle-half)
		n.Reason.AtHigh = above > below
		if above > 0 || below > 0 {
			inside := last.At.AddDate(0, 0, day-1) // the last day still in the window
			n.Due = later(inside, earliest)
			n.Reason.Limited = inside.Before(earliest)
			return n, nil
		}
		if day == lastDay {
			n.Due, n.Reason.Limited = latest, true
			return n, nil
		}
	}
}

func later(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}
