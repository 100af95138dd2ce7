package virtualsaw

import (
	"fmt"

	"gonum.org/v1/gonum/mat"
)

// beam is the slider's table as an elastic beam along x: it bends with EI and
// twists with GJ about the line y = axis. It is laid out on an even grid of
// nodes, each with a deflection w and a twist θ, and its energy is that of
// finite differences,
//
//	½ EI/s³ · Σ (w₋₁ − 2w₀ + w₁)²  +  ½ GJ/s · Σ (θ₁ − θ₀)²,
//
// s the spacing. A spring that holds the point (x, y) pulls at the deflection
// between its two nodes. The state of least energy is a banded linear system.
type beam struct {
	ei, gj float64 // N·mm²
	axis   float64 // y of the axis of twist
	start  float64 // x of the first node
	step   float64
	nodes  int
}

// gridNodes is fine enough that a finer grid changes no height by more than
// half a per cent of a move; see the tests.
const gridNodes = 120

// bandwidth: a second difference couples a node with the next but one, two
// unknowns a node.
const bandwidth = 4

// newBeam lays a grid from front to rear.
func newBeam(ei, gj, axis, front, rear float64) beam {
	return beam{ei: ei, gj: gj, axis: axis, start: front, step: (rear - front) / (gridNodes - 1), nodes: gridNodes}
}

// place is a point of the beam: the unknowns that its height is made of.
type place struct {
	first int // index of the first of four unknowns
	part  [4]float64
}

// at returns the place of a point.
func (b beam) at(x, y float64) place {
	t := (x - b.start) / b.step
	i := min(max(int(t), 0), b.nodes-2)
	t -= float64(i)
	arm := y - b.axis
	return place{first: 2 * i, part: [4]float64{1 - t, (1 - t) * arm, t, t * arm}}
}

// in returns the height of a place in a state of the beam.
func (p place) in(state mat.Vector) float64 {
	h := 0.0
	for i, v := range p.part {
		h += v * state.AtVec(p.first+i)
	}
	return h
}

// compliance returns the height of place i by a unit force at place j, in
// mm/N, of a beam that is held by springs of the given stiffness (N/mm) at
// the places; and the height of each place by a unit load spread evenly over
// the beam.
func (b beam) compliance(places []place, stiffness []float64) (c *mat.Dense, even []float64) {
	n := 2 * b.nodes
	a := mat.NewSymBandDense(n, bandwidth, nil)
	add := func(i, j int, v float64) { a.SetSymBand(i, j, a.At(i, j)+v) }
	bend, twist := b.ei/(b.step*b.step*b.step), b.gj/b.step
	for i := 1; i < b.nodes-1; i++ {
		d := [3]float64{1, -2, 1}
		for p := range d {
			for q := p; q < 3; q++ {
				add(2*(i-1+p), 2*(i-1+q), bend*d[p]*d[q])
			}
		}
	}
	for i := range b.nodes - 1 {
		add(2*i+1, 2*i+1, twist)
		add(2*i+3, 2*i+3, twist)
		add(2*i+1, 2*i+3, -twist)
	}
	for s, p := range places {
		for i := range p.part {
			for j := i; j < 4; j++ {
				add(p.first+i, p.first+j, stiffness[s]*p.part[i]*p.part[j])
			}
		}
	}
	inLine := true
	for _, p := range places {
		inLine = inLine && p.part[1] == 0 && p.part[3] == 0
	}
	if inLine { // nothing holds the twist, and nothing loads it
		add(1, 1, b.gj/(b.step*float64(b.nodes)))
	}
	var chol mat.BandCholesky
	if !chol.Factorize(a) {
		panic(fmt.Sprintf("virtualsaw: a beam on %d springs does not stand", len(places)))
	}
	c = mat.NewDense(len(places), len(places), nil)
	force, state := mat.NewVecDense(n, nil), mat.NewVecDense(n, nil)
	solve := func() {
		if err := chol.SolveVecTo(state, force); err != nil {
			panic(fmt.Sprintf("virtualsaw: a beam on %d springs: %v", len(places), err))
		}
	}
	for j, p := range places {
		force.Zero()
		for i, v := range p.part {
			force.SetVec(p.first+i, v)
		}
		solve()
		for i, q := range places {
			c.Set(i, j, q.in(state))
		}
	}
	force.Zero()
	for i := range b.nodes {
		force.SetVec(2*i, 1/float64(b.nodes))
	}
	solve()
	for _, p := range places {
		even = append(even, p.in(state))
	}
	return c, even
}
