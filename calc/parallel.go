package calc

import "math"

// The slider's travel is judged by its toe: how much farther the blade's rear
// is from the line of travel than its front, over one reference length, the
// blade's diameter D. Positive is toe-out; negative pinches.

// SliderToe returns the toe over d from the readings of an indicator that rides
// on the slider with its plunger on one marked spot of the plate, turned to
// the front and to the rear, l apart:
//
//	toe = (front − rear)·d/l
//
// A larger reading is a pushed-in plunger, so a larger one at the front means
// that the rear is farther away. One spot at both ends cancels the runout of
// the blade. reading holds the components of one reading; both readings carry
// each of them, independently.
func SliderToe(front, rear, l, d Length, reading ...Component) (Estimate, error) {
	if err := finiteEach(named{"front", float64(front)}, named{"rear", float64(rear)}); err != nil {
		return Estimate{}, err
	}
	return overReference("front", float64(front-rear), l, d, across(reading, 1, -1)...)
}

// Travel is a pair of readings of one spot, turned from front to rear.
type Travel struct{ Front, Rear Length }

// SliderToeMean returns the toe over d from two or more spots measured as by
// SliderToe. Their scatter is the repeatability; tool holds what it does not
// show, the components of the resolution and the errors of one reading.
func SliderToeMean(spots []Travel, l, d Length, tool ...Component) (Estimate, error) {
	diff := make([]float64, len(spots))
	for i, s := range spots {
		diff[i] = float64(s.Front - s.Rear)
	}
	if err := finite("spots", diff...); err != nil {
		return Estimate{}, err
	}
	if len(spots) < 2 {
		return Estimate{}, bad("spots", "are fewer than two")
	}
	mean, scatter, err := TypeA(diff)
	if err != nil {
		return Estimate{}, err
	}
	gains := make([]float64, 2*len(spots))
	for i := range gains {
		gains[i] = 1 / float64(len(spots))
	}
	return overReference("spots", mean, l, d, append(across(tool, gains...), scatter)...)
}

// overReference states a difference of two readings l apart over d.
func overReference(input string, diff float64, l, d Length, parts ...Component) (Estimate, error) {
	if err := positiveEach(named{"l", float64(l)}, named{"d", float64(d)}); err != nil {
		return Estimate{}, err
	}
	k := float64(d / l)
	for i := range parts {
		parts[i] = parts[i].Times(k)
	}
	return estimate(input, diff*k, parts)
}

// estimate combines the parts about a value. A reading without any component
// is refused: without an uncertainty it cannot be judged.
func estimate(input string, value float64, parts []Component) (Estimate, error) {
	e := Combine(parts...)
	e.Value = value
	if math.IsInf(e.U, 0) || math.IsNaN(e.U) {
		return Estimate{}, bad("reading", "has no usable uncertainty")
	}
	if err := inRange(input, value); err != nil {
		return Estimate{}, err
	}
	return e, nil
}

// across returns what readings that share these components contribute to a
// result Σ gains[i]·x[i].
func across(reading []Component, gains ...float64) []Component {
	var parts []Component
	for _, c := range reading {
		parts = append(parts, c.Across(gains...)...)
	}
	return parts
}

// ShiftAt returns how far, across the machine, to move the slider at x so that
// its toe over d becomes target while it turns about xPivot:
//
//	Δy(x) = (target − toe)/D · (x − xPivot)
//
// It is positive to the left in the frame of a left-hand slider; a right-hand
// one mirrors it with Hand.Mirror. A target that is toe-in is refused.
func ShiftAt(toe, target, d, x, xPivot Length) (Length, error) {
	if err := finiteEach(named{"toe", float64(toe)}, named{"target", float64(target)},
		named{"x", float64(x)}, named{"xPivot", float64(xPivot)}); err != nil {
		return 0, err
	}
	if err := positive("d", d); err != nil {
		return 0, err
	}
	if target < 0 {
		return 0, bad("target", "is toe-in")
	}
	if x == xPivot {
		return 0, bad("xPivot", "is where the slider is to be moved")
	}
	return checked("x", (target-toe)/d*(x-xPivot))
}
