package dialog

import (
	"math"
	"slices"

	"shimwright/calc"
	"shimwright/dialog/wording"
)

// references tells whether the measuring tools can be trusted. What it finds is
// kept with the tools of the saw's profile: every later job takes it into
// account, and a job that waits parked goes on with what it began with.
type references struct{}

const (
	lineStep     = calc.Length(0.05)  // how fine a gap between two lines is read (practice)
	lineEye      = calc.Length(0.015) // and how well the eye repeats it, one standard deviation (practice)
	toolShare    = 4                  // a tool may use up this part of the window it is to decide
	repeatsAsked = 5                  // readings of one spot in a series
	repeatSeries = 2                  // series of them, before an indicator stays in the drawer
	squareWorst  = 0.2 * calc.Degree  // a square beyond this is not corrected but left (practice)
	caliperWorst = calc.Length(0.2)   // and a caliper that shows more than this when closed (practice)
	straightedge = "straightedge"     // a tool of which nothing is kept but whether it is good
)

func (references) Name() string { return "references" }
func (references) Gives() []string {
	return []string{"tool.square", "tool.straightedge", "tool.indicator", "tool.caliper"}
}
func (references) Needs() []string { return nil }

// Minimum: the square's gap and length, the straightedge's gap, one series with
// the indicator, the caliper closed.
func (references) Minimum(Profile) int { return 2 + 1 + repeatsAsked + 1 }

// trusting is the job's working state, derived from its answers.
type trusting struct {
	t       *Script
	p       Profile // as the job knows it
	tools   []Tool  // to be kept with the saw
	records []Record
}

func (references) Run(t *Script) {
	a := question(Key{Name: "references.which"}, "references.which")
	a.Choices = choices("all", "square", "straightedge", "indicator", "caliper")
	which := t.Pick(a, wording.Text{})
	j := &trusting{t: t, p: t.Profile(), tools: slices.Clone(t.saw.Profile.Tools)}
	for _, c := range []struct {
		kind  string
		check func()
	}{{Square, j.square}, {straightedge, j.edge}, {Indicator, j.indicator}, {Caliper, j.caliper}} {
		if which == "all" || which == c.kind {
			c.check()
		}
	}
	if len(j.records) == 0 {
		return
	}
	p := t.saw.Profile
	p.Tools = j.tools
	t.SetProfile(p)
	for _, r := range j.records {
		t.Record(r)
	}
}

// lines asks for the gap between two lines of a flip test. ok is false when the
// tool is left out.
func (j *trusting) lines(tool, id string) (v Value, parts []calc.Component, ok bool) {
	a := question(Key{Name: "square.gap", Index: map[string]int{Square: 0, straightedge: 1}[tool]}, id)
	a.Expect, a.Quantity, a.Tool = dims(0, 5), "gap", tool
	v = j.t.Read(a, wording.Text{})
	return v, v.Reading(calc.Tool{Resolution: lineStep, Repeat: lineEye, RepeatDoF: usualDoF}).Components(), !v.Skipped
}

// square takes the flip test: two knife lines from one foot.
func (j *trusting) square() {
	v, parts, ok := j.lines(Square, "references.square")
	if !ok {
		return
	}
	tool := j.p.tool(Square)
	a := question(Key{Name: "square.length"}, "references.length", "Default", wording.Size{Value: tool.Length, Coarse: true})
	def := float64(tool.Length)
	a.Expect, a.Quantity, a.Tool, a.Default, a.Hard = dims(30, 2000), "length", Square, &def, true
	length := tool.Length
	if l := j.t.Read(a, wording.Text{}); !l.Skipped {
		length = l.Length()
	}
	gap := v.Length()
	if gap > 0 {
		side := question(Key{Name: "square.side"}, "references.side")
		side.Choices = choices("right", "left")
		if j.t.Pick(side, wording.Text{}) == "left" {
			gap = -gap
		}
	}
	e := must(calc.SquareFlip(gap, length, parts...))
	most := float64(j.p.Tol.Tilt) / toolShare
	w := calc.Window{Low: -most, High: most}
	d := must(calc.Decide(e, w))
	left, id := e, "within"
	switch {
	case calc.Angle(e.Value).Abs() > squareWorst:
		id, d = "drawer", calc.Outside
	case d != calc.Within:
		// What is known of it is taken off, so that only the uncertainty is left.
		left.Value, id = 0, "corrected"
		d = must(calc.Decide(left, w))
	}
	j.saySquare(id, e, length)
	changed := math.Abs(e.Value-float64(tool.Error)) > most
	if id != "drawer" {
		tool.Error, tool.ErrorU = calc.Angle(e.Value), calc.Angle(e.U)
		j.keep(tool)
	}
	j.add(Square, "rad", e, left, w, d, id == "drawer" || changed, v)
}

