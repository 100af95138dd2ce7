package virtualsaw

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// answers returns how the heights at the places answer to the feet, by the beam.
func answers(b beam, at [][2]float64, k float64) *mat.Dense {
	places, stiff := make([]place, len(at)), make([]float64, len(at))
	for i, p := range at {
		places[i], stiff[i] = b.at(p[0], p[1]), k
	}
	c, _ := b.compliance(places, stiff)
	c.Scale(k, c)
	return c
}

// A beam on three equal springs: the middle one raised by n lifts the middle
// against the ends by d = n/(1 + 9·EI/(k·l³)). From the handbook's simply
// supported beam with a load in the middle, P = 48·EI·d/(2l)³ (any table of
// beam formulas), with the springs giving way by P/k and P/(2k).
func TestThreeSprings(t *testing.T) {
	for _, ratio := range []float64{0.001, 0.05, 1, 30} {
		const k, l = 2e4, 500.0
		ei := ratio * k * l * l * l
		m := answers(newBeam(ei, ei, 100, 0, 2*l), [][2]float64{{0, 100}, {l, 100}, {2 * l, 100}}, k)
		got := m.At(1, 1) - (m.At(0, 1)+m.At(2, 1))/2
		want := 1 / (1 + 9*ratio)
		if math.Abs(got-want) > 0.005*want+2e-4 {
			t.Errorf("EI/(k·l³) = %g: the middle stands %.5f over the ends, want %.5f", ratio, got, want)
		}
	}
}

// Two stations of two springs each, one diagonal pair raised: only the twist
// gives way. With the twist φ over the length L the table resists by GJ·φ/L, and
// the corners, b off the axis, move by a with 2·k·b·(n − a) = GJ·(2a/b)/L. From
// the torsion of a bar (any handbook).
func TestFourSpringsTwist(t *testing.T) {
	for _, ratio := range []float64{0.01, 0.3, 5} {
		const k, l, b = 2e4, 800.0, 120.0
		gj := ratio * k * l * b * b
		m := answers(newBeam(1e14, gj, 300, 0, l), [][2]float64{{0, 300 - b}, {0, 300 + b}, {l, 300 - b}, {l, 300 + b}}, k)
		got := m.At(0, 0) - m.At(0, 1) - m.At(0, 2) + m.At(0, 3)
		want := 1 / (1 + gj/(k*l*b*b))
		if math.Abs(got-want) > 0.01*want {
			t.Errorf("GJ/(k·L·b²) = %g: a corner answers by %.5f, want %.5f", ratio, got, want)
		}
	}
}

// Whatever the table is made of, a motion of all feet as one plane is a motion
// of the table as that plane; and what one foot does to another's height is what
// that one does to this (Maxwell and Betti).
func TestRigidMotionAndReciprocity(t *testing.T) {
	at := [][2]float64{{100, 150}, {100, 400}, {640, 150}, {640, 400}, {1200, 150}, {1200, 400}}
	for _, ratio := range []float64{0.002, 0.2, 20} {
		ei := ratio * 3e4 * 550 * 550 * 550
		m := answers(newBeam(ei, 0.3*ei, 275, 50, 1250), at, 3e4)
		for _, plane := range [][3]float64{{1, 0, 0}, {0, 1e-3, 0}, {0.1, -2e-4, 3e-4}} {
			foot := func(i int) float64 { return plane[0] + plane[1]*at[i][0] + plane[2]*at[i][1] }
			for i := range at {
				got := 0.0
				for j := range at {
					got += m.At(i, j) * foot(j)
				}
				if math.Abs(got-foot(i)) > 1e-6 {
					t.Errorf("ratio %g, plane %v: support %d moves by %g, want %g", ratio, plane, i, got, foot(i))
				}
			}
		}
		for i := range at {
			for j := range i {
				if math.Abs(m.At(i, j)-m.At(j, i)) > 1e-8 {
					t.Errorf("ratio %g: %d answers to %d by %g, the other way by %g", ratio, i, j, m.At(i, j), m.At(j, i))
				}
			}
		}
	}
}

// A finer grid changes nothing that matters.
func TestGridIsFineEnough(t *testing.T) {
	at := [][2]float64{{100, 150}, {430, 150}, {910, 150}, {1200, 150}}
	coarse := newBeam(4e11, 1e11, 150, 50, 1250)
	fine := coarse
	fine.nodes, fine.step = 4*gridNodes, (1250-50)/float64(4*gridNodes-1)
	a, b := answers(coarse, at, 3e4), answers(fine, at, 3e4)
	for i := range at {
		for j := range at {
			if d := math.Abs(a.At(i, j) - b.At(i, j)); d > 0.005 {
				t.Errorf("height %d by foot %d: %g on the grid, %g on one four times as fine", i, j, a.At(i, j), b.At(i, j))
			}
		}
	}
}

// A nut turned there and back leaves the seat where the play put it, and a
// seized seat where it was.
func TestPlayAndSeizing(t *testing.T) {
	s := Draw(3).Slider
	n := &s.Supports[0]
	n.play, n.Nut, n.Foot, n.RaisesCCW = 0.02, 0, 0, false
	s.turn(0, 0.1)
	if want := 0.1*n.Pitch - 0.01; math.Abs(n.Foot-want) > 1e-12 {
		t.Errorf("the seat stands at %g, want %g", n.Foot, want)
	}
	s.turn(0, -0.1)
	if math.Abs(n.Foot-0.01) > 1e-12 {
		t.Errorf("turned back, the seat stands at %g, want 0.01", n.Foot)
	}
	n.Stuck = true
	s.turn(0, 1)
	if math.Abs(n.Foot-0.01) > 1e-12 {
		t.Errorf("seized, the seat has moved to %g", n.Foot)
	}
}
