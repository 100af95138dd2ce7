package calc

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// Support is one place where the slider's table or beam rests on a nut: a
// stud with a height-setting nut, or a levelling screw.
type Support struct {
	X, Y  Length // where it stands, in the machine's axes
	Pitch Length // advance of its thread in one turn
}

// Model says how the heights of an elastic slider table answer to its nuts.
//
// The table is a beam along x, with bending stiffness EI and torsional
// stiffness GJ, that rests on one spring of stiffness k at each support. A
// nut moves the foot of its spring, so with K the stiffness of the free table
// over its supports
//
//	h = h₀ + M·n,   M = (1 + K/k)⁻¹
//
// K does not resist a rigid motion, so M of a rigid motion is that motion. A
// limp table (Stiffness 0) gives M = 1: every nut moves its own height. A
// rigid table moves as a plane, the least-squares plane of its nuts.
//
// A Model is a plain value: everything in it may be stored, and everything in
// it follows from the supports and the passes made (see Learn).
type Model struct {
	Supports []Support

	// Stiffness is the dimensionless ratio of table to spring in bending,
	// EI/(k·ℓ³), with ℓ the mean distance of neighbouring stations.
	Stiffness float64

	// Torsion is the same in twisting, GJ/(k·ℓ·b²), with b half the width
	// over the supports. Without effect while all supports are in line.
	Torsion float64

	// Spread is the standard uncertainty of ln(Stiffness). Zero says that
	// the stiffness is known.
	Spread float64

	// Gain is the learned answer of each nut: 1 as its thread says, negative
	// for a reversed thread, 0 for a stuck nut.
	Gain []float64

	// Direct says that the observations contradict any elastic table. Plan
	// then moves each nut by its own reading, with Gain as the change of that
	// reading by a full nominal move.
	Direct bool
}

// Limits of a model, and how a new one begins.
const (
	// MinStations and MaxStations bound the number of places along x.
	MinStations = 2
	MaxStations = 8

	// sameStation is how near along x two supports make one station. A pair
	// of studs across a carriage is rarely measured to better than this, and
	// a beam as short as that would be absurdly stiff. Practice, no source.
	sameStation Length = 20

	firstStiffness = 1.0 // geometric middle of the plausible range 0.01 … 100
	firstSpread    = 2.3 // ln 10: one decade either side
	firstTwist     = 0.3 // GJ/EI of a first model: between an open and a closed section
)

// NewModel returns the model of a table of which nothing is known but where
// its supports stand. Supports may come in any order; at most two may share a
// station, and a station is all supports within 20 mm along x.
func NewModel(supports []Support) (Model, error) {
	m := Model{
		Supports:  slices.Clone(supports),
		Stiffness: firstStiffness,
		Spread:    firstSpread,
		Gain:      make([]float64, len(supports)),
	}
	for i := range m.Gain {
		m.Gain[i] = 1
	}
	f, err := newFrame(m.Supports)
	if err != nil {
		return Model{}, err
	}
	if f.halfWidth > 0 {
		m.Torsion = firstTwist * sq(f.span/f.halfWidth) * m.Stiffness
	}
	return m, nil
}

// Influence returns M, the change of height i by a unit rise of nut j: N × N
// and dimensionless, symmetric, its rows of sum 1. It is that of the nuts'
// true movement; Predict applies the gains.
func (m Model) Influence() (*mat.Dense, error) {
	s, err := m.modes()
	if err != nil {
		return nil, err
	}
	n := len(m.Supports)
	out := mat.NewDense(n, n, nil)
	s.influence(m.Stiffness, out.RawMatrix().Data)
	return out, nil
}

// Predict returns the heights after the nuts have been moved by moves, each as
// its thread says (turns × pitch, positive raises); the learned gains are
// applied here. Use Moves to turn turns into moves.
func (m Model) Predict(heights, moves []Length) ([]Length, error) {
	n := len(m.Supports)
	if err := sameCount("heights", len(heights), n); err != nil {
		return nil, err
	}
	if err := sameCount("moves", len(moves), n); err != nil {
		return nil, err
	}
	if err := finiteLengths("heights", heights); err != nil {
		return nil, err
	}
	if err := finiteLengths("moves", moves); err != nil {
		return nil, err
	}
	M, err := m.Influence()
	if err != nil {
		return nil, err
	}
	if m.Direct {
		M = mat.NewDense(n, n, nil)
		for i := range n {
			M.Set(i, i, 1)
		}
	}
	out := slices.Clone(heights)
	for i := range out {
		for j, d := range moves {
			out[i] += Length(M.At(i, j)*m.Gain[j]) * d
		}
	}
	return out, nil
}

// Moves returns the nominal moves of the nuts for the given turns.
func (m Model) Moves(turns []float64) ([]Length, error) {
	if err := sameCount("turns", len(turns), len(m.Supports)); err != nil {
		return nil, err
	}
	if err := finite("turns", turns...); err != nil {
		return nil, err
	}
	out := make([]Length, len(turns))
	for i, t := range turns {
		out[i] = Length(t) * m.Supports[i].Pitch
	}
	return out, nil
}

// check reports what cannot be used in a model that did not come from
// NewModel.
func (m Model) check() error {
	if err := sameCount("Gain", len(m.Gain), len(m.Supports)); err != nil {
		return err
	}
	if err := finite("Gain", m.Gain...); err != nil {
		return err
	}
	for _, v := range []struct {
		name  string
		value float64
	}{{"Stiffness", m.Stiffness}, {"Torsion", m.Torsion}, {"Spread", m.Spread}} {
		if err := finite(v.name, v.value); err != nil {
			return err
		}
		if v.value < 0 {
			return bad(v.name, "is negative")
		}
	}
	return nil
}

// modes returns the elastic modes of the model's table.
func (m Model) modes() (modes, error) {
	if err := m.check(); err != nil {
		return modes{}, err
	}
	f, err := newFrame(m.Supports)
	if err != nil {
		return modes{}, err
	}
	twist := 0.0
	if m.Stiffness > 0 {
		twist = m.Torsion / m.Stiffness
	}
	return f.modes(twist)
}

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
		if s.Pitch <= 0 {
			return f, bad("supports", "have a thread pitch that is not positive")
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

func sq(v float64) float64 { return v * v }

// sameCount returns an InputError when a list has not one entry per support.
func sameCount(input string, got, want int) error {
	if got != want {
		return bad(input, "do not have one entry for each support")
	}
	return nil
}

func finiteLengths(input string, values []Length) error {
	for _, v := range values {
		if err := finite(input, float64(v)); err != nil {
			return err
		}
	}
	return nil
}
