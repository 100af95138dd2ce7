package calc

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

// modes are the natural shapes of the free table over its supports: the
// columns of vec, with the stiffness eig of each for a unit Stiffness.
type modes struct {
	n   int
	eig []float64
	vec []float64 // n × n, row i is support i
}

// modes finds the shapes for a ratio of Torsion to Stiffness. Where every
// station has two supports at the same distances, bending and twisting do not
// mix: the ratio only makes the twisting modes stiffer.
func (f *frame) modes(twist float64) (modes, error) {
	twist = max(1e-6, min(1e6, twist)) // 0 would leave single supports free to roll
	if !f.pairs() {
		n := len(f.x)
		out, err := shapes(f.stiffness(twist), n)
		f.clean(out.eig)
		return out, err
	}
	if f.even == nil {
		even, err := f.evenModes()
		if err != nil {
			return modes{}, err
		}
		f.even = &even
	}
	out := modes{n: f.even.n, eig: slices.Clone(f.even.eig), vec: f.even.vec}
	for k := len(f.at); k < out.n; k++ {
		out.eig[k] *= twist
	}
	return out, nil
}

// shapes returns the modes of a stiffness, n × n, the softest first.
func shapes(k []float64, n int) (modes, error) {
	var es mat.EigenSym
	if !es.Factorize(mat.NewSymDense(n, k), true) {
		return modes{}, bad("supports", "do not hold the table")
	}
	var vec mat.Dense
	es.VectorsTo(&vec)
	return modes{n: n, eig: es.Values(nil), vec: vec.RawMatrix().Data}, nil
}

// pairs says that every station has two supports, all at the same distances.
func (f *frame) pairs() bool {
	if len(f.x) != 2*len(f.at) {
		return false
	}
	for _, y := range f.y {
		if math.Abs(y) != f.halfWidth {
			return false
		}
	}
	return true
}

// evenModes returns the modes of a table on pairs, first those of bending and
// then those of twisting: both supports of a station go the same way by half
// of what the beam's own mode says (as energy), or opposite ways.
func (f *frame) evenModes() (modes, error) {
	s, n := len(f.at), len(f.x)
	bend, err := shapes(slices.Clone(f.bend), s)
	if err != nil {
		return modes{}, err
	}
	roll, err := shapes(f.torsion(), s)
	if err != nil {
		return modes{}, err
	}
	bend.eig[0], bend.eig[1], roll.eig[0] = 0, 0, 0 // heave, pitch and roll
	out := modes{n: n, eig: append(bend.eig, roll.eig...), vec: make([]float64, n*n)}
	for i, p := range f.station {
		for k := range s {
			out.vec[i*n+k] = bend.vec[p*s+k] / math.Sqrt2
			out.vec[i*n+s+k] = roll.vec[p*s+k] / math.Copysign(math.Sqrt2, f.y[i])
		}
	}
	for k := range out.eig {
		out.eig[k] = max(0, out.eig[k]/2)
	}
	return out, nil
}

// torsion returns the stiffness of the free table against twisting over its
// stations, S × S, for a twist of 1.
func (f *frame) torsion() []float64 {
	s := len(f.at)
	k := make([]float64, s*s)
	for e := range s - 1 {
		v := f.span / (f.at[e+1] - f.at[e])
		k[e*s+e] += v
		k[(e+1)*s+e+1] += v
		k[e*s+e+1] -= v
		k[(e+1)*s+e] -= v
	}
	return k
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

// column writes the change of every height by a unit rise of nut j into dst, for
// a table of which each mode yields by so much. part is room for n numbers.
func (s modes) column(yield []float64, j int, part, dst []float64) {
	floats.MulTo(part, s.vec[j*s.n:(j+1)*s.n], yield)
	for i := range dst {
		dst[i] = floats.Dot(s.vec[i*s.n:(i+1)*s.n], part)
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
	var square, give [2 * MaxStations]float64 // of each elastic mode: amount², and yield²
	count := 0
	for k, e := range s.eig {
		if e != 0 {
			square[count], give[count] = shape[k]*shape[k], sq(1/(1+stiffness*e))
			count++
		}
	}
	sum := 0.0
	for _, own := range [...]struct{ mm, share float64 }{{0.012, 0.9}, {0.15, 0.1}} { // practice, no source
		least := sq(u) + sq(own.mm)
		for _, spread := range [...]float64{0.05, 0.1, 0.2, 0.4} { // mm
			off, volume := 0.0, 1.0
			for k, c := range square[:count] {
				v := sq(spread)*give[k] + least
				off += c / v
				volume *= v
			}
			sum += own.share * math.Exp(math.Max(-off/2, -600)) / math.Sqrt(volume)
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
