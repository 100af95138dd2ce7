package virtualsaw

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Five cuts with a fence that leans by ε taper the strip by 4ε over its length,
// whatever the board was: common practice of the five-cut test, derived from
// the turning of the edges.
func TestFiveCuts(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	for _, rear := range []bool{false, true} {
		for _, lean := range []float64{-0.002, -0.0001, 0, 0.0003, 0.003} {
			c := Crosscut{Lean: lean, AtRear: rear}
			for range 5 {
				s := c.fiveCuts(400, r)
				first, last, apart := s.widths(0.05)
				if got := (first - last) / apart / 4; math.Abs(got-lean) > 1e-6 {
					t.Errorf("rear %v, lean %g: the strip says %g (%g, %g over %g)", rear, lean, got, first, last, apart)
				}
			}
		}
	}
}
