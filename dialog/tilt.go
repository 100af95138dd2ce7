package dialog

import (
	"math"

	"shimwright/calc"
	"shimwright/dialog/guard"
	"shimwright/dialog/reading"
	"shimwright/dialog/wording"
)

// tiltStops sets the square stop and the bevel stops of the blade's tilt.
type tiltStops struct{}

// Limits of the job (practice, no published source).
const (
	tiltRounds  = 8
	tiltGapMost = calc.Length(5)
	tiltLarge   = calc.Degree     // off its nominal angle: a stop that is further out is questioned first
	tiltMost    = 5 * calc.Degree // off level or off a stop: beyond it a level's reading is doubted
)

func (tiltStops) Name() string    { return "tilt-stops" }
func (tiltStops) Gives() []string { return []string{"tilt:90", "tilt:"} }
func (tiltStops) Needs() []string { return []string{"slider.level"} }

// Minimum is a gap for each stop, and the height they share.
func (tiltStops) Minimum(p Profile) int { return 2 + len(p.Stops) }

// tilting is the job's working state, derived from its answers.
type tilting struct {
	t       *Script
	p       Profile
	method  string
	side    string // of the square, left or right
	height  calc.Length
	window  calc.Window
	upright string // what a level shows on an upright plate
}

func (tiltStops) Run(t *Script) {
	j := &tilting{t: t, p: t.Profile(), window: calc.Window{Low: -float64(t.Profile().Tol.Tilt), High: float64(t.Profile().Tol.Tilt)}}
	a := question(Key{Name: "method"}, "tilt.method")
	a.Choices = choices("gap", "pair", "level")
	j.method = t.Pick(a, wording.Text{})
	if j.method == "level" {
		j.method = j.levelToo(a)
	}
	if j.method == "gap" {
		a = question(Key{Name: "side"}, "tilt.side")
		a.Choices = order(j.p.Hand == calc.Right, "left", "right")
		j.side = t.Pick(a, wording.Text{})
	}
	j.stop(0, 90)
	for i, s := range j.p.Stops {
		j.stop(i+1, s)
		if s == 45 {
			j.travel(s)
		}
	}
}

// travel reads the toe once more with the blade tilted, for whoever wants to
// know: a tilt axis that does not lie along the travel shows there only. No stop
// sets it.
func (j *tilting) travel(degrees float64) {
	l := newToeing(j.t)
	a := question(Key{Name: "tilted"}, l.id("also"), "Stop", stopText(degrees))
	a.Choices = choices("leaveout", "yes")
	if j.t.Pick(a, wording.Text{}) != "yes" {
		return
	}
	j.t.Confirm(question(Key{Name: l.name("tilted")}, l.id("tilted"), "Side", l.p.slotSide()), wording.T("caution.blade"))
	l.travelled()
	e, d := l.measure(tiltedRound)
	decision := openOr(e, d, l.window)
	j.t.Say("tilt.travel."+decision, "Stop", stopText(degrees), "Toe", l.tool.toe(e.Value), "U", l.tool.doubt(e.U),
		"Blade", sized(l.p.Blade), "High", l.tool.size(l.p.Tol.ToeHigh))
	name := bevelToe + degreesOf(degrees)
	j.t.Judge(verdict(name, e, l.window, decision))
	j.t.Record(Record{Characteristic: name, Unit: "mm", Low: bound(l.window.Low), High: bound(l.window.High), AsFound: j.t.measured(e),
		AsLeft: j.t.measured(e), Decision: decision, Tool: l.tool.Kind, Resolution: float64(l.tool.Resolution), Readings: l.raw})
}

const (
	bevelToe    = "bevel.toe:" // of the travel, read at a bevel stop
	tiltedRound = 60           // tells its readings from those at the square stop
)

// levelToo says before any reading that a level of a tenth of a degree cannot
// decide a twentieth, and offers what can.
func (j *tilting) levelToo(a guard.Ask) string {
	u := calc.Combine(append(j.shown(), j.shown()...)...).U
	if calc.CanDecide(u, j.window) {
		return "level"
	}
	a = question(Key{Name: "method", Index: 1}, "tilt.coarse", "Resolution", wording.Tilt{Value: j.t.Tool(Level).Angle, Decimals: 2},
		"Limit", wording.Tilt{Value: j.p.Tol.Tilt, Decimals: 2})
	a.Choices = choices("gap", "pair", "level")
	return j.t.Pick(a, wording.Text{})
}

