package dialog

import (
	"shimwright/calc"
	"shimwright/dialog/guard"
	"shimwright/dialog/wording"
)

// ripFence sets the rip fence parallel to the blade, a hair open at the rear.
type ripFence struct{}

// Limits of the job (practice, no published source).
const (
	fenceLocks     = 3 // times that the fence is locked anew and read
	fenceLocksMost = 5 // and where only the uncertainty reaches toe-in
	fenceRounds    = 6
	fenceDistance  = calc.Length(600) // most that the fence stands from the blade
	apartMost      = 2.0              // mm from the reading at the front at which one is doubted
	fenceShift     = calc.Length(3)   // a correction beyond this is questioned
)

func (ripFence) Name() string        { return "rip-fence" }
func (ripFence) Gives() []string     { return []string{"ripfence.toe"} }
func (ripFence) Needs() []string     { return []string{"slider.toe", "slot.toe"} }
func (ripFence) Minimum(Profile) int { return 2*fenceLocks + 1 }

// fencing is the job's working state, derived from its answers.
type fencing struct {
	t      *Script
	p      Profile
	tool   Tool
	window calc.Window
	method string
	slider calc.Estimate
	length calc.Length
	raw    []RecordReading
}

func (ripFence) Run(t *Script) {
	p := t.Profile()
	j := &fencing{t: t, p: p, window: calc.Window{Low: 0, High: float64(p.Tol.RipHigh), ToeIn: true}}
	j.choose()
	j.travel()
	var found, left calc.Estimate
	var d calc.Decision
	known := false
	for n := 1; ; n++ {
		round := t.firstRound() + n
		left = j.measure(round)
		d = must(calc.Decide(left, j.window))
		last := d != calc.Outside || n > fenceRounds
		if !last && !j.plausible(round, left) {
			continue // read again
		}
		j.say(left, d)
		if !known {
			found, known = left, true
		}
		if last || !j.adjust(round, left) {
			break
		}
	}
	if d == calc.Outside {
		t.Say("ripfence.remains")
	}
	t.Record(Record{Characteristic: "ripfence.toe", Unit: "mm", Low: bound(j.window.Low), High: bound(j.window.High),
		AsFound: t.measured(found), AsLeft: t.measured(left), Decision: openOr(left, d, j.window), Adjusted: t.turned("ripfence.move", 0),
		Tool: j.tool.Kind, Resolution: float64(j.tool.Resolution), Readings: j.raw})
}

// openOr returns the decision, or "open" for a toe that is surely not toed in
// and may be past the upper limit.
func openOr(e calc.Estimate, d calc.Decision, w calc.Window) string {
	if d != calc.Outside && e.Value > w.High || d == calc.Undecided && calc.Clear(e, w) {
		return "open"
	}
	return d.String()
}

// choose picks what the fence is measured to. The slider's edge counts only
// while its own toe is fresh: without it a pinching fence would pass.
func (j *fencing) choose() {
	a := question(Key{Name: "method"}, j.across("ripfence.method"))
	a.Choices = choices(Indicator, "tooth")
	s := standingOf(j.t.view, j.t.saw, j.p.toeName(), j.t.now)
	fresh := s.State == Fresh && s.Last.AsLeft != nil
	if fresh {
		a.Choices = append(a.Choices, guard.Choice{Value: "through", Text: wording.T(j.across("choice.through")), Also: "words.through"})
		j.slider = calc.Estimate{Value: s.Last.AsLeft.Value, U: s.Last.AsLeft.Uncertainty, DoF: calc.ManyDoF}
	} else {
		a.Text, a.Choices[1].Also = wording.T("ripfence.method.blade"), "words.bycaliper"
	}
	j.method = j.t.Pick(a, wording.Text{})
	j.tool = j.t.Tool(Caliper)
	if j.method == Indicator {
		j.tool = j.t.Tool(Indicator)
	}
	if j.method == "through" && !fresh {
		j.t.before(parallel{}.Name()) // it has been upset since
	}
	j.t.Later(j.sayCoarse)
}

// sayCoarse says, before anything is read, that this tool cannot decide the
// window, where it cannot and another could.
func (j *fencing) sayCoarse() {
	best := func(tool Tool) calc.Estimate {
		r := must(tool.measuring().Read(0))
		return calc.Difference(r, r).Times(1.25 / rootOf(fenceLocks)) // over a travel of eight tenths of the blade
	}
	if u := best(j.tool).U; j.method == "tooth" && !calc.CanDecide(u, j.window) && calc.CanDecide(best(j.t.Tool(Indicator)).U, j.window) {
		j.t.Say("ripfence.coarse", "U", j.tool.doubt(u), "High", j.tool.size(j.p.Tol.RipHigh))
	}
}

// across is the id of a text about the slider's edge, or about the mitre slot that
// takes its place.
func (j *fencing) across(id string) string {
	if j.p.Kind == Cabinet {
		return id + ".slot"
	}
	return id
}

