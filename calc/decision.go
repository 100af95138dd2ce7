package calc

import (
	"math"
	"sort"

	"gonum.org/v1/gonum/stat/distuv"
)

// Window is what a characteristic may be: Low … High, in the unit of the
// Estimate that is held against it. A one-sided window has an infinite limit:
// see AtMost and AtLeast.
type Window struct {
	Low, High float64
	ToeIn     bool // Low is a toe-in limit: undecided at it counts as outside
}

// AtMost is the window of a characteristic that is limited above only, such as
// a runout.
func AtMost(high float64) Window { return Window{Low: math.Inf(-1), High: high} }

// AtLeast is the window of a characteristic that is limited below only.
func AtLeast(low float64) Window { return Window{Low: low, High: math.Inf(1)} }

// check returns an InputError for a window that nothing can be held against.
func (w Window) check() error {
	switch {
	case math.IsNaN(w.Low) || math.IsNaN(w.High):
		return bad("window", "is not finite")
	case math.IsInf(w.Low, 1) || math.IsInf(w.High, -1):
		return bad("window", "is empty")
	case math.IsInf(w.Low, -1) && math.IsInf(w.High, 1):
		return bad("window", "has no limit")
	case w.Low >= w.High:
		return bad("window", "has its low limit at or above its high limit")
	case w.ToeIn && math.IsInf(w.Low, -1):
		return bad("window", "has no toe-in limit")
	}
	return nil
}

// width returns High − Low. A one-sided window counts from zero, where such
// characteristics (runout, a gap) have their natural end.
func (w Window) width() float64 {
	switch {
	case math.IsInf(w.Low, -1):
		return math.Abs(w.High)
	case math.IsInf(w.High, 1):
		return math.Abs(w.Low)
	}
	return w.High - w.Low
}

// Decision is whether a characteristic is within its window. The zero Decision
// is none: it is what comes with an error.
type Decision int

// The decision zones of ISO 14253-1: conformity proven, non-conformity proven,
// and the zone between, where the uncertainty reaches over a limit.
const (
	Within Decision = iota + 1
	Outside
	Undecided
)

// String returns the name that the service's messages to programs use.
func (d Decision) String() string {
	switch d {
	case Within:
		return "within"
	case Outside:
		return "outside"
	case Undecided:
		return "undecided"
	}
	return "none"
}

// Decide compares an estimate with a window, with a guard band of U on both
// sides of each limit (ISO 14253-1; JCGM 106:2012, 8.3): Within where all of
// Value ± U is in the window, Outside where none of it is, Undecided between.
// At a toe-in limit undecided counts as outside.
func Decide(e Estimate, w Window) (Decision, error) {
	if err := e.check(); err != nil {
		return 0, err
	}
	if err := w.check(); err != nil {
		return 0, err
	}
	slack := e.slack(w)
	low, high := e.Value-e.U, e.Value+e.U
	switch {
	case w.ToeIn && low < w.Low-slack:
		return Outside, nil
	case low >= w.Low-slack && high <= w.High+slack:
		return Within, nil
	case high < w.Low-slack || low > w.High+slack:
		return Outside, nil
	}
	return Undecided, nil
}

// check returns an InputError for an estimate that no decision can rest on.
func (e Estimate) check() error {
	if err := finite("estimate", e.Value, e.U); err != nil {
		return err
	}
	if e.U < 0 {
		return bad("estimate", "has a negative uncertainty")
	}
	return nil
}

// slack is what arithmetic may lose at a limit: far below any tool, but enough
// that a decision does not hang on the unit that was calculated in.
func (e Estimate) slack(w Window) float64 {
	scale := math.Max(math.Abs(e.Value), e.U)
	for _, limit := range []float64{w.Low, w.High} {
		if !math.IsInf(limit, 0) {
			scale = math.Max(scale, math.Abs(limit))
		}
	}
	return scale * 1e-12
}

// CanDecide reports, before anything is read, whether a tool that leaves the
// expanded uncertainty U can decide the window: U at most a quarter of it. A
// one-sided window counts from zero.
func CanDecide(U float64, w Window) bool {
	return U >= 0 && w.check() == nil && U <= w.width()/4*(1+1e-12)
}