// stop measures one stop and turns its screw until it is good enough.
func (j *tilting) stop(n int, degrees float64) {
	name := stopText(degrees)
	var moves []calc.ScrewMove
	var found calc.Estimate
	known, believed := false, tiltLarge
	for k := 1; ; k++ {
		round := j.t.firstRound() + k
		a := question(Key{Name: "tilt.set", Round: round, Index: n}, "tilt.set", "Stop", name)
		a.Stop = &degrees
		j.t.Confirm(a, wording.T("caution.tilt"))
		e := j.measure(n, round, degrees)
		d := must(calc.Decide(e, j.window))
		if off := calc.Angle(e.Value).Abs(); off > believed && k <= tiltRounds {
			if !j.plausible(n, round, off) {
				continue // read again
			}
			believed = off
		}
		if !known {
			found, known = e, true
		}
		if len(moves) > 0 {
			moves[len(moves)-1].After = e.Value
		}
		j.say(degrees, e, d)
		if d != calc.Outside || k > tiltRounds || !j.turn(n, round, e, &moves) {
			j.record(n, degrees, found, e, d)
			return
		}
	}
}

// plausible questions an angle further off than a stop is ever out: a unit or a
// point that has slipped is likelier.
func (j *tilting) plausible(n, round int, off calc.Angle) bool {
	a := question(Key{Name: "large", Round: round, Index: n}, "tilt.large", "Off", wording.Tilt{Value: off, Decimals: 2})
	a.Choices = orRight()
	return j.t.Pick(a, wording.Text{}) == "right"
}

// measure reads the stop by the chosen method.
func (j *tilting) measure(n, round int, degrees float64) calc.Estimate {
	switch j.method {
	case "gap":
		return j.byGap(n, round, degrees)
	case "level":
		return j.byLevel(n, round, degrees)
	}
	if degrees == 90 {
		return j.byFlip(n, round)
	}
	return j.byPair(n, round, degrees)
}

// byGap reads a square, or for a bevel stop a bevel set to it, against the
// plate. The side that the blade leans away from reads top gaps as positive.
func (j *tilting) byGap(n, round int, degrees float64) calc.Estimate {
	v := j.gap(Key{Name: "tilt.gap", Round: round, Index: n}, "tilt.gap", degrees)
	if j.height == 0 {
		def := float64(j.t.Tool(Square).Length)
		a := question(Key{Name: "tilt.height"}, "tilt.height", "Default", wording.Size{Value: calc.Length(def), Coarse: true})
		a.Expect, a.Quantity, a.Default, a.Hard, a.Tool = dims(30, 1000), "length", &def, true, Ruler
		if h := j.t.Read(a, wording.T("caution.blade")); h.Skipped {
			j.height = calc.Length(def)
		} else {
			j.height = h.Length()
		}
	}
	gap, parts := v.Length(), j.t.feeler(v).Components()
	square, u := j.t.Tool(Square).squareness()
	if degrees != 90 {
		square, u = Tool{}.squareness() // a bevel that is set to the stop's angle
	}
	// What the check of the square found is taken off; its doubt stays.
	gap += must(calc.SquareCorrection(square, j.height))
	parts = append(parts, u.Times(float64(j.height)))
	return must(calc.TiltByGap(gap, j.height, j.leans(j.side), parts...))
}

// gap asks for a signed gap: open at the top is positive.
func (j *tilting) gap(k Key, id string, degrees float64) Value {
	a := question(k, id, "Side", wording.T("choice."+sideWord(j.side)), "Stop", stopText(degrees))
	a.Expect = signed(tiltGapMost, j.t.Tool(Feelers))
	a.Plus, a.Minus = "words.top", "words.bottom"
	a.Expect.Leaves = j.p.Leaves
	a.Expect.SignNeeded, a.Expect.Resolution = true, 0.01
	a.Signs = [3]string{"gap.top", "gap.bottom", "gap.none"}
	a.Quantity, a.Tool, a.Side, a.Stop, a.Height, a.NoSkip = "gap", Feelers, j.side, &degrees, j.height, true
	return j.t.Read(a, wording.T("caution.blade"))
}

