package calc

import (
	"math"
	"math/rand/v2"
	"testing"
)

// table is the physics of a slider on its nuts for the tests, written without
// a line of the package's own: a fine mesh with bending by second differences
// and twist by first differences, on springs of its own, solved by plain
// elimination.
type table struct {
	at     []Support
	m      [][]float64 // change of height i by a rise of foot j
	gain   []float64   // true answer of each nut; 1 as its thread says
	h      []float64   // true heights now
	jitter float64     // turns: how exactly a person turns, 1 sigma
	settle float64     // mm: what tightening a moved nut adds, 1 sigma
	noise  float64     // mm: of a reading, 1 sigma
	digit  float64     // mm: resolution of a reading
	r      *rand.Rand
}

// mesh is the number of intervals of the fine mesh.
const mesh = 48

// newTable builds a table with bending stiffness ei and torsional stiffness gj
// (N·mm²) on springs of stiffness k (N/mm), each off by the factor in scatter.
func newTable(r *rand.Rand, at []Support, ei, gj, k, scatter float64) *table {
	lo, hi, ylo, yhi := math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)
	for _, s := range at {
		lo, hi = math.Min(lo, float64(s.X)), math.Max(hi, float64(s.X))
		ylo, yhi = math.Min(ylo, float64(s.Y)), math.Max(yhi, float64(s.Y))
	}
	step := (hi - lo) / mesh
	wide := yhi > ylo
	n := mesh + 1
	size := n
	if wide {
		size = 2 * n // deflections, then rotations about x
	}
	a := make([][]float64, size)
	for i := range a {
		a[i] = make([]float64, size+len(at))
	}
	for i := 1; i < mesh; i++ { // ½·EI·(w″)²·step
		c := ei / (step * step * step)
		v := [3]float64{1, -2, 1}
		for p := range 3 {
			for q := range 3 {
				a[i-1+p][i-1+q] += c * v[p] * v[q]
			}
		}
	}
	if wide {
		for i := range mesh { // ½·GJ·(φ′)²·step
			c := gj / step
			a[n+i][n+i] += c
			a[n+i+1][n+i+1] += c
			a[n+i][n+i+1] -= c
			a[n+i+1][n+i] -= c
		}
	}
	rows := make([][]float64, len(at))
	for j, s := range at {
		row := make([]float64, size)
		p := math.Min((float64(s.X)-lo)/step, mesh-1e-9)
		i := int(p)
		f := p - float64(i)
		row[i], row[i+1] = 1-f, f
		if wide {
			y := float64(s.Y) - (ylo+yhi)/2
			row[n+i], row[n+i+1] = y*(1-f), y*f
		}
		kj := k * math.Exp(scatter*r.NormFloat64())
		for p := range size {
			for q := range size {
				a[p][q] += kj * row[p] * row[q]
			}
			a[p][size+j] += kj * row[p]
		}
		rows[j] = row
	}
	eliminate(a)
	t := &table{at: at, r: r, gain: make([]float64, len(at)), h: make([]float64, len(at))}
	t.m = make([][]float64, len(at))
	for i := range at {
		t.gain[i] = 1
		t.m[i] = make([]float64, len(at))
		for j := range at {
			for p, v := range rows[i] {
				t.m[i][j] += v * a[p][size+j]
			}
		}
	}
	return t
}

// eliminate solves the system in place, Gauss–Jordan with pivoting; the
// solutions are left in the columns beyond the square.
func eliminate(a [][]float64) {
	n := len(a)
	for c := range n {
		best := c
		for r := c + 1; r < n; r++ {
			if math.Abs(a[r][c]) > math.Abs(a[best][c]) {
				best = r
			}
		}
		a[c], a[best] = a[best], a[c]
		inv := 1 / a[c][c]
		for q := c; q < len(a[c]); q++ {
			a[c][q] *= inv
		}
		for r := range n {
			if f := a[r][c]; r != c && f != 0 {
				for q := c; q < len(a[c]); q++ {
					a[r][q] -= f * a[c][q]
				}
			}
		}
	}
}

// raise moves the feet of the springs.
func (t *table) raise(feet []float64) {
	for i := range t.h {
		for j, d := range feet {
			t.h[i] += t.m[i][j] * d
		}
	}
}

// turn is a person who turns the nuts by turns, as exactly as a person does.
func (t *table) turn(turns []float64) {
	feet := make([]float64, len(turns))
	for j, v := range turns {
		if v == 0 {
			continue
		}
		v += t.jitter * t.r.NormFloat64()
		feet[j] = t.gain[j]*v*float64(t.at[j].Pitch) + t.settle*t.r.NormFloat64()
	}
	t.raise(feet)
}

// read is one reading at one support.
func (t *table) read(i int) Length {
	v := t.h[i] + t.noise*t.r.NormFloat64()
	if t.digit > 0 {
		v = math.Round(v/t.digit) * t.digit
	}
	return Length(v)
}

func (t *table) readAll() []Length {
	out := make([]Length, len(t.h))
	for i := range out {
		out[i] = t.read(i)
	}
	return out
}

// The test bench itself is checked against the beam tables first: two equal
// spans, the middle foot settles d: the middle carries 6EId/L³ less and each
// end 3EId/L³ more (handbook beam tables, from memory).
func TestTableOfTheTestsFollowsTheBeamTable(t *testing.T) {
	const l, ei, k = 500.0, 1e9, 1e7 // springs far stiffer than the beam
	at := []Support{{X: 0, Pitch: 1}, {X: l, Pitch: 1}, {X: 2 * l, Pitch: 1}}
	b := newTable(rand.New(rand.NewPCG(1, 1)), at, ei, 0, k, 0)
	// the force of a spring is k·(foot − height)
	for i, want := range []float64{3, -6, 3} {
		foot := []float64{0, -1, 0}
		got := k * (foot[i] - -b.m[i][1]) / (ei / (l * l * l))
		if math.Abs(got-want) > 0.03 {
			t.Errorf("reaction %d: got %.4f, want %g", i, got, want)
		}
	}
}
