package dialog

import (
	"strconv"
	"strings"

	"shimwright/calc"
	"shimwright/dialog/guard"
	"shimwright/dialog/reading"
	"shimwright/dialog/wording"
)

// doubt asks once which of several readings was meant, or whether an unlikely
// one is right.
func (st *step) doubt(saw *Saw, a guard.Ask, e reading.Expect, r reading.Result) {
	args := map[string]string{}
	n := 0
	add := func(v reading.Value) {
		args["lo"+strconv.Itoa(n)] = strconv.FormatFloat(v.Low, 'g', -1, 64)
		args["hi"+strconv.Itoa(n)] = strconv.FormatFloat(v.High, 'g', -1, 64)
		n++
	}
	said := r.Status == reading.Doubt && !a.Hard // what was said may be confirmed
	if said {
		add(r.Value)
	}
	for _, v := range r.Alternatives {
		if v.Key == "" {
			add(v)
		}
	}
	if n == 0 || r.Status == reading.Doubt && a.Hard {
		st.say("reading.range", "Range", st.limits(a, e))
	}
	if n == 0 {
		st.show()
		return
	}
	args["n"], args["slip"] = strconv.Itoa(n), doubtKind(r, a.Hard, n)
	if said || n == 1 {
		args["yes"] = "0" // what a yes takes; of several readings it takes none
	}
	st.ask("doubt", args)
}

// doubtKind names the question that a doubt is put as.
func doubtKind(r reading.Result, hard bool, n int) string {
	switch {
	case r.Status == reading.AskBack && n == 1:
		return "sure"
	case r.Status == reading.AskBack:
		return "ask"
	case hard:
		return "meant"
	}
	slip := reading.NoSlip
	if len(r.Slips) > 0 {
		slip = r.Slips[0]
	}
	for _, other := range r.Slips {
		if other != slip {
			slip = reading.NoSlip
		}
	}
	return slipNames[slip]
}

// limits words what can be an answer: large ones in whole millimetres or
// sixteenths of an inch, whatever the tool reads.
func (st *step) limits(a guard.Ask, e reading.Expect) any {
	switch {
	case e.Quantity == reading.Length && e.Max > 20:
		return wording.Span{Low: sized(calc.Length(e.Min)), High: sized(calc.Length(e.Max))}
	case e.Quantity == reading.Angle && calc.Angle(e.Max) > 10*calc.Degree:
		return wording.Span{Low: wording.Tilt{Value: calc.Angle(e.Min)}, High: wording.Tilt{Value: calc.Angle(e.Max)}}
	}
	a.Signs = [3]string{}
	return st.value(a, reading.Value{Low: e.Min, High: e.Max})
}

var slipNames = map[reading.Slip]string{
	reading.NoSlip: "none", reading.UnitSlip: "unit", reading.SignSlip: "sign", reading.PointSlip: "point",
	reading.TooLarge: "large", reading.OtherPoint: "other", reading.TooFine: "fine",
}

var (
	justYes = reading.NewVocabulary(reading.Yes.String())
	justNo  = reading.NewVocabulary(reading.No.String())
)

// doubtAnswered finds what the answer to a doubt chooses, "" for nothing. A yes
// confirms what is asked, where that is one reading. unclear says that the doubt
// is to be put again: a yes to several readings, or a number that may be a reading
// by itself as well as that of a choice. What is neither is a fresh reading.
func (st *step) doubtAnswered(choices []guard.Choice, text string) (value string, unclear bool) {
	said := func(v *reading.Vocabulary) bool {
		_, _, ok := reading.Command(text, st.voice.Lang(), v)
		return ok
	}
	switch n, err := strconv.Atoi(strings.TrimSpace(text)); {
	case said(justNo):
		return "again", false
	case st.isOK(text), said(justYes):
		return st.s.Args["yes"], st.s.Args["yes"] == ""
	case err == nil && n >= 0 && n <= len(choices) && st.readable(text):
		return "", true
	}
	value, ok := st.choose(choices, text)
	if !ok {
		value = st.holding(choices, text)
	}
	return value, false
}

// holding finds the one choice that holds the words of an answer without a number:
// "top" of the two signs of a gap, "mm" of two units.
func (st *step) holding(choices []guard.Choice, text string) (value string) {
	part := words(text)
	if strings.TrimSpace(part) == "" || strings.ContainsAny(part, "0123456789") {
		return ""
	}
	for _, c := range choices {
		if !strings.Contains(words(st.voice.Say(c.Text)), part) {
			continue
		}
		if value != "" {
			return ""
		}
		value = c.Value
	}
	return value
}

// readable reports whether a text alone answers the open question for a reading.
func (st *step) readable(text string) bool {
	o := st.open()
	if o == nil || o.prompt.Ask().Form != guard.Reading {
		return false
	}
	return reading.Parse(text, st.expect(o.prompt.Ask())).Status == reading.Taken
}
