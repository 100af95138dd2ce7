package calc

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// stopScrew is a stop screw of the tests: a lever that nobody knows, not quite
// straight, with backlash in its thread.
type stopScrew struct {
	turns, slack float64 // where the screw is, and the play on the stop's side
	rate, bend   float64
	backlash     float64
	noise        float64
	r            *rand.Rand
}

// turn turns the screw; the stop follows once the backlash is taken up.
func (s *stopScrew) turn(v float64) {
	free := s.slack + v
	switch {
	case free > s.backlash:
		s.turns += free - s.backlash
		s.slack = s.backlash
	case free < 0:
		s.turns += free
		s.slack = 0
	default:
		s.slack = free
	}
}

func (s *stopScrew) value() float64 { return s.rate * (s.turns + s.bend*s.turns*s.turns) }
func (s *stopScrew) read() float64  { return s.value() + s.noise*s.r.NormFloat64() }

// Screws of any lever and sign, with backlash up to the run-up, come to the
// target within noise in few moves.
func TestScrewIsLearnedByTurning(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 8))
	var moves, off []float64
	for range 400 {
		s := &stopScrew{r: r, noise: 1e-4, backlash: 0.2 * r.Float64(), bend: 0.1 * (r.Float64() - 0.5)}
		s.rate = (2e-3 + 1.5e-2*r.Float64()) * float64(1-2*r.IntN(2)) // rad a turn
		target := s.value() + 0.008*(2*r.Float64()-1)
		o := DefaultScrewOptions(target, 2*s.noise)
		var history []ScrewMove
		v := s.read()
		for n := 0; ; n++ {
			a, _, err := NextScrew(history, v, o)
			if err != nil {
				t.Fatal(err)
			}
			if a.Done || a.Dead || n == 12 {
				if a.Dead || n == 12 {
					t.Fatalf("not found after %d moves: %+v, history %v", n, a, history)
				}
				moves = append(moves, float64(n))
				break
			}
			if math.Abs(a.Turns) > o.MaxTurn || a.Turns < 0 && a.Past < s.backlash || a.Turns > 0 && a.Past != 0 {
				t.Fatalf("advice %+v", a)
			}
			if a.Turns < 0 {
				s.turn(a.Turns - a.Past)
				s.turn(a.Past)
			} else {
				s.turn(a.Turns)
			}
			before := v
			v = s.read()
			history = append(history, ScrewMove{Turns: a.Turns, Before: before, After: v})
		}
		step := math.Abs(s.rate) * o.Step / 2
		off = append(off, math.Abs(s.value()-target)/(step+3*s.noise))
	}
	slices.Sort(moves)
	slices.Sort(off)
	t.Logf("moves: median %g, 95 %% %g; off by at most %.2f of half a step and noise", moves[200], moves[380], off[399])
	if moves[200] > 3 || moves[380] > 5 {
		t.Errorf("moves: median %g, 95 %% %g", moves[200], moves[380])
	}
	if off[380] > 1.3 {
		t.Errorf("95 %% off by %.2f of half a step and noise", off[380])
	}
}

