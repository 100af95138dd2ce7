package calc

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"
)

// known is an estimate whose standard uncertainty u is taken as exact.
func known(value, u float64) Estimate {
	e := Combine(Normal(u, math.Inf(1)))
	e.Value = value
	return e
}

// JCGM 106:2012, conformance probabilities of clause 7, from memory and each
// reproduced by the normal distribution. The last two are derived.
func TestConformanceJCGM106(t *testing.T) {
	for _, c := range []struct {
		name      string
		e         Estimate
		w         Window
		want, tol float64
	}{
		{"7.3 example 1, breakdown voltage", known(-5.47, 0.05), AtMost(-5.40), 0.92, 0.005},
		{"7.3 example 2, burst strength", known(509.7, 8.6), AtLeast(490), 0.99, 0.005},
		{"7.4, kinematic viscosity", known(13.6, 1.8), Window{Low: 12.5, High: 16.3}, 0.66, 0.005},
		{"the same, more digits", known(13.6, 1.8), Window{Low: 12.5, High: 16.3}, 0.662630, 1e-6},
		{"derived", known(0.08, 0.012), Window{Low: -0.1, High: 0.1}, 0.952210, 1e-6},
		{"derived", known(0.09, 0.012), Window{Low: -0.1, High: 0.1}, 0.797672, 1e-6},
		{"no uncertainty, inside", Estimate{Value: 0.09, DoF: 3}, AtMost(0.1), 1, 0},
		{"no uncertainty, outside", Estimate{Value: 0.11, DoF: 3}, AtMost(0.1), 0, 0},
		{"t of one degree is Cauchy's: 1/2 + atan(1)/π", Estimate{Value: 0, U: 12.7062, DoF: 1}, AtMost(1), 0.75, 1e-5},
	} {
		p, err := Conformance(c.e, c.w)
		sane(t, err, p)
		within(t, c.name, p, c.want, c.tol)
	}
	// Table 1 (7.3): the distance z from one limit that gives p.
	for p, z := range map[float64]float64{0.80: 0.84, 0.90: 1.28, 0.95: 1.64, 0.99: 2.33, 0.999: 3.09} {
		got, err := Conformance(known(-z, 1), AtMost(0))
		sane(t, err, got)
		within(t, "p at z", got, p, 0.5*0.01*distuv.UnitNormal.Prob(z)+0.001*(1-p))
	}
	// 8.3, speed control: 99.9 % sure of more than 100 km/h at u = 2 %, from 107 km/h.
	for v, sure := range map[float64]bool{106.0: false, 107.0: true} {
		p, err := Conformance(known(v, 0.02*v), AtLeast(100))
		sane(t, err, p)
		if (p >= 0.999) != sure {
			t.Errorf("at %v km/h the probability is %v", v, p)
		}
	}
	_, err := Conformance(Estimate{Value: 1, U: 1}, AtMost(1))
	refused(t, err, "estimate")
	_, err = Conformance(Estimate{Value: 1, U: 1, DoF: 3}, Window{})
	refused(t, err, "window")
	_, err = Conformance(Estimate{Value: 1, U: -1, DoF: 3}, AtMost(1))
	refused(t, err, "estimate")
}