func (j *fencing) travel() {
	def := float64(j.p.Blade * 8 / 10)
	id := "ripfence.travel"
	most := j.p.Blade
	if j.method == "through" {
		def, id, most = 600, j.across("ripfence.apart"), 3000
	}
	a := question(Key{Name: "ripfence.travel"}, id, "Default", wording.Size{Value: calc.Length(def), Coarse: true}, "Side", j.p.slotSide())
	a.Expect, a.Quantity, a.Tool, a.Default, a.Hard = dims(j.p.Blade*3/10, most), "length", Ruler, &def, true
	j.length = calc.Length(def)
	if v := j.t.Read(a, wording.T("caution.blade")); !v.Skipped {
		j.length = v.Length()
	}
}

// measure locks the fence three times anew and reads it at both ends: what
// differs between the times is the fence's own play. Twice more where only the
// uncertainty reaches toe-in: that is less trouble than moving a good fence.
func (j *fencing) measure(round int) calc.Estimate {
	var fronts, rears, apart []float64
	for n := 1; ; n++ {
		of := fenceLocks
		if n > of {
			of = 0 // more than was planned
		}
		j.t.Confirm(question(Key{Name: "ripfence.lock", Round: round, Index: n}, "ripfence.lock", "Time", n, "Of", of), wording.T("caution.rip"))
		front := float64(j.read(round, n, 0, 0))
		rear := float64(j.read(round, n, 1, calc.Length(front)))
		fronts, rears, apart = append(fronts, front), append(rears, rear), append(apart, rear-front)
		if n < fenceLocks {
			continue
		}
		e := j.toe(calc.Length(mean(fronts)), calc.Length(mean(rears)), apart)
		if n == fenceLocksMost || !calc.AtToeIn(e, j.window) {
			return e
		}
		j.t.Say("ripfence.another")
	}
}

// toe is the toe of the mean of several lockings: the tool's share of one
// reading counts by their number, and their scatter beside it.
func (j *fencing) toe(front, rear calc.Length, apart []float64) calc.Estimate {
	parts := averaged(must(j.tool.measuring().Read(0)).Components(), apart)
	var e calc.Estimate
	switch j.method {
	case "through":
		e = must(calc.FenceToeThroughSlider(front, rear, j.length, j.p.Blade, j.slider, parts...))
	case Indicator: // a plunger on the fence's side is pushed in by a tooth that is nearer
		e = must(calc.SliderToe(front, rear, j.length, j.p.Blade, parts...))
	default:
		e = must(calc.FenceToe(front, rear, j.length, j.p.Blade, parts...))
	}
	_, scatter, err := calc.TypeA(apart)
	all := calc.Combine(component(e), must(scatter, err).Times(float64(j.p.Blade/j.length)))
	all.Value = e.Value
	return all
}

// component is an estimate as one part of another.
func component(e calc.Estimate) calc.Component {
	return calc.Normal(e.U/must(calc.StudentT(calc.Coverage, e.DoF)), e.DoF)
}

// read reads the fence at the front or at the rear, where it cannot be far from
// what it was at the front.
func (j *fencing) read(round, n, place int, front calc.Length) calc.Length {
	name, id := "ripfence.distance", [...]string{"ripfence.front", "ripfence.rear"}[place]
	switch j.method {
	case "through":
		id = j.across([...]string{"ripfence.front.slider", "ripfence.rear.slider"}[place])
	case Indicator:
		name, id = "ripfence.indicator", [...]string{"ripfence.front.indicator", "ripfence.rear.indicator"}[place]
		if round%anewRounds > 1 || n > 1 {
			id = [...]string{"ripfence.front.next", "ripfence.rear.next"}[place]
		}
	}
	a := question(Key{Name: name, Round: round, Index: n*10 + place}, id, "Side", j.p.slotSide())
	a.Expect, a.Quantity, a.Tool, a.NoSkip = dims(0.5, fenceDistance), "length", Caliper, true
	a.Expect.Resolution = float64(j.tool.Resolution)
	if j.method == Indicator {
		a.Expect, a.Quantity, a.Tool = signed(indicatorMost, j.tool), "indicator", Indicator
	}
	if j.method != "through" {
		a.Tooth = 1
	}
	if place == 1 {
		near := float64(front)
		a.Expect.Near, a.Expect.Spread = &near, apartMost
	}
	a.Label, a.N = wording.T([...]string{"parallel.front.label", "parallel.rear.label"}[place]), n
	x := calc.Length(0)
	if place == 1 {
		x = j.length
	}
	a.At = j.t.at(x, 0)
	v := j.t.Read(a, wording.T("caution.blade"))
	j.raw = append(j.raw, RecordReading{Name: name, Label: [...]string{"front", "rear"}[place], Round: round, Low: v.Low, High: v.High, At: v.At})
	return v.Length()
}

