package calc

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// knownModel returns a model whose stiffness is beyond doubt.
func knownModel(t testing.TB, s []Support, stiffness float64) Model {
	t.Helper()
	m := model(t, s)
	m.Torsion *= stiffness / m.Stiffness
	m.Stiffness, m.Spread = stiffness, 0
	return m
}

func plan(t testing.TB, m Model, h []Length, missing []bool, o PlanOptions) Plan {
	t.Helper()
	p, err := m.Plan(h, missing, o)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func movedNuts(p Plan) int {
	n := 0
	for _, v := range p.Turns {
		n += b2i(v != 0)
	}
	return n
}

// The deeds that the planner is for, at the two ends: a limp table needs every
// nut that is out by its own height, a rigid one only as many as its plane has
// freedoms.
func TestPlanAtTheEnds(t *testing.T) {
	o := DefaultPlanOptions()
	s := grid(3, 500, 160)
	h := []Length{-0.04, -0.04, -0.02, -0.02, 0.0, 0.0} // a plane, tilted along x
	limp := plan(t, knownModel(t, s, 1e-6), h, nil, o)
	if got := movedNuts(limp); got != 6 {
		t.Errorf("limp: %d nuts moved, want all six that are out: %v", got, limp.Turns)
	}
	for i, v := range limp.Turns {
		within(t, "limp: turns by its own height", v, float64((0.05-h[i])/s[i].Pitch), 1./64)
		within(t, "limp: watch", float64(limp.Watch[i]), v*1.75, 1e-4)
	}
	rigid := plan(t, knownModel(t, s, 1e6), h, nil, o)
	if got := movedNuts(rigid); got > 3 {
		t.Errorf("rigid: %d nuts moved, want at most three: %v", got, rigid.Turns)
	}
	for name, p := range map[string]Plan{"limp": limp, "rigid": rigid} {
		for i, z := range p.Predicted {
			if z < 0.01 || z > 0.09 {
				t.Errorf("%s: predicted height %d is %.3f, want it well inside", name, i, z)
			}
		}
		if p.Passes != 1 || p.Done || p.Blocked != nil {
			t.Errorf("%s: passes %d, done %v, blocked %v", name, p.Passes, p.Done, p.Blocked)
		}
	}
	if rigid.Minutes >= limp.Minutes {
		t.Errorf("rigid needs %.1f minutes, limp %.1f", rigid.Minutes, limp.Minutes)
	}
	// readings and moves alone are the least that it can take: 6 · 20 s + nuts · 45 s
	least := (6*20 + 45*float64(movedNuts(rigid))) / 60
	if rigid.Minutes < least || rigid.Minutes > least+2 {
		t.Errorf("rigid: %.2f minutes, want %.2f and a little", rigid.Minutes, least)
	}
}

// Advice keeps its bounds, comes in whole steps, and in the model itself brings
// the heights where it predicts.
func TestPlanKeepsItsBounds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := drawSupports(t)
		m, err := NewModel(s)
		if err != nil {
			t.Fatal(err)
		}
		m.Stiffness = math.Exp(rapid.Float64Range(-8, 8).Draw(t, "ln stiffness"))
		m.Spread = rapid.SampledFrom([]float64{0, 0.5, 3}).Draw(t, "spread")
		h := make([]Length, len(s))
		for i := range h {
			h[i] = Length(rapid.Float64Range(-1, 1).Draw(t, "height"))
			m.Gain[i] = rapid.SampledFrom([]float64{1, 1, 1, -1, 0.5, 0}).Draw(t, "gain")
		}
		o := DefaultPlanOptions()
		o.MaxTurn = rapid.SampledFrom([]float64{1. / 8, 1. / 4, 0.1}).Draw(t, "most")
		o.MinTurn = rapid.SampledFrom([]float64{1. / 64, 1. / 32}).Draw(t, "least")
		p, err := m.Plan(h, nil, o)
		if err != nil {
			t.Fatal(err)
		}
		for i, v := range p.Turns {
			if math.Abs(v) > o.MaxTurn+1e-12 || v != 0 && math.Abs(v) < o.MinTurn-1e-12 {
				t.Fatalf("nut %d: %g turns", i, v)
			}
			if steps := v / o.Step; math.Abs(steps-math.Round(steps)) > 1e-9 {
				t.Fatalf("nut %d: %g turns are no whole steps", i, v)
			}
			if v != 0 && m.Gain[i] == 0 {
				t.Fatalf("nut %d is stuck and was turned", i)
			}
		}
		moves, _ := m.Moves(p.Turns)
		again, err := m.Predict(h, moves)
		if err != nil {
			t.Fatal(err)
		}
		for i := range again {
			within(t, "predicted height", float64(p.Predicted[i]), float64(again[i]), 1e-12)
		}
		states := b2i(p.Done) + b2i(movedNuts(p) > 0) + b2i(!p.Done && movedNuts(p) == 0 && len(p.Blocked) > 0)
		if states != 1 {
			t.Fatalf("done %v, turns %v, blocked %v: want exactly one", p.Done, p.Turns, p.Blocked)
		}
		if (p.Passes == 0) != (movedNuts(p) == 0) || p.Minutes < 0 {
			t.Fatalf("%d passes, %.1f minutes for %v", p.Passes, p.Minutes, p.Turns)
		}
	})
}

