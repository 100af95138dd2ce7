package calc

import (
	"math"
	"slices"
)

// Limits beyond which a dimension is a slip.
const (
	farthest Length = 100_000
	finest   Length = 0.1
	coarsest Length = 50
)

// frame is the geometry of the supports, sorted into stations.
type frame struct {
	x, y      []float64 // of each support; y from the middle of the width
	station   []int     // of each support
	at        []float64 // x of each station, ascending
	span      float64   // mean distance of neighbouring stations, ℓ
	halfWidth float64   // b; 0 when all supports are in line
	bend      []float64 // stiffness of the free beam over its stations
	even      *modes    // modes for a twist of 1, where bending and twisting do not mix; otherwise nil
}

func newFrame(supports []Support) (frame, error) {
	n := len(supports)
	f := frame{x: make([]float64, n), y: make([]float64, n), station: make([]int, n)}
	if n < MinStations {
		return f, bad("supports", "are fewer than two")
	}
	order := make([]int, n)
	for i, s := range supports {
		if err := finite("supports", float64(s.X), float64(s.Y), float64(s.Pitch)); err != nil {
			return f, err
		}
		switch {
		case s.X.Abs() > farthest || s.Y.Abs() > farthest:
			return f, bad("supports", "stand farther away than any machine is long")
		case s.Pitch <= 0:
			return f, bad("supports", "have a thread pitch that is not positive")
		case s.Pitch < finest || s.Pitch > coarsest:
			return f, bad("supports", "have a thread finer or coarser than any")
		}
		f.x[i], f.y[i], order[i] = float64(s.X), float64(s.Y), i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		switch {
		case f.x[a] < f.x[b]:
			return -1
		case f.x[a] > f.x[b]:
			return 1
		}
		return 0
	})
	if err := f.group(order); err != nil {
		return f, err
	}
	f.span = (f.at[len(f.at)-1] - f.at[0]) / float64(len(f.at)-1)
	f.bend = f.bending()
	lo, hi := slices.Min(f.y), slices.Max(f.y)
	for i := range f.y {
		f.y[i] -= (lo + hi) / 2
	}
	if !f.inLine() {
		f.halfWidth = (hi - lo) / 2
	}
	return f, nil
}

// group puts the supports, in their order along x, into stations.
func (f *frame) group(order []int) error {
	count := 0
	for k, i := range order {
		if k == 0 || f.x[i]-f.at[len(f.at)-1] > float64(sameStation) {
			f.at = append(f.at, f.x[i])
			count = 0
		}
		count++
		f.station[i] = len(f.at) - 1
		switch {
		case count > 2:
			return bad("supports", "have more than two at one station")
		case count == 2 && math.Abs(f.y[i]-f.y[order[k-1]]) <= float64(sameStation):
			return bad("supports", "have two at one place")
		}
	}
	switch {
	case len(f.at) < MinStations:
		return bad("supports", "are all at one station")
	case len(f.at) > MaxStations:
		return bad("supports", "have more than eight stations")
	}
	return nil
}

// inLine says that the supports lie on one straight line in plan, so that
// nothing resists or shows a roll about it.
func (f *frame) inLine() bool {
	if len(f.x) > len(f.at) {
		return false
	}
	first, last := slices.Index(f.station, 0), slices.Index(f.station, len(f.at)-1)
	dx, dy := f.x[last]-f.x[first], f.y[last]-f.y[first]
	for i := range f.x {
		off := (f.x[i]-f.x[first])*dy - (f.y[i]-f.y[first])*dx
		if math.Abs(off) > float64(sameStation)*math.Hypot(dx, dy) {
			return false
		}
	}
	return true
}

// bending returns the stiffness of the free beam over its stations, S × S, in
// EI/ℓ³: Hermite elements (any text on the finite-element method), of which the
// slopes take what costs least energy.
func (f *frame) bending() []float64 {
	s := len(f.at)
	n := 2 * s // deflection of each station, then its slope·ℓ
	k := make([]float64, n*n)
	for e := range s - 1 {
		r := (f.at[e+1] - f.at[e]) / f.span // length of the span, in ℓ
		span := [4][4]float64{
			{12, 6 * r, -12, 6 * r},
			{6 * r, 4 * r * r, -6 * r, 2 * r * r},
			{-12, -6 * r, 12, -6 * r},
			{6 * r, 2 * r * r, -6 * r, 4 * r * r},
		}
		at := [4]int{e, s + e, e + 1, s + e + 1}
		for i, p := range at {
			for j, q := range at {
				k[p*n+q] += span[i][j] / (r * r * r)
			}
		}
	}
	return condense(k, n, s)
}

// term says how much of one unknown goes into another.
type term struct {
	of   int
	part float64
}

// stiffness returns the reactions of the free table to its heights over the
// supports, n × n. Two heights at a station are its deflection and its twist;
// where there is but one, the twist takes what costs least energy.
func (f *frame) stiffness(twist float64) []float64 {
	n, s := len(f.x), len(f.at)
	if f.halfWidth == 0 { // one support at each station, in any order
		k := make([]float64, n*n)
		for i, p := range f.station {
			for j, q := range f.station {
				k[i*n+j] = f.bend[p*s+q]
			}
		}
		return k
	}
	down, roll, size := f.unknowns()
	k := make([]float64, size*size)
	add := func(a, b []term, v float64) {
		for _, p := range a {
			for _, q := range b {
				k[p.of*size+q.of] += v * p.part * q.part
			}
		}
	}
	tor := f.torsion()
	for p := range s {
		for q := range s {
			add(down[p], down[q], f.bend[p*s+q])
			add(roll[p], roll[q], twist*tor[p*s+q])
		}
	}
	return condense(k, size, n)
}

// unknowns returns the deflection and the twist·b of each station as sums of
// the heights and of the twists of stations with one support, which come after
// the heights.
func (f *frame) unknowns() (down, roll [][]term, size int) {
	s := len(f.at)
	at := make([][]int, s)
	for i, p := range f.station {
		at[p] = append(at[p], i)
	}
	down, roll, size = make([][]term, s), make([][]term, s), len(f.x)
	for p, on := range at {
		i := on[0]
		a := f.y[i] / f.halfWidth
		if len(on) == 1 {
			down[p] = []term{{i, 1}, {size, -a}}
			roll[p] = []term{{size, 1}}
			size++
			continue
		}
		j := on[1]
		b := f.y[j] / f.halfWidth
		down[p] = []term{{i, -b / (a - b)}, {j, a / (a - b)}}
		roll[p] = []term{{i, 1 / (a - b)}, {j, -1 / (a - b)}}
	}
	return down, roll, size
}

// condense leaves the first keep unknowns of a symmetric stiffness, size × size:
// the others take what costs least energy (Gauss's elimination).
func condense(k []float64, size, keep int) []float64 {
	for p := size - 1; p >= keep; p-- {
		row := k[p*size : p*size+p]
		inv := 1 / k[p*size+p]
		for i, v := range row {
			f := v * inv
			for j := range i + 1 {
				k[i*size+j] -= f * row[j]
			}
		}
	}
	out := make([]float64, keep*keep)
	for i := range keep {
		for j := range i + 1 {
			out[i*keep+j], out[j*keep+i] = k[i*size+j], k[i*size+j]
		}
	}
	return out
}