func sideWord(s string) string {
	if s == "" {
		return "left"
	}
	return s
}

// leans returns which side of the blade a square on the left or right is.
func (j *tilting) leans(side string) calc.LeanSide {
	if (side == "left") == j.p.TiltLeft {
		return calc.TowardSide
	}
	return calc.AwaySide
}

// byLevel reads a level on the table and on the plate. Most show the angle to the
// level they were set to zero on, so 90 on an upright plate; some are set to zero
// on an upright one. At the square stop neither says which way the plate leans.
func (j *tilting) byLevel(n, round int, degrees float64) calc.Estimate {
	nominal := calc.Angle(degrees) * calc.Degree
	read := func(i int, id, side string, near calc.Angle) calc.Angle {
		a := question(Key{Name: "tilt.angle", Round: round, Index: n*10 + i}, id)
		about := float64(near)
		a.Expect = reading.Expect{Quantity: reading.Angle, Signed: true, Min: -float64(60 * calc.Degree), Max: float64(100 * calc.Degree),
			Resolution: float64(j.t.Tool(Level).Angle), Near: &about, Spread: float64(tiltMost)}
		a.Quantity, a.Tool, a.Stop, a.Side, a.NoSkip = "angle", Level, &degrees, side, true
		return calc.Angle(j.t.Read(a, wording.T("caution.blade")).Mid())
	}
	if j.upright == "" {
		a := question(Key{Name: "level.shows"}, "tilt.upright")
		a.Choices = choices("ninety", "zero")
		j.upright = j.t.Pick(a, wording.Text{})
	}
	if degrees == 90 {
		nominal = 0
	}
	about := nominal
	if j.upright == "ninety" {
		about = 90*calc.Degree - nominal
	}
	table := read(0, "tilt.table", "table", 0)
	lean := read(1, "tilt.blade", "plate", table+about) - table
	if j.upright == "ninety" {
		lean = 90*calc.Degree - lean
	}
	if degrees == 90 {
		lean = j.sided(Key{Name: "leans", Round: round, Index: n}, lean.Abs())
	}
	return must(calc.TiltByLevel(lean, 0, nominal, j.shown()...))
}

// levelRepeat is how well a level repeats in a hand, one standard deviation
// (practice, no published source).
const levelRepeat = 0.03 * calc.Degree

// shown are the components of one angle that a level shows.
func (j *tilting) shown() []calc.Component {
	return []calc.Component{calc.Rectangular(float64(j.t.Tool(Level).Angle) / 2), calc.Normal(float64(levelRepeat), usualDoF)}
}

// sided asks which way a plate leans that should stand upright, and returns the
// lean with its sign: positive to the side that the blade tilts to.
func (j *tilting) sided(k Key, lean calc.Angle) calc.Angle {
	if lean < j.t.Tool(Level).Angle/100 {
		return lean // upright, as far as a level ever shows
	}
	a := question(k, "tilt.leans")
	a.Choices = choices("left", "right")
	if (j.t.Pick(a, wording.Text{}) == "left") != j.p.TiltLeft {
		return -lean
	}
	return lean
}

// byFlip cuts a piece, rolls one part over and reads the gap of the butted cut.
func (j *tilting) byFlip(n, round int) calc.Estimate {
	square := 90.0
	a := question(Key{Name: "flip.cut", Round: round, Index: n}, "flip.cut")
	a.Stop = &square
	j.t.Cut(a, wording.T("caution.cut"))
	a = question(Key{Name: "flip.thickness", Round: round, Index: n}, "flip.thickness")
	a.Expect, a.Quantity, a.Tool, a.Hard, a.NoSkip = dims(10, 200), "length", Caliper, true, true
	thick := j.t.Read(a, wording.Text{})
	a = question(Key{Name: "flip.gap", Round: round, Index: n}, "flip.gap")
	a.Expect = signed(tiltGapMost, j.t.Tool(Feelers))
	a.Plus, a.Minus = "words.top", "words.bottom"
	a.Expect.Leaves, a.Expect.SignNeeded, a.Expect.Resolution = j.p.Leaves, true, 0.01
	a.Signs = [3]string{"gap.top", "gap.bottom", "gap.none"}
	a.Quantity, a.Tool, a.NoSkip = "gap", Feelers, true
	v := j.t.Read(a, wording.Text{})
	return must(calc.TiltByFlip(v.Length(), thick.Length(), j.leans("left"), j.t.feeler(v).Components()...))
}

