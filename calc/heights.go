package calc

import (
	"math"
	"slices"
)

// Heights returns the best estimate of every height after the passes, from all
// readings and not only the last ones: a support whose nut was left alone has
// been read several times. u is the expanded uncertainty (95 %) of one reading
// and floor the part of it that reading again does not shrink (resolution, the
// straightedge). Readings that the findings of Learn doubt are not used. A
// height that was never read is estimated through the table.
//
// It is a Kalman filter whose state is the heights: a pass moves them by M·n,
// less exactly for the nuts that were turned, and every reading of one draws on
// all that are coupled with it.
func (m Model) Heights(passes []Pass, findings []Finding, u, floor Length) ([]Estimate, error) {
	if len(passes) == 0 {
		return nil, bad("passes", "are none")
	}
	if err := notNegative("floor", floor); err != nil {
		return nil, err
	}
	known := m
	known.Spread = 0 // as learned; nothing is guessed here
	l, err := known.newLearner(passes, u)
	if err != nil {
		return nil, err
	}
	if floor > u {
		return nil, bad("floor", "is more than u")
	}
	for _, f := range findings {
		if err := l.doubt(f); err != nil {
			return nil, err
		}
	}
	return l.filter(float64(floor) / 2)
}

// doubt applies a finding about a reading.
func (l *learner) doubt(f Finding) error {
	if f.Kind != Swapped && f.Kind != OddReading {
		return nil
	}
	set := f.Pass + 1
	in := func(k, n int) bool { return k >= 0 && k < n }
	if !in(set, len(l.sets)) || !in(f.Support, l.n) || f.Kind == Swapped && !in(f.Other, l.n) {
		return bad("findings", "do not belong to these passes")
	}
	l.accept(cause{kind: f.Kind, support: f.Support, other: f.Other, set: set})
	return nil
}

// ignorance is the standard uncertainty of a height before anything is read.
const ignorance = 100.0 // mm

// filter runs over the history and returns the heights after it.
func (l *learner) filter(floor float64) ([]Estimate, error) {
	n := l.n
	noise := math.Max(sq(l.u)-sq(floor), 1e-8)
	x, p := make([]float64, n), make([]float64, n*n)
	for i := range n {
		p[i*n+i] = sq(ignorance)
	}
	l.couple(&l.guesses[0], 0)
	seen := -1
	for k, moves := range l.moves {
		if l.before[k] != seen {
			l.observe(x, p, l.before[k], noise, sq(floor))
		}
		l.carry(l.guesses[0].m, x, p, moves)
		seen = l.after[k]
		l.observe(x, p, seen, noise, sq(floor))
	}
	out := make([]Estimate, n)
	for i := range out {
		e, err := estimate("passes", x[i], []Component{Normal(math.Sqrt(math.Max(0, p[i*n+i])+sq(floor)), math.Inf(1))})
		if err != nil {
			return nil, err
		}
		out[i] = e
	}
	return out, nil
}

// carry moves the state by the nuts that were turned. It is less sure of the
// heights for how exactly they were turned, for their gains, and for what came
// through the table.
func (l *learner) carry(m, x, p, moves []float64) {
	n := l.n
	coupled := make([]float64, n)
	for t, j := range l.turned {
		a := moves[j]
		if a == 0 {
			continue
		}
		v := sq(turnSigma*float64(l.m.Supports[j].Pitch)*l.gain[j]) + sq(settleSigma) + sq(gainSigma/2*a)
		col := m[t*n : t*n+n]
		for i, c := range col {
			x[i] += c * l.gain[j] * a
			coupled[i] += c * l.gain[j] * a
			for o, d := range col {
				p[i*n+o] += c * d * v
			}
		}
		coupled[j] -= l.gain[j] * a
	}
	for i, d := range coupled {
		p[i*n+i] += sq(modelSigma * d)
	}
}

// surprise is how many of its standard uncertainties a reading must be off for
// the pass not to be believed there: one in twenty by noise alone. Simulated
// saws with slips agree: with it fewer than 1 % of each kind end as within and
// are not, where without it up to 1.4 % did; at 1.3 more passes are needed.
const surprise = 2.0

// observe takes the usable readings of a set into the state. A reading that is
// far from where the pass should have brought its height, by more than rounding
// can do, says that something else happened there, such as a stuck nut: what was
// expected is then as uncertain as it failed.
func (l *learner) observe(x, p []float64, set int, noise, rounding float64) {
	n := l.n
	gain := make([]float64, n)
	for i, h := range l.sets[set] {
		if !l.usable[set][i] {
			continue
		}
		r := noise
		if l.confirmed[set][i] {
			r /= 2
		}
		if d := sq(h - x[i]); d > sq(surprise)*(p[i*n+i]+r+rounding) {
			p[i*n+i] = d - r
		}
		row := slices.Clone(p[i*n : i*n+n])
		for k := range n {
			gain[k] = p[k*n+i] / (row[i] + r)
		}
		d := h - x[i]
		for k := range n {
			x[k] += gain[k] * d
			for o := range n {
				p[k*n+o] -= gain[k] * row[o]
			}
		}
	}
}
