package calc

import (
	"math"
	"slices"
)

// Pass is one round of moves with the heights read before and after it.
type Pass struct {
	Turns         []float64 // as made, positive raises as the thread says; 0 for a nut left alone
	Before, After []Length
	Missing       []bool // heights that were not read before; nil: none
	Unread        []bool // heights that were not read after; nil: those of Missing
	Confirmed     []bool // After was read a second time there and agreed; nil: none
}

// FindingKind names what a pass showed that the model had not expected.
type FindingKind int

// What Learn finds. The zero value is no finding.
const (
	NoFinding     FindingKind = iota
	Stuck                     // the nut was turned and nothing moved
	Reversed                  // turning it as told to raise lowers
	WrongPitch                // it moves as another thread would; Finding.Gain says by which factor
	Swapped                   // the readings of Support and Other were exchanged
	OddReading                // the reading at Support fits nothing; read it again
	Contradiction             // no elastic table answers like this; each nut is now moved by its own reading
)

// String returns the kind's name for programs and tests.
func (k FindingKind) String() string {
	names := [...]string{"none", "stuck", "reversed", "wrong pitch", "swapped", "odd reading", "contradiction"}
	if k < 0 || int(k) >= len(names) {
		return "unknown"
	}
	return names[k]
}

// AllSupports is the Support of a finding about every nut at once: the thread
// or the direction that the saw's profile names is wrong.
const AllSupports = -1

// Finding is one thing that the passes showed.
type Finding struct {
	Kind    FindingKind
	Support int     // index of the support that it is about, or AllSupports
	Other   int     // the other support, for Swapped; otherwise -1
	Pass    int     // index of the pass whose After reading it is about; -1 for the first Before or for a nut
	Gain    float64 // measured answer of the nut, 1 = as its thread says; 1 for a reading
}

// How exactly a person moves a table. Practice, no source.
const (
	turnSigma   = 0.008 // turns: standard deviation of one turn made by eye and spanner
	settleSigma = 0.004 // mm: what tightening adds
	modelSigma  = 0.10  // of the change that comes through the table: springs that are not all alike
	gainSigma   = 0.10  // spread of the answers of nuts whose thread is as was said
	looseSigma  = 0.60  // the same, of nuts under suspicion
)

// Learn returns the model after the whole history of passes, and what the
// history shows. It is pure: start from the model of NewModel, or from one that
// was kept from an earlier job, and hand in every pass made since. u is the
// expanded uncertainty (95 %) of one reading.
//
// A finding about a nut is in the returned gains. A finding about a reading
// (Swapped, OddReading) leaves the model as if it had been right, or not been
// taken; read it again, and set Confirmed where it agrees. Where a nut has
// been put right (freed, or its thread corrected), set its Gain in the model
// to 1 and begin a new history.
//
// What fits no elastic table at all is a Contradiction: the returned model is
// Direct and moves each nut by what its own reading did before.
func (m Model) Learn(passes []Pass, u Length) (Model, []Finding, error) {
	l, err := m.newLearner(passes, u)
	if err != nil {
		return Model{}, nil, err
	}
	if len(passes) > 0 {
		if err := l.explain(); err != nil {
			return Model{}, nil, err
		}
	}
	return l.model(), l.findings, nil
}

// learner holds a history and the explanation of it so far. Heights are sets
// of readings: the After of one pass is usually the Before of the next.
type learner struct {
	m             Model
	n             int
	u             float64 // standard uncertainty of a reading
	sets          [][]float64
	usable        [][]bool // set × support: was read and is believed
	confirmed     [][]bool
	moves         [][]float64 // pass × nut: mm, as its thread says
	before, after []int       // set of each pass
	gain          []float64
	loose         []bool // nuts under suspicion
	findings      []Finding
	turned        []int     // nuts that were ever turned
	fittings      []fitting // of each pass, by the guess in hand
	frame         frame
	asFound       []float64 // heights before anything was turned, where they tell of the stiffness
	twists        []twist
	guesses       []guess
	columns       []float64 // room for the influence of every guess
	scratch       []float64 // room for two numbers of each support
	coarse        int       // number of coarse guesses, which come first
	best          int       // guess
}

func (m Model) newLearner(passes []Pass, u Length) (*learner, error) {
	if err := m.check(); err != nil {
		return nil, err
	}
	if err := notNegative("u", u); err != nil {
		return nil, err
	}
	if u > mostHeight {
		return nil, bad("u", "is larger than any height on a saw")
	}
	n := len(m.Supports)
	l := &learner{
		m: m, n: n, u: math.Max(float64(u)/2, 1e-4),
		gain: slices.Clone(m.Gain), loose: make([]bool, n),
	}
	f, err := newFrame(m.Supports)
	if err != nil {
		return nil, err
	}
	for _, p := range passes {
		if err := l.add(p); err != nil {
			return nil, err
		}
	}
	if len(passes) == 0 {
		return l, nil
	}
	for j := range n {
		if slices.ContainsFunc(l.moves, func(a []float64) bool { return a[j] != 0 }) {
			l.turned = append(l.turned, j)
		}
	}
	for _, a := range l.moves {
		l.fittings = append(l.fittings, l.newFitting(a))
	}
	return l, l.guess(f)
}

