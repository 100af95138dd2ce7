package calc

import (
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"
)

// An indicator rides on the slider along its line of travel and touches one spot of
// the plate, turned to the front and then to the rear. A longer reach reads
// less. The line is turned by a finite rotation.
func TestSliderToeOfARotatedTravel(t *testing.T) {
	const d, l = 315.0, 260.0
	for _, a := range []float64{-2e-3, -1e-4, 1e-4, 1e-3} {
		dir := rotated(corner{1, 0}, a) // of travel; +y at the rear is away from the blade
		spot := 0.7                     // how far this spot of the plate stands off its plane
		reach := func(x float64) float64 { return 400 + x*dir.y/dir.x - spot }
		e, err := SliderToe(Length(-reach(0)), Length(-reach(l)), l, d, Rectangular(0.005))
		if err != nil {
			t.Fatal(err)
		}
		within(t, fmt.Sprintf("toe at %g rad", a), e.Value, d*math.Tan(a), 1e-9)
	}
}

// The runout of the blade, and where the plunger happens to stand on it, cancel;
// the mean of spots is their mean.
func TestSliderToeMean(t *testing.T) {
	spots := []Travel{{0.50, 0.46}, {0.71, 0.66}, {0.33, 0.30}}
	e, err := SliderToeMean(spots, 250, 315, Rectangular(0.005))
	if err != nil {
		t.Fatal(err)
	}
	within(t, "toe", e.Value, 0.04*315/250, 1e-12)
	// s = 0.01 over three spots with t₉₅(2) = 4.303 (GUM table G.2), and a little
	// for the resolution
	scatter := 4.303 * 0.01 / math.Sqrt(3) * 315 / 250
	if e.U < scatter || e.U > 1.2*scatter {
		t.Errorf("U = %g, the scatter alone gives %g", e.U, scatter)
	}
}

// Shifted as advised and turned about the other support by a finite rotation,
// the slider has the toe that was aimed at.
func TestShiftAtReachesTheTarget(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := rapid.Float64Range(200, 450).Draw(t, "d")
		toe := rapid.Float64Range(-1, 1).Draw(t, "toe")
		target := rapid.Float64Range(0, 0.2).Draw(t, "target")
		pivot := rapid.Float64Range(-500, 2000).Draw(t, "pivot")
		x := pivot + rapid.SampledFrom([]float64{-1, 1}).Draw(t, "end")*rapid.Float64Range(100, 2500).Draw(t, "arm")
		shift, err := ShiftAt(Length(toe), Length(target), Length(d), Length(x), Length(pivot))
		if err != nil {
			t.Fatal(err)
		}
		slope := toe/d + float64(shift)/(x-pivot)
		within(t, "toe after", slope*d, target, 1e-9)
		// the other hand's machine shifts by the mirrored amount
		if Right.Mirror(Right.Mirror(shift)) != shift {
			t.Fatal("mirrored twice is another shift")
		}
		// in the unit of the other half of the world the same
		inch, _ := ShiftAt(Length(toe/25.4)*Inch, Length(target/25.4)*Inch, Length(d/25.4)*Inch, Length(x/25.4)*Inch, Length(pivot/25.4)*Inch)
		within(t, "in inches", float64(inch), float64(shift), 1e-9*(1+math.Abs(float64(shift))))
	})
}

// The mirrored slider: a right-hand saw whose mirror image is the left-hand one
// shifts its support to the mirrored place.
func TestMirroredSliderMirrorsTheAdvice(t *testing.T) {
	y := Length(310)
	left, err := ShiftAt(0.12, 0.025, 315, 1800, 200)
	if err != nil {
		t.Fatal(err)
	}
	moved := Right.Mirror(Right.Mirror(-y) + left) // in the frame of calc, and back
	within(t, "support of the right-hand slider", float64(moved), -float64(y+left), 1e-12)
	if left >= 0 {
		t.Errorf("too much toe-out at the rear end is taken in by %g, want to the right", left)
	}
}

