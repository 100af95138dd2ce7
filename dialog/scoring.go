package dialog

import (
	"shimwright/calc"
	"shimwright/dialog/guard"
	"shimwright/dialog/reading"
	"shimwright/dialog/wording"
)

// scoring sets the scoring blade: its line evenly over the main kerf, as wide as
// it needs and no deeper than it must.
type scoring struct{}

const (
	scoreJob    = "score.shift"
	scoreRounds = 5
	scoreTries  = 3                 // readings of one piece that are questioned
	scoreEven   = calc.Length(0.05) // most that the line is off the middle of the kerf (practice)
	scoreOver   = calc.Length(0.05) // what it stands over on each side where it has to be made wider (practice)
	scoreLeast  = calc.Length(0.02) // least on each side, on average (practice)
	scoreMost   = calc.Length(0.15) // most (practice)
	scoreLarge  = calc.Length(2)    // a sideways move beyond this is questioned
)

func (scoring) Name() string        { return "scoring" }
func (scoring) Gives() []string     { return []string{scoreJob} }
func (scoring) Needs() []string     { return []string{knifeJob} }
func (scoring) Minimum(Profile) int { return 3 }

// scored is the job's working state, derived from its answers.
type scored struct {
	t      *Script
	tool   Tool
	raw    []RecordReading
	base   int // of the rounds: they begin anew with another blade
	kind   string
	flank  calc.Angle
	window calc.Window

	left, right, depth      calc.Length
	shift                   calc.Estimate
	widen                   calc.Length // how much wider the line has to become
	even, wide, deep, whole calc.Decision
	found                   *calc.Estimate
}

// scoreAim is the depth that a blade is set to.
func scoreAim() calc.Length { return calc.Length(must(calc.Aim(0, calc.ScoreDepth()))) }

func (scoring) Run(t *Script) {
	if !t.Profile().Scoring {
		t.Say("scoring.none")
		return
	}
	j := &scored{t: t, tool: t.Tool(Caliper), base: t.upsets() * 10, window: calc.Window{Low: -float64(scoreEven), High: float64(scoreEven)}}
	for n := 1; ; n++ {
		round := j.base + n
		t.Cut(question(Key{Name: "cut.scoring", Round: round}, "scoring.cut"), wording.T("caution.cut"))
		for try := 0; ; try++ {
			if j.read(round*10 + try); try == scoreTries-1 || j.believed(round*10+try) {
				break
			}
		}
		if j.found == nil {
			e := j.shift
			j.found = &e
		}
		j.say()
		if j.whole != calc.Outside || n > scoreRounds || !j.adjust(round) {
			j.finish()
			return
		}
	}
}

// read takes the step that the scored line leaves on either piece, and its depth.
func (j *scored) read(round int) {
	left := j.ask(round, 0, "score.left", signed(3, j.tool))
	right := j.ask(round, 1, "score.right", signed(3, j.tool))
	depth := j.ask(round, 2, "score.depth", dims(0, 10))
	parts := left.Components()
	j.left, j.right, j.depth = left.Value(), right.Value(), depth.Value()
	j.shift = must(calc.ScoreShift(j.left, j.right, parts...))
	j.widen = must(calc.ScoreWiden(j.left, j.right, scoreOver))
	j.even = must(calc.Decide(j.shift, j.window))
	// The sum of both sides is as uncertain as their difference, and the shift is
	// half of that.
	wide := calc.Estimate{Value: float64(j.widen), U: 2 * j.shift.U, DoF: j.shift.DoF}
	j.wide = must(calc.Decide(wide, calc.Window{Low: float64(2 * (scoreOver - scoreMost)), High: float64(2 * (scoreOver - scoreLeast))}))
	j.deep = must(calc.Decide(depth.Estimate(), calc.ScoreDepth()))
	j.whole = calc.Within
	for _, d := range []calc.Decision{j.even, j.wide, j.deep} {
		if d == calc.Outside || d == calc.Undecided && j.whole == calc.Within {
			j.whole = d
		}
	}
}

func (j *scored) ask(round, index int, name string, e reading.Expect) calc.Reading {
	a := question(Key{Name: name, Round: round}, name)
	a.Expect, a.Quantity, a.Tool, a.NoSkip = e, "gap", Caliper, true
	if e.Signed {
		a.Label = wording.T(name + ".label")
		a.Plus, a.Minus = "words.over", "words.short"
		a.Signs = [3]string{"score.over", "score.short", "score.flush"}
	}
	v := j.t.Read(a, wording.T("caution.scored"))
	j.raw = append(j.raw, RecordReading{Name: name, Round: round, Low: v.Low, High: v.High, At: v.At})
	return v.Reading(j.tool.measuring())
}

