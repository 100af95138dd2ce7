package calc

import (
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"
)

// A 3 × 3 grid of heights and its least-squares plane, derived by hand (the
// sums separate on a symmetric grid).
var gridPoints = []Point{
	{-300, -200, 0.02}, {0, -200, 0.05}, {300, -200, 0.01},
	{-300, 0, 0.00}, {0, 0, 0.06}, {300, 0, -0.02},
	{-300, 200, -0.03}, {0, 200, 0.01}, {300, 200, -0.04},
}

func TestFitPlane(t *testing.T) {
	p, err := FitPlane(gridPoints)
	sane(t, err)
	within(t, "z0", float64(p.Z0), 0.0066666667, 5e-11)
	within(t, "slope x", p.SlopeX, -2.2222222e-5, 5e-13)
	within(t, "slope y", p.SlopeY, -1.16666667e-4, 5e-13)
	for i, want := range []float64{-0.016667, 0.020, -0.013333, -0.013333, 0.053333, -0.020, -0.020, 0.026667, -0.016667} {
		within(t, "residual", float64(p.Residuals[i]), want, 5e-7)
		within(t, "plane", float64(p.At(gridPoints[i].X, gridPoints[i].Y)+p.Residuals[i]), float64(gridPoints[i].Z), 1e-12)
	}
	var ss float64
	for _, r := range p.Residuals {
		ss += float64(r * r)
	}
	within(t, "s", float64(p.S), math.Sqrt(ss/6), 1e-12)
	within(t, "degrees of freedom", float64(p.DoF), 6, 0)

	three, err := FitPlane([]Point{{0, 0, 1}, {100, 0, 2}, {0, 100, 4}}) // z = 1 + x/100 + 3y/100
	sane(t, err)
	within(t, "z0 of three", float64(three.Z0), 1, 1e-12)
	within(t, "slope x of three", three.SlopeX, 0.01, 1e-14)
	within(t, "slope y of three", three.SlopeY, 0.03, 1e-14)
	within(t, "s of three", float64(three.S), 0, 0)
}

func TestFitPlaneRefuses(t *testing.T) {
	for _, v := range unusable {
		for _, p := range []Point{{X: Length(v)}, {Y: Length(v)}, {Z: Length(v)}} {
			_, err := FitPlane([]Point{{}, {1, 0, 0}, {0, 1, 0}, p})
			refused(t, err, "points")
		}
	}
	big := Length(math.MaxFloat64)
	for _, points := range [][]Point{
		nil, {{}, {1, 0, 0}}, {{1, 1, 1}, {1, 1, 1}, {1, 1, 1}}, {{0, 0, 0}, {1, 1, 5}, {2, 2, 1}},
		{{0, 0, 0}, {1000, 0, 5}, {2000, 1e-9, 1}}, {{big, 0, 0}, {-big, 0, 0}, {0, big, 0}}, {{0, 0, big}, {1, 0, -big}, {0, 1, big}},
	} {
		_, err := FitPlane(points)
		refused(t, err, "points")
		_, _, err = Flatness(points)
		refused(t, err, "points")
	}
	_, _, err := Flatness([]Point{{}, {1, 0, 0}, {0, 1, 0}})
	refused(t, err, "points")
	_, _, err = Flatness([]Point{{0, 0, 0}, {1, 1, 5}, {2, 2, 1}, {3, 3, 3}})
	refused(t, err, "points")
}

// ISO 12781-1, FLTt about LSPL, on the same grid.
func TestFlatness(t *testing.T) {
	f, p, err := Flatness(gridPoints)
	sane(t, err)
	within(t, "FLTt", float64(f), 0.0733333, 5e-8)
	within(t, "slope", p.SlopeY, -1.16666667e-4, 5e-13)
}

// Flatness does not change when the plate is tilted, lifted, turned about z or
// told in other units; residuals are square to both axes.
func TestFlatnessProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(4, 20).Draw(t, "n")
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 2))
		tx, ty := rapid.Float64Range(-0.01, 0.01).Draw(t, "tilt x"), rapid.Float64Range(-0.01, 0.01).Draw(t, "tilt y")
		turn := rapid.Float64Range(0, 2*math.Pi).Draw(t, "turn")
		unit := rapid.Float64Range(0.01, 100).Draw(t, "unit")
		sin, cos := math.Sincos(turn)
		a, b := make([]Point, n), make([]Point, n)
		for i := range a {
			x, y, z := 500*r.Float64(), 300*r.Float64(), 0.1*r.NormFloat64()
			a[i] = Point{Length(x), Length(y), Length(z)}
			b[i] = Point{Length(unit * (cos*x - sin*y + 7)), Length(unit * (sin*x + cos*y - 9)), Length(unit * (z + 3 + tx*x + ty*y))}
		}
		fa, pa, err := Flatness(a)
		sane(t, err)
		fb, _, err := Flatness(b)
		sane(t, err)
		within(t, "flatness", float64(fb)/unit, float64(fa), 1e-8)
		var sz, sx, sy float64
		for i, p := range a {
			sz += float64(pa.Residuals[i])
			sx += float64(pa.Residuals[i] * p.X)
			sy += float64(pa.Residuals[i] * p.Y)
		}
		within(t, "sum of residuals", sz, 0, 1e-9)
		within(t, "moment about y", sx, 0, 1e-7)
		within(t, "moment about x", sy, 0, 1e-7)
	})
}

func FuzzFlatness(f *testing.F) {
	f.Add(0.0, 0.0, 1.0, 100.0, 0.0, 2.0, 0.0, 100.0, 4.0)
	f.Add(1e308, -1e308, 1e-308, math.NaN(), 0.0, 0.0, 0.0, 0.0, math.Inf(1))
	f.Fuzz(func(t *testing.T, x1, y1, z1, x2, y2, z2, x3, y3, z3 float64) {
		points := []Point{{Length(x1), Length(y1), Length(z1)}, {Length(x2), Length(y2), Length(z2)}, {Length(x3), Length(y3), Length(z3)}, {}}
		flat, p, err := Flatness(points)
		sane(t, err, float64(flat), float64(p.Z0), p.SlopeX, p.SlopeY, float64(p.S))
		p, err = FitPlane(points[:3])
		sane(t, err, bareOf(p.Residuals)...)
		if err == nil {
			sane(t, nil, float64(p.At(points[0].X, points[0].Y)))
		}
		s, err := Straightness([]Length{Length(x1), Length(x2), Length(x3), 0}, []Length{Length(z1), Length(z2), Length(z3), 0})
		sane(t, err, float64(s.LeastSquares), float64(s.MinimumZone), float64(s.EndPoint))
	})
}
