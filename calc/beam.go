package calc

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
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

// modes are the natural shapes of the free table over its supports: the
// columns of vec, with the stiffness eig of each for a unit Stiffness.
type modes struct {
	n   int
	eig []float64
	vec []float64 // n × n, row i is support i
}

// modes finds the shapes for a ratio of Torsion to Stiffness. The stiffness of
// the free table over its supports comes from Hermite beam elements and twist
// elements (any text on the finite-element method) by static condensation:
// the shape of least energy through the given heights, with the heights as
// constraints and the reactions as their multipliers.
func (f *frame) modes(twist float64) (modes, error) {
	twist = max(1e-6, min(1e6, twist)) // 0 would leave single supports free to roll
	n, s := len(f.x), len(f.at)
	free := 2 * s // deflection and slope·ℓ of each station, then twist·b
	if f.halfWidth > 0 {
		free = 3 * s
	}
	a := mat.NewDense(free+n, free+n, nil)
	for e := range s - 1 {
		f.addSpan(a, e, twist)
	}
	for i := range n {
		f.addSupport(a, i, free+i)
	}
	rhs := mat.NewDense(free+n, n, nil)
	for i := range n {
		rhs.Set(free+i, i, 1)
	}
	var x mat.Dense
	if err := x.Solve(a, rhs); err != nil {
		if _, ok := err.(mat.Condition); !ok || x.IsEmpty() {
			return modes{}, bad("supports", "do not hold the table")
		}
	}
	k := mat.NewSymDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			k.SetSym(i, j, -(x.At(free+i, j)+x.At(free+j, i))/2)
		}
	}
	var es mat.EigenSym
	if !es.Factorize(k, true) {
		return modes{}, bad("supports", "do not hold the table")
	}
	var vec mat.Dense
	es.VectorsTo(&vec)
	out := modes{n: n, eig: es.Values(nil), vec: vec.RawMatrix().Data}
	f.clean(out.eig)
	return out, nil
}

// clean sets the stiffness of the rigid motions, which rounding leaves near
// zero, to zero: heave and pitch, and roll where the supports show it.
func (f *frame) clean(eig []float64) {
	rigid := 2
	if f.halfWidth > 0 {
		rigid = 3
	}
	for i := range eig {
		if i < rigid || eig[i] < 0 {
			eig[i] = 0
		}
	}
}

// addSpan adds the beam element between stations e and e+1.
func (f *frame) addSpan(a *mat.Dense, e int, twist float64) {
	r := (f.at[e+1] - f.at[e]) / f.span // length of the span, in ℓ
	add := func(i, j int, v float64) { a.Set(i, j, a.At(i, j)+v) }
	k := [4][4]float64{
		{12, 6 * r, -12, 6 * r},
		{6 * r, 4 * r * r, -6 * r, 2 * r * r},
		{-12, -6 * r, 12, -6 * r},
		{6 * r, 2 * r * r, -6 * r, 4 * r * r},
	}
	for i := range 4 {
		for j := range 4 {
			add(2*e+i, 2*e+j, k[i][j]/(r*r*r))
		}
	}
	if f.halfWidth > 0 {
		p := 2*len(f.at) + e
		add(p, p, twist/r)
		add(p+1, p+1, twist/r)
		add(p, p+1, -twist/r)
		add(p+1, p, -twist/r)
	}
}

// addSupport adds the constraint that the table has the height of support i.
func (f *frame) addSupport(a *mat.Dense, i, row int) {
	set := func(col int, v float64) { a.Set(row, col, v); a.Set(col, row, v) }
	s := f.station[i]
	set(2*s, 1)
	if f.halfWidth > 0 {
		set(2*len(f.at)+s, f.y[i]/f.halfWidth)
	}
}

// influence writes M for a stiffness into dst, n × n.
func (s modes) influence(stiffness float64, dst []float64) {
	for i := range s.n {
		for j := i; j < s.n; j++ {
			sum := 0.0
			for k := range s.n {
				sum += s.vec[i*s.n+k] * s.vec[j*s.n+k] / (1 + stiffness*s.eig[k])
			}
			dst[i*s.n+j], dst[j*s.n+i] = sum, sum
		}
	}
}

// shape returns the amounts of the modes in a set of heights.
func (s modes) shape(h []float64) []float64 {
	c := make([]float64, s.n)
	for i, v := range h {
		for k := range c {
			c[k] += s.vec[i*s.n+k] * v
		}
	}
	return c
}

// evidence returns the logarithm of the likelihood of a stiffness, but for a
// constant, from the shape in which a table was found: nuts that stand off by
// one of a few spreads bend a limp table and leave a stiff one flat, but for a
// shape of its own, which is now and then a large one. u is the standard
// uncertainty of a height.
func (s modes) evidence(stiffness float64, shape []float64, u float64) float64 {
	sum := 0.0
	for _, own := range [...]struct{ mm, share float64 }{{0.012, 0.9}, {0.15, 0.1}} { // practice, no source
		for _, spread := range [...]float64{0.05, 0.1, 0.2, 0.4} { // mm
			log := 0.0
			for k, c := range shape {
				if s.eig[k] == 0 {
					continue
				}
				v := sq(spread/(1+stiffness*s.eig[k])) + sq(u) + sq(own.mm)
				log -= c*c/(2*v) + math.Log(v)/2
			}
			sum += own.share * math.Exp(math.Max(log, -600))
		}
	}
	return math.Log(sum)
}

// fill estimates the missing heights: the shape of least energy through the
// others, drawn weakly to their mean where they do not hold it.
func (s modes) fill(h []float64, missing []bool) {
	var unknown []int
	mean, count := 0.0, 0.0
	for i, m := range missing {
		if m {
			unknown = append(unknown, i)
		} else {
			mean += h[i]
			count++
		}
	}
	mean /= count
	scale := 0.0
	for _, e := range s.eig {
		scale += e / float64(s.n)
	}
	weak := 1e-4*scale + 1e-9
	u := len(unknown)
	a, b := mat.NewSymDense(max(u, 1), nil), mat.NewVecDense(max(u, 1), nil)
	for p, i := range unknown {
		b.SetVec(p, weak*mean)
		for j := range s.n {
			k := s.stiffness(i, j)
			if q := slices.Index(unknown, j); q >= 0 {
				a.SetSym(p, q, k)
			} else {
				b.SetVec(p, b.AtVec(p)-k*h[j])
			}
		}
		a.SetSym(p, p, a.At(p, p)+weak)
	}
	var chol mat.Cholesky
	if u == 0 || !chol.Factorize(a) || chol.SolveVecTo(b, b) != nil {
		for _, i := range unknown {
			h[i] = mean
		}
		return
	}
	for p, i := range unknown {
		h[i] = b.AtVec(p)
	}
}

// stiffness returns the reaction at support i to a unit rise of support j.
func (s modes) stiffness(i, j int) float64 {
	k := 0.0
	for q, e := range s.eig {
		k += e * s.vec[i*s.n+q] * s.vec[j*s.n+q]
	}
	return k
}
