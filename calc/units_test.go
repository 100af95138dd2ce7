package calc

import (
	"math"
	"testing"
)

// 1 in = 25.4 mm exactly (international yard and pound agreement, 1959; ISO
// 80000-3), a thousandth of it a thou; 180° is π rad (ISO 80000-3).
func TestUnits(t *testing.T) {
	l := 2 * Inch
	within(t, "2 in in mm", l.Millimetres(), 50.8, 1e-12)
	within(t, "2 in in in", l.Inches(), 2, 1e-15)
	within(t, "2 in in thou", l.Thousandths(), 2000, 1e-12)
	within(t, "1 µm in mm", Micrometre.Millimetres(), 0.001, 0)
	a := 180 * Degree
	within(t, "180° in rad", a.Radians(), math.Pi, 1e-15)
	within(t, "π rad in degrees", Angle(math.Pi).Degrees(), 180, 1e-12)
	if (-l).Abs() != l || (-a).Abs() != a {
		t.Error("a magnitude has a sign")
	}
	if Left.Mirror(l) != l || Right.Mirror(l) != -l { // y runs to the left, see the package documentation
		t.Error("a right-hand slider does not lie to the right")
	}
}
