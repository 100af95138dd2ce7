package dialog

import (
	"math"

	"shimwright/calc"
	"shimwright/dialog/guard"
	"shimwright/dialog/wording"
)

// runout tells how far the mounted blade runs out, whether flange or blade is
// to blame, and where on the plate to measure.
type runout struct{}

const (
	runoutSteps  = 8                 // steps of a turn that are offered
	runoutTurns  = 3                 // turns at most, where undecided
	runoutRounds = 2                 // times that flanges are cleaned and all is read again
	runoutTries  = 3                 // readings of one turn that did not close
	arborPlay    = calc.Length(0.03) // play at which the bearings come first (practice)
	runoutSpread = 0.3               // mm from the reading before at which one is doubted
	warpFactor   = 3                 // residual over the indicator's own at which the plate is warped (practice)
)

func (runout) Name() string    { return "runout" }
func (runout) Gives() []string { return []string{"runout.blade", "runout.flange"} }
func (runout) Needs() []string { return nil }

// Minimum: play, the number of steps, one turn and its first point again.
func (runout) Minimum(Profile) int { return runoutSteps + 3 }

// turning is the job's working state, derived from its answers.
type turning struct {
	t             *Script
	tool          Tool
	steps         int
	blade, flange calc.Window // of the TIR, the flange's at its own radius
	at, flangeAt  calc.Length // radii: of the plunger, of the flange
	raw           []RecordReading

	bladeFound, bladeLeft   *mounted
	flangeFound, flangeLeft *calc.Estimate
	flangeDecision          calc.Decision // 0 where it was not told apart
	unsure                  bool          // flange and blade could not be told apart
	moved                   bool
}

// mounted is the runout of the blade as it sits on the arbor.
type mounted struct {
	fit      calc.Runout
	tir      calc.Estimate
	warped   bool
	decision calc.Decision
}

func (runout) Run(t *Script) {
	tol := t.Profile().Tol
	j := &turning{t: t, tool: t.Tool(Indicator), blade: calc.AtMost(float64(tol.RunoutBlade)), flange: calc.AtMost(float64(tol.RunoutFlange))}
	for round := 1 + t.upsets()*10; ; round++ {
		j.prepare(round)
		j.flangeLeft, j.flangeDecision, j.unsure = nil, 0, false
		m := j.turn(round, 1)
		j.keep(m)
		j.say(m)
		if j.toTell(m) {
			j.apart(round, m)
		}
		if !j.again(round) {
			j.finish()
			return
		}
		j.moved = true
	}
}

// prepare has everything cleaned and the indicator set up; the first time it
// reads the arbor's play, too, which no cleaning mends.
func (j *turning) prepare(round int) {
	if round%10 > 1 {
		j.t.Confirm(question(Key{Name: "arbor.clean", Round: round}, "runout.clean"), wording.T("caution.bladeoff"))
		return
	}
	j.t.Confirm(question(Key{Name: "arbor.ready", Round: round}, "runout.ready"), wording.T("caution.bladeoff"))
	a := question(Key{Name: "arbor.play", Round: round}, "runout.play")
	a.Expect, a.Quantity, a.Tool = dims(0, 1), "gap", Indicator
	if v := j.t.Read(a, wording.T("caution.blade")); !v.Skipped && v.Length() >= arborPlay {
		pick := question(Key{Name: "bearings", Round: round}, "runout.bearings", "Play", j.tool.size(v.Length()), "Limit", j.tool.size(arborPlay))
		pick.Choices = choices("bearings", "goon")
		if j.t.Pick(pick, wording.Text{}) == "bearings" {
			j.t.Say("runout.bearings.first")
			j.t.suspendParked()
		}
	}
	j.t.Later(j.sayCoarse)
	a = question(Key{Name: "runout.steps", Round: round}, "runout.steps", "Default", runoutSteps)
	def := float64(runoutSteps)
	a.Expect, a.Quantity, a.Default, a.Hard = counts(4, 24), "count", &def, true
	j.steps = runoutSteps
	if v := j.t.Read(a, wording.Text{}); !v.Skipped {
		j.steps = int(v.Mid())
	}
}

