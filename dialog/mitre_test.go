package dialog_test

import (
	"math"
	"testing"
)

// TestCornerWithACheckedSquare: a square that is known to be more than 90 degrees
// stands open at the heel of a true corner. Its error is taken off, so the corner
// is found true. Angle by hand: 0.15 mm over 150 mm is 0.001 rad, 0.10 mm over an
// arm of 100 mm.
func TestCornerWithACheckedSquare(t *testing.T) {
	sh := begin("references")
	// The lines of the flip test are twice the error apart: 0.30 mm over 150 mm.
	sh.says("square", "0.30", "150", "right", "no", "mitre", "45", "rear", "unplugged", "done", "fits", "guarded", "done", "heel", "0.10")
	r := sh.last(t, "crosscut:45")
	if math.Abs(r.AsLeft.Value) > 1e-9 || r.Decision != "within" {
		t.Errorf("found %.5f rad, %s\n%s", r.AsLeft.Value, r.Decision, sh.text())
	}
}