// say words each of the three that is out, or that it is good enough.
func (j *scored) say() {
	way, chips := "towards.left", "side.right"
	if j.shift.Value > 0 {
		way, chips = "towards.right", "side.left"
	}
	depth := calc.ScoreDepth()
	args := []any{"Off", j.tool.size(calc.Length(j.shift.Value).Abs()), "U", j.tool.doubt(j.shift.U), "Way", wording.T(way), "Chips", wording.T(chips),
		"Limit", j.tool.size(scoreEven), "Sum", j.tool.size((j.left + j.right).Abs()), "Least", j.tool.size(2 * scoreLeast), "Most", j.tool.size(2 * scoreMost),
		"Depth", j.tool.size(j.depth), "Window", Tool{Resolution: 0.1}.span(calc.Length(depth.Low), calc.Length(depth.High))}
	j.t.Judge(verdict(scoreJob, j.shift, j.window, j.whole.String()))
	if j.whole != calc.Outside {
		j.t.Say("scoring."+j.whole.String(), args...)
		return
	}
	if j.even == calc.Outside {
		j.t.Say("scoring.uneven", args...)
	}
	switch {
	case j.wide == calc.Outside && j.left+j.right < 0:
		j.t.Say("scoring.short", args...)
	case j.wide == calc.Outside && j.widen > 0:
		j.t.Say("scoring.narrow", args...)
	case j.wide == calc.Outside:
		j.t.Say("scoring.broad", args...)
	}
	switch {
	case j.deep == calc.Outside && j.depth < scoreAim():
		j.t.Say("scoring.shallow", args...)
	case j.deep == calc.Outside:
		j.t.Say("scoring.deep", args...)
	}
}

// believed questions a move larger than a scoring blade is ever out.
func (j *scored) believed(round int) bool {
	if calc.Length(j.shift.Value).Abs() <= scoreLarge {
		return true
	}
	a := question(Key{Name: "large", Round: round}, "scoring.large", "Shift", j.tool.size(calc.Length(j.shift.Value).Abs()))
	a.Choices = orRight()
	return j.t.Pick(a, wording.Text{}) == "right"
}

// adjust moves the blade sideways and up or down, and makes its line wider or
// narrower by what the blade is made for. It returns false when nothing was
// moved.
func (j *scored) adjust(round int) bool {
	if j.wide == calc.Outside && !j.kindOf(round) {
		return false
	}
	made := j.t.Adjust(Key{Name: "score.moves", Round: round}, wording.T("caution.scoring"), func() guard.Adjustment {
		a := guard.Adjustment{Text: wording.T("scoring.moves"), Why: wording.T("scoring.moves.why"), After: wording.T("scoring.after")}
		add := func(part string, verbs [2]string, travel calc.Length) {
			m := guard.Move{Part: wording.T(part), Verb: verbs[0], Travel: travel, Index: len(a.Moves)}
			if travel < 0 {
				m.Verb = verbs[1]
			}
			a.Moves = append(a.Moves, m)
		}
		if j.even == calc.Outside {
			add("part.scoring", [2]string{"left", "right"}, calc.Length(j.shift.Value))
		}
		switch {
		case j.wide == calc.Outside && j.kind == "split":
			a.Text = wording.T("scoring.spacers")
			add("part.scoringspacers", [2]string{"wider", "narrower"}, j.widen)
		case j.wide == calc.Outside:
			add("part.scoring", [2]string{"raise", "lower"}, must(calc.ConicalDepth(j.widen, j.flank)))
		case j.deep == calc.Outside:
			add("part.scoring", [2]string{"raise", "lower"}, scoreAim()-j.depth)
		}
		return a
	})
	return anyMade(made)
}

// kindOf asks, once it matters, how the blade's line is made wider. It returns
// false for a blade whose line can't be.
func (j *scored) kindOf(round int) bool {
	a := question(Key{Name: "scoring.kind", Round: j.base}, "scoring.kind")
	a.Choices = choices("split", "conical", "plain")
	j.kind = j.t.Pick(a, wording.Text{})
	switch j.kind {
	case "plain":
		j.t.Say("scoring.plain")
		return false
	case "conical":
		f := question(Key{Name: "scoring.flank", Round: j.base}, "scoring.flank")
		f.Expect = reading.Expect{Quantity: reading.Angle, Min: float64(calc.Degree), Max: float64(20 * calc.Degree)}
		f.Quantity, f.Hard, f.NoSkip = "angle", true, true
		j.flank = calc.Angle(j.t.Read(f, wording.Text{}).Mid())
		to := j.depth + must(calc.ConicalDepth(j.widen, j.flank))
		if d := calc.ScoreDepth(); float64(to) < d.Low || float64(to) > d.High {
			j.t.Say("scoring.worn", "Depth", j.tool.size(to))
			return false
		}
	}
	return true
}

func (j *scored) finish() {
	if j.whole == calc.Outside {
		j.t.Say("scoring.remains")
	}
	j.t.Record(Record{Characteristic: scoreJob, Unit: "mm", Low: bound(j.window.Low), High: bound(j.window.High), Decision: j.whole.String(),
		AsFound: j.t.measured(*j.found), AsLeft: j.t.measured(j.shift), Adjusted: j.t.turned("score.moves", 0), Tool: Caliper,
		Resolution: float64(j.tool.Resolution), Readings: j.raw})
}