// A trial of an eighth, doubled while nothing comes of it (practice, no source).
func TestScrewFirstSteps(t *testing.T) {
	o := DefaultScrewOptions(0, 0.0002)
	a, s, err := NextScrew(nil, 0.004, o)
	if err != nil || !a.Trial || a.Turns != 0.125 || a.Past != 0 || a.Predicted != 0.004 || s.Rate != 0 {
		t.Errorf("first: %+v, %+v, %v", a, s, err)
	}
	if a, _, _ = NextScrew(nil, 0.0001, o); !a.Done || a.Turns != 0 {
		t.Errorf("at the target: %+v", a)
	}
	// nothing came of it: twice as far, then given up
	nothing := []ScrewMove{{0.125, 0.004, 0.0041}}
	if a, _, _ = NextScrew(nothing, 0.0041, o); !a.Trial || a.Turns != 0.25 {
		t.Errorf("second trial: %+v", a)
	}
	nothing = append(nothing, ScrewMove{0.25, 0.0041, 0.004}, ScrewMove{0.5, 0.004, 0.004}, ScrewMove{1, 0.004, 0.0041}, ScrewMove{1, 0.0041, 0.004})
	if a, _, _ = NextScrew(nothing, 0.004, o); !a.Dead || a.Turns != 0 || a.Done {
		t.Errorf("dead screw: %+v", a)
	}
	// 1/8 turn took 0.004 to 0.005: −1/2 turn is left, with a run-up
	known := []ScrewMove{{0.125, 0.004, 0.005}}
	a, s, _ = NextScrew(known, 0.005, o)
	within(t, "rate", s.Rate, 0.008, 1e-12)
	within(t, "its U", s.RateU, math.Sqrt2*0.0002/0.125, 1e-12)
	if a.Trial || !s.Trusted || a.Past != o.Past {
		t.Errorf("secant: %+v, %+v", a, s)
	}
	within(t, "turns", a.Turns, -0.625, 1e-12)
	within(t, "predicted", a.Predicted, 0, 1e-12)
	// never more than a turn
	if a, _, _ = NextScrew(known, 0.5, o); a.Turns != -1 {
		t.Errorf("far away: %+v", a)
	}
	// the last move against all: not trusted
	odd := append(known, ScrewMove{-0.625, 0.005, 0.009})
	if _, s, _ = NextScrew(odd, 0.009, o); s.Trusted || s.Rate > 0 {
		t.Errorf("contradiction: %+v", s)
	}
	// a step that would better nothing
	if a, _, _ = NextScrew(known, 0.00019, o); !a.Done {
		t.Errorf("within half a step: %+v", a)
	}
	// a screw that was not turned tells nothing
	if _, s, _ = NextScrew([]ScrewMove{{0, 1, 1}}, 0.1, o); s.Rate != 0 {
		t.Errorf("no turn: %+v", s)
	}
	if _, s, _ = NextScrew(append(slices.Clone(known), ScrewMove{0, 0.005, 0.005}), 0.005, o); s.Rate == 0 {
		t.Errorf("a look in between: %+v", s)
	}
}

func TestScrewRefusesWhatItCannotUse(t *testing.T) {
	good := DefaultScrewOptions(0, 0.001)
	for _, c := range []struct {
		input  string
		change func(o *ScrewOptions)
	}{
		{"Target", func(o *ScrewOptions) { o.Target = math.NaN() }},
		{"U", func(o *ScrewOptions) { o.U = -1 }}, {"U", func(o *ScrewOptions) { o.U = math.Inf(1) }},
		{"Past", func(o *ScrewOptions) { o.Past = -0.1 }},
		{"Trial", func(o *ScrewOptions) { o.Trial = 0 }}, {"Trial", func(o *ScrewOptions) { o.Trial = 3 }},
		{"MaxTurn", func(o *ScrewOptions) { o.MaxTurn = math.NaN() }},
		{"Step", func(o *ScrewOptions) { o.Step = 0 }}, {"Step", func(o *ScrewOptions) { o.Step = 2 }},
	} {
		o := good
		c.change(&o)
		_, _, err := NextScrew(nil, 0, o)
		refused(t, err, c.input)
	}
	_, _, err := NextScrew(nil, math.Inf(1), good)
	refused(t, err, "value")
	_, _, err = NextScrew([]ScrewMove{{1, 0, math.NaN()}}, 0, good)
	refused(t, err, "moves")
	_, _, err = NextScrew([]ScrewMove{{1, -1e308, 1e308}}, 0, good)
	refused(t, err, "moves")
	far := good
	far.Target = -1e308
	_, _, err = NextScrew(nil, 1e308, far)
	refused(t, err, "value")
}
