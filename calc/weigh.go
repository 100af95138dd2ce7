package calc

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
)

// How a guess is weighed against a history. Per pass, with r the changes of
// height that the guess leaves unexplained and S their covariance,
// χ² = Σ rᵀS⁻¹r. S is a diagonal D, of the readings, and one column for each
// nut that was turned, U: S = D + U·Uᵀ. So S⁻¹ = D⁻¹ − D⁻¹U·C⁻¹·UᵀD⁻¹ with
// C = 1 + UᵀD⁻¹U (Sherman, Morrison and Woodbury), and only a matrix as large
// as the number of nuts turned is ever factorised.

// fitting is what a guess makes of one pass. A nut's place in it is its index
// in nuts.
type fitting struct {
	nuts    []int     // turned in the pass, as indices of l.turned
	place   []int     // of each support's nut; -1 where it was not turned
	u       []float64 // column of U of the nut in place a, at a·n + i
	unit    []float64 // of each: movement by a unit of gain, in standard uncertainties of it
	precise []float64 // diagonal of D⁻¹
	r       []float64
	gram    []float64 // UᵀD⁻¹U
	chol    []float64 // lower factor of C
	push    []float64 // chol⁻¹·UᵀD⁻¹r
	thin    []float64 // UᵀD⁻¹, after detail chol⁻¹·UᵀD⁻¹

	// in detail
	weighed          []float64 // S⁻¹r
	pull             []float64 // UᵀS⁻¹r
	hold             []float64 // UᵀS⁻¹U
	half             []float64 // chol⁻¹·gram
	allPull, allHold float64   // as nutEffect, of all gains together
}

// newFitting returns room for what is made of a pass with these moves.
func (l *learner) newFitting(moves []float64) fitting {
	w := fitting{place: make([]int, l.n)}
	for j := range w.place {
		w.place[j] = -1
	}
	for t, j := range l.turned {
		if moves[j] != 0 {
			w.place[j] = len(w.nuts)
			w.nuts = append(w.nuts, t)
		}
	}
	n, m := l.n, len(w.nuts)
	room := make([]float64, 3*n+2*m*n+3*m+4*m*m)
	cut := func(size int) (part []float64) {
		part, room = room[:size:size], room[size:]
		return part
	}
	w.precise, w.r, w.weighed = cut(n), cut(n), cut(n)
	w.u, w.thin = cut(m*n), cut(m*n)
	w.unit, w.push, w.pull = cut(m), cut(m), cut(m)
	w.gram, w.chol, w.hold, w.half = cut(m*m), cut(m*m), cut(m*m), cut(m*m)
	return w
}

// unseen is the variance that takes a height which was not read out of the sum.
const unseen = 1e6

// weigh works out how well the history fits a guess.
func (l *learner) weigh(k int) {
	g := &l.guesses[k]
	if g.m == nil {
		l.couple(g, k)
	}
	g.chi = 0
	for p := range l.moves {
		g.chi += l.fittings[p].fit(l, g, p)
	}
}

// detail works out again what a guess makes of every pass, with all that the
// causes and the gains need.
func (l *learner) detail(k int) {
	l.weigh(k)
	for p := range l.fittings {
		l.fittings[p].detail(l)
	}
}

// couple finds what the nuts that were turned do to the heights.
func (l *learner) couple(g *guess, k int) {
	md := l.twists[g.twist].modes
	n, t := l.n, len(l.turned)
	g.m = l.columns[k*t*n : (k+1)*t*n]
	yield, part := l.scratch[:n], l.scratch[n:]
	for q, e := range md.eig {
		yield[q] = 1 / (1 + g.stiffness*e)
	}
	for t, j := range l.turned {
		if col := g.m[t*n : t*n+n]; l.m.Direct {
			clear(col)
			col[j] = 1
		} else {
			md.column(yield, j, part, col)
		}
	}
}

// fit works out a pass, and returns its χ².
func (w *fitting) fit(l *learner, g *guess, pass int) float64 {
	w.expect(l, g, pass)
	n, m := l.n, len(w.nuts)
	chi := 0.0
	for i, r := range w.r {
		chi += r * r * w.precise[i]
	}
	for a := range m {
		d := w.thin[a*n : a*n+n]
		floats.MulTo(d, w.u[a*n:a*n+n], w.precise)
		w.push[a] = floats.Dot(d, w.r)
		for b := range a + 1 {
			v := floats.Dot(d, w.u[b*n:b*n+n])
			w.gram[a*m+b], w.gram[b*m+a] = v, v
		}
	}
	w.factorise()
	for a := range m {
		for b := range a {
			w.push[a] -= w.chol[a*m+b] * w.push[b]
		}
		w.push[a] /= w.chol[a*m+a]
		chi -= w.push[a] * w.push[a]
	}
	return math.Max(0, chi)
}

// expect writes r, D and U of a pass: two readings of each height, what the
// model may be off in how far they move more than their own height, and the
// turns and the tightening of the nuts as they move the whole table.
func (w *fitting) expect(l *learner, g *guess, pass int) {
	n := l.n
	clear(w.r)
	for a, t := range w.nuts {
		j := l.turned[t]
		gain := l.gain[j]
		s := math.Sqrt(sq(turnSigma*float64(l.m.Supports[j].Pitch)*gain) + sq(settleSigma))
		w.unit[a] = l.moves[pass][j] / s
		d := gain * l.moves[pass][j]
		for i, v := range g.m[t*n : t*n+n] {
			w.u[a*n+i] = v * s
			w.r[i] -= v * d
		}
	}
	was, is := l.sets[l.before[pass]], l.sets[l.after[pass]]
	for i, r := range w.r {
		coupled := r + l.gain[i]*l.moves[pass][i]
		d := 2*sq(l.u) + sq(modelSigma*coupled)
		w.r[i] = r + is[i] - was[i]
		if !l.seen(pass, i) {
			w.r[i] = 0
			d += unseen
		}
		w.precise[i] = 1 / d
	}
}

