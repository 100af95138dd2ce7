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

// FiveCut returns ε in radians from the strip of the fifth cut: its width a at
// the end that was cut first, b at the end that was cut last, l between the
// two places of the caliper:
//
//	ε = (a − b)/(4·l)
//
// reading holds the components of one width; both carry each, independently.
// Which end was cut first decides the sign: mark it before cutting.
func FiveCut(a, b, l Length, reading ...Component) (Estimate, error) {
	if err := positiveEach(named{"a", float64(a)}, named{"b", float64(b)}, named{"l", float64(l)}); err != nil {
		return Estimate{}, err
	}
	eps := fiveCutAngle(float64(a), float64(b), float64(l))
	if err := smallAngle("a", Angle(eps)); err != nil {
		return Estimate{}, bad("a", "differs from b by more than a fence can be out")
	}
	k := 1 / (fiveCutFactor * float64(l))
	return estimate("l", eps, across(reading, k, -k))
}

// Opening is where a joint of two pieces cut alike stays open when they are
// held in a true square.
type Opening int

// Places of the gap. Closed everywhere needs neither: give a gap of 0.
const (
	OpenAtHeel Opening = iota // on the inside of the corner
	OpenAtToe                 // at the outer point
)

// MitrePair returns the error δ in radians of a mitre cut from two pieces cut
// in the same position and joined: their corner is 90° − 2δ, so against a true
// square it is out by gap over an arm with |δ| = gap/(2·arm). Positive means cut at
// more than the nominal angle from square: the joint is open at its heel.
// reading holds the components of the gap.
func MitrePair(gap, arm Length, open Opening, reading ...Component) (Estimate, error) {
	return pairError(gap, arm, open, reading)
}

func pairError(gap, arm Length, open Opening, reading []Component) (Estimate, error) {
	if err := notNegative("gap", gap); err != nil {
		return Estimate{}, err
	}
	if err := positive("arm", arm); err != nil {
		return Estimate{}, err
	}
	sign := 1.0
	switch open {
	case OpenAtHeel:
	case OpenAtToe:
		sign = -1
	default:
		return Estimate{}, bad("open", "is neither heel nor toe")
	}
	delta := math.Atan(float64(gap/arm)) / 2
	if err := smallAngle("gap", Angle(delta)); err != nil {
		return Estimate{}, bad("gap", "is more than a stop can be out")
	}
	return estimate("gap", sign*delta, across(reading, 1/(2*float64(arm))))
}

// MitreFenceError turns the error of a mitre cut into the error ε of the fence
// in that position, for FenceMove: leaned to the rear (as seen at its far end)
// ε = δ, to the front ε = −δ.
func MitreFenceError(delta Angle, rear bool) Angle {
	if rear {
		return delta
	}
	return -delta
}

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
	if err := finiteEach(named{"yAdjuster", float64(yAdjuster)}, named{"yPivot", float64(yPivot)}); err != nil {
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
	if err := positiveEach(named{"width", float64(width)}, named{"length", float64(length)}); err != nil {
		return PanelEffect{}, err
	}
	end := width * Length(math.Tan(math.Abs(float64(eps))))
	w, l, e := float64(width), float64(length), float64(end)
	long, short := math.Hypot(l+e, w), math.Hypot(l-e, w)
	if err := inRange("length", long, short, 2*e); err != nil {
		return PanelEffect{}, err
	}
	return PanelEffect{End: end, Diagonals: Length(long - short), Length: 2 * end}, nil
}