func (j *fencing) say(e calc.Estimate, d calc.Decision) {
	id := "ripfence." + d.String()
	switch decision := openOr(e, d, j.window); {
	case decision == "open":
		id = "ripfence.open"
	case d == calc.Outside && e.Value < j.window.Low+e.U:
		id = "ripfence.toein"
	}
	w := j.t.work()
	j.t.Say(id, append(w.effect(), "Along", fine(calc.Length(e.Value)/j.p.Blade*w.Length), "Toe", j.tool.toe(e.Value), "U", j.tool.doubt(e.U), "Blade", wording.Size{Value: j.p.Blade, Coarse: true},
		"Open", j.tool.span(calc.Length(e.Value-e.U), calc.Length(e.Value+e.U)), "High", j.tool.size(j.p.Tol.RipHigh))...)
	j.t.Judge(verdict("ripfence.toe", e, j.window, openOr(e, d, j.window)))
}

// plausible questions a correction that is larger than a fence is ever out: a
// wrong sign or a slipped unit is likelier.
func (j *fencing) plausible(round int, e calc.Estimate) bool {
	s := (must(calc.ToeTarget(calc.Length(e.U), j.window)) - calc.Length(e.Value)).Abs()
	if s <= fenceShift {
		return true
	}
	a := question(Key{Name: "large", Round: round}, "ripfence.large", "Shift", j.tool.size(s))
	a.Choices = orRight()
	return j.t.Pick(a, wording.Text{}) == "right"
}

// adjust moves the rear end of the fence away from the blade or towards it,
// never past parallel, at its head or at the rail's fixings.
func (j *fencing) adjust(round int, e calc.Estimate) bool {
	target := must(calc.ToeTarget(calc.Length(e.U), j.window))
	a := question(Key{Name: "place"}, "ripfence.place")
	a.Choices = choices("head", "rail")
	place := j.t.Pick(a, wording.Text{})
	var fixings []calc.Length
	var reach calc.Length
	if place == "rail" {
		fixings = []calc.Length{-j.dimension("ripfence.near", 150), -j.dimension("ripfence.far", 1000)}
	} else {
		reach = j.dimension("ripfence.reach", 900)
	}
	made := j.t.Adjust(Key{Name: "ripfence.move", Round: round}, wording.T("caution.fence"), func() guard.Adjustment {
		adj := guard.Adjustment{Text: wording.T("ripfence.moves." + place), Why: wording.T("ripfence.moves.why"), After: wording.T("ripfence.after")}
		kind := "rail"
		if place == "head" {
			kind = "ripfence" // its rear end goes sideways, not the rail to and fro
		}
		sketch := &guard.Sketch{Kind: kind, Title: wording.T("ripfence.sketch.title")}
		for i, m := range j.moves(place, e, target, reach, fixings) {
			if m.Travel == 0 {
				continue
			}
			m.Index = i
			adj.Moves = append(adj.Moves, m)
			sketch.Alt = wording.T("ripfence.sketch.alt", "Part", m.Part, "Way", wording.T("towards."+m.Verb), "Move", j.tool.size(m.Travel.Abs()))
			sketch.Points = append(sketch.Points, guard.SketchPoint{Label: m.Part, X: m.At[0], Y: m.At[1], Dir: sign(float64(m.Travel)),
				Move: wording.T("draw.fencemove", "Way", wording.T("towards."+m.Verb), "Move", j.tool.size(m.Travel.Abs()))})
		}
		adj.Drawing = sketch
		return adj
	})
	return anyMade(made)
}

// moves are the motions that bring the toe to the target.
func (j *fencing) moves(place string, e calc.Estimate, target, reach calc.Length, fixings []calc.Length) []guard.Move {
	toe := calc.Length(e.Value)
	if place == "head" {
		away := must(calc.HeadMove(toe, target, j.p.Blade, reach)) // positive away from the blade
		y := j.p.Hand.Mirror(-away)
		verb := "left"
		if y < 0 {
			verb = "right"
		}
		return []guard.Move{{Part: wording.T("part.ripfencerear"), At: &[2]calc.Length{reach, j.p.Hand.Mirror(-100)}, Verb: verb, Travel: y}}
	}
	var out []guard.Move
	for i, x := range must(calc.RailMoves(toe, target, j.p.Blade, fixings, fixings[0])) {
		verb := "rear"
		if x < 0 {
			verb = "front"
		}
		out = append(out, guard.Move{Part: wording.T("part.railfixing", "Number", i+1), At: &[2]calc.Length{0, j.p.Hand.Mirror(fixings[i])}, Verb: verb, Travel: x})
	}
	return out
}

// dimension asks once for a distance that a correction needs.
func (j *fencing) dimension(name string, def calc.Length) calc.Length {
	d := float64(def)
	a := question(Key{Name: name}, name, "Default", wording.Size{Value: def, Coarse: true})
	a.Expect, a.Quantity, a.Tool, a.Default, a.Hard = dims(50, 4000), "length", Ruler, &d, true
	if v := j.t.Read(a, wording.T("caution.fence")); !v.Skipped {
		return v.Length()
	}
	return def
}