// The three zones of ISO 14253-1: conformity inside the limits shrunk by U,
// non-conformity outside the limits grown by U, uncertainty between; and the
// rule of this project that undecided at a toe-in limit counts as outside.
func TestDecideZones(t *testing.T) {
	w := Window{Low: 0, High: 0.1}
	toe := Window{Low: 0, High: 0.05, ToeIn: true}
	for _, c := range []struct {
		value, u float64
		w        Window
		want     Decision
	}{
		{0.05, 0.02, w, Within}, {0.02, 0.02, w, Within}, {0.08, 0.02, w, Within},
		{0.0801, 0.02, w, Undecided}, {0.1, 0.02, w, Undecided}, {0.12, 0.02, w, Undecided},
		{0.1201, 0.02, w, Outside}, {0.019, 0.02, w, Undecided}, {-0.0201, 0.02, w, Outside},
		{0.05, 0.06, w, Undecided}, {0.05, 0.05, w, Within},
		{0, 0, w, Within}, {0.1, 0, w, Within}, {0.1000001, 0, w, Outside},
		{0.025, 0.02, toe, Within}, {0.019, 0.02, toe, Outside}, {0.02, 0.02, toe, Within},
		{0.04, 0.02, toe, Undecided}, {0.06, 0.02, toe, Undecided}, {0.071, 0.02, toe, Outside},
		{-0.5, 0.02, toe, Outside}, {0.025, 0.06, toe, Outside},
		{0.03, 0.02, AtMost(0.1), Within}, {0.001, 0.02, AtMost(0.1), Within}, {0.09, 0.02, AtMost(0.1), Undecided},
		{8, 0.5, AtLeast(3), Within}, {3.2, 0.5, AtLeast(3), Undecided}, {2, 0.5, AtLeast(3), Outside},
		{3.2, 0.5, Window{Low: 3, High: math.Inf(1), ToeIn: true}, Outside},
	} {
		got, err := Decide(Estimate{Value: c.value, U: c.u, DoF: 10}, c.w)
		if err != nil || got != c.want {
			t.Errorf("%v ± %v in %+v is %v, %v; want %v", c.value, c.u, c.w, got, err, c.want)
		}
		if clear := Clear(Estimate{Value: c.value, U: c.u}, c.w); c.want == Within && !clear {
			t.Errorf("%v ± %v is within %+v but not clear of its low limit", c.value, c.u, c.w)
		}
	}
	// Derived: limits ± 0.10, u = 0.012. With the guard band U = 1.96·u acceptance ends at 0.07648.
	for v, want := range map[float64]Decision{0.0764: Within, 0.0766: Undecided, 0.1234: Undecided, 0.1236: Outside} {
		if got, err := Decide(known(v, 0.012), Window{Low: -0.1, High: 0.1}); err != nil || got != want {
			t.Errorf("%v is %v, %v; want %v", v, got, err, want)
		}
	}
	for d, want := range map[Decision]string{Within: "within", Outside: "outside", Undecided: "undecided", 0: "none"} {
		if d.String() != want {
			t.Errorf("%d prints %q", int(d), d)
		}
	}
}

// No decision is taken on what is not a number.
func TestDecideRefuses(t *testing.T) {
	good := Estimate{Value: 0.1, U: 0.01, DoF: 5}
	for _, v := range unusable {
		for _, e := range []Estimate{{Value: v, U: 1}, {Value: 1, U: v}} {
			d, err := Decide(e, AtMost(1))
			refused(t, err, "estimate")
			if d != 0 || Clear(e, AtMost(1)) {
				t.Errorf("%+v was decided", e)
			}
			if more, ok := FurtherReadings(e, 3, 0, AtMost(1)); more != 0 || ok {
				t.Errorf("%+v needs %d readings", e, more)
			}
		}
		if CanDecide(v, AtMost(1)) {
			t.Errorf("U = %v can decide", v)
		}
		_, err := Aim(v, AtMost(1))
		refused(t, err, "U")
	}
	inf := math.Inf(1)
	for _, w := range []Window{{}, {Low: 1, High: 0}, {Low: math.NaN()}, {High: math.NaN()}, {Low: -inf, High: inf},
		{Low: inf, High: inf}, {Low: -inf, High: -inf}, {Low: -inf, High: 1, ToeIn: true}} {
		_, err := Decide(good, w)
		refused(t, err, "window")
		_, err = Aim(0.01, w)
		refused(t, err, "window")
		if CanDecide(0, w) || Clear(good, w) {
			t.Errorf("%+v can be decided", w)
		}
	}
	_, err := Decide(Estimate{Value: 1, U: -1}, AtMost(1))
	refused(t, err, "estimate")
}

// A quarter of the window: the practice stated in this project.
func TestCanDecide(t *testing.T) {
	for _, c := range []struct {
		u    float64
		w    Window
		want bool
	}{
		{0.0125, Window{High: 0.05}, true}, {0.0126, Window{High: 0.05}, false},
		{0.025, AtMost(0.1), true}, {0.026, AtMost(0.1), false},
		{0.75, AtLeast(3), true}, {0.76, AtLeast(3), false},
		{0, Window{High: 1}, true}, {-1, Window{High: 1}, false},
		// A level that shows 0.1° has U = 0.0475° and cannot decide ± 0.05°; a
		// feeler pair 0.05 mm apart over 80 mm has U = 0.017° and can.
		{Combine(Rectangular(0.05)).U, Window{Low: -0.05, High: 0.05}, false},
		{Angle(Combine(Rectangular(0.025)).U / 80).Degrees(), Window{Low: -0.05, High: 0.05}, true},
	} {
		if got := CanDecide(c.u, c.w); got != c.want {
			t.Errorf("U = %v decides %+v: %v", c.u, c.w, got)
		}
	}
}

