package calc

import "math"

// PlanOptions are the limits and costs that a plan keeps to.
type PlanOptions struct {
	Low, High Length // the window that every height must be in
	U         Length // expanded uncertainty (95 %) of one height reading

	MaxTurn float64 // most that one nut is turned in one pass, in turns
	MinTurn float64 // least that a spanner can do, in turns
	Step    float64 // turns are multiples of this

	ReadingTime float64 // seconds for one reading
	MoveTime    float64 // seconds for one nut
}

// DefaultPlanOptions returns the practice: heights 0 … +0.10 mm read to
// ±0.02 mm, at most 1/8 turn a pass in steps of 1/32, 20 s a reading and 45 s
// a nut. No published source.
func DefaultPlanOptions() PlanOptions {
	return PlanOptions{
		Low: 0, High: 0.10, U: 0.02,
		MaxTurn: 1.0 / 8, MinTurn: 1.0 / 32, Step: 1.0 / 32,
		ReadingTime: 20, MoveTime: 45,
	}
}

// Plan is one pass over the nuts.
type Plan struct {
	Turns     []float64 // signed, positive raises, a multiple of Step; 0 = leave this nut
	Predicted []Length  // heights expected after the pass, also where none was read
	Passes    int       // passes expected in all, this one counted; 0 when Done
	Minutes   float64   // minutes expected until the window is reached, readings included
	Done      bool      // nothing to do: every height read is in the window
}

// Plan says which nuts to turn next. missing marks heights that could not be
// read (nil: none); their values in heights are ignored.
func (m Model) Plan(heights []Length, missing []bool, o PlanOptions) (Plan, error) {
	n := len(m.Supports)
	if err := sameCount("heights", len(heights), n); err != nil {
		return Plan{}, err
	}
	p := Plan{Turns: make([]float64, n), Predicted: append([]Length(nil), heights...), Done: true}
	mid := (o.Low + o.High) / 2
	for i, h := range heights {
		if missing != nil && missing[i] || h >= o.Low && h <= o.High {
			continue
		}
		p.Done = false
		t := float64((mid - h) / m.Supports[i].Pitch)
		t = math.Round(t/o.Step) * o.Step
		p.Turns[i] = max(-o.MaxTurn, min(o.MaxTurn, t))
	}
	if !p.Done {
		p.Passes = 1
	}
	moves, err := m.Moves(p.Turns)
	if err != nil {
		return Plan{}, err
	}
	p.Predicted, err = m.Predict(heights, moves)
	return p, err
}
