package virtualsaw

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/mat"
)

// Support is one place where the slider rests on a nut.
type Support struct {
	X, Y    float64 // where it stands, machine axes
	Station int
	Row     int // 0 near the blade

	Pitch     float64 // advance of its thread in one turn
	RaisesCCW bool    // turning it anticlockwise, seen from above, raises
	Stuck     bool    // its seat has seized: turning the nut moves nothing

	Nut  float64 // height to which the nut has been turned
	Foot float64 // height at which the seat rests: it follows the nut with its play

	play      float64 // the nut turns this far before a rusty or dirty seat follows
	stiffness float64 // N/mm, of nut, stud and bracket
	shape     float64 // height of the table's own surface there, over a true one
	loose     bool    // its lock nut is not tight
}

// Slider is the sliding table on its supports.
type Slider struct {
	Supports []Support
	beam     beam
	weight   float64 // N, of the table
	load     float64 // N, of the carriage, wherever it stands

	settle  float64 // mm, standard deviation of what tightening a lock nut does
	drag    float64 // mm, what it does every time: the lock nut pulls the seat down
	unlock  float64 // mm, how far a seat springs up while its lock nut is loose
	heights []float64
}

// places returns the supports as places of the beam.
func (s *Slider) places() []place {
	p := make([]place, len(s.Supports))
	for i, t := range s.Supports {
		p[i] = s.beam.at(t.X, t.Y)
	}
	return p
}

// Heights returns the true height of the slider above the main table at every
// support, with the carriage over it.
func (s *Slider) Heights() []float64 {
	if s.heights != nil {
		return s.heights
	}
	n := len(s.Supports)
	k := make([]float64, n)
	for i, t := range s.Supports {
		k[i] = t.stiffness
	}
	c, even := s.beam.compliance(s.places(), k)
	s.heights = make([]float64, n)
	for i, t := range s.Supports {
		h := t.shape - s.weight*even[i] - s.load*c.At(i, i)
		for j, o := range s.Supports {
			foot := o.Foot
			if o.loose {
				foot += s.unlock
			}
			h += c.At(i, j) * o.stiffness * foot
		}
		s.heights[i] = h
	}
	return s.heights
}

// Influence returns how the heights answer to the feet: row i, column j is the
// change of height i by a unit rise of foot j.
func (s *Slider) Influence() *mat.Dense {
	n := len(s.Supports)
	k := make([]float64, n)
	for i, t := range s.Supports {
		k[i] = t.stiffness
	}
	c, _ := s.beam.compliance(s.places(), k)
	for j := range n {
		for i := range n {
			c.Set(i, j, c.At(i, j)*k[j])
		}
	}
	return c
}

// turn turns the nut of support i by that many turns, clockwise seen from
// above positive, and leaves its lock nut loose.
func (s *Slider) turn(i int, clockwise float64) {
	t := &s.Supports[i]
	t.loose = true
	s.heights = nil
	if t.Stuck {
		return
	}
	rise := clockwise * t.Pitch
	if t.RaisesCCW {
		rise = -rise
	}
	t.Nut += rise
	t.Foot = math.Min(math.Max(t.Foot, t.Nut-t.play/2), t.Nut+t.play/2)
}

// lock tightens the lock nuts that are loose, which moves what they lock. It
// reports whether any was.
func (s *Slider) lock(r *rand.Rand) bool {
	any := false
	for i := range s.Supports {
		t := &s.Supports[i]
		if !t.loose {
			continue
		}
		t.loose, any = false, true
		t.Foot += -s.drag + s.settle*r.NormFloat64()
		t.Nut += -s.drag
		t.stiffness *= math.Exp(0.02 * r.NormFloat64())
	}
	s.heights = nil
	return any
}

// free breaks a seized seat loose.
func (s *Slider) free(i int) { s.Supports[i].Stuck = false }

func (s *Slider) clone() *Slider {
	c := *s
	c.Supports = append([]Support(nil), s.Supports...)
	c.heights = nil
	return &c
}