// factorise writes the lower factor of C = 1 + gram (Cholesky).
func (w *fitting) factorise() {
	m := len(w.nuts)
	for a := range m {
		row := w.chol[a*m : a*m+m]
		for b := range a + 1 {
			sum := w.gram[a*m+b]
			for k, v := range w.chol[b*m : b*m+b] {
				sum -= row[k] * v
			}
			if a == b {
				row[a] = math.Sqrt(math.Max(1, 1+sum))
			} else {
				row[b] = sum / w.chol[b*m+b]
			}
		}
	}
}

// detail works out what the causes and the gains need beyond χ², after fit.
func (w *fitting) detail(l *learner) {
	n, m := l.n, len(w.nuts)
	for i, r := range w.r {
		w.weighed[i] = r * w.precise[i]
	}
	copy(w.half, w.gram)
	copy(w.hold, w.gram)
	for a := range m {
		w.solve(w.thin, n, a)
		w.solve(w.half, m, a)
		floats.AddScaled(w.weighed, -w.push[a], w.thin[a*n:a*n+n])
		row := w.half[a*m : a*m+m]
		for b, v := range row {
			floats.AddScaled(w.hold[b*m:b*m+m], -v, row)
		}
	}
	for a := range m {
		w.pull[a] = floats.Dot(w.u[a*n:a*n+n], w.weighed)
	}
	w.allPull, w.allHold = 0, 0
	for a, t := range w.nuts {
		f := l.gain[l.turned[t]] * w.unit[a]
		w.allPull += f * w.pull[a]
		for b, o := range w.nuts {
			w.allHold += f * l.gain[l.turned[o]] * w.unit[b] * w.hold[a*m+b]
		}
	}
}

// solve takes row a of x, as wide as said, to that of chol⁻¹·x; those before it
// are there already.
func (w *fitting) solve(x []float64, wide, a int) {
	m := len(w.nuts)
	row := x[a*wide : (a+1)*wide]
	for b, f := range w.chol[a*m : a*m+a] {
		floats.AddScaled(row, -f, x[b*wide:(b+1)*wide])
	}
	floats.Scale(1/w.chol[a*m+a], row)
}

// nutEffect returns xᵀS⁻¹r and xᵀS⁻¹x over all passes, x being the change of
// the heights by a unit of gain of nut j, or by one of all gains together.
func (l *learner) nutEffect(j int) (xr, xx float64) {
	for p := range l.fittings {
		w := &l.fittings[p]
		if j == AllSupports {
			xr += w.allPull
			xx += w.allHold
		} else if a := w.place[j]; a >= 0 {
			xr += w.unit[a] * w.pull[a]
			xx += w.unit[a] * w.unit[a] * w.hold[a*len(w.nuts)+a]
		}
	}
	return xr, xx
}

// readingPull returns xᵀS⁻¹r over all passes, x being the change of the
// differences when readings i and o of a set change by di and do.
func (l *learner) readingPull(set, i, o int, di, do float64) (xr float64) {
	for p := range l.fittings {
		if sign := l.side(p, set); sign != 0 {
			xr += sign * (di*l.fittings[p].weighed[i] + do*l.fittings[p].weighed[o])
		}
	}
	return xr
}

// readingHold returns xᵀS⁻¹x of the same.
func (l *learner) readingHold(set, i, o int, di, do float64) (xx float64) {
	for p := range l.fittings {
		if l.side(p, set) == 0 {
			continue
		}
		w := &l.fittings[p]
		xx += di*di*w.precise[i] + do*do*w.precise[o]
		for a := range w.nuts {
			xx -= sq(di*w.thin[a*l.n+i] + do*w.thin[a*l.n+o])
		}
	}
	return xx
}

// side says which way a set of readings counts in a pass.
func (l *learner) side(pass, set int) float64 {
	switch set {
	case l.after[pass]:
		return 1
	case l.before[pass]:
		return -1
	}
	return 0
}

// refine returns the gains that fit the best guess best, drawn to those of the
// explanation.
func (l *learner) refine() []float64 {
	l.detail(l.best)
	t := len(l.turned)
	a, b := make([]float64, t*t), make([]float64, t)
	for k, j := range l.turned {
		s := gainSigma
		if l.loose[j] {
			s = looseSigma
		}
		a[k*t+k] = 1 / (s * s)
	}
	for p := range l.fittings {
		w := &l.fittings[p]
		m := len(w.nuts)
		for q, k := range w.nuts {
			f := w.unit[q]
			b[k] += f * w.pull[q]
			for r, o := range w.nuts {
				a[k*t+o] += f * w.unit[r] * w.hold[q*m+r]
			}
		}
	}
	invert(a, t)
	out := slices.Clone(l.gain)
	for k, j := range l.turned {
		if l.gain[j] == 0 && !l.loose[j] {
			continue // stuck
		}
		for o, v := range b {
			out[j] += a[k*t+o] * v
		}
	}
	return out
}

// invert inverts a symmetric positive definite matrix in place, by
// Gauss–Jordan sweeps; its size never needs more.
func invert(a []float64, n int) {
	for k := range n {
		p := 1 / a[k*n+k]
		for i := range n {
			if i == k {
				continue
			}
			f := a[i*n+k] * p
			for j := range n {
				if j != k {
					a[i*n+j] -= f * a[k*n+j]
				}
			}
		}
		for j := range n {
			a[k*n+j] *= p
			a[j*n+k] *= -p
		}
		a[k*n+k] = p
	}
}