// No advice aims at toe-in, and none passes through it on the way: whatever part
// of the move is made, whichever fixing first, a toe that was not in never gets in.
func TestNoAdviceTouchesToeIn(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := Length(rapid.Float64Range(200, 450).Draw(t, "d"))
		toe := Length(rapid.Float64Range(-0.5, 1).Draw(t, "toe"))
		u := Length(rapid.Float64Range(0, 0.2).Draw(t, "u"))
		w := Window{Low: rapid.Float64Range(0, 0.05).Draw(t, "low"), ToeIn: rapid.Bool().Draw(t, "marked")}
		w.High = w.Low + rapid.Float64Range(0.01, 0.2).Draw(t, "width")
		target, err := ToeTarget(u, w)
		if err != nil {
			t.Fatal(err)
		}
		if target < u || float64(target) < w.Low {
			t.Fatalf("target %g is within U = %g of toe-in", target, u)
		}
		least := min(toe, target)
		part := Length(rapid.Float64Range(0, 1).Draw(t, "part of the move"))
		pivot := Length(rapid.Float64Range(-1200, 0).Draw(t, "pivot"))
		fixings := []Length{pivot, pivot - 300, pivot + 450}
		moves, err := RailMoves(toe, target, d, fixings, pivot)
		if err != nil {
			t.Fatal(err)
		}
		for i := range fixings {
			if i == 0 {
				within(t, "the pivot stays", float64(moves[0]), 0, 0)
				continue
			}
			after := toe + part*moves[i]/(fixings[i]-pivot)*d
			if after < least-1e-12 {
				t.Fatalf("toe %g on the way from %g to %g", after, toe, target)
			}
		}
		head, err := HeadMove(toe, target, d, 700)
		if err != nil {
			t.Fatal(err)
		}
		if after := toe + part*head/700*d; after < least-1e-12 {
			t.Fatalf("toe %g on the way from %g to %g", after, toe, target)
		}
		for _, in := range []Length{-1e-9, -0.05} {
			_, err = ShiftAt(toe, in, d, 100, 0)
			refused(t, err, "target")
			_, err = RailMoves(toe, in, d, fixings, pivot)
			refused(t, err, "target")
			_, err = HeadMove(toe, in, d, 700)
			refused(t, err, "target")
		}
	})
	_, err := ToeTarget(0.01, Window{Low: -0.02, High: 0.05})
	refused(t, err, "window")
	_, err = ToeTarget(-1, Window{Low: 0, High: 0.05})
	refused(t, err, "U")
	// past the upper limit rather than near toe-in
	target, err := ToeTarget(0.08, Window{Low: 0, High: 0.05})
	if err != nil || target != 0.08 {
		t.Errorf("target %g, %v, want 0.08", target, err)
	}
}

// The rail turned about its pivot by a finite rotation, so that its fixings move
// as advised, turns the fence to the target.
func TestRailMovesTurnTheFence(t *testing.T) {
	const d, toe, target = 315.0, 0.30, 0.025
	fixings := []Length{-100, -400, -1100}
	moves, err := RailMoves(toe, target, d, fixings, -400)
	if err != nil {
		t.Fatal(err)
	}
	for i, y := range fixings {
		if y == -400 {
			continue
		}
		// x forward, y left: about the pivot, the fixing's own turn is the rail's
		before := corner{0, float64(y + 400)}
		turn := math.Asin(-float64(moves[i]) / before.y)
		after := rotated(before, turn)
		within(t, "fixing", after.x, float64(moves[i]), 1e-9)
		// the fence runs forward on the right of the blade: away from it is -y
		fence := rotated(corner{d, -toe}, turn)
		within(t, fmt.Sprintf("toe after fixing %d", i), -fence.y/fence.x*d, target, 1e-5)
	}
}

// The fence toed in beside a slider that is toed out: the difference to the slider
// looks parallel, the toe does not.
func TestFenceToeThroughASliderThatIsOut(t *testing.T) {
	slider := Estimate{Value: 0.10, U: 0.02, DoF: ManyDoF}
	e, err := FenceToeThroughSlider(600, 600, 800, 315, slider, Normal(0.01, math.Inf(1)))
	if err != nil {
		t.Fatal(err)
	}
	within(t, "toe", e.Value, -0.10, 1e-12)
	// root sum of squares: 0.02 and 1.96·√2·0.01·315/800
	within(t, "U", e.U, math.Hypot(0.02, 1.959964*math.Sqrt2*0.01*315/800), 1e-5)
	direct, err := FenceToe(600, 600.1, 280, 315, Normal(0.01, math.Inf(1)))
	if err != nil {
		t.Fatal(err)
	}
	within(t, "to the tooth", direct.Value, 0.1*315/280, 1e-9)
	within(t, "U to the tooth", direct.U, 1.959964*math.Sqrt2*0.01*315/280, 1e-5)
	// a slider toe known from few readings keeps its few degrees of freedom
	few := Estimate{Value: 0.02, U: 0.04303, DoF: 2}
	e, err = FenceToeThroughSlider(600, 600.1, 800, 315, few, Normal(1e-6, math.Inf(1)))
	if err != nil {
		t.Fatal(err)
	}
	within(t, "U with two degrees of freedom", e.U, 0.04303, 1e-5)
}

