package calc

import "math"

// Screw is what is known of one adjusting screw whose lever nobody knows: it
// is learned by turning it.
type Screw struct {
	Rate    float64 // change of the value by one turn; 0: not known yet
	RateU   float64 // expanded uncertainty (95 %) of Rate
	Trusted bool    // the last move agrees with Rate
}

// ScrewMove is one move of the screw with the value read before and after it.
// Turns is the net turn, clockwise positive.
type ScrewMove struct {
	Turns         float64
	Before, After float64
}

// ScrewOptions are the limits of the search. Values are in any one unit.
type ScrewOptions struct {
	Target  float64
	U       float64 // expanded uncertainty (95 %) of one reading
	Trial   float64 // turns of the first, small move
	MaxTurn float64 // most turns in one move
	Step    float64 // turns are multiples of this
	Past    float64 // turns to go past and come back, more than the backlash
}

// DefaultScrewOptions returns the practice (no source): try 1/8 turn, never
// more than one turn at once, steps of 1/16, a quarter turn of run-up.
func DefaultScrewOptions(target, u float64) ScrewOptions {
	return ScrewOptions{Target: target, U: u, Trial: 1.0 / 8, MaxTurn: 1, Step: 1.0 / 16, Past: 1.0 / 4}
}

// ScrewAdvice is the next move of the screw.
type ScrewAdvice struct {
	Turns     float64 // net turn, clockwise positive; 0 with Done or Dead
	Past      float64 // turn this much further first and come back: every move ends clockwise
	Predicted float64 // value expected after it; the present one for a trial
	Trial     bool    // its effect is not known yet
	Done      bool    // as near as the screw's steps and the reading can tell
	Dead      bool    // turned as far as sensible, and nothing changed
}

// NextScrew says how to turn the screw to bring value to the target: a small
// trial turn first, then the secant through what was seen. Every move ends
// clockwise, so that the backlash is always taken up on the same side: an
// anticlockwise one goes Past further and comes back.
func NextScrew(moves []ScrewMove, value float64, o ScrewOptions) (ScrewAdvice, Screw, error) {
	if err := o.check(); err != nil {
		return ScrewAdvice{}, Screw{}, err
	}
	if err := finite("value", value); err != nil {
		return ScrewAdvice{}, Screw{}, err
	}
	for _, m := range moves {
		if err := finite("moves", m.Turns, m.Before, m.After); err != nil {
			return ScrewAdvice{}, Screw{}, err
		}
	}
	s := learnScrew(moves, o.U)
	a := ScrewAdvice{Predicted: value}
	need := o.Target - value
	if err := inRange("moves", s.Rate, s.RateU); err != nil {
		return ScrewAdvice{}, Screw{}, err
	}
	if err := inRange("value", need); err != nil {
		return ScrewAdvice{}, Screw{}, err
	}
	switch {
	case math.Abs(need) <= (o.U+math.Abs(s.Rate)*o.Step)/2:
		a.Done = true
	case s.Rate == 0:
		a.trial(moves, o)
	default:
		a.Turns = o.allowed(need / s.Rate)
		a.Predicted = value + a.Turns*s.Rate
		a.Done = a.Turns == 0
		if err := inRange("moves", a.Predicted); err != nil {
			return ScrewAdvice{}, Screw{}, err
		}
	}
	if a.Turns < 0 {
		a.Past = o.Past
	}
	return a, s, nil
}

// trial advises a move to learn from: the first small one, then twice the last
// as long as nothing came of it.
func (a *ScrewAdvice) trial(moves []ScrewMove, o ScrewOptions) {
	turned := 0.0
	next := o.Trial
	for _, m := range moves {
		turned += math.Abs(m.Turns)
		next = math.Max(next, 2*math.Abs(m.Turns))
	}
	if turned >= 2*o.MaxTurn {
		a.Dead = true
		return
	}
	a.Trial = true
	a.Turns = math.Max(o.Step, o.allowed(next))
}

// learnScrew returns the rate that the moves show: the secant through the last
// one where it stands clear of the reading's uncertainty, otherwise least
// squares through all, and 0 where neither tells it from nothing.
func learnScrew(moves []ScrewMove, u float64) Screw {
	if len(moves) == 0 {
		return Screw{}
	}
	last := moves[len(moves)-1:]
	all, one, others := rateOf(moves, u), rateOf(last, u), rateOf(moves[:len(moves)-1], u)
	s := all
	if math.Abs(one.Rate) > 3*one.RateU {
		s = one
	}
	if math.Abs(s.Rate) <= s.RateU {
		return Screw{}
	}
	agrees := math.Abs(one.Rate-others.Rate) <= one.RateU+others.RateU
	s.Trusted = agrees || one.RateU == 0 || others.RateU == 0
	return s
}

// rateOf returns the least-squares rate of moves through nothing.
func rateOf(moves []ScrewMove, u float64) Screw {
	var tt, tv float64
	for _, m := range moves {
		tt += sq(m.Turns)
		tv += m.Turns * (m.After - m.Before)
	}
	if tt == 0 {
		return Screw{}
	}
	return Screw{Rate: tv / tt, RateU: math.Sqrt2 * u / math.Sqrt(tt)}
}

func (o ScrewOptions) check() error {
	if err := finiteEach(named{"Target", o.Target}, named{"U", o.U}, named{"Past", o.Past}); err != nil {
		return err
	}
	switch {
	case o.U < 0:
		return bad("U", "is negative")
	case o.Past < 0:
		return bad("Past", "is negative")
	}
	if err := positiveEach(named{"Trial", o.Trial}, named{"MaxTurn", o.MaxTurn}, named{"Step", o.Step}); err != nil {
		return err
	}
	switch {
	case o.Step > o.MaxTurn:
		return bad("Step", "is more than MaxTurn")
	case o.Trial > o.MaxTurn:
		return bad("Trial", "is more than MaxTurn")
	}
	return nil
}

// allowed returns the multiple of Step nearest to v, within MaxTurn.
func (o ScrewOptions) allowed(v float64) float64 {
	most := math.Floor(o.MaxTurn/o.Step + 1e-9)
	return clamp(math.Round(v/o.Step), most) * o.Step
}

// clamp returns v within ± limit.
func clamp(v, limit float64) float64 { return math.Max(-limit, math.Min(limit, v)) }
