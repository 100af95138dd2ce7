package dialog

import (
	"math"
	"strings"
	"unicode"
	"unicode/utf8"

	"shimwright/calc"
	"shimwright/dialog/guard"
	"shimwright/dialog/reading"
	"shimwright/dialog/wording"
)

// render words where a job stands: what the last answer led to, then the
// question, its caution first.
func (st *step) render(saw *Saw, o outcome) {
	st.follow(o)
	st.renderPrompt(saw, saw.Running.Procedure, o.prompt)
	if v := &st.res.Turn.Prompt; v.Kind == KindReading {
		v.Number = len(o.numbers) + 1
	}
}

// follow says what the last answer led to. It is said once, with that answer.
func (st *step) follow(o outcome) {
	if st.fresh {
		for _, f := range o.later {
			f()
		}
		for _, n := range o.notes {
			if n.word != nil {
				n.text = n.word()
			}
			st.lead = append(st.lead, n.text)
		}
		if o.verdict != nil {
			st.res.Turn.Verdict = o.verdict
		}
	}
}

// sentences gives every line a capital, also behind a mark that opens a
// question.
func sentences(s string) string {
	lines := strings.Split(s, "\n")
	for i, l := range lines {
		l, opened := strings.CutPrefix(l, "¿")
		if r, n := utf8.DecodeRuneInString(l); n > 0 {
			lines[i] = string(unicode.ToUpper(r)) + l[n:]
		}
		if opened {
			lines[i] = "¿" + lines[i]
		}
	}
	return strings.Join(lines, "\n")
}

// turn sets the replies; what is to be said before the question is a reply of
// its own, so that a caution always stands first in the message that needs it.
func (st *step) turn(r Reply, p PromptView) {
	if p.Kind == KindIdle {
		st.s.Asked = "" // nothing is asked any more
	}
	if st.person != nil && !st.person.Removed && (st.passed || p.Kind == KindIdle && r.Text == "") {
		st.sayOpen(p.Saw)
	}
	if lead := st.voice.Say(wording.T("lines", "Lines", wording.Lines(st.lead))); lead != "" {
		st.res.Turn.Replies = append(st.res.Turn.Replies, Reply{Text: sentences(lead)})
	}
	if r.Text != "" {
		st.res.Turn.Replies = append(st.res.Turn.Replies, r)
	}
	st.res.Turn.Prompt, st.res.Turn.Lang = p, string(st.voice.Lang())
	st.lead = nil
}

// renderPrompt words a prompt.
func (st *step) renderPrompt(saw *Saw, job string, p guard.Prompt) {
	a := p.Ask()
	st.s.Asked = askedName(saw, p)
	r := Reply{Caution: p.Class() != guard.Harmless, Expires: p.Expires()}
	v := PromptView{Name: a.Key.Name, Job: job, Label: st.voice.Say(a.Label), Tool: a.Tool, Side: a.Side,
		Turn: a.Turn, Set: a.Set, Tooth: a.Tooth, N: a.N, Stop: a.Stop}
	if saw != nil {
		v.Saw = saw.ID
	}
	if a.At != nil {
		v.At = &Point{X: float64(a.At[0]), Y: float64(a.At[1])}
	}
	if a.Height > 0 {
		h := float64(a.Height)
		v.Height = &h
	}
	text := st.voice.Say(a.Text)
	if p.Class() == guard.Hands || p.Class() == guard.Runs {
		text = st.voice.Say(p.Caution()) + "\n" + text
	}
	switch a.Form {
	case guard.Reading:
		v.Kind, v.Quantity, v.Unit = KindReading, a.Quantity, st.promptUnit(a)
		if a.Default != nil {
			r.Choices = []string{st.voice.Say(wording.T("choice.asis"))} // a number pad has no letters
		}
	case guard.Pick:
		v.Kind = KindChoice
		for _, c := range a.Choices {
			v.Choices = append(v.Choices, st.voice.Say(c.Text))
		}
		r.Choices = v.Choices
	case guard.Words:
		v.Kind = KindText
		r.Choices = st.defaults(a)
	case guard.Confirm:
		v.Kind, v.Acknowledge = KindConfirm, st.voice.Say(wording.T(a.Word))
		r.Choices = []string{v.Acknowledge}
	}
	if adj := p.Adjustment(); adj != nil {
		text = st.adjustment(saw, p, &r)
	}
	r.Text = sentences(text)
	st.turn(r, v)
}