// byPair cuts two pieces at the stop and reads their corner against a square.
func (j *tilting) byPair(n, round int, degrees float64) calc.Estimate {
	a := question(Key{Name: "flip.cut", Round: round, Index: n}, "pair.cut", "Stop", stopText(degrees))
	a.Stop = &degrees
	j.t.Cut(a, wording.T("caution.cut"))
	gap, open, parts := j.t.corner("pair.open", "pair.gap", round, n, degrees)
	return must(calc.BevelPair(gap, j.t.arm(), open, parts...))
}

func (j *tilting) say(degrees float64, e calc.Estimate, d calc.Decision) {
	id := "tilt." + d.String()
	w := j.t.work()
	way := wayOff(e)
	j.t.Say(id, append(w.effect(), "Stop", stopText(degrees), "Value", wording.Tilt{Value: calc.Angle(e.Value).Abs(), Decimals: 2},
		"U", wording.Tilt{Value: doubtOf(e.U), Decimals: 2},
		"Way", wording.T(way), "Limit", wording.Tilt{Value: j.p.Tol.Tilt, Decimals: 2},
		"Edge", fine(calc.Length(math.Tan(math.Abs(e.Value)))*w.Thick))...)
	j.t.Judge(verdict(tiltName(degrees), e, j.window, d.String()))
}

// doubtOf returns an expanded uncertainty in radians to be shown, rounded up to a
// hundredth of a degree.
func doubtOf(u float64) calc.Angle {
	return calc.Angle(math.Ceil(calc.Angle(u).Degrees()*100-1e-9)) / 100 * calc.Degree
}

// wayOff says to which side an angle is out, as far as two decimals show it.
func wayOff(e calc.Estimate) string {
	switch d := calc.Angle(e.Value).Degrees(); {
	case d >= 0.005:
		return "tilt.more"
	case d <= -0.005:
		return "tilt.less"
	}
	return "tilt.off"
}

func tiltName(degrees float64) string {
	return "tilt:" + degreesOf(degrees)
}

// turn asks for one move of the stop screw, whose effect is learned by turning
// it. It returns false when no turn would help.
func (j *tilting) turn(n, round int, e calc.Estimate, moves *[]calc.ScrewMove) bool {
	k := Key{Name: "tilt.screw", Round: round, Index: n}
	adv, _, err := calc.NextScrew(*moves, e.Value, calc.DefaultScrewOptions(0, e.U))
	if !j.t.has(k) && (err != nil || adv.Done || adv.Dead) {
		j.t.Say("tilt.nomove")
		return false
	}
	made := j.t.Adjust(k, wording.T("caution.tilt"), func() guard.Adjustment {
		m := guard.Move{Part: wording.T("part.stopscrew"), Verb: "screw", Turns: adv.Turns, Clockwise: adv.Turns > 0,
			Angle: calc.Angle(adv.Predicted - e.Value)}
		text := wording.T("tilt.moves")
		switch {
		case adv.Trial:
			text = wording.T("tilt.trial")
		case adv.Past > 0:
			text = wording.T("tilt.past", "Past", wording.Raw(turnOf(adv.Past)))
		}
		return guard.Adjustment{Text: text, Why: wording.T("tilt.moves.why"), After: wording.T("tilt.after"), Moves: []guard.Move{m}}
	})
	for _, m := range made {
		*moves = append(*moves, calc.ScrewMove{Turns: turnsOf(m), Before: e.Value})
	}
	return true
}

func (j *tilting) record(n int, degrees float64, found, left calc.Estimate, d calc.Decision) {
	if d == calc.Outside {
		j.t.Say("tilt.remains")
	}
	j.t.Record(Record{Characteristic: tiltName(degrees), Unit: "rad", Low: bound(j.window.Low), High: bound(j.window.High),
		AsFound: j.t.measured(found), AsLeft: j.t.measured(left), Decision: d.String(), Adjusted: j.t.turned("tilt.screw", n), Tool: j.tool(degrees)})
}

func (j *tilting) tool(degrees float64) string {
	switch {
	case j.method == "level":
		return Level
	case j.method == "gap" && degrees == 90:
		return Square
	}
	return Feelers
}