// sayCoarse says, before anything is read, that this indicator cannot decide
// the window, where it cannot.
func (j *turning) sayCoarse() {
	turns, level := make([]float64, runoutSteps), make([]calc.Length, runoutSteps)
	for i := range turns {
		turns[i] = float64(i) / runoutSteps
		level[i] = calc.Length(math.Cos(2*math.Pi*turns[i])) * calc.Length(j.blade.High) / 2
	}
	u := must(calc.SweepRunout(turns, level)).Estimate(must(j.tool.measuring().Read(0)).Components()...).U
	if !calc.CanDecide(u, j.blade) {
		j.t.Say("runout.tool", "Resolution", j.tool.doubt(0), "U", j.tool.doubt(u), "High", j.tool.size(calc.Length(j.blade.High)))
	}
}

// turn reads full turns until the runout is decided or a further turn would
// not help.
func (j *turning) turn(round, set int) *mounted {
	var turns []float64
	var values []calc.Length
	for n := 1; ; n++ {
		v := j.once(round, set, n)
		for i := range v {
			turns = append(turns, float64(i)/float64(j.steps))
		}
		values = append(values, v...)
		m := j.judge(turns, values)
		switch {
		case m.warped && j.steps < 6 && n < runoutTurns:
			// With four or five steps a warp cannot be told from the wobble.
			j.t.Say("runout.coarse")
			j.steps, turns, values = runoutSteps, nil, nil
		case m.decision == calc.Undecided && n < runoutTurns && set == 1:
			j.t.Say("runout.another")
		default:
			return m
		}
	}
}

// once reads one turn, the first point again last: it must repeat.
func (j *turning) once(round, set, n int) []calc.Length {
	for try := 0; ; try++ {
		out := make([]calc.Length, j.steps)
		for i := range out {
			out[i] = j.face(round, set, n, try, i, out[max(i-1, 0)])
		}
		again := j.face(round, set, n, try, j.steps, out[j.steps-1])
		r := must(j.tool.measuring().Read(0))
		allowed := math.Max(calc.Difference(r, r).U, 2*float64(j.tool.Resolution))
		if math.Abs(float64(again-out[0])) <= allowed || try == runoutTries-1 {
			return out
		}
		j.t.Say("runout.moved", "Change", j.tool.size((again - out[0]).Abs()))
	}
}

// face reads the plate with the mark i steps past the plunger; a full turn is
// the first point again.
func (j *turning) face(round, set, n, try, i int, before calc.Length) calc.Length {
	k := Key{Name: "blade.face", Round: round*100 + set*10 + n, Index: try*100 + i}
	if j.steps != runoutSteps {
		k.Index += j.steps * 1000
	}
	v := j.t.ReadAt(k, wording.T("caution.blade"), func() guard.Ask {
		id := "runout.step"
		switch i {
		case 0:
			id = "runout.mark"
		case j.steps:
			id = "runout.again"
		}
		return j.ask(k, id, set, float64(i%j.steps)/float64(j.steps), j.step(i), i > 0, before)
	})
	j.raw = append(j.raw, RecordReading{Name: "blade.face", Label: itoa(set) + ": " + itoa(i) + "/" + itoa(j.steps), Round: round,
		Low: v.Low, High: v.High, At: v.At})
	return v.Length()
}

// ask words one reading at the plate.
func (j *turning) ask(k Key, id string, set int, turn float64, step wording.Text, near bool, before calc.Length) guard.Ask {
	a := question(k, id, "Step", step)
	a.Expect, a.Quantity, a.Tool, a.Set, a.Turn, a.NoSkip = signed(indicatorMost, j.tool), "indicator", Indicator, set, &turn, true
	a.Label = step
	if near {
		b := float64(before)
		a.Expect.Near, a.Expect.Spread = &b, runoutSpread
	}
	return a
}

// step names a place of the turn.
func (j *turning) step(i int) wording.Text {
	if i%j.steps == 0 {
		return wording.T("runout.atmark")
	}
	return wording.T("runout.turn", "Turn", wording.Raw(itoa(i)+"/"+itoa(j.steps)))
}

// judge fits the readings and decides. A warp belongs to the runout and not to
// its uncertainty; it is spoken of where what is left over beside the wobble is
// more than the indicator explains.
func (j *turning) judge(turns []float64, values []calc.Length) *mounted {
	m := &mounted{fit: must(calc.FitRunoutAt(turns, values))}
	parts := must(j.tool.measuring().Read(0)).Components()
	own, _ := calc.StandardCombined(parts...)
	m.warped = float64(m.fit.Residual) > warpFactor*own
	m.tir = must(calc.SweepRunout(turns, values)).Estimate(parts...)
	if m.warped {
		m.tir.Value = math.Max(m.tir.Value, float64(m.fit.Sampled))
	}
	m.decision = must(calc.Decide(m.tir, j.blade))
	return m
}

