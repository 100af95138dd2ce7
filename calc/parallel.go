package calc

// The slider's travel is judged by its toe: how much farther the blade's rear
// is from the line of travel than its front, over one reference length, the
// blade's diameter D. Positive is toe-out; negative pinches.

// ShiftAt returns how far, across the machine, to move the slider at x so that
// its toe over d becomes target while it turns about xPivot:
//
//	Δy(x) = (target − toe)/D · (x − xPivot)
//
// It is positive to the left in the frame of a left-hand slider; a right-hand
// one mirrors it with Hand.Mirror. A target that is toe-in is refused.
func ShiftAt(toe, target, d, x, xPivot Length) (Length, error) {
	for _, v := range []struct {
		name  string
		value Length
	}{{"toe", toe}, {"target", target}, {"x", x}, {"xPivot", xPivot}} {
		if err := finite(v.name, float64(v.value)); err != nil {
			return 0, err
		}
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
	return (target - toe) / d * (x - xPivot), nil
}
