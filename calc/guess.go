package calc

import "math"

// guess is one stiffness and torsion that the table may have, with how well
// the history fits it. Per pass, with r the changes of height that it leaves
// unexplained and S their covariance, χ² = Σ rᵀS⁻¹r.
type guess struct {
	stiffness float64
	twist     int       // index of its ratio and modes
	prior     float64   // −2·ln of its prior probability
	m         []float64 // influence, n × n
	chi       float64
	inv       [][]float64 // S⁻¹
	weighed   [][]float64 // S⁻¹·r
}

// score is −2·ln of the posterior probability, but for a constant.
func (g *guess) score() float64 { return g.chi + g.prior }

// twist is one ratio of Torsion to Stiffness that the table may have.
type twist struct {
	ratio float64
	prior float64
	modes modes
	shape []float64 // of the heights as found; nil where they tell nothing
}

// Guesses are laid out coarsely over all that may be, and finely about the best.
var (
	coarse = []float64{-2.4, -2, -1.6, -1.2, -0.8, -0.4, 0, 0.4, 0.8, 1.2, 1.6, 2, 2.4} // in spreads of ln stiffness
	fine   = []float64{-0.5, -0.25, 0, 0.25, 0.5}                                       // in coarse steps
	ratios = []float64{-1.2, -0.6, 0, 0.6, 1.2}                                         // ln of the twist over the model's
)

// coarseStep is the step of the coarse guesses.
const coarseStep = 0.4

// guess lays out the guesses about the model's stiffness and, where it shows,
// its torsion.
func (l *learner) guess(f frame) error {
	stiff, twists := []float64{0}, []float64{0}
	if l.vague() {
		stiff = coarse
		if f.halfWidth > 0 {
			twists = ratios
		}
	}
	for k, tw := range twists {
		t := twist{prior: sq(tw / 1.2), ratio: l.m.twist() * math.Exp(tw)}
		var err error
		if t.modes, err = f.modes(t.ratio); err != nil {
			return err
		}
		if l.m.Spread >= firstSpread && l.complete(0) {
			t.shape = t.modes.shape(l.sets[0])
		}
		l.twists = append(l.twists, t)
		if k%2 == 0 {
			for _, st := range stiff {
				l.guesses = append(l.guesses, l.newGuess(k, st*l.wide()))
			}
		}
	}
	l.coarse = len(l.guesses)
	return nil
}

// vague says that the stiffness is to be learned.
func (l *learner) vague() bool { return l.m.Spread > 0 && l.m.Stiffness > 0 }

// wide is how far the guesses reach, farther than a kept model claims.
func (l *learner) wide() float64 { return math.Max(l.m.Spread, 0.6) }

// newGuess returns the guess of a twist whose stiffness is off the model's by a
// logarithm.
func (l *learner) newGuess(k int, log float64) guess {
	t := &l.twists[k]
	g := guess{twist: k, stiffness: l.m.Stiffness * math.Exp(log), m: make([]float64, l.n*l.n), prior: t.prior}
	if l.m.Spread > 0 {
		g.prior += math.Min(16, sq(log/l.m.Spread))
	}
	l.m.influence(t.modes, g.stiffness, g.m)
	if t.shape != nil {
		g.prior -= 2 * t.modes.evidence(g.stiffness, t.shape, l.u)
	}
	for range l.moves {
		g.inv = append(g.inv, make([]float64, l.n*l.n))
		g.weighed = append(g.weighed, make([]float64, l.n))
	}
	return g
}

// complete says whether every reading of a set is usable.
func (l *learner) complete(set int) bool {
	for _, ok := range l.usable[set] {
		if !ok {
			return false
		}
	}
	return true
}