// toTell reports whether flange and blade have to be told apart: the runout is
// outside, and the wobble alone may be. A warp is always the blade's.
func (j *turning) toTell(m *mounted) bool {
	e := m.tir
	e.Value = float64(m.fit.First.TIR())
	return m.decision == calc.Outside && must(calc.Decide(e, j.blade)) != calc.Within
}

func (j *turning) keep(m *mounted) {
	if j.bladeFound == nil {
		j.bladeFound = m
	}
	j.bladeLeft = m
}

// say words the runout of the mounted blade: wobble, warp and noise apart, and
// where to measure.
func (j *turning) say(m *mounted) {
	j.t.Say("runout."+m.decision.String(), "Value", j.tool.size(calc.Length(m.tir.Value)), "U", j.tool.doubt(m.tir.U),
		"High", j.tool.size(calc.Length(j.blade.High)))
	args := []any{"Wobble", j.tool.size(m.fit.First.TIR()), "Step", j.nearest(m.fit.First.High()), "Rest", j.tool.size(m.fit.Residual)}
	switch {
	case m.warped:
		j.t.Say("runout.warp", args...)
	case m.decision != calc.Within:
		j.t.Say("runout.noise", args...)
	}
	if !j.toTell(m) {
		j.t.Say("runout.spot", "Step", j.step(m.fit.Best%j.steps))
	}
	j.t.Judge(verdict("runout.blade", m.tir, j.blade, m.decision.String()))
}

// nearest names the step that is nearest to a part of a turn.
func (j *turning) nearest(turn float64) wording.Text {
	return j.step(int(math.Round(turn*float64(j.steps))) % j.steps)
}

// apart tells flange from blade by a second turn, the blade turned half a turn
// on the arbor.
func (j *turning) apart(round int, first *mounted) {
	j.t.Say("runout.apart")
	j.at = j.radius(round, "arbor.plunger", "runout.plunger", j.t.profile.Blade/2-25)
	j.flangeAt = j.radius(round, "arbor.flange", "runout.flange", 50)
	j.t.Confirm(question(Key{Name: "arbor.half", Round: round}, "runout.half"), wording.T("caution.bladeoff"))
	second := j.turn(round, 2)
	j.keep(second)
	j.moved = true
	rev, sure := j.counted(round, must(calc.Reverse(first.fit, second.fit)), second)
	if !sure {
		j.unsure = true
		j.t.Say("runout.unsure")
		return
	}
	f, b := rev.Estimate(must(j.tool.measuring().Read(0)).Components()...)
	f = f.Times(float64(j.flangeAt / j.at))
	j.flangeDecision = must(calc.Decide(f, j.flange))
	if j.flangeFound == nil {
		j.flangeFound = &f
	}
	j.flangeLeft = &f
	j.sayApart(f, b, second)
}

// radius asks for a radius. Wobble grows with it, so both are needed to state
// the flange's at the flange.
func (j *turning) radius(round int, name, id string, def calc.Length) calc.Length {
	a := question(Key{Name: name, Round: round}, id, "Default", wording.Size{Value: def, Coarse: true})
	d := float64(def)
	a.Expect, a.Quantity, a.Tool, a.Default, a.Hard = dims(15, j.t.profile.Blade/2), "length", Ruler, &d, true
	if v := j.t.Read(a, wording.T("caution.blade")); !v.Skipped {
		return v.Length()
	}
	return def
}

