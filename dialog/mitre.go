package dialog

import (
	"math"
	"slices"

	"shimwright/calc"
	"shimwright/dialog/guard"
	"shimwright/dialog/wording"
)

// mitre sets the crosscut fence's positions besides square, by pairs of cuts. It
// is asked for by its name only; a position that was once asked for belongs to
// the saw from then on.
type mitre struct{}

const (
	mitreRounds = 6
	mitreUsual  = 45.0
	mitreMost   = calc.Length(6) // a fence move beyond this is questioned (practice)
)

func (mitre) Name() string    { return "mitre-positions" }
func (mitre) Gives() []string { return []string{"crosscut:"} }
func (mitre) Needs() []string { return []string{"slider.level", "crosscut:90", knifeJob} }

// Minimum is one gap for each position, none where the joint is closed.
func (mitre) Minimum(p Profile) int { return len(p.Mitres) }

// mitring is the job's working state, derived from its answers.
type mitring struct {
	t      *Script
	p      Profile
	window calc.Window
}

func (mitre) Run(t *Script) {
	p := t.Profile()
	j := &mitring{t: t, p: p, window: calc.Window{Low: -float64(p.Tol.Tilt), High: float64(p.Tol.Tilt)}}
	now := p.Mitres
	if len(now) == 0 {
		now = []float64{mitreUsual}
	}
	for i, degrees := range t.degrees("mitre.which", 0, now, stopLeast, stopMost) {
		j.position(i, degrees)
	}
}

// position cuts pairs at one position and moves the fence until they close.
func (j *mitring) position(n int, degrees float64) {
	stop := stopText(degrees)
	a := question(Key{Name: "mitre.lean", Index: n}, "mitre.lean", "Stop", stop)
	a.Choices = choices("rear", "front")
	rear := j.t.Pick(a, wording.Text{}) == "rear"
	a = question(Key{Name: "fence.mitre", Index: n}, "mitre.set", "Stop", stop)
	a.Stop = &degrees
	j.t.Confirm(a, wording.T("caution.fence"))
	var found calc.Estimate
	known := false
	for k := 1; ; k++ {
		round := j.t.firstRound() + k
		e := j.pair(n, round, degrees)
		d := must(calc.Decide(e, j.window))
		last := d != calc.Outside || k > mitreRounds
		if !last && !j.plausible(n, round, e, rear) {
			continue // a pair once more
		}
		j.say(degrees, e, d)
		if !known {
			found, known = e, true
		}
		if last || !j.adjust(n, round, degrees, e, rear) {
			j.record(n, degrees, found, e, d)
			return
		}
	}
}

// pair cuts two pieces at the position and reads their corner against a true
// one: a square, or a bevel that was set to twice what is left of 90 degrees.
func (j *mitring) pair(n, round int, degrees float64) calc.Estimate {
	a := question(Key{Name: "cut.mitre", Round: round, Index: n}, "mitre.cut", "Stop", stopText(degrees))
	a.Stop = &degrees
	j.t.Cut(a, wording.T("caution.cut"))
	gap, open, parts := j.t.corner("mitre.open", "mitre.gap", round, n, degrees)
	return must(calc.MitrePair(gap, j.t.arm(), open, parts...))
}

// corner asks how a corner of two cuts meets a true one, and returns the gap at
// the end of an arm, where it is open, and its components. What the check of the
// square found is taken off; a bevel that was set to the corner is taken as true.
func (t *Script) corner(meets, gap string, round, n int, degrees float64) (calc.Length, calc.Opening, []calc.Component) {
	a := question(Key{Name: meets, Round: round, Index: n}, meets, "Corner", cornerOf(degrees))
	a.Choices = choices("closed", "heel", "toe")
	open := t.Pick(a, wording.Text{})
	var v Value
	if open != "closed" {
		a = question(Key{Name: gap, Round: round, Index: n}, "pair.gap", "Arm", sized(t.arm()))
		a.Expect, a.Quantity, a.Tool, a.NoSkip, a.Stop = dims(0, tiltGapMost), "gap", Feelers, true, &degrees
		a.Expect.Leaves, a.Expect.Resolution = t.profile.Leaves, 0.01
		v = t.Read(a, wording.Text{})
	}
	square, u := Tool{}.squareness()
	if degrees == 45 {
		square, u = t.Tool(Square).squareness()
	}
	atHeel := v.Length()
	if open == "toe" {
		atHeel = -atHeel
	}
	atHeel -= calc.Length(square.Value) * t.arm()
	parts := append(t.feeler(v).Components(), u.Times(float64(t.arm())))
	if atHeel < 0 {
		return -atHeel, calc.OpenAtToe, parts
	}
	return atHeel, calc.OpenAtHeel, parts
}

