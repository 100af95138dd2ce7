package dialog

import (
	"shimwright/calc"
	"shimwright/dialog/guard"
	"shimwright/dialog/reading"
	"shimwright/dialog/wording"
)

// crosscut squares the crosscut fence by the five-cut test.
type crosscut struct{}

const (
	crosscutRounds  = 6
	crosscutRepeats = 3
	crosscutOver    = calc.Length(300) // the tolerance is stated over this length
	fenceMost       = calc.Length(3)   // a fence move beyond this is questioned
)

func (crosscut) Name() string        { return "crosscut-fence" }
func (crosscut) Gives() []string     { return []string{"crosscut:90"} }
func (crosscut) Needs() []string     { return []string{"slider.level", "slider.toe", "riving-knife"} }
func (crosscut) Minimum(Profile) int { return 3 }

// mitreName is the characteristic of a position of the crosscut fence.
func mitreName(degrees float64) string { return "crosscut:" + degreesOf(degrees) }

// squaring is the job's working state, derived from its answers.
type squaring struct {
	t      *Script
	p      Profile
	tool   Tool
	window calc.Window
	raw    []RecordReading

	found, left calc.Estimate
}

func (crosscut) Run(t *Script) {
	p := t.Profile()
	slope := float64(p.Tol.Crosscut / crosscutOver)
	j := &squaring{t: t, p: p, tool: t.Tool(Caliper), window: calc.Window{Low: -slope, High: slope}}
	t.Confirm(question(Key{Name: "fence.coarse"}, p.fenceText("coarse")), wording.T("caution.fence"))
	known := false
	for n, reread := 1, 0; ; {
		round := t.firstRound() + n
		t.Cut(question(Key{Name: "cut.five", Round: round}, p.fenceText("cut"), "Strip", wording.Span{Low: sized(15), High: sized(25)}), wording.T("caution.cut"))
		e, d := j.strip(round, reread)
		last := d != calc.Outside || n > crosscutRounds
		if !last && !j.plausible(e, round, reread) {
			reread++ // the same strip once more
			continue
		}
		j.say(e, d)
		if !known {
			j.found, known = e, true
		}
		j.left = e
		if last || !j.adjust(round, e) {
			j.finish(d)
			return
		}
		n, reread = n+1, 0
	}
}

// strip reads the strip of the fifth cut, again where it is undecided.
func (j *squaring) strip(round, reread int) (calc.Estimate, calc.Decision) {
	var a, b []float64
	var l calc.Length
	for n := 1; ; n++ {
		place := reread*100 + n*10
		a = append(a, j.read(round, n, place, "strip.first", signed(60, j.tool)).Mid())
		b = append(b, j.read(round, n, place+1, "strip.last", signed(60, j.tool)).Mid())
		if n == 1 {
			l = j.read(round, n, place+2, "strip.length", dims(100, 2000)).Length()
		}
		e := j.estimate(a, b, l)
		d := must(calc.Decide(e, j.window))
		if d != calc.Undecided || n == crosscutRepeats {
			return e, d
		}
		j.t.Say("crosscut.again")
	}
}

// estimate returns ε from the means of the widths.
func (j *squaring) estimate(a, b []float64, l calc.Length) calc.Estimate {
	parts := averaged(must(j.tool.measuring().Read(0)).Components(), a)
	return must(calc.FiveCut(calc.Length(mean(a)), calc.Length(mean(b)), l, parts...))
}

func (j *squaring) read(round, n, index int, name string, e reading.Expect) Value {
	a := question(Key{Name: name, Round: round, Index: index}, name)
	a.Expect, a.Quantity, a.Tool, a.NoSkip = e, "length", Caliper, true
	a.Expect.Signed = false
	if name != "strip.length" {
		a.Label, a.N, a.Expect.Min = wording.T(name+".label"), n, 3
	} else {
		a.Tool, a.Hard, a.Expect.Resolution = Ruler, true, 1
	}
	v := j.t.Read(a, wording.Text{})
	j.raw = append(j.raw, RecordReading{Name: name, Round: round, Low: v.Low, High: v.High, At: v.At})
	return v
}

// say words the error as people know it: over a length, in degrees, and what it
// does to the work.
func (j *squaring) say(e calc.Estimate, d calc.Decision) {
	eps := calc.Angle(e.Value).Abs()
	over := j.t.over()
	w := j.t.work()
	x := must(calc.Express(eps, over))
	panel := must(calc.Panel(eps, w.Width, w.Length))
	way := "lean.rear"
	if e.Value < 0 {
		way = "lean.front"
	}
	args := append(w.effect(), "Over", figure(x.Over), "Base", sized(over), "Way", wording.T(way),
		"Degrees", wording.Tilt{Value: eps, Decimals: 3}, "Limit", figure(j.p.Tol.Crosscut*over/crosscutOver),
		"U", upTo(e.U*float64(over)), "End", fine(panel.End), "Diagonals", fine(panel.Diagonals))
	j.t.Say("crosscut."+d.String(), args...)
	j.t.Judge(verdict("crosscut:90", e, j.window, d.String()))
}