// counted makes sure from which mark the second turn was counted: on the blade
// the two shares change places, and a good arbor would be condemned. It is asked
// only where the verdict hangs on it, by one more reading, and in words only
// where that reading does not tell.
func (j *turning) counted(round int, rev calc.Reversal, second *mounted) (calc.Reversal, bool) {
	if !rev.MarkMatters(calc.Length(j.flange.High) * j.at / j.flangeAt) {
		return rev, true
	}
	i := int(math.Round(second.fit.First.High()*float64(j.steps))) % j.steps
	turn := float64(i) / float64(j.steps)
	k := Key{Name: "blade.face", Round: round*100 + 20, Index: 9000}
	v := j.t.ReadAt(k, wording.T("caution.blade"), func() guard.Ask {
		past := wording.T("runout.atplunger")
		if i > 0 {
			past = wording.T("runout.past", "Turn", wording.Raw(itoa(i)+"/"+itoa(j.steps)))
		}
		a := j.ask(k, "runout.check", 2, turn, past, false, 0)
		a.Label, a.N = wording.Text{}, 2
		return a
	})
	r := must(j.tool.measuring().Read(0))
	u := math.Hypot(calc.Difference(r, r).U, 2*float64(second.fit.Residual))
	// The two answers stand apart by this much; a quarter of it decides as well.
	u = math.Max(u, float64((second.fit.At(turn)-second.fit.At(turn+0.5)).Abs())/4)
	mark := must(calc.CheckMark(second.fit, turn, v.Length(), calc.Length(u)))
	if mark == calc.MarkUnclear {
		a := question(Key{Name: "counted", Round: round}, "runout.counted")
		a.Choices = choices("onarbor", "onblade", "unsure")
		mark = map[string]calc.Mark{"onarbor": calc.MarkOnArbor, "onblade": calc.MarkOnBlade}[j.t.Pick(a, wording.Text{})]
	}
	if mark == calc.MarkOnBlade {
		j.t.Say("runout.swapped")
		return rev.CountedOnBlade(), true
	}
	return rev, mark == calc.MarkOnArbor
}

// sayApart words what flange and blade each contribute, and how the blade runs
// as it now sits.
func (j *turning) sayApart(f, b calc.Estimate, now *mounted) {
	j.t.Say("runout.flange."+j.flangeDecision.String(), "Value", j.tool.size(calc.Length(f.Value)), "U", j.tool.doubt(f.U),
		"High", j.tool.size(calc.Length(j.flange.High)))
	d := must(calc.Decide(b, j.blade))
	j.t.Say("runout.own."+d.String(), "Value", j.tool.size(calc.Length(b.Value)), "U", j.tool.doubt(b.U),
		"High", j.tool.size(calc.Length(j.blade.High)))
	id := "runout.now"
	if now.decision != calc.Outside {
		id = "runout.keep"
	}
	j.t.Say(id, "Value", j.tool.size(calc.Length(now.tir.Value)), "U", j.tool.doubt(now.tir.U))
	j.t.Say("runout.spot", "Step", j.step(now.fit.Best%j.steps))
	j.t.Judge(verdict("runout.flange", f, j.flange, j.flangeDecision.String()))
}

// again offers to clean the flanges and read once more, where that may help: a
// bent blade stays bent.
func (j *turning) again(round int) bool {
	if j.flangeDecision != calc.Outside && !j.unsure || round%10 > runoutRounds {
		return false
	}
	a := question(Key{Name: "clean", Round: round}, "runout.next")
	a.Choices = choices("wipe", "asfound")
	return j.t.Pick(a, wording.Text{}) == "wipe"
}

// finish records. Where the mounted blade is within its limit the flange need
// not be known apart: it is recorded as checked by its effect.
func (j *turning) finish() {
	r := Record{Characteristic: "runout.blade", Unit: "mm", High: bound(j.blade.High), Decision: j.bladeLeft.decision.String(),
		AsFound: j.t.measured(j.bladeFound.tir), AsLeft: j.t.measured(j.bladeLeft.tir), Adjusted: j.moved,
		Tool: j.tool.Kind, Resolution: float64(j.tool.Resolution), Readings: j.raw}
	j.t.Record(r)
	f := Record{Characteristic: "runout.flange", Unit: "mm", High: bound(j.flange.High), Adjusted: j.moved,
		Tool: j.tool.Kind, Resolution: float64(j.tool.Resolution)}
	switch {
	case j.flangeLeft != nil:
		f.AsFound, f.AsLeft, f.Decision = j.t.measured(*j.flangeFound), j.t.measured(*j.flangeLeft), j.flangeDecision.String()
	case j.unsure:
		return
	case j.flangeFound != nil:
		f.Decision, f.remark = calc.Within.String(), wording.T("record.cleaned", "Value", j.tool.size(calc.Length(j.flangeFound.Value)))
	default:
		f.Decision, f.remark = calc.Within.String(), wording.T("record.notapart")
	}
	j.t.Record(f)
}
