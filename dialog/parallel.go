package dialog

import (
	"math"
	"slices"

	"shimwright/calc"
	"shimwright/dialog/guard"
	"shimwright/dialog/wording"
)

// parallel sets the slider's travel along the blade, a hair open at the rear. On
// a saw without a slider the mitre slot takes its place, and the bolts of the
// table or of the trunnion take the place of the slider's clamps.
type parallel struct{}

const (
	parallelRounds = 6                // adjustments after which it says what remains
	parallelSpots  = 3                // spots of the plate at most, for repeatability
	indicatorMost  = calc.Length(12)  // travel of an indicator
	shiftMost      = calc.Length(1.5) // a shift beyond this is questioned
)

func (parallel) Name() string        { return "slider-parallel" }
func (parallel) Gives() []string     { return []string{"slider.toe", "slot.toe"} }
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
	twice  bool // the front of each spot is read again after the rear

	found, left calc.Estimate
}

// toeName is the characteristic of the line that the blade is set along: the
// slider's travel, or the mitre slot.
func (p Profile) toeName() string {
	if p.Kind == Cabinet {
		return "slot.toe"
	}
	return "slider.toe"
}

// name is the name of a prompt of this job.
func (j *toeing) name(s string) string {
	if j.p.Kind == Cabinet {
		return "slot." + s
	}
	return "slider." + s
}

// id is the id of a text that is another for a slot than for a slider.
func (j *toeing) id(s string) string {
	if j.p.Kind == Cabinet {
		return "slot." + s
	}
	return "parallel." + s
}

// slotSide names the side of the blade that the mitre slot is on.
func (p Profile) slotSide() wording.Text {
	if p.Hand == calc.Right {
		return wording.T("side.right")
	}
	return wording.T("side.left")
}

func (parallel) Run(t *Script) {
	j := newToeing(t)
	t.Confirm(question(Key{Name: j.name("blade")}, j.id("blade"), "Side", j.p.slotSide()), wording.T("caution.blade"))
	j.travelled()
	known := false
	for n := 1; ; n++ {
		round := t.firstRound() + n
		e, d := j.measure(round)
		last := d != calc.Outside || n > parallelRounds
		if !last && !j.plausible(e, round) {
			continue // read again
		}
		j.say(e, d)
		if !known {
			j.found, known = e, true
		}
		j.left = e
		if last || !j.adjust(round, e) {
			j.finish()
			return
		}
	}
}

func newToeing(t *Script) *toeing {
	p := t.Profile()
	return &toeing{t: t, p: p, tool: t.Tool(Indicator), twice: true,
		window: calc.Window{Low: float64(p.Tol.ToeLow), High: float64(p.Tol.ToeHigh), ToeIn: true}}
}

// travelled asks how far apart the readings at the front and at the rear are.
func (j *toeing) travelled() {
	def := float64(j.p.Blade * 8 / 10)
	a := question(Key{Name: j.name("travel")}, "parallel.travel", "Default", sized(calc.Length(def)))
	a.Expect, a.Quantity, a.Tool, a.Default, a.Hard = dims(j.p.Blade*3/10, j.p.Blade), "length", Ruler, &def, true
	j.length = calc.Length(def)
	if v := j.t.Read(a, wording.T("caution.blade")); !v.Skipped {
		j.length = v.Length()
	}
}

// measure reads spots until the toe is decided or no further one would help.
func (j *toeing) measure(round int) (calc.Estimate, calc.Decision) {
	var spots []calc.Travel
	for spot := 1; ; spot++ {
		spots = append(spots, j.spot(round, spot))
		e := j.estimate(spots)
		d := must(calc.Decide(e, j.window))
		if d != calc.Undecided && !calc.AtToeIn(e, j.window) || spot == parallelSpots {
			return e, d
		}
		j.t.Say("parallel.another")
	}
}

