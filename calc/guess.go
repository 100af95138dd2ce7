package calc

import (
	"math"
	"slices"
)

// guess is one stiffness and torsion that the table may have, with how well
// the history fits it.
type guess struct {
	stiffness float64
	twist     int       // index of its ratio and modes
	prior     float64   // −2·ln of its prior probability
	chi       float64   // χ² of the history; +Inf where the prior alone rules the guess out
	m         []float64 // change of height i by a unit rise of nut l.turned[t], at t·n + i; nil before it is needed
}

// score is −2·ln of the posterior probability, but for a constant.
func (g *guess) score() float64 { return g.chi + g.prior }

// twist is one ratio of Torsion to Stiffness that the table may have.
type twist struct {
	ratio float64
	prior float64
	modes modes     // none before they are needed
	shape []float64 // of the heights as found; nil where they tell nothing
}

// Guesses are laid out coarsely over all that may be, and finely about the best.
var (
	coarse = []float64{-2.4, -2, -1.6, -1.2, -0.8, -0.4, 0, 0.4, 0.8, 1.2, 1.6, 2, 2.4} // in spreads of ln stiffness
	fine   = []float64{-0.5, -0.25, 0, 0.25, 0.5}                                       // in coarse steps
	ratios = []float64{-1.2, -0.6, 0, 0.6, 1.2}                                         // ln of the twist over the model's
)

const (
	// coarseStep is the step of the coarse guesses.
	coarseStep = 0.4
	// hopeless is how much worse than the best a score must be for the guess to
	// tell nothing: a weight of e⁻²⁰, and as many times more as the best itself
	// fits worse than noise would.
	hopeless = 40
)

// guess lays out the guesses about the model's stiffness and, where it shows,
// its torsion.
func (l *learner) guess(f frame) error {
	l.frame = f
	if l.m.Spread >= firstSpread && l.complete(0) {
		l.asFound = slices.Clone(l.sets[0])
	}
	stiff, twists := []float64{0}, []float64{0}
	if l.vague() {
		stiff = coarse
		if f.halfWidth > 0 {
			twists = ratios
		}
	}
	most := (len(twists)+1)/2*len(stiff) + 3*len(fine)
	l.guesses = make([]guess, 0, most)
	l.columns = make([]float64, most*len(l.turned)*l.n)
	l.scratch = make([]float64, 2*l.n)
	l.twists = make([]twist, len(twists))
	for k, tw := range twists {
		l.twists[k] = twist{prior: sq(tw / 1.2), ratio: l.m.twist() * math.Exp(tw)}
		if k%2 != 0 {
			continue
		}
		for _, st := range stiff {
			g, err := l.newGuess(k, st*l.wide())
			if err != nil {
				return err
			}
			l.guesses = append(l.guesses, g)
		}
	}
	l.coarse = len(l.guesses)
	return nil
}

// vague says that the stiffness is to be learned.
func (l *learner) vague() bool { return l.m.Spread > 0 && l.m.Stiffness > 0 }

// wide is how far the guesses reach, farther than a kept model claims.
func (l *learner) wide() float64 { return math.Max(l.m.Spread, 0.6) }

// find finds the modes of a twist where they are not known yet.
func (l *learner) find(t *twist) (err error) {
	if t.modes.n > 0 {
		return nil
	}
	if t.modes, err = l.frame.modes(t.ratio); err != nil {
		return err
	}
	if l.asFound != nil {
		t.shape = t.modes.shape(l.asFound)
	}
	return nil
}

// newGuess returns the guess of a twist whose stiffness is off the model's by a
// logarithm.
func (l *learner) newGuess(k int, log float64) (guess, error) {
	t := &l.twists[k]
	if err := l.find(t); err != nil {
		return guess{}, err
	}
	g := guess{twist: k, stiffness: l.m.Stiffness * math.Exp(log), prior: t.prior}
	if l.m.Spread > 0 {
		g.prior += math.Min(16, sq(log/l.m.Spread))
	}
	if t.shape != nil {
		g.prior -= 2 * t.modes.evidence(g.stiffness, t.shape, l.u)
	}
	return g, nil
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
func (l *learner) fit() (*guess, error) {
	l.guesses = l.guesses[:l.coarse]
	l.best = 0
	for k := range l.guesses { // the likeliest first, for it rules out the most
		if l.guesses[k].prior < l.guesses[l.best].prior {
			l.best = k
		}
	}
	l.weigh(l.best)
	first := l.best
	hope := hopeless * math.Max(1, l.guesses[first].chi/math.Max(1, float64(l.rows())))
	for k := range l.guesses {
		if k != first {
			l.consider(k, hope)
		}
	}
	if !l.vague() {
		return &l.guesses[l.best], nil
	}
	best := l.guesses[l.best]
	log := math.Log(best.stiffness / l.m.Stiffness)
	for k := max(0, best.twist-1); k < min(len(l.twists), best.twist+2); k++ {
		for _, off := range fine {
			if k == best.twist && off == 0 {
				continue
			}
			g, err := l.newGuess(k, log+off*coarseStep*l.wide())
			if err != nil {
				return nil, err
			}
			l.guesses = append(l.guesses, g)
			l.consider(len(l.guesses)-1, hope)
		}
	}
	return &l.guesses[l.best], nil
}

// consider weighs a guess that is not hopeless from the start.
func (l *learner) consider(k int, hope float64) {
	g, best := &l.guesses[k], &l.guesses[l.best]
	if g.prior > best.score()+hope {
		g.chi = math.Inf(1)
		return
	}
	if l.weigh(k); g.score() < best.score() {
		l.best = k
	}
}
