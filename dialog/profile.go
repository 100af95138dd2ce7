package dialog

import "shimwright/calc"

// Kinds of tool.
const (
	Indicator = "indicator"
	Feelers   = "feelers"
	Caliper   = "caliper"
	Square    = "square"
	Level     = "level"
	Ruler     = "ruler"
)

// tools is what a person is taken to have until they say otherwise.
var tools = [...]Tool{
	{Kind: Indicator, Resolution: 0.01},
	{Kind: Feelers, Resolution: 0.05},
	{Kind: Caliper, Resolution: 0.01},
	{Kind: Square, Length: 150},
	{Kind: Level, Angle: 0.1 * calc.Degree},
	{Kind: Ruler, Resolution: 0.5},
}

// tool returns the profile's tool of a kind.
func (p Profile) tool(kind string) Tool {
	for _, t := range p.Tools {
		if t.Kind == kind {
			return t
		}
	}
	for _, t := range tools {
		if t.Kind == kind {
			return t
		}
	}
	return Tool{Kind: kind, Resolution: 0.01}
}

// DefaultProfile is the common arrangement: a slider on the left on three
// stations of two supports each. Distances and tolerances are common practice,
// with no published source; an owner replaces them with the maker's figures.
func DefaultProfile() Profile {
	return Profile{
		Kind:       Sliding,
		Hand:       calc.Left,
		Stations:   EvenStations(3, 2, 1200, 120, 360),
		Thread:     "M10",
		RaiseCCW:   true,
		Spanner:    200,
		Blade:      315,
		FencePivot: 300,
		FenceReach: 1200,
		TiltLeft:   true,
		Stops:      []float64{45},
		Tools:      nil,
		Leaves:     []calc.Length{0.05, 0.10, 0.15, 0.20, 0.25, 0.30, 0.40, 0.50, 0.60, 0.70, 0.80, 0.90, 1.00},
		Tol:        DefaultTolerances(),
	}
}

// asCabinet is a profile of a saw without a slider. Distances are common
// practice, with no published source; the blade is one of ten inches.
func (p Profile) asCabinet() Profile {
	if p.Kind == Cabinet {
		return p
	}
	p.Kind, p.Scoring, p.FenceRear, p.FenceThread = Cabinet, false, false, ""
	p.Stations = []Station{{X: 120, Ys: []calc.Length{0}}, {X: 560, Ys: []calc.Length{0}}}
	p.FencePivot, p.FenceReach = 150, 450
	p.Blade = 10 * calc.Inch
	return p
}

// asSliding is a profile of a saw with a slider.
func (p Profile) asSliding() Profile {
	if p.Kind != Cabinet {
		return p
	}
	d := DefaultProfile()
	p.Kind, p.Stations, p.FencePivot, p.FenceReach, p.Blade = d.Kind, d.Stations, d.FencePivot, d.FenceReach, d.Blade
	return p
}

// DefaultTolerances are common practice, with no published source.
func DefaultTolerances() Tolerances {
	return Tolerances{
		LevelLow: 0, LevelHigh: 0.10,
		ToeLow: 0, ToeHigh: 0.05,
		Crosscut:     0.05, // over 300 mm
		Tilt:         0.05 * calc.Degree,
		RipHigh:      0.05,
		RunoutFlange: 0.02, RunoutBlade: 0.10,
	}
}

// EvenStations lays n stations evenly over a slider of length l, the first and
// last a tenth of it from the ends, with one support each at near, or two at
// near and far from the blade.
func EvenStations(n, each int, l, near, far calc.Length) []Station {
	out := make([]Station, n)
	for i := range out {
		out[i].X = l / 10
		if n > 1 {
			out[i].X += calc.Length(i) * l * 8 / 10 / calc.Length(n-1)
		}
		out[i].Ys = []calc.Length{near}
		if each > 1 {
			out[i].Ys = append(out[i].Ys, far)
		}
	}
	return out
}

// KeepProfile stores a profile with the saw. This job goes on with the one that
// it began with.
func (t *Script) KeepProfile(p Profile) { t.setSaw = &p }

// profile returns the profile that the job's answers give: the first one, as
// the saw then was, and later corrections.
func (j *Job) profile(saw *Saw) Profile {
	for i := len(j.Answers) - 1; i >= 0; i-- {
		if p := j.Answers[i].Profile; p != nil {
			return *p
		}
	}
	return saw.Profile
}