// fit weighs every guess against the history as it is explained so far, coarse
// ones and then fine ones about the best, and returns the best.
func (l *learner) fit() *guess {
	l.guesses = l.guesses[:l.coarse]
	l.weighAll(0)
	if l.vague() {
		best := l.guesses[l.best]
		for k := max(0, best.twist-1); k < min(len(l.twists), best.twist+2); k++ {
			for _, off := range fine {
				log := math.Log(best.stiffness/l.m.Stiffness) + off*coarseStep*l.wide()
				if k != best.twist || off != 0 {
					l.guesses = append(l.guesses, l.newGuess(k, log))
				}
			}
		}
		l.weighAll(l.coarse)
	}
	return &l.guesses[l.best]
}

// weighAll weighs the guesses from the given one on, and finds the best of all.
func (l *learner) weighAll(from int) {
	if from == 0 {
		l.best = 0
	}
	for k := from; k < len(l.guesses); k++ {
		l.weigh(&l.guesses[k])
		if l.guesses[k].score() < l.guesses[l.best].score() {
			l.best = k
		}
	}
}

// weigh fills in how well the history fits a guess.
func (l *learner) weigh(g *guess) {
	n := l.n
	g.chi = 0
	r := make([]float64, n)
	for p := range l.moves {
		s := g.inv[p]
		l.covariance(g, p, s, r)
		invert(s, n)
		for i := range n {
			w := 0.0
			for k, v := range r {
				w += s[i*n+k] * v
			}
			g.weighed[p][i] = w
			g.chi += w * r[i]
		}
	}
}

// unseen is the variance that takes a height which was not read out of the sum.
const unseen = 1e6

// covariance writes S and r of a pass: two readings of each height, the turns
// and the tightening of the nuts as they move the whole table, and what the
// model may be off in how far they move more than their own height.
func (l *learner) covariance(g *guess, pass int, s, r []float64) {
	n := l.n
	clear(s)
	clear(r)
	was, is := l.sets[l.before[pass]], l.sets[l.after[pass]]
	for j, a := range l.moves[pass] {
		if a == 0 {
			continue
		}
		v := sq(turnSigma*float64(l.m.Supports[j].Pitch)*l.gain[j]) + sq(settleSigma)
		for i := range n {
			r[i] -= g.m[i*n+j] * l.gain[j] * a
			for k := range n {
				s[i*n+k] += g.m[i*n+j] * g.m[k*n+j] * v
			}
		}
	}
	for i := range n {
		coupled := r[i] + l.gain[i]*l.moves[pass][i]
		s[i*n+i] += 2*sq(l.u) + sq(modelSigma*coupled)
		r[i] += is[i] - was[i]
		if !l.seen(pass, i) {
			r[i] = 0
			s[i*n+i] += unseen
		}
	}
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

// refine returns the gains that fit best, drawn to those of the explanation.
func (l *learner) refine(g *guess) []float64 {
	n := l.n
	a, b := make([]float64, n*n), make([]float64, n)
	for j := range n {
		s := gainSigma
		if l.loose[j] {
			s = looseSigma
		}
		a[j*n+j] = 1 / (s * s)
	}
	col := make([]float64, n)
	for p, moves := range l.moves {
		for j, d := range moves {
			if d == 0 {
				continue
			}
			l.effect(g, p, j, col)
			for i, w := range g.weighed[p] {
				b[j] += g.m[i*n+j] * d * w
			}
			for k, e := range moves {
				for i, v := range col {
					a[k*n+j] += g.m[i*n+k] * e * v
				}
			}
		}
	}
	invert(a, n)
	out := make([]float64, n)
	for j := range n {
		if l.gain[j] == 0 && !l.loose[j] {
			continue // stuck
		}
		out[j] = l.gain[j]
		for k := range n {
			out[j] += a[j*n+k] * b[k]
		}
	}
	return out
}

// effect writes S⁻¹·(change of the heights by nut j in a pass) into dst.
func (l *learner) effect(g *guess, pass, j int, dst []float64) {
	n := l.n
	for i := range n {
		dst[i] = 0
		for k := range n {
			dst[i] += g.inv[pass][i*n+k] * g.m[k*n+j]
		}
		dst[i] *= l.moves[pass][j]
	}
}