func TestToesRefuseWhatTheyCannotUse(t *testing.T) {
	nan, inf := Length(math.NaN()), Length(math.Inf(1))
	r := Rectangular(0.005)
	for i, c := range []struct {
		input             string
		front, rear, l, d Length
	}{
		{"front", nan, 0, 250, 315}, {"rear", 0, inf, 250, 315}, {"l", 0, 0, 0, 315}, {"l", 0, 0, nan, 315},
		{"d", 0, 0, 250, -315}, {"d", 0, 0, 250, inf},
	} {
		slider := Estimate{Value: 0, U: 0.01, DoF: ManyDoF}
		_, err1 := SliderToe(c.front, c.rear, c.l, c.d, r)
		_, err2 := FenceToe(c.front, c.rear, c.l, c.d, r)
		_, err3 := FenceToeThroughSlider(c.front, c.rear, c.l, c.d, slider, r)
		for k, err := range []error{err1, err2, err3} {
			t.Run(fmt.Sprint(i, k), func(t *testing.T) { refused(t, err, c.input) })
		}
	}
	_, err := SliderToe(1e308, -1e308, 1, 1e3, r)
	refused(t, err, "front")
	_, err = SliderToe(0, 0, 250, 315)
	refused(t, err, "reading")
	_, err = SliderToeMean([]Travel{{0, 0}}, 250, 315, r)
	refused(t, err, "spots")
	_, err = SliderToeMean([]Travel{{0, 0}, {nan, 0}}, 250, 315, r)
	refused(t, err, "spots")
	_, err = SliderToeMean([]Travel{{1e308, -1e308}, {0, 0}}, 250, 315, r)
	refused(t, err, "spots")
	_, err = SliderToeMean([]Travel{{0, 0}, {0, 0}}, 0, 315, r)
	refused(t, err, "l")
	_, err = FenceToe(-1, 0, 250, 315, r)
	refused(t, err, "front")
	for _, e := range []Estimate{{Value: math.NaN(), U: 0.1, DoF: 9}, {U: math.Inf(1), DoF: 9}, {U: 0.1}, {U: -0.1, DoF: 9}} {
		_, err = FenceToeThroughSlider(600, 600, 800, 315, e, r)
		refused(t, err, "slider")
	}
	for _, c := range []struct {
		input                     string
		toe, target, d, x, xPivot Length
	}{
		{"toe", nan, 0, 315, 1, 0}, {"target", 0, inf, 315, 1, 0}, {"target", 0, -0.1, 315, 1, 0}, {"d", 0, 0, 0, 1, 0},
		{"x", 0, 0, 315, nan, 0}, {"xPivot", 0, 0, 315, 1, -inf}, {"xPivot", 0, 0, 315, 7, 7}, {"x", 1e300, 0, 1e-9, 1e308, 0},
	} {
		_, err = ShiftAt(c.toe, c.target, c.d, c.x, c.xPivot)
		refused(t, err, c.input)
	}
	_, err = RailMoves(0, 0, 315, []Length{-100, nan}, 0)
	refused(t, err, "fixings")
	_, err = RailMoves(0, 0, 315, []Length{-100, -100}, -100)
	refused(t, err, "fixings")
	_, err = RailMoves(0, 0, 315, nil, 0)
	refused(t, err, "fixings")
	_, err = RailMoves(1e308, 0, 1e-5, []Length{-1e9}, 0)
	refused(t, err, "fixings")
	_, err = RailMoves(0, 0, 315, []Length{-100}, nan)
	refused(t, err, "pivot")
	_, err = RailMoves(nan, 0, 315, []Length{-100}, 0)
	refused(t, err, "toe")
	_, err = RailMoves(0, nan, 315, []Length{-100}, 0)
	refused(t, err, "target")
	_, err = HeadMove(0, 0, 0, 100)
	refused(t, err, "d")
	for _, lever := range []Length{0, nan, inf} {
		_, err = HeadMove(0, 0, 315, lever)
		refused(t, err, "lever")
	}
	_, err = HeadMove(1e308, 0, 1e-9, 1e9)
	refused(t, err, "lever")
}