// By hand from Student's table. Four readings of s = 0.04 at 0.05 in 0 … 0.1
// have U = 3.182·0.04/√4 = 0.0636; five 2.776·0.04/√5 = 0.0497. With s = 0.05:
// five 0.0621, six 0.0525, seven 2.447·0.05/√7 = 0.0462.
func TestFurtherReadings(t *testing.T) {
	w := Window{High: 0.1}
	at := func(value, s float64, n int) Estimate {
		e := Combine(Normal(s/math.Sqrt(float64(n)), float64(n-1)))
		e.Value = value
		return e
	}
	limit := at(0.05, 0.04, 4)
	mixed := Estimate{Value: 0.03, U: 0.05, DoF: 9} // of which 0.03 from noise, ten readings so far
	for _, c := range []struct {
		name  string
		e     Estimate
		n     int
		floor float64
		w     Window
		more  int
		ok    bool
	}{
		{"one", limit, 4, 0, w, 1, true},
		{"three", at(0.05, 0.05, 4), 4, 0, w, 3, true},
		{"settled within", at(0.05, 0.01, 4), 4, 0, w, 0, true},
		{"settled outside", at(0.2, 0.01, 4), 4, 0, w, 0, true},
		{"undecided, outside", at(0.15, 0.05, 4), 4, 0, w, 3, true},
		{"on the limit", at(0.1, 0.04, 4), 4, 0, w, 0, false},
		{"resolution alone too coarse", mixed, 10, 0.04, w, 0, false},
		{"resolution just too coarse", Estimate{Value: 0.03, U: 0.05, DoF: 9}, 10, 0.03, w, 0, false},
		{"more than anybody takes", at(0.09, 0.05, 4), 4, 0, w, 0, false},
		{"toe-in counts as outside", at(0.01, 0.05, 4), 4, 0, Window{High: 0.1, ToeIn: true}, 0, true},
		{"pooled, 0.02·√(4/7) = 0.01512 ≤ 0.0155", Estimate{Value: 0.0845, U: 0.02, DoF: ManyDoF}, 4, 0, w, 3, true},
		{"no readings so far", limit, 0, 0, w, 0, false},
		{"negative floor", limit, 4, -1, w, 0, false},
		{"no floor", limit, 4, math.NaN(), w, 0, false},
		{"no degrees of freedom", Estimate{Value: 0.05, U: 0.06}, 4, 0, w, 0, false},
		{"half a degree of freedom", Estimate{Value: 0.05, U: 0.06, DoF: 0.2}, 4, 0, w, 1, true},
	} {
		more, ok := FurtherReadings(c.e, c.n, c.floor, c.w)
		if more != c.more || ok != c.ok {
			t.Errorf("%s: %d, %v; want %d, %v", c.name, more, ok, c.more, c.ok)
		}
	}
}

// The middle of the window, and never less than U above a toe-in limit (so that
// value − U ≥ limit, the project's safety rule): by hand.
func TestAim(t *testing.T) {
	for _, c := range []struct {
		u    float64
		w    Window
		want float64
	}{
		{0.01, Window{High: 0.1}, 0.05}, {0.2, Window{High: 0.1}, 0.05},
		{0.01, Window{High: 0.05, ToeIn: true}, 0.025}, {0.04, Window{High: 0.05, ToeIn: true}, 0.04},
		{0.07, Window{High: 0.05, ToeIn: true}, 0.07}, {0.02, AtMost(0.1), 0.08}, {0.5, AtLeast(3), 3.5},
	} {
		got, err := Aim(c.u, c.w)
		sane(t, err, got)
		within(t, "aim", got, c.want, 1e-15)
	}
}