func (j *trusting) saySquare(id string, e calc.Estimate, length calc.Length) {
	way := "references.more"
	if e.Value < 0 {
		way = "references.less"
	}
	fine := func(l calc.Length) wording.Size { return wording.Size{Value: l.Abs(), Resolution: 0.01} }
	u := e
	u.Value = e.U
	w := j.t.work()
	panel := must(calc.Panel(calc.Angle(e.Value).Abs(), w.Width, w.Length))
	j.t.Say("references.square."+id, "Out", figure(must(calc.SquareCorrection(e, length))), "Length", wording.Size{Value: length, Coarse: true},
		"U", figure(must(calc.SquareCorrection(u, length))), "Way", wording.T(way), "Degrees", wording.Tilt{Value: calc.Angle(e.Value).Abs(), Decimals: 2},
		"Panel", sized(w.Width), "End", fine(panel.End))
	most := float64(j.p.Tol.Tilt) / toolShare
	decision := map[string]string{"within": "within", "corrected": "outside", "drawer": "outside"}[id]
	j.t.Judge(verdict("tool.square", e, calc.Window{Low: -most, High: most}, decision))
}

// edge takes the flip test of a straightedge.
func (j *trusting) edge() {
	v, parts, ok := j.lines(straightedge, "references.edge")
	if !ok {
		return
	}
	tol := j.p.Tol
	w := calc.AtMost(float64(tol.LevelHigh-tol.LevelLow) / toolShare)
	e := must(calc.StraightedgeFlip(v.Length(), parts...))
	d := must(calc.Decide(e, w))
	fine := func(v float64) wording.Size { return wording.Size{Value: calc.Length(v), Resolution: 0.01} }
	j.t.Say("references.edge."+d.String(), "Out", fine(e.Value), "U", fine(e.U), "Limit", fine(w.High))
	j.t.Judge(verdict("tool.straightedge", e, w, d.String()))
	j.add(straightedge, "mm", e, e, w, d, d == calc.Outside, v)
}

// indicator reads one spot again and again. A spread of no more than one step
// of the scale is what rounding makes of it, and counts for nothing more.
func (j *trusting) indicator() {
	tool := j.p.tool(Indicator)
	tol := j.p.Tol
	window := calc.Window{Low: float64(tol.LevelLow), High: float64(tol.LevelHigh)}
	for series := 1; ; series++ {
		tool.Repeat, tool.RepeatDoF = 0, 0
		values, raw, ok := j.series(series, tool)
		if !ok {
			return
		}
		zero := must(tool.measuring().Read(0))
		spread := calc.Estimate{Value: slices.Max(values) - slices.Min(values), U: calc.Difference(zero, zero).U, DoF: calc.ManyDoF}
		if spread.Value > float64(tool.Resolution)*(1+1e-9) {
			s, dof, err := calc.Pooled(values)
			tool.Repeat, tool.RepeatDoF = must(calc.Length(s), err), dof
		}
		one := must(tool.measuring().Read(0)).Estimate()
		good := calc.CanDecide(one.U, window)
		id, d := "within", calc.Within
		if !good {
			id, d = "outside", calc.Outside
		}
		j.t.Say("references.indicator."+id, "Spread", tool.size(calc.Length(spread.Value)), "U", tool.doubt(one.U),
			"High", tool.size(tol.LevelHigh))
		j.t.Judge(verdict("tool.indicator", spread, calc.AtMost(window.High/toolShare), id))
		if !good && series < repeatSeries {
			again := question(Key{Name: "references.stand", Round: series}, "references.stand")
			again.Choices = choices("five", "drawer")
			if j.t.Pick(again, wording.Text{}) == "five" {
				continue
			}
		}
		if good {
			j.keep(tool)
		}
		j.add(Indicator, "mm", spread, spread, calc.AtMost(window.High/toolShare), d, !good, raw...)
		return
	}
}

