package calc

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// What a known shape is worth. One rectangle and two equal ones are elementary:
// 0.95·a, and 2a(1 − √0.05) of the triangle. Four rectangles of u = 1, and
// three with one of u = 10, are the examples of JCGM 101:2008, 9.2.3 and
// 9.2.4: ± 3.88 and ± 17.0 where the GUM's normal distribution gives ± 3.92
// and ± 19.9. A vernier caliper whose mechanics are good to ± 50 µm and whose
// reading to ± 25 µm is example S10 of EA-4/02: k = 1.83, U = 0.06 mm. (All from
// memory, reproduced.)
func TestCombineShapes(t *testing.T) {
	unit, ten := Rectangular(math.Sqrt(3)), Rectangular(10*math.Sqrt(3))
	rough, loose := Normal(1, math.Inf(1)), Normal(10, math.Inf(1))
	for _, c := range []struct {
		name      string
		parts     []Component
		want, tol float64
	}{
		{"one rectangle", []Component{Rectangular(0.01)}, 0.0095, 1e-12},
		{"one rectangle in other words", []Component{Rectangular(0.01)}, 0.95 * math.Sqrt(3) * 0.01 / math.Sqrt(3), 1e-12},
		{"two rectangles", []Component{Rectangular(0.01), Rectangular(0.01).Times(-1)}, 0.02 * (1 - math.Sqrt(0.05)), 1e-12},
		{"JCGM 101 9.2.3", []Component{unit, unit, unit, unit}, 3.88, 0.005},
		{"JCGM 101 9.2.4", []Component{unit, unit, unit, ten}, 17.0, 0.05},
		{"the same, all normal", []Component{rough, rough, rough, rough}, 3.92, 0.005},
		{"the same, all normal", []Component{rough, rough, rough, loose}, 19.9, 0.05},
		{"EA-4/02 S10, in millimetres", []Component{Rectangular(0.050), Rectangular(0.025), Rectangular(0.0008), Normal(0.0017, math.Inf(1))}, 0.06, 0.005},
		{"EA-4/02 S10, k", []Component{Rectangular(0.050), Rectangular(0.025)}, 1.83 * math.Hypot(0.050, 0.025) / math.Sqrt(3), 0.0002},
		{"arcsine alone", []Component{Arcsine(0.03)}, 0.03, 1e-15},
		{"triangular alone", []Component{Triangular(1)}, 1.96 / math.Sqrt(6), 1e-4},
		{"three readings of two degrees of freedom", []Component{Normal(0.01, 2)}, 0.04303, 5e-6},
		{"nothing felt", []Component{Rectangular(1).Times(0)}, 0, 0},
		{"an unusable input that is not felt", []Component{Normal(1, math.Inf(1)), unknown().Times(0)}, 1.96, 5e-5},
	} {
		within(t, c.name, Combine(c.parts...).U, c.want, c.tol)
	}
}

// convolved is the 95 % point of a sum of uniform variables on ± halves and a
// normal one of deviation sd, by adding up probabilities on a fine grid: it
// shares no formula with the package.
func convolved(halves []float64, sd float64) float64 {
	reach := 6 * sd
	for _, h := range halves {
		reach += h
	}
	const cells = 4001
	step := 2 * reach / (cells - 1)
	at := func(i int) float64 { return -reach + step*float64(i) }
	p := make([]float64, cells)
	if sd == 0 {
		p[cells/2] = 1
	}
	for i := range p {
		if sd > 0 {
			p[i] = math.Exp(-at(i)*at(i)/(2*sd*sd)) / (sd * math.Sqrt(2*math.Pi)) * step
		}
	}
	for _, h := range halves {
		q := make([]float64, cells)
		width := h/step - 0.5 // cells to each side of the middle one; the last counts in part
		full := int(width)
		for i := range q {
			var sum float64
			for j := max(0, i-full); j <= min(cells-1, i+full); j++ {
				sum += p[j]
			}
			if j := i - full - 1; j >= 0 {
				sum += p[j] * (width - float64(full))
			}
			if j := i + full + 1; j < cells {
				sum += p[j] * (width - float64(full))
			}
			q[i] = sum / (2*width + 1)
		}
		p = q
	}
	mass := 0.0
	for i := cells / 2; i < cells; i++ { // the middle cell counts half
		inside := p[i]
		if i == cells/2 {
			inside /= 2
		}
		if mass+inside >= 0.475 {
			return at(i) - step/2 + step*(0.475-mass)/inside
		}
		mass += inside
	}
	return reach
}

func TestCombineAgainstConvolution(t *testing.T) {
	for _, c := range []struct {
		halves []float64
		sd     float64
	}{
		{[]float64{1}, 0.05}, {[]float64{1}, 0.5}, {[]float64{1}, 2}, {[]float64{1, 0.6}, 0}, {[]float64{1, 1, 0.25}, 0.1},
		{[]float64{1, 0.19}, 0}, {[]float64{1, 0.15, 0.15, 0.15}, 0}, {[]float64{1, 0.9, 0.8, 0.7, 0.6, 0.5}, 0.02},
		{[]float64{1, 0.5, 0.25, 0.2}, 0}, {[]float64{1, 1, 1}, 0.3},
	} {
		var parts []Component
		for _, h := range c.halves {
			parts = append(parts, Rectangular(h))
		}
		if c.sd > 0 {
			parts = append(parts, Normal(c.sd, math.Inf(1)))
		}
		want := convolved(c.halves, c.sd)
		within(t, "U", Combine(parts...).U, want, 0.001*want)
	}
}

func TestCombineProperties(t *testing.T) {
	component := rapid.Custom(func(t *rapid.T) Component {
		size := rapid.Float64Range(1e-4, 1).Draw(t, "size")
		switch rapid.IntRange(0, 3).Draw(t, "kind") {
		case 0:
			return Rectangular(size)
		case 1:
			return Triangular(size)
		case 2:
			return Arcsine(size)
		}
		return Normal(size, rapid.Float64Range(1, 60).Draw(t, "dof"))
	})
	rapid.Check(t, func(t *rapid.T) {
		parts := rapid.SliceOfN(component, 1, 7).Draw(t, "parts")
		k := rapid.Float64Range(1e-6, 1e6).Draw(t, "unit")
		e := Combine(parts...)
		u, dof := StandardCombined(parts...)
		scaled := make([]Component, len(parts))
		turned := make([]Component, len(parts))
		smallest := math.Inf(1)
		for i, p := range parts {
			scaled[i], turned[len(parts)-1-i] = p.Times(-k), p
			smallest = math.Min(smallest, p.DoF)
		}
		within(t, "U in another unit", Combine(scaled...).U, k*e.U, 1e-8*k*e.U)
		within(t, "U in another order", Combine(turned...).U, e.U, 1e-8*e.U)
		if e.U < 0.9*u || dof < smallest*(1-1e-9) {
			t.Errorf("U = %v from u = %v; dof %v from a least one of %v", e.U, u, dof, smallest)
		}
		if b := largestError(parts); b > 0 && e.U > b {
			t.Errorf("U = %v above the largest possible error %v", e.U, b)
		}
	})
}
