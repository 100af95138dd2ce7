package dialog

import (
	"math"

	"shimwright/calc"
	"shimwright/dialog/guard"
	"shimwright/dialog/reading"
	"shimwright/dialog/wording"
)

// knife checks the riving knife against the mounted blade, and sets it.
//
// Whoever was led here before a cut and has just checked the knife by hand may
// say so with one safety word instead. It counts because the sentence that asks
// for it names every limit, because only that word alone is taken, as the answer
// to that very question, and because it holds for no other blade: the record
// says that nothing was measured.
type knife struct{}

const (
	knifeJob     = "riving-knife"    // the procedure and the characteristic
	knifeRounds  = 5                 // settings after which it says what remains
	knifeRepeats = 3                 // readings of each side at most, where undecided
	knifeTries   = 2                 // how often sides that contradict the sizes are read
	knifeSlack   = calc.Length(0.15) // by how much they may: stamped sizes, two feelers (practice)
	knifeLine    = calc.Length(0.10) // most off the middle of the kerf (practice)
	knifeBelow   = calc.Length(3)    // where a top that has to move goes, below the teeth (practice)
	knifeMost    = calc.Length(2)    // a sideways move beyond this is questioned
)

func (knife) Name() string        { return knifeJob }
func (knife) Gives() []string     { return []string{knifeJob} }
func (knife) Needs() []string     { return nil }
func (knife) Minimum(Profile) int { return 8 }

// fitting is the job's working state, derived from its answers.
type fitting struct {
	t               *Script
	caliper, leaves Tool
	rules           calc.KnifeRules
	window          calc.Window
	knife           calc.Knife
	raw             []RecordReading

	left, right calc.Length   // clearances, the mean where read more than once
	shift       calc.Estimate // to the left
	found       *calc.Estimate
	moved       bool // another knife was mounted
}

func (knife) Run(t *Script) {
	if t.Said("word.fits") {
		t.Record(Record{Characteristic: knifeJob, Decision: calc.Within.String(), Unit: "mm", remark: wording.T("record.confirmed")})
		return
	}
	j := &fitting{t: t, caliper: t.Tool(Caliper), leaves: t.Tool(Feelers), rules: calc.DefaultKnifeRules(),
		window: calc.Window{Low: -float64(knifeLine), High: float64(knifeLine)}}
	for mounted := 1 + t.upsets()*10; ; mounted++ {
		j.sizes(mounted)
		if j.thick() && j.set(mounted) || !j.another(mounted) {
			return
		}
	}
}

// sizes reads the knife's thickness, and plate and kerf of the blade unless
// they are known from the last check of the same blade.
func (j *fitting) sizes(mounted int) {
	ask := func(name, id string, e reading.Expect, known bool) calc.Length {
		a := question(Key{Name: name, Round: mounted}, id, "Gap", j.gaps())
		a.Expect, a.Quantity, a.Tool, a.NoSkip, a.Hard = e, "length", Caliper, true, true
		if v, ok := j.t.lastOf(knifeJob, name); known && ok && v >= e.Min && v <= e.Max {
			a.Default = &v
			a.Text = wording.T(id+".known", "Default", j.caliper.size(calc.Length(v)))
		}
		if id == "knife.first" {
			a.Instead = "word.fits"
		}
		v := j.t.Read(a, wording.T("caution.knife"))
		j.keep(name, "", mounted, v)
		if known {
			return v.Length() // a figure off the blade, not off the caliper
		}
		return v.Reading(j.caliper.measuring()).Value()
	}
	first := "knife.thickness"
	if mounted%10 == 1 && j.t.job.Back {
		first = "knife.first"
	}
	j.knife.Thickness = ask("knife.thickness", first, dims(0.5, 12), false)
	if mounted%10 > 1 {
		return // the same blade, another knife
	}
	j.knife.Plate = ask("knife.plate", "knife.plate", dims(0.5, 12), true)
	j.knife.Kerf = ask("knife.kerf", "knife.kerf", dims(j.knife.Plate+0.05, 15), true)
	a := question(Key{Name: "hood", Round: mounted}, "knife.hood")
	was, _ := j.t.lastOf(knifeJob, "knife.hood")
	a.Choices = order(was > 0, "no", "yes")
	j.knife.CarriesHood = j.t.Pick(a, wording.Text{}) == "yes"
	if j.knife.CarriesHood {
		j.raw = append(j.raw, RecordReading{Name: "knife.hood", Round: mounted, Low: 1, High: 1, At: j.t.now})
	}
}

// thick reports whether the knife's thickness suits the blade, and says so
// where it does not: no setting mends that.
func (j *fitting) thick() bool {
	k := j.knife
	k.Gaps = []calc.Length{j.rules.GapMin} // nothing is wrong with a gap at its limit
	k.Top = 0
	faults := must(k.Check(j.rules))
	j.say(faults)
	return len(faults) == 0
}