// estimate returns the toe of the spots read so far. Where the front of a spot is
// the mean of two readings, its difference to the rear varies three quarters as
// much as that of two. How well the tool is known to repeat, and how the spots
// scatter, are weighed as one estimate of the same thing.
func (j *toeing) estimate(spots []calc.Travel) calc.Estimate {
	tool := j.tool.measuring()
	n, readings := len(spots), 2.0
	if j.twice {
		readings = 1.5
	}
	var front, rear, diff []float64
	for _, s := range spots {
		front, rear, diff = append(front, float64(s.Front)), append(rear, float64(s.Rear)), append(diff, float64(s.Front-s.Rear))
	}
	ss, dof := tool.RepeatDoF*readings*float64(tool.Repeat*tool.Repeat), tool.RepeatDoF+float64(n-1)
	for _, d := range diff {
		ss += (d - mean(diff)) * (d - mean(diff))
	}
	// Both are of one end: the difference has each of them twice.
	repeat := calc.Normal(math.Sqrt(ss/dof/2), dof)
	rounding := calc.Rectangular(float64(tool.Resolution) / 2).Times(math.Sqrt(readings / 2))
	return must(calc.SliderToe(calc.Length(mean(front)), calc.Length(mean(rear)), j.length, j.p.Blade,
		averaged([]calc.Component{repeat, rounding}, diff)...))
}

// spot reads one marked spot at the front, at the rear, and at the front again:
// it must repeat.
func (j *toeing) spot(round, spot int) calc.Travel {
	for try := 0; ; try++ {
		front := j.read(round, spot, try, 0, j.id("front"), 0)
		rear := j.read(round, spot, try, 1, j.id("rear"), front)
		again := j.read(round, spot, try, 2, j.id("again"), front)
		r := must(j.tool.measuring().Read(0))
		allowed := math.Max(calc.Difference(r, r).U, 2*float64(j.tool.Resolution))
		if math.Abs(float64(again-front)) <= allowed || try == 2 {
			return calc.Travel{Front: (front + again) / 2, Rear: rear}
		}
		j.t.Say("parallel.moved", "Change", j.tool.size((again - front).Abs()))
	}
}

