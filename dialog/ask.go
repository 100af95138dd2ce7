package dialog

import (
	"math"
	"strconv"

	"shimwright/calc"
	"shimwright/dialog/guard"
	"shimwright/dialog/reading"
	"shimwright/dialog/wording"
)

// Small builders that procedures share. A procedure reads as its questions.

func itoa(n int) string { return strconv.Itoa(n) }

// dims is the expectation of a dimension between two bounds.
func dims(min, max calc.Length) reading.Expect {
	return reading.Expect{Quantity: reading.Length, Min: float64(min), Max: float64(max)}
}

// counts is the expectation of a whole number.
func counts(min, max int) reading.Expect {
	return reading.Expect{Quantity: reading.Count, Min: float64(min), Max: float64(max)}
}

// signed is the expectation of a reading around zero, at most most away.
func signed(most calc.Length, tool Tool) reading.Expect {
	return reading.Expect{Quantity: reading.Length, Signed: true, Min: -float64(most), Max: float64(most),
		Resolution: float64(tool.Resolution)}
}

// question returns a question with its texts: id.ask and id.why.
func question(k Key, id string, args ...any) guard.Ask {
	return guard.Ask{Key: k, Text: wording.T(id+".ask", args...), Why: wording.T(id+".why", args...)}
}

// orRight are the answers to a result that is larger than likely: read again, or
// it is right as it stands.
func orRight() []guard.Choice {
	return append(choices("again"), guard.Choice{Value: "right", Text: wording.T("choice.correct")})
}

// at returns a place in the machine's axes: y is a distance from the blade
// towards the slider, mirrored for a right-hand one.
func (t *Script) at(x, y calc.Length) *[2]calc.Length {
	return &[2]calc.Length{x, t.profile.Hand.Mirror(y)}
}

// measuring returns the tool as calc knows it, with what its check found.
func (t Tool) measuring() calc.Tool {
	c := calc.Tool{Resolution: t.Resolution, Repeat: t.Repeat, RepeatDoF: t.RepeatDoF, Correction: t.Correction}
	if c.Repeat == 0 {
		c.Repeat, c.RepeatDoF = usualRepeat[t.Kind], usualDoF
	}
	return c
}

// squareness returns what the check of a square found, in radians and positive
// where it is more than 90°, with its uncertainty as a component. A square that
// was never checked is taken as true, within what is usual.
func (t Tool) squareness() (calc.Estimate, calc.Component) {
	if t.ErrorU <= 0 {
		return calc.Estimate{}, calc.Rectangular(usualSquare)
	}
	e := calc.Estimate{Value: float64(t.Error), U: float64(t.ErrorU), DoF: calc.ManyDoF}
	return e, calc.Normal(e.U/must(calc.StudentT(calc.Coverage, e.DoF)), e.DoF)
}

// usualSquare is how far a square that was never checked is out at most, in
// radians: 0.018 mm over 150 mm, what BS 939 allows an engineer's square of
// grade B (from memory).
const usualSquare = 0.018 / 150

// usualRepeat is how well a reading repeats in a hand, one standard deviation,
// until the tool has been checked: an indicator on its stand, a caliper on wood,
// a leaf that is felt to go (practice, no published source). usualDoF says that
// it is known to about a tenth (JCGM 100:2008, G.4.2).
var usualRepeat = map[string]calc.Length{Indicator: 0.004, Caliper: 0.010, Feelers: 0.004}

const usualDoF = 50

// size returns a length to be shown as finely as the tool reads.
func (t Tool) size(l calc.Length) wording.Size {
	return wording.Size{Value: l, Resolution: t.Resolution}
}

// span returns a range to be shown in what the tool reads.
func (t Tool) span(low, high calc.Length) wording.Span {
	return wording.Span{Low: t.size(low), High: t.size(high)}
}

// toe words a toe over the blade: open or closed at the rear, and by how much.
func (t Tool) toe(v float64) wording.Text {
	id := "toe.out"
	switch shown := math.Round(v / float64(t.Resolution)); {
	case shown == 0:
		return wording.T("toe.none")
	case shown < 0:
		id = "toe.in"
	}
	return wording.T(id, "Value", t.size(calc.Length(v).Abs()))
}

// doubt returns an expanded uncertainty to be shown: rounded up to what the
// tool reads, so that it is never shown smaller than it is.
func (t Tool) doubt(u float64) wording.Size {
	n := math.Max(1, math.Ceil(u/float64(t.Resolution)-1e-9))
	return wording.Size{Value: calc.Length(n) * t.Resolution, Resolution: t.Resolution}
}

// verdict returns a verdict for programs.
func verdict(name string, e calc.Estimate, w calc.Window, decision string) Verdict {
	return Verdict{Name: name, Value: e.Value, Uncertainty: e.U, Low: bound(w.Low), High: bound(w.High), Decision: decision}
}

// bound returns a limit, or nil where there is none.
func bound(v float64) *float64 {
	if v < -1e300 || v > 1e300 {
		return nil
	}
	return &v
}

// measured returns an estimate as a record keeps it.
func (t *Script) measured(e calc.Estimate) *Measured {
	return &Measured{Value: e.Value, Uncertainty: e.U, At: t.now}
}

// must returns v, or ends the replay: readings that a person confirmed may
// still be impossible together, and calc says so. See fold.
func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

func mean(v []float64) float64 {
	sum := 0.0
	for _, x := range v {
		sum += x
	}
	return sum / float64(len(v))
}

func rootOf(n int) float64 { return math.Sqrt(float64(n)) }

// averaged returns the components of the mean of several readings of one thing.
// What scatters shrinks by the root of their number. Rounding does so only where
// the readings differ: while all say the same, another one tells nothing.
func averaged(parts []calc.Component, values []float64) []calc.Component {
	same := true
	for _, v := range values {
		same = same && v == values[0]
	}
	out := make([]calc.Component, len(parts))
	for i, p := range parts {
		out[i] = p
		if p.Half == 0 || !same {
			out[i] = p.Times(1 / rootOf(len(values)))
		}
	}
	return out
}

// feeler returns a gap as calc knows it: an interval between leaves where the
// person gave one, otherwise read to the step of the leaves that they own; and
// how surely a leaf is felt to go.
func (t *Script) feeler(v Value) calc.Reading {
	tool := t.Tool(Feelers).measuring()
	if v.Low != v.High {
		return calc.Reading{Low: calc.Length(v.Low), High: calc.Length(v.High), Tool: tool}
	}
	step := t.Tool(Feelers).Resolution
	if v.Low != 0 {
		step = max(step, calc.FeelerStep(t.profile.Leaves, calc.Length(v.Low)))
	}
	return calc.Reading{Low: calc.Length(v.Low) - step/2, High: calc.Length(v.High) + step/2, Tool: tool}
}