// another asks for a knife that fits, after one that no setting can mend.
func (j *fitting) another(mounted int) bool {
	a := question(Key{Name: "knife", Round: mounted}, "knife.another")
	a.Choices = choices("other", "stop")
	if mounted%10 > knifeRounds || j.t.Pick(a, wording.Text{}) != "other" {
		j.t.Say("knife.none")
		j.record(calc.Outside)
		return false
	}
	j.t.Confirm(question(Key{Name: "knife.other", Round: mounted}, "knife.other"), wording.T("caution.knife"))
	j.moved = true
	return true
}

// set reads where the knife stands and moves it until it is right. It returns
// false when this knife can't be set right.
func (j *fitting) set(mounted int) bool {
	for n := 1; ; n++ {
		round := mounted*100 + n
		j.place(round)
		d := j.sides(round)
		if j.found == nil {
			e := j.shift
			j.found = &e
		}
		faults := must(j.knife.Check(j.rules))
		j.say(faults)
		j.sayLine(d, len(faults) == 0)
		if j.spread() > j.rules.GapMax-j.rules.GapMin {
			j.t.Say("knife.arc", "Gap", j.gaps())
			return false
		}
		if len(faults) == 0 && d != calc.Outside {
			j.record(d)
			return true
		}
		if n > knifeRounds || !j.adjust(round, faults, d) {
			j.t.Say("knife.remains")
			j.record(calc.Outside)
			return true
		}
	}
}

// place reads the gaps along the arc and the height of the top.
func (j *fitting) place(round int) {
	ask := func(index int, name, id, side string, e reading.Expect) Value {
		a := question(Key{Name: name, Round: round, Index: index}, id)
		a.Expect, a.Quantity, a.Tool, a.Side, a.NoSkip = e, "gap", Ruler, side, true
		a.Label = wording.T(id + ".label")
		if e.Signed {
			a.Quantity, a.Signs = "height", [3]string{"knife.above", "knife.below", "knife.flush"}
		}
		v := j.t.Read(a, wording.T("caution.blade"))
		j.keep(name, side, round, v)
		return v
	}
	near := ask(0, "knife.gap", "knife.near", "narrowest", dims(0, 40)).Length()
	far := ask(1, "knife.gap", "knife.far", "widest", dims(near, 40)).Length()
	j.knife.Gaps, j.knife.Top = []calc.Length{near, max(near, far)}, 0
	if !j.knife.CarriesHood {
		e := dims(-150, 150)
		e.Signed = true
		j.knife.Top = ask(0, "knife.top", "knife.top", "", e).Length()
	}
}

// sides reads the clearance of both faces and decides whether the knife stands
// in the kerf.
func (j *fitting) sides(round int) calc.Decision {
	for try := 1; ; try++ {
		var left, right []float64
		for n := 1; ; n++ {
			l := j.side(round, try, n, "left")
			r := j.side(round, try, n, "right")
			left, right = append(left, l.Mid()), append(right, r.Mid())
			j.left, j.right = calc.Length(mean(left)), calc.Length(mean(right))
			j.shift = must(calc.KnifeShift(j.left, j.right, j.doubt(l, r, left, right)...))
			if n == knifeRepeats || j.inLine() != calc.Undecided {
				break
			}
			j.t.Say("knife.again")
		}
		if try == knifeTries {
			return j.inLine()
		}
		switch {
		case (j.left + j.right - j.room()).Abs() > knifeSlack:
			j.t.Say("knife.sides", "Sum", j.caliper.size(j.left+j.right), "Room", j.caliper.size(j.room()))
		case math.Abs(j.shift.Value) > float64(knifeMost) && !j.believed(round):
		default:
			return j.inLine()
		}
	}
}

// doubt returns the components of one side, of the two the one that is known
// less well, for the mean of the readings so far.
func (j *fitting) doubt(l, r Value, left, right []float64) []calc.Component {
	if r.High-r.Low > l.High-l.Low {
		l, left = r, right
	}
	return averaged(j.t.feeler(l).Components(), left)
}

func (j *fitting) side(round, try, n int, side string) Value {
	id, index := "knife."+side, (try*10+n)*2
	if side == "right" {
		index++
	}
	a := question(Key{Name: "knife.offset", Round: round, Index: index}, id)
	a.Expect, a.Quantity, a.Tool, a.Side, a.N, a.NoSkip = signed(3, j.leaves), "gap", Feelers, side, n, true
	a.Expect.Leaves, a.Expect.Resolution = j.t.profile.Leaves, 0.01 // leaves are told in hundredths
	a.Plus, a.Minus, a.Signs = "words.clear", "words.proud", [3]string{"knife.clear", "knife.proud", "knife.touches"}
	a.Label = wording.T(id + ".label")
	v := j.t.Read(a, wording.T("caution.blade"))
	j.keep("knife.offset", side, round, v)
	return v
}

// believed questions a move larger than a knife is ever out: a wrong sign or a
// slipped unit is likelier.
func (j *fitting) believed(round int) bool {
	a := question(Key{Name: "large", Round: round}, "knife.large", "Shift", j.leaves.size(calc.Length(j.shift.Value).Abs()))
	a.Choices = orRight()
	return j.t.Pick(a, wording.Text{}) == "right"
}

