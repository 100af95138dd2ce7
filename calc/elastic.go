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

	// mostStiffness is beyond rigid: the answer to a nut no longer changes.
	mostStiffness = 1e12

	// mostGain is beyond any answer of a nut that readings could show.
	mostGain = 1e12

	// A new model: 0.04, and a factor of twenty either side. A carriage of
	// aluminium or cast iron (EI/ℓ³ about 10³ … 10⁵ N/mm between neighbouring
	// studs) on studs and brackets of 10⁴ … 10⁵ N/mm. Estimated, no source.
	firstStiffness = 0.04
	firstSpread    = 3.0
	firstTwist     = 0.3 // GJ/EI: between an open section and a closed one
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
// true movement; Predict applies the gains. That of a Direct model is 1.
func (m Model) Influence() (*mat.Dense, error) {
	s, err := m.modes()
	if err != nil {
		return nil, err
	}
	n := len(m.Supports)
	out := mat.NewDense(n, n, nil)
	m.influence(s, m.Stiffness, out.RawMatrix().Data)
	return out, nil
}

// influence writes M for a stiffness into dst, the unit matrix in a Direct
// model.
func (m Model) influence(s modes, stiffness float64, dst []float64) {
	if m.Direct {
		stiffness = 0
	}
	s.influence(stiffness, dst)
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
	influence, err := m.Influence()
	if err != nil {
		return nil, err
	}
	out := slices.Clone(heights)
	for i := range out {
		for j, d := range moves {
			out[i] += Length(influence.At(i, j)*m.Gain[j]) * d
		}
		if err := inRange("moves", float64(out[i])); err != nil {
			return nil, err
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
		if err := inRange("turns", float64(out[i])); err != nil {
			return nil, err
		}
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
	for _, g := range m.Gain {
		if math.Abs(g) > mostGain {
			return bad("Gain", "is more than any nut answers")
		}
	}
	for _, v := range []named{{"Stiffness", m.Stiffness}, {"Torsion", m.Torsion}, {"Spread", m.Spread}} {
		if err := finiteEach(v); err != nil {
			return err
		}
		switch {
		case v.value < 0:
			return bad(v.name, "is negative")
		case v.value > mostStiffness:
			return bad(v.name, "is larger than of anything rigid")
		}
	}
	if m.Spread > 20 {
		return bad("Spread", "is more than nothing known at all")
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
	return f.modes(m.twist())
}

// twist returns the ratio of Torsion to Stiffness; any will do where both are 0.
func (m Model) twist() float64 {
	if m.Stiffness == 0 {
		return 0
	}
	return math.Min(mostStiffness, m.Torsion/m.Stiffness)
}