// cornerOf names what two pieces cut at an angle are held in.
func cornerOf(degrees float64) wording.Text {
	if degrees == 45 {
		return wording.T("corner.square")
	}
	return wording.T("corner.bevel", "Corner", stopText(2*(90-degrees)))
}

// say words the error and how far a joint opens: twice the error over the cut.
func (j *mitring) say(degrees float64, e calc.Estimate, d calc.Decision) {
	way := wayOff(e)
	w := j.t.work()
	rail := j.t.rail()
	gap := calc.Length(2*calc.Angle(e.Value).Abs()) * rail / calc.Length(math.Cos(float64(calc.Angle(degrees)*calc.Degree)))
	j.t.Say("mitre."+d.String(), append(w.effect(), "Stop", stopText(degrees), "Value", wording.Tilt{Value: calc.Angle(e.Value).Abs(), Decimals: 2},
		"U", wording.Tilt{Value: doubtOf(e.U), Decimals: 2}, "Way", wording.T(way), "Limit", wording.Tilt{Value: j.p.Tol.Tilt, Decimals: 2},
		"Rail", sized(rail), "Gap", fine(gap))...)
	j.t.Judge(verdict(mitreName(degrees), e, j.window, d.String()))
}

// rail is the width of the mitred rail that verdicts speak of (practice, no
// published source).
func (t *Script) rail() calc.Length {
	if t.person.Unit == "in" {
		return 2.5 * calc.Inch
	}
	return 60
}

// arm is how far along the arm of a square the gap of a corner is read.
func (t *Script) arm() calc.Length {
	if t.person.Unit == "in" {
		return 4 * calc.Inch
	}
	return 100
}

// fenceError is the error of the fence in a position whose far end stands to
// the rear or to the front of square.
func fenceError(e calc.Estimate, rear bool) calc.Angle {
	return calc.MitreFenceError(calc.Angle(e.Value), rear)
}

// plausible questions a move larger than a position is ever out.
func (j *mitring) plausible(n, round int, e calc.Estimate, rear bool) bool {
	move := must(calc.FenceMove(fenceError(e, rear), j.p.FenceReach, j.p.FencePivot))
	if move.Abs() <= mitreMost {
		return true
	}
	a := question(Key{Name: "large", Round: round, Index: n}, "mitre.large", "Move", fine(move))
	a.Choices = orRight()
	return j.t.Pick(a, wording.Text{}) == "right"
}

// adjust moves the fence at its adjuster, square to itself.
func (j *mitring) adjust(n, round int, degrees float64, e calc.Estimate, rear bool) bool {
	made := j.t.Adjust(Key{Name: "fence.mitremove", Round: round, Index: n}, wording.T("caution.fence"), func() guard.Adjustment {
		turned := calc.Angle(degrees) * calc.Degree
		if !rear {
			turned = -turned
		}
		lever := (j.p.FenceReach - j.p.FencePivot).Abs()
		m := j.t.fenceMove(fenceError(e, rear), turned, lever*calc.Length(j.p.Tol.Tilt)/5)
		text := "mitre.moves"
		if j.p.Kind == Cabinet {
			text = "mitre.moves.gauge"
		}
		return fenceAdjustment(j.p, text, m)
	})
	return anyMade(made)
}

// record keeps the result, and the position with the saw.
func (j *mitring) record(n int, degrees float64, found, left calc.Estimate, d calc.Decision) {
	if d == calc.Outside {
		j.t.Say("crosscut.remains")
	}
	p := j.t.saw.Profile
	if !slices.Contains(p.Mitres, degrees) {
		p.Mitres = append(slices.Clone(p.Mitres), degrees)
		slices.Sort(p.Mitres)
		j.t.KeepProfile(p)
	}
	j.t.Record(Record{Characteristic: mitreName(degrees), Unit: "rad", Low: bound(j.window.Low), High: bound(j.window.High),
		AsFound: j.t.measured(found), AsLeft: j.t.measured(left), Decision: d.String(), Adjusted: j.t.turned("fence.mitremove", n), Tool: Feelers,
		Resolution: float64(j.t.Tool(Feelers).Resolution)})
}