// In the model itself, with its own prediction for a reading, the plans end in
// the window, never stall, and take few passes.
func TestPlansReachTheWindow(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 8).Draw(t, "stations")
		s := grid(n, 500, 160)
		if rapid.Bool().Draw(t, "in line") {
			s = line(n, 500)
		}
		m, err := NewModel(s)
		if err != nil {
			t.Fatal(err)
		}
		m.Stiffness, m.Spread = math.Exp(rapid.Float64Range(-7, 7).Draw(t, "ln stiffness")), 0
		nuts := make([]Length, len(s))
		for i := range nuts {
			nuts[i] = Length(rapid.Float64Range(-0.2, 0.2).Draw(t, "nut"))
		}
		h, err := m.Predict(make([]Length, len(s)), nuts)
		if err != nil {
			t.Fatal(err)
		}
		o := DefaultPlanOptions()
		for pass := 0; ; pass++ {
			p, err := m.Plan(h, nil, o)
			if err != nil {
				t.Fatal(err)
			}
			if p.Done {
				break
			}
			if pass == 6 || p.Blocked != nil {
				t.Fatalf("after %d passes at %.3f, blocked %v", pass, h, p.Blocked)
			}
			h = p.Predicted
		}
	})
}

// A mirrored slider gets the mirrored advice: the same turns at the same nuts.
func TestPlanKnowsNoHands(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := grid(rapid.IntRange(2, 5).Draw(t, "stations"), 450, 170)
		other := make([]Support, len(s))
		h := make([]Length, len(s))
		for i, v := range s {
			other[i] = Support{X: v.X, Y: Right.Mirror(v.Y), Pitch: v.Pitch}
			h[i] = Length(rapid.Float64Range(-0.4, 0.4).Draw(t, "height"))
		}
		a, _ := NewModel(s)
		b, _ := NewModel(other)
		one, err1 := a.Plan(h, nil, DefaultPlanOptions())
		two, err2 := b.Plan(h, nil, DefaultPlanOptions())
		if err1 != nil || err2 != nil {
			t.Fatal(err1, err2)
		}
		if !slices.Equal(one.Turns, two.Turns) {
			t.Fatalf("left %v, right %v", one.Turns, two.Turns)
		}
	})
}

// Heights in thousandths of an inch and in millimetres get the same advice.
func TestPlanKnowsNoUnits(t *testing.T) {
	m := model(t, grid(3, 20*Inch, 6*Inch))
	thou := []float64{-4, 2, 7, -3, 0, 5}
	inch, mm := make([]Length, 6), make([]Length, 6)
	for i, v := range thou {
		inch[i] = Length(v) * Thou
		mm[i] = Length(v * 0.0254)
	}
	a, b := plan(t, m, inch, nil, DefaultPlanOptions()), plan(t, m, mm, nil, DefaultPlanOptions())
	if !slices.Equal(a.Turns, b.Turns) {
		t.Errorf("inch %v, mm %v", a.Turns, b.Turns)
	}
}

// Done as the three-way decision says (JCGM 106: a guard of U inside the window).
func TestPlanIsDoneInsideTheGuard(t *testing.T) {
	m := model(t, grid(2, 500, 160))
	o := DefaultPlanOptions()
	for _, c := range []struct {
		h     Length
		guard float64
		us    []Length
		done  bool
	}{
		{0.05, 1, nil, true}, {0.02, 1, nil, true}, {0.0199, 1, nil, false}, {0.0801, 1, nil, false},
		{0.0199, 0, nil, true}, {0, 0, nil, true}, {-0.0001, 0, nil, false}, {0.1, 0, nil, true},
		{0.0199, 1, []Length{0.02, 0.02, 0.01, 0.02}, true},
	} {
		o.Guard, o.Us = c.guard, c.us
		p := plan(t, m, []Length{0.05, 0.05, c.h, 0.05}, nil, o)
		if p.Done != c.done {
			t.Errorf("height %g, guard %g, us %v: done %v", c.h, c.guard, c.us, p.Done)
		}
		if p.Done && (movedNuts(p) > 0 || p.Passes > 0 || p.Minutes > 0 || p.Predicted[2] != c.h) {
			t.Errorf("done, but %+v", p)
		}
	}
}