// read reads a spot at the front, at the rear or at the front again, where it
// cannot be far from what it was at first.
func (j *toeing) read(round, spot, try, place int, id string, front calc.Length) calc.Length {
	a := question(Key{Name: j.name("indicator"), Round: round*10 + try, Index: spot*10 + place}, id, "Spot", spot)
	a.Expect, a.Quantity, a.Tool, a.Tooth, a.NoSkip = signed(indicatorMost, j.tool), "indicator", Indicator, spot, true
	a.Label = wording.T([...]string{"parallel.front.label", "parallel.rear.label", "parallel.again.label"}[place])
	if place > 0 {
		near := float64(front)
		a.Expect.Near, a.Expect.Spread = &near, apartMost
	}
	x := calc.Length(0)
	if place == 1 {
		x = j.length
	}
	a.At = j.t.at(x, 0)
	v := j.t.Read(a, wording.T("caution.blade"))
	j.raw = append(j.raw, RecordReading{Name: j.name("indicator"), Label: [...]string{"front", "rear", "front"}[place],
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
	w := j.t.work()
	j.t.Say(id, append(w.effect(), "Along", fine(calc.Length(e.Value)/j.p.Blade*w.Length), "Toe", j.tool.toe(e.Value), "U", j.tool.doubt(e.U),
		"Blade", wording.Size{Value: j.p.Blade, Coarse: true},
		"Open", j.tool.span(calc.Length(e.Value-e.U), calc.Length(e.Value+e.U)),
		"High", j.tool.size(j.p.Tol.ToeHigh))...)
	j.t.Judge(verdict(j.p.toeName(), e, j.window, decision))
}

// plausible questions a correction that is larger than a slider is ever out:
// a wrong sign or a slipped unit is likelier.
func (j *toeing) plausible(e calc.Estimate, round int) bool {
	shift := j.shift(e)
	if shift.Abs() <= shiftMost {
		return true
	}
	a := question(Key{Name: "large", Round: round}, j.id("large"), "Shift", j.tool.size(shift.Abs()))
	a.Choices = orRight()
	return j.t.Pick(a, wording.Text{}) == "right"
}

// shift is how far the rear end has to go, about the front.
func (j *toeing) shift(e calc.Estimate) calc.Length {
	front, rear := j.p.Stations[0].X, j.p.Stations[len(j.p.Stations)-1].X
	target := calc.Length(must(calc.Aim(e.U, j.window)))
	return must(calc.ShiftAt(calc.Length(e.Value), target, j.p.Blade, rear, front))
}

// adjust moves the rear end about the front one: of the slider, or of the table
// or the trunnion. It returns false when nothing was moved.
func (j *toeing) adjust(round int, e calc.Estimate) bool {
	caution := "caution.shift"
	if j.p.Kind == Cabinet {
		caution = "caution.bolts"
	}
	made := j.t.Adjust(Key{Name: j.name("shift"), Round: round}, wording.T(caution), func() guard.Adjustment {
		m, moves := j.move(e)
		return guard.Adjustment{Text: wording.T(moves), Why: wording.T(j.id("moves.why")), After: wording.T("parallel.after"),
			Moves: []guard.Move{m}, Drawing: j.sketch(e, m)}
	})
	return anyMade(made)
}

// move is the motion of the rear end, and the text that says what to loosen. The
// trunnion carries the blade and not the slot, so it goes the other way.
func (j *toeing) move(e calc.Estimate) (guard.Move, string) {
	rear := j.p.Stations[len(j.p.Stations)-1]
	part, moves, y := "part.sliderrear", "parallel.moves", j.p.Hand.Mirror(j.shift(e))
	switch {
	case j.p.Kind == Cabinet && j.p.Trunnion:
		part, moves, y = "part.trunnionrear", "slot.moves.trunnion", -y
	case j.p.Kind == Cabinet:
		part, moves = "part.tablerear", "slot.moves.table"
	}
	m := guard.Move{Part: wording.T(part), At: j.t.at(rear.X, rear.Ys[0]), Verb: "left", Travel: y}
	if y < 0 {
		m.Verb = "right"
	}
	return m, moves
}

// sketch draws the line that is set along the blade. A trunnion moves the blade
// instead: there is no picture of that.
func (j *toeing) sketch(e calc.Estimate, m guard.Move) *guard.Sketch {
	if j.p.Kind == Cabinet && j.p.Trunnion {
		return nil
	}
	shift := wording.T("draw.shift", "Way", wording.T("towards."+m.Verb), "Shift", j.tool.size(m.Travel.Abs()))
	sketch := &guard.Sketch{Kind: "parallel", Title: wording.T(j.id("sketch.title")), Alt: wording.T(j.id("sketch.alt"), "Move", shift)}
	rear := j.p.Stations[len(j.p.Stations)-1]
	for i, s := range []Station{j.p.Stations[0], rear} {
		pt := guard.SketchPoint{Label: wording.T([...]string{"part.front", "part.rear"}[i]), X: s.X, Y: j.p.Hand.Mirror(s.Ys[0])}
		if i == 1 {
			pt.Move, pt.Dir = shift, sign(float64(m.Travel))
			pt.Reading = wording.T("draw.toe", "Value", wording.Size{Value: calc.Length(e.Value), Resolution: j.tool.Resolution, Signed: true})
		}
		sketch.Points = append(sketch.Points, pt)
	}
	return sketch
}

// finish checks the level at the moved supports, which a shift disturbs, and
// records.
func (j *toeing) finish() {
	d := must(calc.Decide(j.left, j.window))
	decision := d.String()
	if (d == calc.Within && j.left.Value > j.window.High) || d == calc.Undecided && calc.Clear(j.left, j.window) {
		decision = "open"
	}
	moved := j.t.turned(j.name("shift"), 0)
	r := Record{Characteristic: j.p.toeName(), Unit: "mm", Low: bound(j.window.Low), High: bound(j.window.High),
		AsFound: j.t.measured(j.found), AsLeft: j.t.measured(j.left), Decision: decision, Adjusted: moved,
		Tool: j.tool.Kind, Resolution: float64(j.tool.Resolution), Readings: j.raw}
	if d == calc.Outside {
		j.t.Say("parallel.remains")
	}
	j.t.Record(r)
	switch {
	case !moved:
	case j.p.Kind != Cabinet:
		j.levelCheck()
	case j.p.Trunnion:
		j.t.Happened("arbor")
	}
}

// checkRound is the round of heights that follows a shift.
const checkRound = 90

// levelCheck reads the height at the moved supports only. A pass there keeps
// the level fresh; a fail says that the level comes next.
func (j *toeing) levelCheck() {
	l := newLevelling(j.t)
	h := l.newHeights(1)
	last := l.supports[len(l.supports)-1].X
	l.first = slices.IndexFunc(l.supports, func(s support) bool { return s.X == last })
	j.t.Say("parallel.check")
	for i, s := range l.supports {
		if s.X != last {
			h.missing[i] = true
			continue
		}
		v := l.height(checkRound, 0, i, 1, nil)
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
