package calc

import "math"

// A tilt error is positive when the blade leans further over, in the
// machine's bevel direction, than the nominal angle of the stop.

// LeanSide is a side of the blade, named by the way the blade leans as it is
// tilted.
type LeanSide int

// The two sides of the blade.
const (
	AwaySide   LeanSide = iota // the side that the blade leans away from
	TowardSide                 // the side that it leans toward
)

// sign returns +1 on the side that the blade leans away from.
func (s LeanSide) sign() (float64, error) {
	switch s {
	case AwaySide:
		return 1, nil
	case TowardSide:
		return -1, nil
	}
	return 0, bad("side", "is neither of the two sides of the blade")
}

// TiltByGap returns the tilt error in radians from a square (or a set bevel)
// that stands on the surface that carries the work, against the plate: gap
// between square and plate, positive when open at the top and negative when
// open at the bottom, over height from the contact to the gap: gap/height on
// the side that the blade leans away from, reversed on the other. reading
// holds the components of the gap.
func TiltByGap(gap, height Length, side LeanSide, reading ...Component) (Estimate, error) {
	sign, err := side.sign()
	if err != nil {
		return Estimate{}, err
	}
	return gapAngle(gap, height, "height", sign, reading)
}

// gapAngle returns sign·atan(gap/over).
func gapAngle(gap, over Length, overName string, sign float64, reading []Component) (Estimate, error) {
	if err := finite("gap", float64(gap)); err != nil {
		return Estimate{}, err
	}
	if err := positive(overName, over); err != nil {
		return Estimate{}, err
	}
	a := math.Atan(float64(gap / over))
	if err := smallAngle("gap", Angle(a)); err != nil {
		return Estimate{}, bad("gap", "is more than a stop can be out")
	}
	return estimate("gap", sign*a, across(reading, 1/float64(over)))
}

// TiltByLevel returns the tilt error in radians from a level or an angle gauge
// read on the surface that carries the work and on the plate, both positive in
// the bevel direction: (blade − table) − nominal. A gauge that was set to zero
// on the table reads table = 0, and its two readings still count. reading
// holds the components of one reading.
func TiltByLevel(blade, table, nominal Angle, reading ...Component) (Estimate, error) {
	if err := finiteEach(named{"blade", float64(blade)}, named{"table", float64(table)}, named{"nominal", float64(nominal)}); err != nil {
		return Estimate{}, err
	}
	e := blade - table - nominal
	if err := smallAngle("blade", e); err != nil {
		return Estimate{}, bad("blade", "is more than ten degrees from the nominal angle")
	}
	return estimate("blade", float64(e), across(reading, 1, -1))
}

// TiltByFlip returns the tilt error in radians at the 90° stop from a piece of
// the given thickness, cut through and butted again with one part rolled over:
// gap/(2·thickness), for both cut faces stand off the square by the error.
// gap is positive when open at the top and negative when open at the bottom;
// asCut is the side of the blade that the part lay on that was not rolled over
// and still lies as cut. Open at the top is a positive error where that part
// lay on the side that the blade leans toward, for there its lower edge is the
// longer one. reading holds the components of the gap.
func TiltByFlip(gap, thickness Length, asCut LeanSide, reading ...Component) (Estimate, error) {
	sign, err := asCut.sign()
	if err != nil {
		return Estimate{}, err
	}
	if err := positive("thickness", thickness); err != nil {
		return Estimate{}, err
	}
	return gapAngle(gap, 2*thickness, "thickness", -sign, reading)
}

// BevelPair returns the tilt error δ in radians from two pieces cut at the
// same bevel stop and closed to a corner, which comes out 2·δ smaller than
// 2·(90° − stop): at 45° it is 90° − 2δ. Against a true corner it is out by
// gap over an arm with |δ| = gap/(2·arm), open at the heel for a blade that
// leans too far. reading holds the components of the gap.
func BevelPair(gap, arm Length, open Opening, reading ...Component) (Estimate, error) {
	return pairError(gap, arm, open, reading)
}