// A need beyond 1/8 turn becomes several passes over all.
func TestPlanFarAway(t *testing.T) {
	m := knownModel(t, line(3, 500), 0.001)
	h := []Length{-1, -1, -1}
	p := plan(t, m, h, nil, DefaultPlanOptions())
	for i, v := range p.Turns {
		within(t, fmt.Sprintf("nut %d, turns", i), v, 0.125, 1e-12)
	}
	// 1.05 mm at 1.5 mm · 1/8 a pass is 5.6: six passes
	if p.Passes < 5 || p.Passes > 7 {
		t.Errorf("%d passes expected, want about six", p.Passes)
	}
}

// A reversed nut is turned the other way, half a pitch twice as far.
func TestPlanUsesTheGains(t *testing.T) {
	m := knownModel(t, line(2, 500), 0.001)
	m.Gain = []float64{-1, 0.5}
	p := plan(t, m, []Length{0, 0.1}, nil, DefaultPlanOptions())
	within(t, "reversed nut, turns", p.Turns[0], -0.05/1.5, 1./64)
	within(t, "fine nut, turns", p.Turns[1], -0.1/1.5, 1./64)
}

// Where the nut at a height that is out is stuck, it is freed first on a limp
// table, and made up for by the others on a rigid one.
func TestPlanWithAStuckNut(t *testing.T) {
	s := grid(3, 500, 160)
	h := []Length{-0.08, 0.05, 0.05, 0.05, 0.05, 0.02}
	limp := knownModel(t, s, 0.001)
	limp.Gain[0] = 0
	p := plan(t, limp, h, nil, DefaultPlanOptions())
	if !slices.Equal(p.Blocked, []int{0}) || movedNuts(p) > 0 || p.Passes != 0 {
		t.Errorf("limp: %+v", p)
	}
	h[5] = -0.1
	p = plan(t, limp, h, nil, DefaultPlanOptions())
	if !slices.Equal(p.Blocked, []int{0}) || p.Turns[5] <= 0 {
		t.Errorf("limp, another is out too: %+v", p)
	}
	rigid := knownModel(t, s, 1e5)
	rigid.Gain[0] = 0
	p = plan(t, rigid, []Length{-0.03, 0, 0.01, 0.04, 0.05, 0.08}, nil, DefaultPlanOptions())
	if p.Blocked != nil || movedNuts(p) == 0 || p.Turns[0] != 0 {
		t.Errorf("rigid: %+v", p)
	}
	limp.Gain = make([]float64, 6)
	p = plan(t, limp, h, nil, DefaultPlanOptions())
	if !slices.Equal(p.Blocked, []int{0, 5}) || movedNuts(p) > 0 {
		t.Errorf("all stuck: %+v", p)
	}
}

// A rigid table that is bent itself is not chased.
func TestPlanOfABentTable(t *testing.T) {
	m := knownModel(t, grid(3, 500, 160), 1e4)
	p := plan(t, m, []Length{0.05, 0.05, 0.5, 0.5, 0.05, 0.05}, nil, DefaultPlanOptions())
	for pass := 0; !p.Done && movedNuts(p) > 0; pass++ {
		if pass == 4 {
			t.Fatalf("still turning nuts: %+v", p)
		}
		p = plan(t, m, p.Predicted, nil, DefaultPlanOptions())
	}
	if p.Blocked == nil {
		t.Errorf("%+v, want it blocked", p)
	}
}

// A support that could not be read follows the table's shape and does not hold
// up the end.
func TestPlanWithMissingHeights(t *testing.T) {
	m := knownModel(t, line(4, 500), 0.01)
	missing := []bool{false, false, false, true}
	nan := Length(math.NaN())
	p := plan(t, m, []Length{-0.3, -0.2, -0.1, nan}, missing, DefaultPlanOptions())
	within(t, "the line's next height and its move", float64(p.Predicted[3]), p.Turns[3]*1.5, 0.05)
	p = plan(t, m, []Length{0.05, 0.05, 0.05, nan}, missing, DefaultPlanOptions())
	if !p.Done {
		t.Errorf("%+v, want done: all that was read is in", p)
	}
	within(t, "estimated height", float64(p.Predicted[3]), 0.05, 0.001)

	// on two nuts of eight a plane is not held: the others are drawn to them
	m = model(t, grid(4, 500, 160))
	missing = []bool{false, true, true, true, true, true, true, false}
	p = plan(t, m, []Length{-0.1, nan, nan, nan, nan, nan, nan, -0.1}, missing, DefaultPlanOptions())
	for i, v := range p.Turns {
		if v < 0 {
			t.Errorf("nut %d is lowered, %v, where all that is known is low", i, p.Turns)
		}
	}
	rigid := knownModel(t, grid(2, 500, 160), 1)
	p = plan(t, rigid, []Length{0.02, 0.05, 0.05, nan}, []bool{false, false, false, true}, DefaultPlanOptions())
	if !p.Done {
		t.Errorf("%+v, want done", p)
	}
}

