package calc

// SquareFlip returns the error in radians of a square from its flip test: two
// knife lines struck from one foot point, the stock laid to either side, stand
// gap apart at length from that point. Turning the square over turns its error
// round, so the lines part by twice the error: gap/(2·length). gap is positive
// when the lines lean away from the stock that struck each (with the stock to
// the left, its line ends to the right of the other): the square is then more
// than 90°. reading holds the components of the gap.
func SquareFlip(gap, length Length, reading ...Component) (Estimate, error) {
	if err := positive("length", length); err != nil {
		return Estimate{}, err
	}
	return gapAngle(gap, 2*length, "length", 1, reading)
}

// SquareCorrection returns what to add to a gap that was read against that
// square at the given height: the gap that the square itself makes.
func SquareCorrection(square Estimate, height Length) (Length, error) {
	if err := square.check(); err != nil {
		return 0, err
	}
	if err := positive("height", height); err != nil {
		return 0, err
	}
	return checked("height", Length(square.Value)*height)
}

// StraightedgeFlip returns how far, in millimetres, a straightedge is from
// straight from the largest gap between the two lines that it draws, one with each
// face up, through the same end points: half the gap. reading holds the
// components of the gap.
func StraightedgeFlip(gap Length, reading ...Component) (Estimate, error) {
	if err := notNegative("gap", gap); err != nil {
		return Estimate{}, err
	}
	return estimate("gap", float64(gap)/2, across(reading, 0.5))
}