// over is the length that squareness is stated over: a foot for people who work
// in inches.
func (t *Script) over() calc.Length {
	if t.person.Unit == "in" {
		return 12 * calc.Inch
	}
	return crosscutOver
}

// plausible questions a move larger than a coarse squaring leaves.
func (j *squaring) plausible(e calc.Estimate, round, reread int) bool {
	move := must(calc.FenceMove(calc.Angle(e.Value), j.p.FenceReach, j.p.FencePivot))
	if move.Abs() <= fenceMost {
		return true
	}
	a := question(Key{Name: "large", Round: round, Index: reread}, "crosscut.large", "Move", fine(move))
	a.Choices = orRight()
	return j.t.Pick(a, wording.Text{}) == "right"
}

// adjust moves the fence at its adjuster, against a stop block and leaves. It
// returns false when nothing was moved.
func (j *squaring) adjust(round int, e calc.Estimate) bool {
	made := j.t.Adjust(Key{Name: "fence.move", Round: round}, wording.T("caution.fence"), func() guard.Adjustment {
		m := j.t.fenceMove(calc.Angle(e.Value), 0, j.leafTolerance())
		leaning := wording.T("lean.rear")
		if e.Value < 0 {
			leaning = wording.T("lean.front")
		}
		moving := wording.T("draw.fencemove", "Way", wording.T("towards."+m.Verb), "Move", fine(m.Travel))
		mirror := j.p.Hand.Mirror
		sketch := &guard.Sketch{Kind: "fence", Title: wording.T("crosscut.sketch.title"),
			Alt:   wording.T("crosscut.sketch.alt", "Way", leaning, "Move", moving),
			Pivot: mirror(j.p.FencePivot), Adjuster: mirror(j.p.FenceReach), End: mirror(max(j.p.FenceReach, j.p.FencePivot)),
			AtRear: j.p.FenceRear, Lean: calc.Angle(e.Value), Move: m.Travel, LeanText: leaning, MoveText: moving}
		a := fenceAdjustment(j.p, j.p.fenceText("moves"), m)
		a.Drawing = sketch
		return a
	})
	return anyMade(made)
}

// fenceAdjustment words a move of a fence: by leaves against a stop block where a
// stack comes near enough, by an indicator where none does.
func fenceAdjustment(p Profile, text string, m guard.Move) guard.Adjustment {
	a := guard.Adjustment{Text: wording.T(text), Why: wording.T("crosscut.moves.why"), After: wording.T("crosscut.after"), Moves: []guard.Move{m}}
	if len(m.Stack) == 0 {
		a.Text, a.After = wording.T(p.fenceText("moves.indicator")), wording.T("fence.after.indicator")
	}
	return a
}

// fenceText is the id of a text that is another for a mitre gauge than for the
// fence of a slider.
func (p Profile) fenceText(s string) string {
	if p.Kind == Cabinet {
		return "gauge." + s
	}
	return "crosscut." + s
}

// fenceMove is the motion at the fence's adjuster that takes an error eps away:
// its length, as leaves where a stack comes within tol, and as turns where there
// is a screw. turned is how far the fence is turned from square, its far end to
// the rear: the motion is square to it.
func (t *Script) fenceMove(eps, turned calc.Angle, tol calc.Length) guard.Move {
	p := t.profile
	move := must(calc.FenceMove(eps, p.FenceReach, p.FencePivot))
	part := "part.fenceadjuster"
	if p.Kind == Cabinet {
		part = "part.gaugeend"
	}
	m := guard.Move{Part: wording.T(part), At: t.at(t.fenceX(), p.FenceReach), Verb: "rear", Travel: move, Skew: turned, Thread: p.FenceThread}
	if move < 0 {
		m.Verb = "front"
	}
	if stack, err := calc.FeelerStack(p.Leaves, move.Abs(), tol, calc.MostStacked); err == nil && len(stack) > 0 {
		m.Stack = stack
	}
	return m
}

// leafTolerance is how far a stack of leaves may be from the move wanted: a
// fifth of what the tolerance allows at the adjuster.
func (j *squaring) leafTolerance() calc.Length {
	return j.p.Tol.Crosscut / crosscutOver * (j.p.FenceReach - j.p.FencePivot).Abs() / 5
}

// fenceX is where the fence stands along the slider, for the picture.
func (t *Script) fenceX() calc.Length {
	s := t.profile.Stations
	if t.profile.FenceRear {
		return s[len(s)-1].X
	}
	return s[0].X
}

func (j *squaring) finish(d calc.Decision) {
	if d == calc.Outside {
		j.t.Say("crosscut.remains")
	}
	j.t.Record(Record{Characteristic: "crosscut:90", Unit: "rad", Low: bound(j.window.Low), High: bound(j.window.High),
		AsFound: j.t.measured(j.found), AsLeft: j.t.measured(j.left), Decision: d.String(), Adjusted: j.t.turned("fence.move", 0),
		Tool: j.tool.Kind, Resolution: float64(j.tool.Resolution), Readings: j.raw})
}
