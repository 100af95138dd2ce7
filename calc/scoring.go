package calc

import "math"

// ScoreShift returns how far, in millimetres to the left, to move the scoring
// blade so that its line lies evenly over the main kerf: left and right are
// what the line stands over the kerf's sides, and the shift is
// −(left − right)/2, to the right where it stands over more on the left.
// reading holds the components of one of the two.
func ScoreShift(left, right Length, reading ...Component) (Estimate, error) {
	return halfDifference(left, right, -1, reading)
}

// ScoreWiden returns how much wider the scoring line must become so that it
// stands over by want on each side: 2·want − (left + right), negative where it
// is too wide. For a split blade that is the change of its spacers.
func ScoreWiden(left, right, want Length) (Length, error) {
	if err := finiteEach(named{"left", float64(left)}, named{"right", float64(right)}); err != nil {
		return 0, err
	}
	if err := notNegative("want", want); err != nil {
		return 0, err
	}
	return checked("left", 2*want-(left+right))
}

// ConicalDepth returns how much deeper a conical scoring blade must cut for its
// line to become wider by widen, its teeth widening towards the hub by the angle
// flank on each side: widen/(2·tan flank).
func ConicalDepth(widen Length, flank Angle) (Length, error) {
	if err := finiteEach(named{"widen", float64(widen)}, named{"flank", float64(flank)}); err != nil {
		return 0, err
	}
	if flank < Degree/2 || flank > 45*Degree {
		return 0, bad("flank", "is not between half a degree and 45 degrees")
	}
	return checked("widen", widen/Length(2*math.Tan(float64(flank))))
}

// ScoreDepth is the window of a scoring blade's depth, 1 … 2 mm (practice, no
// source; the maker's figure where there is one).
func ScoreDepth() Window { return Window{Low: 1, High: 2} }
