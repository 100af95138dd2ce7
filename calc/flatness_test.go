package calc

import (
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"
)

// ISO 12780-1 (least squares), ISO 1101 (minimum zone) and ISO 230-1 (end
// points) on one set of heights, derived by hand.
func TestStraightness(t *testing.T) {
	x := []Length{0, 200, 400, 600, 800, 1000}
	z := []Length{0.00, 0.03, 0.05, 0.04, 0.02, -0.01}
	s, err := Straightness(x, z)
	sane(t, err)
	within(t, "intercept", s.Line.A, 0.0280952381, 5e-11)
	within(t, "slope", s.Line.B, -1.2857142857e-5, 5e-16)
	within(t, "least squares", float64(s.LeastSquares), 0.0551429, 5e-8)
	within(t, "minimum zone", float64(s.MinimumZone), 0.0540, 1e-12)
	within(t, "end point", float64(s.EndPoint), 0.0540, 1e-12)

	// The order of the stations does not matter.
	shuffled, err := Straightness([]Length{600, 0, 1000, 400, 200, 800}, []Length{0.04, 0, -0.01, 0.05, 0.03, 0.02})
	sane(t, err)
	within(t, "shuffled", float64(shuffled.MinimumZone-s.MinimumZone), 0, 1e-15)
	within(t, "shuffled", float64(shuffled.EndPoint-s.EndPoint), 0, 1e-15)

	// A single dip: the end points see all of it, so does the zone along them;
	// about three points a bend of h at the middle has zone h, least squares h too
	// (residuals h/3, 2h/3).
	dip, err := Straightness([]Length{0, 500, 1000}, []Length{0, -0.1, 0})
	sane(t, err)
	within(t, "dip, end point", float64(dip.EndPoint), 0.1, 1e-15)
	within(t, "dip, least squares", float64(dip.LeastSquares), 0.1, 1e-15)
	within(t, "dip, zone", float64(dip.MinimumZone), 0.1, 1e-15)
	// Where the end is the odd one out, the zone is less than the end points say.
	odd, err := Straightness([]Length{0, 100, 200, 300}, []Length{0, 0, 0, 0.03})
	sane(t, err)
	within(t, "odd end, end point", float64(odd.EndPoint), 0.02, 1e-15)
	within(t, "odd end, zone", float64(odd.MinimumZone), 0.02, 1e-15)
}

func TestStraightnessRefuses(t *testing.T) {
	x := []Length{0, 1, 2}
	for _, v := range unusable {
		_, err := Straightness([]Length{0, 1, Length(v)}, x)
		refused(t, err, "x")
		_, err = Straightness(x, []Length{0, 1, Length(v)})
		refused(t, err, "z")
	}
	_, err := Straightness(x, x[:2])
	refused(t, err, "z")
	_, err = Straightness(x[:2], x[:2])
	refused(t, err, "x")
	_, err = Straightness([]Length{1, 1, 1}, x)
	refused(t, err, "x")
	_, err = Straightness([]Length{0, 1e-160, 1}, []Length{1e154, -1e154, 0})
	refused(t, err, "z")
}

// The minimum zone is what a search over all slopes finds, is never above the
// other two, and none of the three feels a tilt or the unit.
func TestStraightnessProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(3, 12).Draw(t, "n")
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 3))
		tilt := rapid.Float64Range(-0.01, 0.01).Draw(t, "tilt")
		unit := rapid.Float64Range(0.01, 100).Draw(t, "unit")
		x, z, x2, z2 := make([]Length, n), make([]Length, n), make([]Length, n), make([]Length, n)
		for i := range x {
			x[i], z[i] = Length(1000*r.Float64()), Length(0.1*r.NormFloat64())
			if i > 0 && r.IntN(5) == 0 {
				x[i] = x[i-1] // read twice
			}
			x2[i], z2[i] = Length(unit)*(x[i]+50), Length(unit)*(z[i]+Length(tilt)*x[i]-2)
		}
		if same(bare(x)) {
			t.Skip("all stations on one spot")
		}
		a, err := Straightness(x, z)
		sane(t, err)
		b, err := Straightness(x2, z2)
		sane(t, err)
		within(t, "zone, tilted", float64(b.MinimumZone)/unit, float64(a.MinimumZone), 1e-9)
		within(t, "least squares, tilted", float64(b.LeastSquares)/unit, float64(a.LeastSquares), 1e-9)
		within(t, "end point, tilted", float64(b.EndPoint)/unit, float64(a.EndPoint), 1e-9)
		// Along one of the lines through two points lies the narrowest band.
		narrowest := math.Inf(1)
		for i := range x {
			for j := range i {
				if x[i] == x[j] {
					continue
				}
				slope := float64((z[i] - z[j]) / (x[i] - x[j]))
				lo, hi := math.Inf(1), math.Inf(-1)
				for k := range x {
					d := float64(z[k]) - slope*float64(x[k])
					lo, hi = math.Min(lo, d), math.Max(hi, d)
				}
				narrowest = math.Min(narrowest, hi-lo)
			}
		}
		within(t, "zone", float64(a.MinimumZone), narrowest, 1e-9)
		if a.MinimumZone > a.LeastSquares+1e-12 || a.MinimumZone > a.EndPoint+1e-12 || a.MinimumZone < 0 {
			t.Errorf("%+v", a)
		}
	})
}