// The unit never matters to a decision, wherever the limits fall; and a fence
// that may be toed in is never called anything but outside.
func TestDecideProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		low := rapid.Float64Range(-1, 1).Draw(t, "low")
		width := rapid.Float64Range(1e-3, 1).Draw(t, "width")
		u := rapid.OneOf(rapid.Just(0.0), rapid.Float64Range(1e-4, 1)).Draw(t, "U")
		value := rapid.OneOf(rapid.Float64Range(-3, 3), rapid.Just(low+u), rapid.Just(low-u),
			rapid.Just(low+width-u), rapid.Just(low+width+u)).Draw(t, "value")
		unit := rapid.SampledFrom([]float64{25.4, 1 / 25.4, 1000, 1e-3}).Draw(t, "unit")
		toeIn := rapid.Bool().Draw(t, "toe-in")
		e := Estimate{Value: value, U: u, DoF: 5}
		w := Window{Low: low, High: low + width, ToeIn: toeIn}
		d, err := Decide(e, w)
		d2, err2 := Decide(Estimate{Value: value * unit, U: u * unit, DoF: 5},
			Window{Low: low * unit, High: (low + width) * unit, ToeIn: toeIn})
		if err != nil || err2 != nil || d != d2 {
			t.Errorf("%v, %v in one unit and %v, %v in the other", d, err, d2, err2)
		}
		if toeIn && value-u < low-1e-9 && d != Outside {
			t.Errorf("may be toed in by %v, but is %v", low-value+u, d)
		}
		if d == Within && (value-u < low-1e-9 || value+u > low+width+1e-9) {
			t.Errorf("within, but the interval reaches out")
		}
		aim, err := Aim(u, w)
		sane(t, err, aim)
		if d, err := Decide(Estimate{Value: aim, U: u}, AtLeast(low)); toeIn && (err != nil || d != Within) {
			t.Errorf("the aim %v is %v of the toe-in limit", aim, d)
		}
		p, err := Conformance(e, w)
		sane(t, err, p)
		if p < 0 || p > 1 || (d == Within && p < 0.9499) || (d == Outside && !toeIn && p > 0.0251) {
			t.Errorf("%v with a probability of %v", d, p)
		}
		more, ok := FurtherReadings(e, 3, u/3, w)
		if more < 0 || more > MostFurther || (ok && (more == 0) != (d != Undecided)) {
			t.Errorf("%v needs %d further readings, %v", d, more, ok)
		}
	})
}

func FuzzDecide(f *testing.F) {
	f.Add(0.02, 0.01, 4.0, 0.0, 0.1, true)
	f.Add(-1e308, 1e308, 0.0, math.Inf(-1), 5e-324, false)
	f.Fuzz(func(t *testing.T, value, u, dof, low, high float64, toeIn bool) {
		e, w := Estimate{Value: value, U: u, DoF: dof}, Window{Low: low, High: high, ToeIn: toeIn}
		d, err := Decide(e, w)
		sane(t, err)
		if (d == 0) != (err != nil) {
			t.Errorf("%v with %v", d, err)
		}
		p, err := Conformance(e, w)
		sane(t, err, p)
		aim, err := Aim(u, w)
		sane(t, err, aim)
		if more, ok := FurtherReadings(e, 3, u/2, w); more < 0 || (ok && d == 0) {
			t.Errorf("%d, %v", more, ok)
		}
		CanDecide(u, w)
		if d == Within && !toeIn && !Clear(e, w) || AtToeIn(e, w) && Clear(e, w) {
			t.Errorf("%v, clear %v, at the toe-in limit %v", d, Clear(e, w), AtToeIn(e, w))
		}
		for _, one := range []Window{AtMost(high), AtLeast(low)} {
			_, err := Decide(e, one)
			sane(t, err)
		}
	})
}

// Only an uncertainty that reaches beyond a toe-in limit is worth settling: a value
// that itself lies beyond, or one that is clear of the limit, is not.
func TestAtToeIn(t *testing.T) {
	w := Window{Low: 0, High: 0.05, ToeIn: true}
	for _, c := range []struct {
		value, u float64
		w        Window
		want     bool
	}{
		{0.02, 0.03, w, true}, {0, 0.01, w, true}, {0.02, 0.02, w, false}, {-0.001, 0.01, w, false}, {0.09, 0.01, w, false},
		{0.02, 0.03, Window{Low: 0, High: 0.05}, false}, {math.NaN(), 0.01, w, false}, {0.02, math.Inf(1), w, false},
	} {
		if got := AtToeIn(Estimate{Value: c.value, U: c.u, DoF: ManyDoF}, c.w); got != c.want {
			t.Errorf("%g ± %g in %+v: %v", c.value, c.u, c.w, got)
		}
	}
}