// MostFurther is the largest number of further readings that is worth asking
// for: more than anybody takes at a saw.
const MostFurther = 30

// FurtherReadings returns how many more readings of the same kind would settle
// an undecided estimate, were the value to stay: the smallest number that
// shrinks U to the distance of the nearest limit. n is the number of readings
// in e so far and floor the part of e.U (expanded) that repeating does not
// shrink: resolution, geometry. The rest of U shrinks with 1/√n and with
// Student's t.
//
// A settled estimate needs 0. ok is false where no number up to MostFurther
// helps: the tool cannot tell. It is false too where an input cannot be used.
func FurtherReadings(e Estimate, n int, floor float64, w Window) (more int, ok bool) {
	d, err := Decide(e, w)
	if err != nil || n < 1 || !(floor >= 0) || !(e.DoF > 0) {
		return 0, false
	}
	if d != Undecided {
		return 0, true
	}
	need := math.Min(math.Abs(e.Value-w.Low), math.Abs(e.Value-w.High))
	if floor >= need {
		return 0, false
	}
	noise := math.Sqrt(math.Max(0, e.U*e.U-floor*floor))
	dof := math.Max(e.DoF, 0.5)
	now := studentT(Coverage, dof)
	settles := func(i int) bool { // i + 1 more readings
		more := float64(i + 1)
		u := noise * studentT(Coverage, dof+more) / now * math.Sqrt(float64(n)/(float64(n)+more))
		return math.Hypot(floor, u) <= need
	}
	more = 1 + sort.Search(MostFurther, settles)
	if more > MostFurther {
		return 0, false
	}
	return more, true
}

// Conformance returns the probability that the true value lies in the window
// (JCGM 106:2012, 7.2–7.4), from Student's t with the estimate's degrees of
// freedom about its value, the normal distribution where there are many.
func Conformance(e Estimate, w Window) (float64, error) {
	if err := e.check(); err != nil {
		return 0, err
	}
	if err := w.check(); err != nil {
		return 0, err
	}
	if !(e.DoF >= 0.1) {
		return 0, bad("estimate", "has no degrees of freedom")
	}
	if e.U == 0 {
		if slack := e.slack(w); w.Low-slack <= e.Value && e.Value <= w.High+slack {
			return 1, nil
		}
		return 0, nil
	}
	u := e.U / studentT(Coverage, e.DoF)
	return below(w.High, e, u) - below(w.Low, e, u), nil
}

// below returns the probability that the true value is below x.
func below(x float64, e Estimate, u float64) float64 {
	z := (x - e.Value) / u
	switch {
	case math.IsInf(z, 1):
		return 1
	case math.IsInf(z, -1):
		return 0
	case e.DoF >= ManyDoF:
		return distuv.UnitNormal.CDF(z)
	}
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: e.DoF}.CDF(z)
}

// Clear reports whether the whole of Value ± U is on the safe side of the low
// limit: for a toe, that the fence is surely not toed in.
func Clear(e Estimate, w Window) bool {
	return e.check() == nil && w.check() == nil && e.Value-e.U >= w.Low-e.slack(w)
}

// AtToeIn reports whether it is only the uncertainty that reaches beyond a toe-in
// limit: the value itself lies inside, and further readings may settle it.
func AtToeIn(e Estimate, w Window) bool {
	return w.ToeIn && e.check() == nil && w.check() == nil && e.Value >= w.Low && !Clear(e, w)
}

// Aim returns the value to adjust to, given the uncertainty that reading it
// again will have: the middle of the window, but never less than U above a
// toe-in limit, even past High. A one-sided window is aimed at U from its limit.
func Aim(U float64, w Window) (float64, error) {
	if !(U >= 0) || math.IsInf(U, 1) {
		return 0, bad("U", "is negative or not finite")
	}
	if err := w.check(); err != nil {
		return 0, err
	}
	switch {
	case math.IsInf(w.Low, -1):
		return w.High - U, nil
	case math.IsInf(w.High, 1):
		return w.Low + U, nil
	case w.ToeIn:
		return math.Max((w.Low+w.High)/2, w.Low+U), nil
	}
	return (w.Low + w.High) / 2, nil
}