// inLine decides on the shift; a face that touches the kerf's side or stands
// proud of it is out in any case.
func (j *fitting) inLine() calc.Decision {
	if min(j.left, j.right) <= 0 {
		return calc.Outside
	}
	return must(calc.Decide(j.shift, j.window))
}

// room is what the kerf leaves beside the knife.
func (j *fitting) room() calc.Length { return j.knife.Kerf - j.knife.Thickness }

func (j *fitting) spread() calc.Length { return j.knife.Gaps[1] - j.knife.Gaps[0] }

// say names what is wrong, one a sentence.
func (j *fitting) say(faults []calc.KnifeFault) {
	thick := func(l calc.Length) wording.Size {
		return wording.Size{Value: l, Resolution: j.caliper.Resolution, Beside: max(j.knife.Thickness, j.knife.Kerf)}
	}
	for _, f := range faults {
		args := []any{"Knife", thick(j.knife.Thickness), "Plate", thick(j.knife.Plate), "Kerf", thick(j.knife.Kerf),
			"Near", j.coarse(j.rules.GapMin), "Far", j.coarse(j.rules.GapMax),
			"Below", j.coarse(j.rules.Below)}
		if len(j.knife.Gaps) > 0 {
			args = append(args, "Narrow", asGiven(j.knife.Gaps[0]), "Wide", asGiven(j.knife.Gaps[1]), "Top", asGiven(j.knife.Top.Abs()))
		}
		j.t.Say("knife.fault."+f.String(), args...)
	}
}

// sayLine words how the knife stands in the kerf.
func (j *fitting) sayLine(d calc.Decision, rest bool) {
	id := "knife." + d.String()
	way := "towards.left"
	if j.shift.Value > 0 {
		way = "towards.right"
	}
	switch {
	case d == calc.Outside && min(j.left, j.right) <= 0:
		id = "knife.rubs"
	case !rest && d != calc.Outside:
		id = "knife.line"
	}
	j.t.Say(id, "Off", j.leaves.size(calc.Length(j.shift.Value).Abs()), "Way", wording.T(way), "U", j.leaves.doubt(j.shift.U),
		"Limit", j.leaves.size(knifeLine))
	j.t.Judge(verdict(knifeJob, j.shift, j.window, d.String()))
}

// adjust moves the knife along the blade, up or down, and sideways, as far as
// each is out. It returns false when nothing was moved.
func (j *fitting) adjust(round int, faults []calc.KnifeFault, d calc.Decision) bool {
	made := j.t.Adjust(Key{Name: "knife.moves", Round: round}, wording.T("caution.knife"), func() guard.Adjustment {
		a := guard.Adjustment{Text: wording.T("knife.moves"), Why: wording.T("knife.moves.why"), After: wording.T("knife.after")}
		add := func(verbs [2]string, travel calc.Length) {
			m := guard.Move{Part: wording.T("part.knife"), Verb: verbs[0], Travel: travel, Index: len(a.Moves)}
			if travel < 0 {
				m.Verb = verbs[1]
			}
			a.Moves = append(a.Moves, m)
		}
		for _, f := range faults {
			switch f {
			case calc.KnifeTooNear, calc.KnifeTooFar:
				middle := must(calc.Aim(0, calc.Window{Low: float64(j.rules.GapMin), High: float64(j.rules.GapMax)}))
				add([2]string{"rear", "front"}, calc.Length(middle)-(j.knife.Gaps[0]+j.knife.Gaps[1])/2)
			case calc.KnifeTooHigh, calc.KnifeTooLow:
				add([2]string{"raise", "lower"}, -knifeBelow-j.knife.Top)
			}
		}
		if d == calc.Outside {
			add([2]string{"left", "right"}, calc.Length(j.shift.Value))
		}
		return a
	})
	return anyMade(made)
}

func (j *fitting) keep(name, label string, round int, v Value) {
	j.raw = append(j.raw, RecordReading{Name: name, Label: label, Round: round, Low: v.Low, High: v.High, At: v.At})
}

// gaps is how near the teeth the knife may stand.
func (j *fitting) gaps() wording.Span {
	return wording.Span{Low: j.coarse(j.rules.GapMin), High: j.coarse(j.rules.GapMax)}
}

func (j *fitting) coarse(l calc.Length) wording.Size { return wording.Size{Value: l, Coarse: true} }

// asGiven shows a dimension as it was read: 2.6 is not "3, wanted at least 3".
func asGiven(l calc.Length) wording.Size { return wording.Size{Value: l, Coarse: true, Given: true} }

func (j *fitting) record(d calc.Decision) {
	r := Record{Characteristic: knifeJob, Unit: "mm", Low: bound(j.window.Low), High: bound(j.window.High),
		Decision: d.String(), Adjusted: j.moved || j.t.turned("knife.moves", 0), Tool: Feelers, Resolution: float64(j.leaves.Resolution), Readings: j.raw}
	if j.found != nil {
		r.AsFound, r.AsLeft = j.t.measured(*j.found), j.t.measured(j.shift)
	}
	j.t.Record(r)
}
