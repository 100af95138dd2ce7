package calc

import "math"

// Tool is what a reading was taken with, as far as the arithmetic cares.
type Tool struct {
	Resolution Length  // smallest step that is read off, > 0
	Repeat     Length  // standard deviation of one reading on one spot; 0 where not known
	RepeatDoF  float64 // degrees of freedom of Repeat: readings less groups, see Pooled
	Correction Length  // added to every reading, from the check of the tool
}

// Reading is a length as read: the true value, but for the scatter of repeated
// readings, lies between Low and High. The tool stays with it.
type Reading struct {
	Low, High Length
	Tool      Tool
}

// Read returns the reading of a tool that shows value: the value corrected,
// give or take half a step of the resolution (GUM F.2.2.1).
func (t Tool) Read(value Length) (Reading, error) {
	if err := finite("value", float64(value)); err != nil {
		return Reading{}, err
	}
	if err := t.check(); err != nil {
		return Reading{}, err
	}
	v, half := value+t.Correction, t.Resolution/2
	r := Reading{Low: v - half, High: v + half, Tool: t}
	return r, inRange("value", float64(r.High-r.Low), float64(r.Low), float64(r.High))
}

func (t Tool) check() error {
	if err := finite("tool", float64(t.Resolution), float64(t.Repeat), float64(t.Correction)); err != nil {
		return err
	}
	switch {
	case t.Resolution <= 0:
		return bad("resolution", "is not above zero")
	case t.Repeat < 0:
		return bad("repeat", "is negative")
	case t.Repeat > 0 && !(t.RepeatDoF > 0):
		return bad("repeat", "has no degrees of freedom")
	}
	return nil
}

// FeelerReading is a gap that the thickness goes enters and stops does not:
// the gap lies between the two, each with equal probability. Pass goes = 0
// where not even the thinnest leaf enters. The thicknesses may be stacks.
func FeelerReading(goes, stops Length) (Reading, error) {
	if err := finite("leaves", float64(goes), float64(stops)); err != nil {
		return Reading{}, err
	}
	if goes < 0 {
		return Reading{}, bad("goes", "is negative")
	}
	if stops <= goes {
		return Reading{}, bad("stops", "is not thicker than the leaf that goes")
	}
	return Reading{Low: goes, High: stops, Tool: Tool{Resolution: stops - goes}}, nil
}

// Value is the middle of the reading, its best estimate.
func (r Reading) Value() Length { return r.Low + (r.High-r.Low)/2 }

// Half is the half-width of the reading.
func (r Reading) Half() Length { return (r.High - r.Low) / 2 }

// Components returns what the reading contributes to an uncertainty: its
// interval as a rectangular component and, where the tool's repeatability is
// known, that.
func (r Reading) Components() []Component {
	parts := []Component{Rectangular(float64(r.Half()))}
	if r.Tool.Repeat != 0 {
		parts = append(parts, Normal(float64(r.Tool.Repeat), r.Tool.RepeatDoF))
	}
	return parts
}

// Estimate returns the reading as a value with its expanded uncertainty, mm.
func (r Reading) Estimate() Estimate {
	e := Combine(r.Components()...)
	e.Value = float64(r.Value())
	return e
}

// Difference returns a − b with its expanded uncertainty, mm. A correction
// common to both cancels; a repeatability common to both is one estimate.
func Difference(a, b Reading) Estimate {
	parts := append(a.Components(), b.Components()...)
	if a.Tool.Repeat != 0 && a.Tool == b.Tool {
		parts = append([]Component{Rectangular(float64(a.Half())), Rectangular(float64(b.Half()))},
			Normal(float64(a.Tool.Repeat), a.Tool.RepeatDoF).Across(1, -1)...)
	}
	e := Combine(parts...)
	e.Value = float64(a.Value() - b.Value())
	return e
}

// Agree reports whether two readings of one point differ by no more than the
// tool explains. Where they do not, something moved: a stand, a carriage.
func Agree(a, b Reading) bool {
	d := Difference(a, b)
	return math.Abs(d.Value) <= d.U*(1+1e-9)
}
