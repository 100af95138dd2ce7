package calc

import "math"

// A crosscut fence is judged by five cuts of one board: cut an edge, turn the
// board so that the fresh edge lies on the fence, four times round, and take
// a strip with the fifth. Each turn adds the fence's error once, and the four
// corners of the board add up to a full turn, so the strip tapers by four
// times the error whatever the board was before.
//
// The error ε is positive when the far end of the fence, away from the blade,
// leans to the rear.

// fiveCutFactor is how often the error is in the taper of the strip.
const fiveCutFactor = 4

// fiveCutAngle is ε = ¼·atan((A − B)/L), for small tapers (A − B)/(4·L).
func fiveCutAngle(a, b, l float64) float64 { return math.Atan((a-b)/l) / fiveCutFactor }

// FenceMove returns how far, along the feed, to move the fence at its
// adjuster so that an error eps becomes nothing while the fence turns about
// its pivot: Δx = −ε·R, positive to the rear. yAdjuster and yPivot are their
// places across the machine, either side of the blade.
//
// R = |yAdjuster| − |yPivot| is signed: with the pivot at the outer end R is
// negative and the adjuster moves the other way.
func FenceMove(eps Angle, yAdjuster, yPivot Length) (Length, error) {
	if err := finite("eps", float64(eps)); err != nil {
		return 0, err
	}
	if err := smallAngle("eps", eps); err != nil {
		return 0, err
	}
	r, err := lever(yAdjuster, yPivot)
	if err != nil {
		return 0, err
	}
	return -r * Length(math.Tan(float64(eps))), nil
}

// lever returns R = |yAdjuster| − |yPivot|.
func lever(yAdjuster, yPivot Length) (Length, error) {
	if err := finite("yAdjuster", float64(yAdjuster)); err != nil {
		return 0, err
	}
	if err := finite("yPivot", float64(yPivot)); err != nil {
		return 0, err
	}
	if yAdjuster*yPivot < 0 {
		return 0, bad("yPivot", "is on the other side of the blade than the adjuster")
	}
	r := yAdjuster.Abs() - yPivot.Abs()
	if r == 0 {
		return 0, bad("yPivot", "is where the adjuster is")
	}
	return r, nil
}

// Squareness is an angle error as a woodworker knows it.
type Squareness struct {
	Angle     Angle
	Over      Length // out of square over the length asked for
	PerMetre  Length // over 1000 mm
	PerFoot   Length // over 12 in
	Perimeter Length // taper of the strip of five cuts, four times the error over one side
}

// Express states an error over the length of a board. Perimeter is that of a
// square board with that side.
func Express(eps Angle, over Length) (Squareness, error) {
	if err := smallAngle("eps", eps); err != nil {
		return Squareness{}, err
	}
	if err := positive("over", over); err != nil {
		return Squareness{}, err
	}
	t := Length(math.Tan(float64(eps)))
	return Squareness{
		Angle:     eps,
		Over:      t * over,
		PerMetre:  t * 1000,
		PerFoot:   t * 12 * Inch,
		Perimeter: over * Length(math.Tan(fiveCutFactor*float64(eps))),
	}, nil
}

// PanelEffect is what a fence error does to a door or the side of a carcass.
type PanelEffect struct {
	End       Length // how far each cut end is out of square across the width
	Diagonals Length // difference of the diagonals when both ends are cut with opposite edges on the fence
	Length    Length // difference of the long edges when both ends are cut with the same edge, turned over
}

// Panel returns the effect of a fence error on a panel of the given width
// (the cut edge) and length (the edges on the fence), all magnitudes.
func Panel(eps Angle, width, length Length) (PanelEffect, error) {
	if err := smallAngle("eps", eps); err != nil {
		return PanelEffect{}, err
	}
	if err := positive("width", width); err != nil {
		return PanelEffect{}, err
	}
	if err := positive("length", length); err != nil {
		return PanelEffect{}, err
	}
	end := width * Length(math.Tan(math.Abs(float64(eps))))
	w, l, e := float64(width), float64(length), float64(end)
	return PanelEffect{
		End:       end,
		Diagonals: Length(math.Hypot(l+e, w) - math.Hypot(l-e, w)),
		Length:    2 * end,
	}, nil
}

// largestAngle is where an error stops being one of adjustment. A reading that
// gives more is a slip.
const largestAngle = 10 * Degree

func smallAngle(input string, a Angle) error {
	if err := finite(input, float64(a)); err != nil {
		return err
	}
	if a.Abs() > largestAngle {
		return bad(input, "is more than ten degrees")
	}
	return nil
}

// positive returns an InputError unless the length is a finite one above zero.
func positive(input string, l Length) error {
	if err := finite(input, float64(l)); err != nil {
		return err
	}
	if l <= 0 {
		return bad(input, "is not positive")
	}
	return nil
}
