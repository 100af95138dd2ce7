package dialog

import (
	"math"

	"shimwright/calc"
	"shimwright/dialog/guard"
	"shimwright/dialog/wording"
)

// parallel sets the slider's travel along the blade, a hair open at the rear.
type parallel struct{}

const (
	parallelRounds = 6                // adjustments after which it says what remains
	parallelSpots  = 3                // spots of the plate at most, for repeatability
	indicatorMost  = calc.Length(12)  // travel of an indicator
	shiftMost      = calc.Length(1.5) // a shift beyond this is questioned
)

func (parallel) Name() string        { return "slider-parallel" }
func (parallel) Gives() []string     { return []string{"slider.toe"} }
func (parallel) Needs() []string     { return []string{"slider.level"} }
func (parallel) Minimum(Profile) int { return 4 }

// toeing is the job's working state, derived from its answers.
type toeing struct {
	t      *Script
	p      Profile
	tool   Tool
	window calc.Window
	length calc.Length // travel between the readings
	raw    []RecordReading

	found, left calc.Estimate
	moved       *support
}

func (parallel) Run(t *Script) {
	p := t.Profile()
	j := &toeing{t: t, p: p, tool: t.Tool(Indicator),
		window: calc.Window{Low: float64(p.Tol.ToeLow), High: float64(p.Tol.ToeHigh), ToeIn: true}}
	t.Confirm(question(Key{Name: "slider.blade"}, "parallel.blade"), wording.T("caution.blade"))
	a := question(Key{Name: "slider.travel"}, "parallel.travel", "Default", wording.Size{Value: p.Blade * 8 / 10, Coarse: true})
	def := float64(p.Blade * 8 / 10)
	a.Expect, a.Quantity, a.Tool, a.Default, a.Hard = dims(p.Blade*3/10, p.Blade), "length", Ruler, &def, true
	if v := t.Read(a, wording.T("caution.blade")); v.Skipped {
		j.length = calc.Length(def)
	} else {
		j.length = v.Length()
	}
	for round := 1; ; round++ {
		e, d := j.measure(round)
		if round == 1 {
			j.found = e
		}
		j.left = e
		j.say(e, d)
		if d == calc.Within || d == calc.Undecided || round > parallelRounds || !j.plausible(e, round) {
			break
		}
		j.adjust(round, e)
	}
	j.finish()
}

// measure reads spots until the toe is decided or no further one would help.
func (j *toeing) measure(round int) (calc.Estimate, calc.Decision) {
	var spots []calc.Travel
	for spot := 1; ; spot++ {
		spots = append(spots, j.spot(round, spot))
		e := j.estimate(spots)
		d := must(calc.Decide(e, j.window))
		if d != calc.Undecided || spot == parallelSpots {
			return e, d
		}
		j.t.Say("parallel.another")
	}
}

func (j *toeing) estimate(spots []calc.Travel) calc.Estimate {
	tool := must(j.tool.measuring().Read(0)).Components()
	if len(spots) == 1 {
		return must(calc.SliderToe(spots[0].Front, spots[0].Rear, j.length, j.p.Blade, tool...))
	}
	return must(calc.SliderToeMean(spots, j.length, j.p.Blade, tool...))
}

// spot reads one marked spot at the front, at the rear, and at the front again:
// it must repeat.
func (j *toeing) spot(round, spot int) calc.Travel {
	for try := 0; ; try++ {
		front := j.read(round, spot, try, 0, "parallel.front")
		rear := j.read(round, spot, try, 1, "parallel.rear")
		again := j.read(round, spot, try, 2, "parallel.again")
		r := must(j.tool.measuring().Read(0))
		allowed := math.Max(calc.Difference(r, r).U, 2*float64(j.tool.Resolution))
		if math.Abs(float64(again-front)) <= allowed || try == 2 {
			return calc.Travel{Front: (front + again) / 2, Rear: rear}
		}
		j.t.Say("parallel.moved", "Change", j.tool.size(again-front))
	}
}

func (j *toeing) read(round, spot, try, place int, id string) calc.Length {
	a := question(Key{Name: "slider.indicator", Round: round*10 + try, Index: spot*10 + place}, id, "Spot", spot)
	a.Expect, a.Quantity, a.Tool, a.Tooth, a.NoSkip = signed(indicatorMost, j.tool), "indicator", Indicator, spot, true
	a.Label = wording.T(id + ".label")
	x := calc.Length(0)
	if place == 1 {
		x = j.length
	}
	a.At = j.t.at(x, 0)
	v := j.t.Read(a, wording.T("caution.blade"))
	j.raw = append(j.raw, RecordReading{Name: "slider.indicator", Label: [...]string{"front", "rear", "front"}[place],
		Round: round, Low: v.Low, High: v.High, At: v.At})
	return v.Length()
}

