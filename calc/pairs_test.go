package calc

import (
	"fmt"
	"math"
	"testing"
)

// Tests that turn something over and so see an error twice, against finite
// rotations and sections drawn as polygons.

// rotated turns a point about the origin, counter-clockwise.
func rotated(v corner, a float64) corner {
	s, c := math.Sincos(a)
	return corner{v.x*c - v.y*s, v.x*s + v.y*c}
}

var smallErrors = []float64{-0.02, -1e-3, -1e-5, 2e-4, 5e-3, 0.03}

// A square of 90° + ε stands on an edge along x with its stock to the left, and
// then turned over with its stock to the right: its lines part by 2ε.
func TestSquareFlipDoublesTheAngle(t *testing.T) {
	const h = 300.0
	for _, eps := range smallErrors {
		// an obtuse square leans away from its stock
		left := rotated(corner{0, 1}, -eps)
		right := corner{-left.x, left.y} // turned over
		gap := h * (left.x/left.y - right.x/right.y)
		e, err := SquareFlip(Length(gap), h, Rectangular(0.01))
		if err != nil {
			t.Fatal(err)
		}
		within(t, fmt.Sprintf("eps %g", eps), e.Value, eps, 1e-12)
		within(t, "2·eps between the lines", math.Atan2(left.x, left.y)-math.Atan2(right.x, right.y), 2*e.Value, 1e-12)
		c, err := SquareCorrection(e, 80)
		if err != nil {
			t.Fatal(err)
		}
		within(t, "over 80 mm", float64(c), eps*80, 1e-9)
	}
	// derived example: 0.30 mm at 300 mm is 5.0e-4 rad = 0.02865°
	e, _ := SquareFlip(0.30, 300, Rectangular(0.01))
	within(t, "0.30 mm at 300 mm, degrees", Angle(e.Value).Degrees(), 0.02865, 5e-6)
}

// A straightedge bowed by b draws the line b to one side, and turned over b to
// the other.
func TestStraightedgeFlipIsHalfTheGap(t *testing.T) {
	for _, bow := range []float64{0, 0.02, 0.15} {
		y := func(s float64) float64 { return 4 * bow * s * (1 - s) }
		gap := 0.0
		for s := 0.0; s <= 1; s += 0.01 {
			gap = math.Max(gap, math.Abs(y(s) - -y(s)))
		}
		e, err := StraightedgeFlip(Length(gap), Rectangular(0.01))
		if err != nil {
			t.Fatal(err)
		}
		within(t, fmt.Sprintf("bow %g", bow), e.Value, bow, 1e-12)
	}
}

// The plate's section leans by delta toward +y; a square of height h stands on
// either side of it and touches where it first meets it.
func TestTiltByGapOnEitherSide(t *testing.T) {
	const h = 80.0
	for _, delta := range smallErrors {
		top := rotated(corner{0, 1}, -delta) // x here is y of the saw, y is z
		at := func(z float64) float64 { return z * top.x / top.y }
		for _, side := range []LeanSide{AwaySide, TowardSide} {
			way := 1.0 // toward the plate
			if side == TowardSide {
				way = -1
			}
			low, high := way*at(0), way*at(h) // how far the plate is from a square's edge
			gap := high - low                 // open at the top where positive
			e, err := TiltByGap(Length(gap), h, side, Rectangular(0.01))
			if err != nil {
				t.Fatal(err)
			}
			within(t, fmt.Sprintf("delta %g, side %d", delta, side), e.Value, delta, 1e-12)
		}
	}
}

// A board of thickness T is cut by a plate that leans by delta toward +y. The
// offcut or the keeper is rolled over, and the two are pushed together again.
func TestTiltByFlipAgainstSections(t *testing.T) {
	const thick = 75.0
	for _, delta := range smallErrors {
		lean := math.Tan(delta) // of the cut toward +y, per height
		// distance of the cut face from the far edge of each part, at a height
		plus := func(z float64) float64 { return -z * lean } // part at y > 0: shorter at the top where it leans over
		minus := func(z float64) float64 { return z * lean } // part at y < 0: longer at the top
		for _, c := range []struct {
			name   string
			asCut  LeanSide
			kept   func(z float64) float64
			rolled func(z float64) float64
		}{
			{"the part it leans toward lies as cut", TowardSide, plus, func(z float64) float64 { return minus(thick - z) }},
			{"the part it leans away from lies as cut", AwaySide, minus, func(z float64) float64 { return plus(thick - z) }},
		} {
			room := func(z float64) float64 { return -c.kept(z) - c.rolled(z) } // between the faces
			gap := room(thick) - room(0)                                        // open at the top where positive
			e, err := TiltByFlip(Length(gap), thick, c.asCut, Rectangular(0.01))
			if err != nil {
				t.Fatal(err)
			}
			within(t, fmt.Sprintf("delta %g, %s", delta, c.name), e.Value, delta, 1e-12)
			within(t, "the gap shows the error twice", math.Abs(gap), 2*thick*math.Abs(lean), 1e-12)
		}
	}
	// derived example: T = 75 mm, 0.15 mm gap is 1.0e-3 rad = 0.0573°
	e, _ := TiltByFlip(0.15, 75, TowardSide, Rectangular(0.01))
	within(t, "0.15 mm on 75 mm, degrees", Angle(e.Value).Degrees(), 0.0573, 5e-5)
}