// A table of which nothing is known but that it was found flat, if not level, is
// likely stiff: fewer nuts do than on one known to be limp, whether that all was
// read is said by no list or by one without an entry.
func TestPlanFollowsTheShapeAsFound(t *testing.T) {
	h := []Length{-0.14, -0.14, -0.09, -0.09, -0.04, -0.04, 0.01, 0.01}
	turned := func(m Model, missing []bool) (n int) {
		for _, v := range plan(t, m, h, missing, DefaultPlanOptions()).Turns {
			n += b2i(v != 0)
		}
		return n
	}
	limp := turned(knownModel(t, grid(4, 500, 160), 1e-6), nil)
	for _, missing := range [][]bool{nil, make([]bool, len(h))} {
		if n := turned(model(t, grid(4, 500, 160)), missing); n >= limp {
			t.Errorf("missing %v: %d nuts are turned, on a limp table %d", missing, n, limp)
		}
	}
}

func TestPlanRefusesWhatItCannotUse(t *testing.T) {
	m := model(t, grid(2, 500, 160))
	h := []Length{-0.1, 0, 0, 0}
	nan, inf := Length(math.NaN()), Length(math.Inf(1))
	for _, c := range []struct {
		input   string
		h       []Length
		missing []bool
		change  func(o *PlanOptions)
	}{
		{"heights", h[:3], nil, nil},
		{"heights", []Length{0, 0, 0, nan}, nil, nil},
		{"heights", []Length{0, 0, inf, 0}, nil, nil},
		{"heights", []Length{0, 0, 5000, 0}, nil, nil},
		{"heights", h, []bool{true, true, true, true}, nil},
		{"missing", h, []bool{true}, nil},
		{"Low", h, nil, func(o *PlanOptions) { o.Low = nan }},
		{"Low", h, nil, func(o *PlanOptions) { o.Low, o.High = 0.1, 0 }},
		{"High", h, nil, func(o *PlanOptions) { o.High = inf }},
		{"High", h, nil, func(o *PlanOptions) { o.High = 1e7 }},
		{"U", h, nil, func(o *PlanOptions) { o.U = -0.01 }},
		{"U", h, nil, func(o *PlanOptions) { o.U = 0.06 }},
		{"Us", h, nil, func(o *PlanOptions) { o.Us = []Length{0.01} }},
		{"Us", h, nil, func(o *PlanOptions) { o.Us = []Length{0.01, 0.01, 0.01, nan} }},
		{"Us", h, nil, func(o *PlanOptions) { o.Us = []Length{0.01, 0.01, 0.01, -1} }},
		{"Us", h, nil, func(o *PlanOptions) { o.Us = []Length{0.01, 0.01, 0.01, 0.05} }},
		{"Guard", h, nil, func(o *PlanOptions) { o.Guard = math.NaN() }},
		{"Step", h, nil, func(o *PlanOptions) { o.Step = 0 }},
		{"Step", h, nil, func(o *PlanOptions) { o.Step = 1e-9 }},
		{"MaxTurn", h, nil, func(o *PlanOptions) { o.MaxTurn = 0.001 }},
		{"MaxTurn", h, nil, func(o *PlanOptions) { o.MinTurn = 0.5 }},
		{"MaxTurn", h, nil, func(o *PlanOptions) { o.MaxTurn, o.MinTurn = 0.1, 0.1 }}, // between two steps
		{"MaxTurn", h, nil, func(o *PlanOptions) { o.MaxTurn = 100 }},
		{"MinTurn", h, nil, func(o *PlanOptions) { o.MinTurn = math.Inf(1) }},
		{"ReadingTime", h, nil, func(o *PlanOptions) { o.ReadingTime = -1 }},
		{"ReadingTime", h, nil, func(o *PlanOptions) { o.ReadingTime, o.MoveTime = 0, 0 }},
		{"MoveTime", h, nil, func(o *PlanOptions) { o.MoveTime = math.NaN() }},
	} {
		o := DefaultPlanOptions()
		if c.change != nil {
			c.change(&o)
		}
		_, err := m.Plan(c.h, c.missing, o)
		refused(t, err, c.input)
	}
}