// say words the toe, and that undecided at the toe-in limit counts as outside.
func (j *toeing) say(e calc.Estimate, d calc.Decision) {
	id := "parallel." + d.String()
	decision := d.String()
	switch {
	case d == calc.Within && e.Value > j.window.High, d == calc.Undecided && calc.Clear(e, j.window):
		id, decision = "parallel.open", "open"
	case d == calc.Outside && e.Value < j.window.Low+e.U:
		id = "parallel.toein"
	}
	j.t.Say(id, "Value", j.tool.size(calc.Length(e.Value)), "U", j.tool.doubt(e.U),
		"Blade", wording.Size{Value: j.p.Blade, Coarse: true},
		"From", j.tool.size(calc.Length(e.Value-e.U)), "To", j.tool.size(calc.Length(e.Value+e.U)),
		"High", j.tool.size(j.p.Tol.ToeHigh))
	j.t.Judge(verdict("slider.toe", e, j.window, decision))
}

// plausible questions a correction that is larger than a slider is ever out:
// a wrong sign or a slipped unit is likelier.
func (j *toeing) plausible(e calc.Estimate, round int) bool {
	shift := j.shift(e)
	if shift.Abs() <= shiftMost {
		return true
	}
	a := question(Key{Name: "large", Round: round}, "parallel.large", "Shift", j.tool.size(shift.Abs()))
	a.Choices = choices("again", "right")
	return j.t.Pick(a, wording.Text{}) == "right"
}

// shift is how far the rear end has to go, about the front.
func (j *toeing) shift(e calc.Estimate) calc.Length {
	front, rear := j.p.Stations[0].X, j.p.Stations[len(j.p.Stations)-1].X
	target := calc.Length(must(calc.Aim(e.U, j.window)))
	return must(calc.ShiftAt(calc.Length(e.Value), target, j.p.Blade, rear, front))
}

// adjust moves the rear end of the slider about the front one.
func (j *toeing) adjust(round int, e calc.Estimate) {
	made := j.t.Adjust(Key{Name: "slider.shift", Round: round}, wording.T("caution.shift"), func() guard.Adjustment {
		shift := j.shift(e)
		rear := j.p.Stations[len(j.p.Stations)-1]
		y := j.p.Hand.Mirror(shift)
		m := guard.Move{Part: wording.T("part.sliderrear"), At: j.t.at(rear.X, rear.Ys[0]), Verb: "left", Travel: y}
		if y < 0 {
			m.Verb = "right"
		}
		sketch := &guard.Sketch{Kind: "parallel", Title: wording.T("parallel.sketch.title"),
			Alt: wording.T("parallel.sketch.alt", "Way", wording.T("towards."+m.Verb), "Shift", j.tool.size(shift.Abs()))}
		for i, s := range []Station{j.p.Stations[0], rear} {
			pt := guard.SketchPoint{Label: wording.T([...]string{"part.front", "part.rear"}[i]), X: s.X, Y: j.p.Hand.Mirror(s.Ys[0])}
			if i == 1 {
				pt.Move, pt.Dir = wording.T("draw.shift", "Way", wording.T("towards."+m.Verb), "Shift", j.tool.size(shift.Abs())), sign(float64(y))
				pt.Reading = wording.T("draw.toe", "Value", wording.Size{Value: calc.Length(e.Value), Resolution: j.tool.Resolution, Signed: true})
			}
			sketch.Points = append(sketch.Points, pt)
		}
		return guard.Adjustment{Text: wording.T("parallel.moves"), Why: wording.T("parallel.moves.why"),
			After: wording.T("parallel.after"), Moves: []guard.Move{m}, Drawing: sketch}
	})
	if anyMade(made) {
		rear := j.p.supports()
		j.moved = &rear[len(rear)-1]
	}
}

// finish checks the level at the moved supports, which a shift disturbs, and
// records.
func (j *toeing) finish() {
	d := must(calc.Decide(j.left, j.window))
	decision := d.String()
	if (d == calc.Within && j.left.Value > j.window.High) || d == calc.Undecided && calc.Clear(j.left, j.window) {
		decision = "open"
	}
	r := Record{Characteristic: "slider.toe", Unit: "mm", Low: bound(j.window.Low), High: bound(j.window.High),
		AsFound: j.t.measured(j.found), AsLeft: j.t.measured(j.left), Decision: decision, Adjusted: j.moved != nil,
		Tool: j.tool.Kind, Resolution: float64(j.tool.Resolution), Readings: j.raw}
	if d == calc.Outside {
		j.t.Say("parallel.remains")
	}
	j.t.Record(r)
	if j.moved == nil {
		return
	}
	j.levelCheck()
}

// levelCheck reads the height at the moved supports only. A pass there keeps
// the level fresh; a fail says that the level comes next.
func (j *toeing) levelCheck() {
	l := newLevelling(j.t)
	h := heights{value: make([]calc.Length, len(l.supports)), u: make([]float64, len(l.supports)), missing: make([]bool, len(l.supports)),
		raw: make([]Value, len(l.supports)), round: 1}
	last := l.supports[len(l.supports)-1].X
	for i, s := range l.supports {
		if s.X != last {
			h.missing[i] = true
			continue
		}
		v := l.height(90, 0, i, 1)
		if v.Skipped {
			return
		}
		l.take(&h, i, v)
	}
	d, worst := l.judge(h)
	if d == calc.Outside {
		j.t.Say("parallel.level")
		return
	}
	l.found, l.left, l.foundWorst, l.leftWorst = &h, &h, worst, worst
	l.record(d, false)
}