// Two pieces cut at 45° + δ meet at 90° − 2δ. Derived example: 45.10° makes
// 89.80° and 0.349 mm against a true square at 100 mm.
func TestPairsDoubleTheAngle(t *testing.T) {
	for name, pair := range map[string]func(gap, arm Length, open Opening, reading ...Component) (Estimate, error){
		"mitre": MitrePair, "bevel": BevelPair,
	} {
		for _, delta := range smallErrors {
			// outer faces on the legs of a true square; each cut face stands off
			// its leg by 45° − δ, so the joint stays open by 2δ, at the heel for δ > 0
			tip := math.Pi/4 - delta
			one, two := rotated(corner{1, 0}, tip), rotated(corner{0, 1}, -tip)
			opening := math.Atan2(one.x*two.y-one.y*two.x, one.x*two.x+one.y*two.y)
			open := OpenAtHeel
			if opening < 0 {
				open = OpenAtToe
			}
			e, err := pair(Length(100*math.Tan(math.Abs(opening))), 100, open, Rectangular(0.01))
			if err != nil {
				t.Fatal(err)
			}
			within(t, fmt.Sprintf("%s, delta %g", name, delta), e.Value, delta, 1e-12)
		}
		e, _ := pair(0.349, 100, OpenAtHeel, Rectangular(0.01))
		within(t, name+" 45.10°, degrees", Angle(e.Value).Degrees(), 0.10, 5e-5)
		within(t, name+" corner", 90-2*Angle(e.Value).Degrees(), 89.80, 1e-4)
	}
	if MitreFenceError(0.001, true) != 0.001 || MitreFenceError(0.001, false) != -0.001 {
		t.Error("a mitre to the front has not the opposite fence error")
	}
}

// By hand; U of two rounded readings, see TestCombineAgainstConvolution.
func TestTiltByLevel(t *testing.T) {
	// table 0.3° out, blade read 45.4°: 45.1° to the table
	e, err := TiltByLevel(45.4*Degree, 0.3*Degree, 45*Degree, Rectangular(0.05*math.Pi/180))
	if err != nil {
		t.Fatal(err)
	}
	within(t, "degrees", Angle(e.Value).Degrees(), 0.1, 1e-9)
	// two readings of 0.1° resolution: 1.553 half steps
	within(t, "U, degrees", Angle(e.U).Degrees(), 1.5528*0.05, 1e-4)
}

func TestTiltAndSquareRefuseWhatTheyCannotUse(t *testing.T) {
	nan, inf := Length(math.NaN()), Length(math.Inf(1))
	r := Rectangular(0.01)
	type call func(gap, over Length) error
	for name, f := range map[string]struct {
		call call
		over string
	}{
		"gap":    {func(g, h Length) error { _, err := TiltByGap(g, h, AwaySide, r); return err }, "height"},
		"flip":   {func(g, h Length) error { _, err := TiltByFlip(g, h, TowardSide, r); return err }, "thickness"},
		"bevel":  {func(g, h Length) error { _, err := BevelPair(g, h, OpenAtToe, r); return err }, "arm"},
		"mitre":  {func(g, h Length) error { _, err := MitrePair(g, h, OpenAtToe, r); return err }, "arm"},
		"square": {func(g, h Length) error { _, err := SquareFlip(g, h, r); return err }, "length"},
	} {
		for _, v := range []Length{nan, inf, -inf} {
			t.Run(name, func(t *testing.T) { refused(t, f.call(v, 100), "gap") })
		}
		for _, v := range []Length{nan, inf, 0, -3} {
			t.Run(name, func(t *testing.T) { refused(t, f.call(0.1, v), f.over) })
		}
		t.Run(name, func(t *testing.T) { refused(t, f.call(90, 100), "gap") }) // no stop is out by 40°
	}
	_, err := TiltByGap(0.1, 80, LeanSide(5), r)
	refused(t, err, "side")
	_, err = TiltByFlip(0.1, 80, LeanSide(-1), r)
	refused(t, err, "side")
	_, err = BevelPair(0.1, 80, Opening(3), r)
	refused(t, err, "open")
	_, err = TiltByGap(0.1, 80, AwaySide)
	refused(t, err, "reading")
	for i, c := range [][3]Angle{{Angle(nan), 0, 0}, {0, Angle(inf), 0}, {0, 0, Angle(nan)}, {1, 0, 0}} {
		_, err = TiltByLevel(c[0], c[1], c[2], r)
		refused(t, err, []string{"blade", "table", "nominal", "blade"}[i])
	}
	for _, v := range []Length{nan, inf, -1} {
		_, err = StraightedgeFlip(v, r)
		refused(t, err, "gap")
	}
	_, err = SquareCorrection(Estimate{Value: math.NaN()}, 80)
	refused(t, err, "estimate")
	_, err = SquareCorrection(Estimate{Value: 0.001}, 0)
	refused(t, err, "height")
	_, err = SquareCorrection(Estimate{Value: 1e10}, 1e300)
	refused(t, err, "height")
}
