package calc

import (
	"math"
	"slices"
)

// PlanOptions are the limits and costs that a plan keeps to.
type PlanOptions struct {
	Low, High Length // the window that every height must be in
	U         Length // expanded uncertainty (95 %) of one height reading

	// Us are the uncertainties of the heights where they differ, as from
	// Heights; nil: U for each.
	Us []Length

	// Guard is how far inside the window a height must be for its nut to be
	// left alone, in multiples of its uncertainty. 1 makes Done agree with
	// Decide; 0 stops at the bare window.
	Guard float64

	MaxTurn float64 // most that one nut is turned in one pass, in turns
	MinTurn float64 // least that a spanner can do, in turns
	Step    float64 // turns are multiples of this

	ReadingTime float64 // seconds for one reading
	MoveTime    float64 // seconds for one nut
}

// DefaultPlanOptions returns the practice: heights 0 … +0.10 mm read to
// ±0.02 mm and decided with that guard, at most 1/8 turn a pass in steps of
// 1/64 (20 mm at the end of a 200 mm spanner), 20 s a reading and 45 s a nut.
// No published source.
func DefaultPlanOptions() PlanOptions {
	return PlanOptions{
		Low: 0, High: 0.10, U: 0.02, Guard: 1,
		MaxTurn: 1.0 / 8, MinTurn: 1.0 / 64, Step: 1.0 / 64,
		ReadingTime: 20, MoveTime: 45,
	}
}

// Plan is one pass over the nuts. Exactly one of these holds: it is Done, it
// has turns, or it is Blocked without turns.
type Plan struct {
	Turns     []float64 // signed, positive raises as the thread says, a multiple of Step; 0 = leave this nut
	Watch     []Length  // change of each nut's own height by its own turn, to watch on the indicator
	Predicted []Length  // heights expected after the pass, also where none was read
	Passes    int       // passes expected in all, this one counted; 0 without turns
	Minutes   float64   // minutes expected until the window is reached, readings included
	Done      bool      // nothing to do: every height read is in the window

	// Blocked are supports that are out of the window and that turning nuts
	// does not bring in: their own nut does not answer, or the table itself
	// is bent or twisted beyond what its nuts can do.
	Blocked []int
}

// Plan says which nuts to turn next, all together, so that the minutes until
// the window is reached are fewest: as few nuts as do it where the table is
// stiff against its supports, each nut by its own height where it is soft, and
// by what the model knows of it between. Needs beyond MaxTurn become several
// passes.
//
// heights are readings, or better the estimates of Heights with their
// uncertainties in Us. missing marks heights that could not be read (nil:
// none); their values are ignored, and their nuts follow the shape of the
// table. A height that its nut cannot move is reported as Blocked.
func (m Model) Plan(heights []Length, missing []bool, o PlanOptions) (Plan, error) {
	if err := m.checkHeights(heights, missing); err != nil {
		return Plan{}, err
	}
	if err := o.check(len(m.Supports)); err != nil {
		return Plan{}, err
	}
	md, err := m.modes()
	if err != nil {
		return Plan{}, err
	}
	if !slices.Contains(missing, true) {
		missing = nil // all were read: their shape tells of the stiffness
	}
	s := m.newSearch(md, heights, missing, o)
	out := s.outside()
	if len(out) == 0 {
		return s.plan(m, Plan{Done: true})
	}
	s.run()
	if stuck := s.held(out); len(stuck) > 0 && s.more > 0.5 {
		out = stuck // rather freed than made up for by bending the table
	} else if s.worthwhile(out) {
		return s.plan(m, Plan{})
	}
	p := Plan{Blocked: s.release(out)}
	if len(s.outside()) > 0 {
		s.run()
	} else {
		s.leave()
	}
	return s.plan(m, p)
}