// defaults returns the word that takes the default of a free text, if any.
func (st *step) defaults(a guard.Ask) []string {
	if len(a.Choices) == 0 {
		return nil
	}
	return []string{st.voice.Say(a.Choices[0].Text)}
}

func (st *step) promptUnit(a guard.Ask) string {
	switch a.Expect.Quantity {
	case reading.Length:
		return st.unitName()
	case reading.Angle:
		return "deg"
	}
	return ""
}

// adjustment words an adjustment: its caution, the order of hands, each move,
// and what to do afterwards. Where a channel carries one nut a message, the
// next open one only.
func (st *step) adjustment(saw *Saw, p guard.Prompt, r *Reply) string {
	a := p.Adjustment()
	told := saw.Running.Told
	moves := a.Moves
	if told != nil {
		moves = told.Moves[len(told.Made):]
	}
	if st.v.Limits.OneMove && len(moves) > 1 {
		moves = moves[:1]
	}
	lines := wording.Lines{p.Caution(), a.Text}
	for _, m := range moves {
		lines = append(lines, st.moveText(m))
		st.res.Turn.Advice = append(st.res.Turn.Advice, st.advice(saw, m))
	}
	done := st.voice.Say(wording.T("word.done"))
	r.Choices = []string{done}
	if len(moves) > 1 {
		r.Choices = append(r.Choices, st.voice.Say(wording.T("moves.stuckchoice", "Number", moves[len(moves)-1].Index+1)))
	}
	if told == nil || len(told.Made)+len(moves) == len(told.Moves) {
		lines = append(lines, a.After)
	}
	if a.Drawing != nil {
		r.Drawing = st.drawing(saw, *a.Drawing)
	}
	return st.voice.Say(wording.T("lines", "Lines", lines))
}

// moveText words one move: the part of a turn and the way, in degrees and as
// the swing of a spanner's end, and the change to watch.
func (st *step) moveText(m guard.Move) wording.Text {
	args := []any{"Part", wording.Raw(m.Label), "Travel", wording.Size{Value: m.Travel.Abs(), Resolution: 0.01}}
	switch {
	case m.Turns != 0:
		t := turnOf(m.Turns)
		args = append(args, "Turn", wording.T("turn.part", "Fraction", wording.Raw(t)), "Way", wording.T(directionOf(m)),
			"Degrees", int(math.Round(math.Abs(m.Turns)*360)), "Turning", wording.T(turningWay(m)), "Swing", wording.Size{Value: m.Swing.Abs(), Coarse: true})
	case len(m.Stack) > 0:
		var leaves wording.List
		sum := -m.Travel.Abs()
		for _, l := range m.Stack {
			leaves = append(leaves, wording.T("size", "Value", wording.Size{Value: l, Resolution: 0.01}))
			sum += l
		}
		id := "move.leaves"
		if sum.Abs() > 0.005 {
			id = "move.leaves.near"
		}
		args = append(args, "Screw", screwText(m), "Leaves", wording.T(id, "Leaves", leaves))
		return wording.T("move."+m.Verb+".leaves", args...)
	case m.Verb == "rear", m.Verb == "front":
		args = append(args, "Screw", screwText(m))
	case m.Verb == "raise", m.Verb == "lower":
		return wording.T("move."+m.Verb+".by", args...)
	}
	return wording.T("move."+m.Verb, args...)
}

// screwText words a travel as turns of the screw that makes it, where there is one.
func screwText(m guard.Move) wording.Text {
	th, err := calc.ThreadByName(m.Thread)
	if err != nil {
		return wording.Text{}
	}
	turn := th.Turns(m.Travel.Abs(), 16)
	if turn.Den == 0 || turn.Num == 0 {
		return wording.Text{}
	}
	return wording.T("move.screwed", "Turn", wording.T("turn.part", "Fraction", wording.Raw(turnOf(float64(turn.Num)/float64(turn.Den)))))
}

// turningWay says which way a screw turns, seen at its head.
func turningWay(m guard.Move) string {
	if m.Clockwise {
		return "turning.cw"
	}
	return "turning.ccw"
}

// turnOf writes a part of a turn as a fraction: 1/8, 3/16, 1 1/4.
func turnOf(turns float64) string {
	return fraction(math.Abs(turns), 64)
}