// add appends a pass to the history.
func (l *learner) add(p Pass) error {
	moves, err := l.m.Moves(p.Turns)
	if err != nil {
		return err
	}
	nominal := make([]float64, l.n)
	for j, v := range moves {
		if v.Abs() > mostHeight {
			return bad("turns", "are more than any nut has thread for")
		}
		nominal[j] = float64(v)
	}
	if p.Unread == nil {
		p.Unread = p.Missing
	}
	for _, v := range [][]bool{p.Missing, p.Unread, p.Confirmed} {
		if v != nil && len(v) != l.n {
			return bad("passes", "do not have one entry for each support")
		}
	}
	before, err := l.set(p.Before, p.Missing)
	if err != nil {
		return err
	}
	after, err := l.set(p.After, p.Unread)
	if err != nil {
		return err
	}
	if after == before { // nothing changed in the last digit: still two readings
		after = l.push(slices.Clone(l.sets[before]), slices.Clone(l.usable[before]))
	}
	if p.Confirmed != nil {
		l.confirmed[after] = slices.Clone(p.Confirmed)
	}
	l.moves = append(l.moves, nominal)
	l.before = append(l.before, before)
	l.after = append(l.after, after)
	return nil
}

// set returns the index of a set of readings, which is the last one where it is
// the same.
func (l *learner) set(readings []Length, missing []bool) (int, error) {
	if err := sameCount("passes", len(readings), l.n); err != nil {
		return 0, err
	}
	v, usable := make([]float64, l.n), make([]bool, l.n)
	for i, h := range readings {
		if missing != nil && missing[i] {
			continue
		}
		if err := plausible("passes", h); err != nil {
			return 0, err
		}
		v[i], usable[i] = float64(h), true
	}
	if k := len(l.sets) - 1; k >= 0 && slices.Equal(l.sets[k], v) && slices.Equal(l.usable[k], usable) {
		return k, nil
	}
	return l.push(v, usable), nil
}

func (l *learner) push(v []float64, usable []bool) int {
	l.sets = append(l.sets, v)
	l.usable = append(l.usable, usable)
	l.confirmed = append(l.confirmed, make([]bool, l.n))
	return len(l.sets) - 1
}

// model returns what was learned.
func (l *learner) model() Model {
	m := l.m
	m.Supports = slices.Clone(l.m.Supports)
	m.Gain = slices.Clone(l.gain)
	if len(l.moves) == 0 {
		return m
	}
	best := &l.guesses[l.best]
	if l.contradicted(best.chi) {
		return l.direct(m)
	}
	if l.vague() {
		mean, spread := l.stiffness()
		m.Stiffness, m.Spread = math.Min(mostStiffness, math.Exp(mean)), math.Max(leastSpread, spread)
		m.Torsion = math.Min(mostStiffness, m.Stiffness*l.twists[best.twist].ratio)
	}
	m.Gain = l.refine()
	return m
}

// leastSpread is the least uncertainty of ln(Stiffness) that a few passes
// leave, whatever the arithmetic says.
const leastSpread = 0.35

// stiffness returns the mean and the standard deviation of ln(Stiffness) over
// the guesses, less sure where even the best does not fit well.
func (l *learner) stiffness() (mean, spread float64) {
	heat := math.Max(1, l.guesses[l.best].chi/math.Max(1, float64(l.rows())))
	low := l.guesses[l.best].score()
	var w, sum, square float64
	for _, g := range l.guesses {
		p := math.Exp((low - g.score()) / (2 * heat))
		x := math.Log(math.Max(g.stiffness, 1e-12))
		w += p
		sum += p * x
		square += p * x * x
	}
	mean = sum / w
	return mean, math.Sqrt(math.Max(0, square/w-mean*mean))
}

// rows counts the changes of height that can be compared.
func (l *learner) rows() int {
	count := 0
	for p := range l.moves {
		for i := range l.n {
			count += b2i(l.seen(p, i))
		}
	}
	return count
}

// seen says whether the change of height i in a pass can be compared.
func (l *learner) seen(pass, i int) bool {
	return l.usable[l.before[pass]][i] && l.usable[l.after[pass]][i]
}

// contradicted says that even the best explanation is far outside what noise
// allows, over at least two passes.
func (l *learner) contradicted(chi float64) bool {
	rows := float64(l.rows())
	return len(l.moves) > 1 && chi > 3*rows+20
}

// deadGain is the answer below which a nut that was turned far enough to tell
// counts as stuck.
const deadGain = 0.1

// direct returns the model that moves each nut by its own reading: its gain is
// what that reading did, by least squares over all passes, drawn to the
// expected gain by one move of a twentieth of a millimetre.
func (l *learner) direct(m Model) Model {
	const weight = 0.05 * 0.05 // mm²
	for j := range l.n {
		num, den := weight*clamp(l.gain[j], 1), weight
		for p, a := range l.moves {
			if l.seen(p, j) {
				num += a[j] * (l.sets[l.after[p]][j] - l.sets[l.before[p]][j])
				den += a[j] * a[j]
			}
		}
		m.Gain[j] = num / den
		if den > 10*weight && math.Abs(m.Gain[j]) < deadGain {
			m.Gain[j] = 0
		}
	}
	m.Direct = true
	l.findings = append(l.findings, Finding{Kind: Contradiction, Support: AllSupports, Other: -1, Pass: len(l.moves) - 1, Gain: 1})
	return m
}