// plan writes the best turns found into p.
func (s *search) plan(m Model, p Plan) (Plan, error) {
	p.Turns = make([]float64, s.n)
	p.Watch = make([]Length, s.n)
	for j, k := range s.best {
		p.Turns[j] = float64(k) * s.o.Step
	}
	moves, err := m.Moves(p.Turns)
	if err != nil {
		return Plan{}, err
	}
	influence, err := m.Influence()
	if err != nil {
		return Plan{}, err
	}
	p.Predicted = make([]Length, s.n)
	moved := false
	for i := range s.n {
		p.Predicted[i] = Length(s.h[i])
		for j, d := range moves {
			p.Predicted[i] += Length(influence.At(i, j)*m.Gain[j]) * d
		}
		p.Watch[i] = Length(influence.At(i, i)*m.Gain[i]) * moves[i]
		moved = moved || moves[i] != 0
	}
	if moved {
		p.Passes = s.passes()
		p.Minutes = s.seconds / 60
	}
	return p, nil
}

// checkHeights reports heights that cannot be planned with.
func (m Model) checkHeights(heights []Length, missing []bool) error {
	n := len(m.Supports)
	if err := sameCount("heights", len(heights), n); err != nil {
		return err
	}
	if missing != nil {
		if err := sameCount("missing", len(missing), n); err != nil {
			return err
		}
		if !slices.Contains(missing, false) {
			return bad("heights", "are all missing")
		}
	}
	for i, h := range heights {
		if missing != nil && missing[i] {
			continue
		}
		if err := plausible("heights", h); err != nil {
			return err
		}
	}
	return nil
}

// mostHeight is where a height stops being one of adjustment: a slip of the
// unit or of the sign of a far larger number.
const mostHeight Length = 1000

func plausible(input string, h Length) error {
	if err := finite(input, float64(h)); err != nil {
		return err
	}
	if h.Abs() > mostHeight {
		return bad(input, "are larger than any height on a saw")
	}
	return nil
}

func (o PlanOptions) check(n int) error {
	for _, v := range []named{{"Low", float64(o.Low)}, {"High", float64(o.High)}, {"U", float64(o.U)}, {"Guard", o.Guard},
		{"MaxTurn", o.MaxTurn}, {"MinTurn", o.MinTurn}, {"Step", o.Step},
		{"ReadingTime", o.ReadingTime}, {"MoveTime", o.MoveTime}} {
		if err := finiteEach(v); err != nil {
			return err
		}
		if v.value < 0 && v.name != "Low" && v.name != "High" {
			return bad(v.name, "is negative")
		}
	}
	switch {
	case o.Low >= o.High:
		return bad("Low", "is not below High")
	case o.Low.Abs() > mostHeight || o.High.Abs() > mostHeight:
		return bad("High", "is no window for a height")
	case o.Step == 0:
		return bad("Step", "is zero")
	case o.MaxTurn > 10:
		return bad("MaxTurn", "is more than ten turns")
	case o.MaxTurn/o.Step > 1e4:
		return bad("Step", "is too fine")
	case o.MinTurn > o.MaxTurn || o.most() < o.least():
		return bad("MaxTurn", "is less than the least move")
	case o.ReadingTime == 0 && o.MoveTime == 0:
		return bad("ReadingTime", "is zero, and so is MoveTime")
	}
	return o.checkU(n)
}

// most and least are the largest and the smallest move in steps.
func (o PlanOptions) most() int  { return int(math.Floor(o.MaxTurn/o.Step + 1e-9)) }
func (o PlanOptions) least() int { return max(1, int(math.Ceil(o.MinTurn/o.Step-1e-9))) }

// checkU reports uncertainties that leave nothing of the window.
func (o PlanOptions) checkU(n int) error {
	half := float64(o.High-o.Low) / 2
	if o.Us == nil {
		if o.Guard*float64(o.U) >= half {
			return bad("U", "leaves nothing of the window")
		}
		return nil
	}
	if err := sameCount("Us", len(o.Us), n); err != nil {
		return err
	}
	for _, u := range o.Us {
		if err := notNegative("Us", u); err != nil {
			return err
		}
		if o.Guard*float64(u) >= half {
			return bad("Us", "leave nothing of the window")
		}
	}
	return nil
}

// passes returns how many passes the best turns expect, this one counted.
func (s *search) passes() int {
	return 1 + int(math.Round(math.Min(s.more, 1000)))
}