// advice is a move for programs.
func (st *step) advice(saw *Saw, m guard.Move) Advice {
	adv := Advice{Part: m.Label, Move: moveName(m)}
	if m.At != nil {
		adv.At = &Point{X: float64(m.At[0]), Y: float64(m.At[1])}
	}
	switch m.Verb {
	case "raise", "lower":
		adv.Change.Z = float64(m.Travel)
	case "left", "right":
		adv.Change.Y = float64(m.Travel)
	case "rear", "front":
		x, y := float64(m.Travel)*math.Cos(float64(m.Skew)), -float64(m.Travel)*math.Sin(float64(m.Skew))
		adv.Change.X = x
		if m.Skew != 0 {
			adv.Change.Y = float64(saw.Profile.Hand.Mirror(calc.Length(y)))
		}
	case "screw":
		if angle := float64(m.Angle); angle != 0 { // of a trial turn nobody knows the effect
			adv.Change.Angle = &angle
		}
	}
	switch {
	case m.Turns != 0:
		adv.Amount, adv.Unit = math.Abs(m.Turns), "turn"
		adv.Direction = st.voice.Say(wording.T(directionOf(m)))
	case m.Angle != 0:
		adv.Amount, adv.Unit = m.Angle.Abs().Degrees(), "deg"
	case st.voice.Unit() == reading.Inch:
		adv.Amount, adv.Unit = m.Travel.Abs().Inches(), "in"
	default:
		adv.Amount, adv.Unit = float64(m.Travel.Abs()), "mm"
	}
	return adv
}

// moveName is a move as the interface names it.
func moveName(m guard.Move) string {
	switch {
	case m.Verb == "rear":
		return "forward"
	case m.Verb == "front":
		return "back"
	case m.Verb != "screw":
		return m.Verb
	case m.Angle > 0:
		return "tilt-more"
	case m.Angle < 0:
		return "tilt-less"
	}
	return "turn"
}

// directionOf says which way a nut or a screw turns: a nut as seen from above, a
// screw as seen at its head, wherever that is.
func directionOf(m guard.Move) string {
	switch {
	case m.Verb == "screw":
		return turningWay(m)
	case m.Clockwise:
		return "way.cw"
	}
	return "way.ccw"
}

// label fixes the words of each move's part, so that what was told stands.
func (st *step) label(moves []guard.Move) []guard.Move {
	out := make([]guard.Move, len(moves))
	for i, m := range moves {
		if m.Label == "" {
			m.Label = st.voice.Say(m.Part)
		}
		out[i] = m
	}
	return out
}

// choiceList words the choices of a question.
func choiceList(cs []guard.Choice) wording.Either {
	list := make(wording.Either, len(cs))
	for i, c := range cs {
		list[i] = c.Text
	}
	return list
}

// drawing words a sketch for the person.
func (st *step) drawing(saw *Saw, s guard.Sketch) *Drawing {
	say := func(t wording.Text) string { return st.voice.Say(t) }
	slider := "draw.slider"
	if saw.Profile.Kind == Cabinet {
		slider = "draw.slot"
	}
	d := &Drawing{Kind: s.Kind, Title: say(s.Title), Alt: say(s.Alt), Hand: saw.Profile.Hand,
		Words: DrawWords{Blade: say(wording.T("draw.blade")), Front: say(wording.T("draw.front")), Rear: say(wording.T("draw.rear")),
			Slider: say(wording.T(slider)), Table: say(wording.T("draw.table")), Operator: say(wording.T("draw.operator"))}}
	for _, p := range s.Points {
		d.Points = append(d.Points, DrawPoint{Label: say(p.Label), X: float64(p.X), Y: float64(p.Y), Reading: say(p.Reading),
			Sign: p.Sign, Move: say(p.Move), Dir: p.Dir, Turns: p.Turns, Clock: p.Clock})
	}
	if s.Kind == "fence" {
		d.Fence = &DrawFence{PivotY: float64(s.Pivot), AdjustY: float64(s.Adjuster), EndY: float64(s.End), AtRear: s.AtRear,
			Lean: float64(s.Lean), LeanText: say(s.LeanText), Move: float64(s.Move), MoveText: say(s.MoveText),
			Pivot: say(wording.T("draw.pivot")), Adjust: say(wording.T("draw.adjuster"))}
	}
	return d
}

// fraction writes v as a fraction with a denominator up to max, a power of two.
func fraction(v float64, max int) string {
	for den := 1; den <= max; den *= 2 {
		num := math.Round(v * float64(den))
		if math.Abs(num/float64(den)-v) < 1e-9 || den == max {
			whole, rest := int(num)/den, int(num)%den
			switch {
			case rest == 0:
				return itoa(whole)
			case whole == 0:
				return itoa(rest) + "/" + itoa(den)
			}
			return itoa(whole) + " " + itoa(rest) + "/" + itoa(den)
		}
	}
	return ""
}