// series reads one spot five times. ok is false when the indicator is left out.
func (j *trusting) series(series int, tool Tool) (values []float64, raw []Value, ok bool) {
	for n := 1; n <= repeatsAsked; n++ {
		id := "references.repeat"
		if n == 1 {
			id = "references.first"
		}
		a := question(Key{Name: "repeat", Round: series, Index: n}, id)
		a.Expect, a.Quantity, a.Tool, a.N = signed(indicatorMost, tool), "indicator", Indicator, n
		if n > 1 {
			near := values[0]
			a.Expect.Near, a.Expect.Spread = &near, 0.3
		}
		v := j.t.Read(a, wording.Text{})
		if v.Skipped {
			return nil, nil, false
		}
		values, raw = append(values, v.Mid()), append(raw, v)
	}
	return values, raw, true
}

// caliper reads the closed jaws.
func (j *trusting) caliper() {
	tool := j.p.tool(Caliper)
	was := tool.Correction
	tool.Correction = 0
	a := question(Key{Name: "caliper.zero"}, "references.caliper")
	a.Expect, a.Quantity, a.Tool = signed(3, tool), "length", Caliper
	v := j.t.Read(a, wording.Text{})
	if v.Skipped {
		return
	}
	e := v.Reading(tool.measuring()).Estimate()
	left, id, d := e, "within", calc.Within
	if v.Length() != 0 {
		zero := question(Key{Name: "caliper.zeroed"}, "references.zero", "Value", wording.Size{Value: v.Length(), Resolution: tool.Resolution, Signed: true})
		zero.Choices = choices("yes", "no")
		switch {
		case j.t.Pick(zero, wording.Text{}) == "yes":
			left.Value, id = 0, "zeroed"
		case v.Length().Abs() > caliperWorst:
			id, d = "drawer", calc.Outside
		default:
			left.Value, id = 0, "corrected"
			tool.Correction = -v.Length()
		}
	}
	j.t.Say("references.caliper."+id, "Value", wording.Size{Value: v.Length(), Resolution: tool.Resolution, Signed: true})
	changed := (tool.Correction-was).Abs() > tool.Resolution || id == "zeroed"
	if id != "drawer" {
		j.keep(tool)
	}
	w := calc.Window{Low: -float64(tool.Resolution), High: float64(tool.Resolution)}
	j.t.Judge(verdict("tool.caliper", e, w, d.String()))
	j.add(Caliper, "mm", e, left, w, d, id == "drawer" || changed, v)
}

// keep puts a tool in place of the one of its kind.
func (j *trusting) keep(tool Tool) {
	for i := range j.tools {
		if j.tools[i].Kind == tool.Kind {
			j.tools[i] = tool
			return
		}
	}
	j.tools = append(j.tools, tool)
}

// add notes a record. changed says that what was read with the tool before is
// not to be relied on any more.
func (j *trusting) add(kind, unit string, found, left calc.Estimate, w calc.Window, d calc.Decision, changed bool, raw ...Value) {
	r := Record{Characteristic: toolPrefix + kind, Unit: unit, AsFound: j.t.measured(found), AsLeft: j.t.measured(left),
		Low: bound(w.Low), High: bound(w.High), Decision: d.String(), Adjusted: changed, Tool: kind}
	for i, v := range raw {
		r.Readings = append(r.Readings, RecordReading{Name: toolPrefix + kind, Label: itoa(i + 1), Low: v.Low, High: v.High, At: v.At})
	}
	j.records = append(j.records, r)
}
