package dialog

import (
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"shimwright/calc"
	"shimwright/dialog/guard"
	"shimwright/dialog/reading"
	"shimwright/dialog/wording"
)

// accept stores an answer to the question with its key, replacing an earlier
// one: what a person says last is what they mean.
func (st *step) accept(saw *Saw, a Answer) {
	a.At, a.Person = st.sent, st.person.ID
	j := saw.Running.edit()
	if n := len(j.Answers); n > 0 {
		// The order in which answers were given is that of their times, also
		// where one was sent before another and arrived after it.
		if last := j.Answers[newest(j.Answers)].At; !a.At.After(last) {
			a.At = last.Add(1)
		}
	}
	i := slices.IndexFunc(j.Answers, func(b Answer) bool { return b.Key == a.Key })
	var moved []Key
	if i >= 0 {
		moved = st.moved(saw)
		j.Answers[i] = a
	} else {
		j.Answers = append(j.Answers, a)
	}
	j.Fix = nil
	saw = st.touch(saw)
	saw.Running = j
	st.fresh = true
	if len(moved) == 0 {
		return
	}
	still := st.moved(saw)
	if slices.ContainsFunc(moved, func(k Key) bool { return !slices.Contains(still, k) }) {
		// What rested on the reading as it was is turned all the same.
		st.say("fix.anew")
		j.Answers = append(j.Answers, Answer{Key: Key{Name: overtaken, Index: len(j.Answers)}, At: a.At, Person: a.Person})
	}
}

// moved lists the moves that were made and that a job, as it now stands, counts
// with.
func (st *step) moved(saw *Saw) []Key {
	if !slices.ContainsFunc(saw.Running.Answers, func(a Answer) bool { return anyMade(a.Moves) }) {
		return nil
	}
	j := saw.Running.edit()
	j.Fix = nil
	as := *saw
	as.Running = j
	var out []Key
	for _, i := range fold(procedureNamed(j.Procedure), &st.v, &as, *st.person, st.now, &st.known).path {
		if anyMade(j.Answers[i].Moves) {
			out = append(out, j.Answers[i].Key)
		}
	}
	return out
}

// answer takes a message as the answer to the open question, or says with an
// example what a good answer looks like; the question stays open.
func (st *step) answer(saw *Saw, o outcome, text string) {
	if fault := unreadable(text); fault != "" {
		st.say(fault, "Example", st.example(o.prompt))
		st.show()
		return
	}
	a := o.prompt.Ask()
	switch {
	case safetyWord(o.prompt):
		if st.s.Asked == askedName(saw, o.prompt) {
			st.say("safety.exact", "Word", wording.T(a.Word))
		} else {
			st.say("safety.again")
		}
	case o.prompt.Class() == guard.Adjusts:
		st.moves(saw, o, text)
		return
	case a.Key.Name == toldName:
		st.settled(saw, o, text)
		return
	case a.Form == guard.Confirm:
		if st.finished(text, wording.T(a.Word)) {
			st.confirmed(saw, o)
			return
		}
		st.unclear(o, text, "confirm.unclear", "Word", wording.T(a.Word), "Skip", !a.NoSkip && o.prompt.Class() != guard.Runs)
	case a.Form == guard.Pick:
		if v, ok := st.choose(a.Choices, text); ok {
			st.picked(saw, a, v)
			return
		}
		if v, ok := st.mentioned(a.Choices, text); ok && !a.NoSkip {
			st.picked(saw, a, v)
			return
		}
		st.unclear(o, text, "choice.unclear", "Choices", choiceList(a.Choices))
	case a.Default != nil && st.isOK(text):
		st.accept(saw, Answer{Key: a.Key, Low: *a.Default, High: *a.Default})
	case a.Form == guard.Words && len(a.Choices) > 0 && st.isOK(text):
		st.accept(saw, Answer{Key: a.Key, Text: st.voice.Say(a.Choices[0].Text)})
	case a.Form == guard.Words:
		st.accept(saw, Answer{Key: a.Key, Text: clean(text, 60)})
	default:
		st.read(saw, o, text)
		return
	}
	st.show()
}

// unclear says with id what a good answer is; to a question of the person's, what
// is asked here and why.
func (st *step) unclear(o outcome, text, id string, args ...any) {
	if strings.Contains(text, "?") && !o.prompt.Why().Empty() {
		st.lead = append(st.lead, o.prompt.Why())
		return
	}
	st.say(id, args...)
}

// finished reports whether a message says that a step is done. That all is well as it
// is does not say so: "it's fine".
func (st *step) finished(text string, word wording.Text) bool {
	_, _, ok := reading.Command(text, st.voice.Lang(), finished)
	return ok && st.voice.Is("words.asitis", bare(text)) < 0 || reading.Exact(text, st.voice.Say(word))
}

// isOK reports whether a message takes the default.
func (st *step) isOK(text string) bool {
	_, _, ok := reading.Command(text, st.voice.Lang(), assent)
	return ok
}

// confirmed accepts the confirmation of a step.
func (st *step) confirmed(saw *Saw, o outcome) {
	if o.prompt.Class() == guard.Runs {
		st.event(saw, guard.Cut, st.now)
	}
	st.accept(saw, Answer{Key: o.prompt.Ask().Key, Text: "done"})
	st.show()
}

// picked accepts a choice. Two questions are about the job, not part of it.
func (st *step) picked(saw *Saw, a guard.Ask, v string) {
	if a.Key.Name == "stopped" || a.Key.Name == "impossible" || a.Key.Name == "adjuster" {
		if st.leave(saw, "", nil) {
			st.idle()
		}
		return
	}
	if a.Key.Name == "held" {
		if v == "takeover" {
			st.takeOver(saw)
			return
		}
		if st.leave(saw, "", nil) {
			st.idle()
		}
		return
	}
	st.accept(saw, Answer{Key: a.Key, Text: v})
	st.show()
}

// choose finds the choice that a message means: its number, its words, or the
// first for `ok`.
func (st *step) choose(choices []guard.Choice, text string) (string, bool) {
	t := strings.Trim(strings.TrimSpace(text), ".)#")
	if n, err := strconv.Atoi(t); err == nil && n >= 1 && n <= len(choices) {
		return choices[n-1].Value, true
	}
	for _, c := range choices {
		if same(text, st.voice.Say(c.Text)) {
			return c.Value, true
		}
	}
	if v, ok := st.begun(choices, text); ok {
		return v, true
	}
	words := []string{"ok"}
	byWord := map[string]string{"ok": choices[0].Value}
	for _, c := range choices {
		for _, w := range append([]string{strings.ToLower(st.voice.Say(c.Text)), c.Value}, st.phrases(c.Also)...) {
			if _, taken := byWord[w]; !taken {
				byWord[w], words = c.Value, append(words, w)
			}
		}
	}
	w, _, ok := reading.Command(text, st.voice.Lang(), reading.NewVocabulary(words...))
	return byWord[w], ok
}

// begun finds the one choice that a message is the beginning of, in whole words:
// "square" for "square and feelers".
func (st *step) begun(choices []guard.Choice, text string) (value string, ok bool) {
	said := reading.Fold(strings.TrimSpace(text)) + " "
	for _, article := range st.phrases("words.articles") {
		said = strings.TrimPrefix(said, reading.Fold(article)+" ")
	}
	if said == " " || said == "" {
		return "", false
	}
	for _, c := range choices {
		if strings.HasPrefix(reading.Fold(st.voice.Say(c.Text))+" ", said) {
			if ok {
				return "", false
			}
			value, ok = c.Value, true
		}
	}
	return value, ok
}

// read takes a reading.
func (st *step) read(saw *Saw, o outcome, text string) {
	a := o.prompt.Ask()
	e := st.expect(a)
	e.Labels = languages()[st.voice.Lang()].supports[:a.Supports.Size]
	r := reading.Parse(text, e)
	switch r.Status {
	case reading.Taken:
		if len(r.Labelled) > 0 {
			st.several(saw, a, r)
			return
		}
		st.accept(saw, Answer{Key: a.Key, Low: r.Value.Low, High: r.Value.High, Tool: a.Tool})
		st.echo = append(st.echo, echo{a, r.Value})
	case reading.AskBack, reading.Doubt:
		st.doubt(saw, a, e, r)
		return
	default:
		st.unclear(o, text, refusal(r.Reason), "Example", st.example(o.prompt))
	}
	st.show()
}

// several takes the readings of one message that named its points.
func (st *step) several(saw *Saw, a guard.Ask, r reading.Result) {
	var list wording.Lines
	for _, l := range r.Labelled {
		key := a.Key
		if n, err := strconv.Atoi(l.Key); err == nil {
			key = a.Supports.Key(n - 1)
		}
		st.accept(saw, Answer{Key: key, Low: l.Value.Low, High: l.Value.High, Tool: a.Tool})
		list = append(list, wording.T("echo.one", "Label", wording.Raw(l.Key), "Value", st.value(a, l.Value)))
	}
	st.say("echo.list", "List", list)
	st.show()
}

// echo notes a reading that is to be said back with the number by which it can
// be corrected.
type echo struct {
	ask   guard.Ask
	value reading.Value
}

// echoes says back what was understood, before anything else.
func (st *step) echoes(saw *Saw, o outcome) {
	said := make([]wording.Text, 0, len(st.echo)+len(st.lead))
	for _, e := range st.echo {
		n := 0
		for i, at := range o.numbers {
			if saw.Running.Answers[at].Key == e.ask.Key {
				n = i + 1
			}
		}
		id := "echo.at"
		if e.ask.Label.Empty() {
			id = "echo.plain"
		}
		said = append(said, wording.T(id, "Value", st.value(e.ask, e.value), "Label", e.ask.Label, "Number", n))
	}
	st.lead, st.echo = append(said, st.lead...), nil
}

// value words a reading: its size in the person's unit and its sign in words.
func (st *step) value(a guard.Ask, v reading.Value) wording.Text {
	e := st.expect(a)
	unit, step := e.Unit, e.Resolution
	if step == 0 && a.Tool == Ruler {
		step = 1
	}
	switch {
	case e.Quantity != reading.Length:
	case e.Resolution == settingStep && v.Low == v.High:
		step = st.voice.Holds(v.Low)
	case a.Tool == Ruler && v.Low == v.High:
		step = st.voice.Given(v.Low, st.voice.Step(step))
	default:
		step = st.voice.Step(step)
	}
	show := func(low, high float64) wording.Text {
		return wording.Raw(reading.FormatValue(reading.Value{Low: low, High: high}, e.Quantity, unit, st.voice.Lang(), step))
	}
	switch {
	case a.Signs[0] == "":
	case v.Low == 0 && v.High == 0:
		return wording.T(a.Signs[2])
	case v.Low >= 0:
		return wording.T(a.Signs[0], "Value", show(v.Low, v.High))
	case v.High <= 0:
		return wording.T(a.Signs[1], "Value", show(-v.High, -v.Low))
	}
	return show(v.Low, v.High)
}

// expect completes a question's expectation with the person's unit, language
// and feeler leaves.
func (st *step) expect(a guard.Ask) reading.Expect {
	e := a.Expect
	e.Lang = st.voice.Lang()
	if a.Plus != "" {
		e.Positive = st.phrases(a.Plus)
	}
	if a.Minus != "" {
		e.Negative = st.phrases(a.Minus)
	}
	switch e.Quantity {
	case reading.Length:
		e.Unit = st.voice.Unit()
	case reading.Angle:
		e.Unit = reading.Degree
	default:
		e.Unit = reading.None
	}
	return e
}

// refusal returns the sentence for why a message gave no reading.
func refusal(r reading.Reason) string {
	switch r {
	case reading.TwoNumbers:
		return "reading.two"
	case reading.NegativeNotAllowed:
		return "reading.negative"
	case reading.WrongQuantity:
		return "reading.quantity"
	case reading.NotWhole:
		return "reading.whole"
	case reading.Huge:
		return "reading.huge"
	case reading.Negated:
		return "reading.negated"
	case reading.NotExact:
		return "reading.inexact"
	case reading.NoLeaf:
		return "reading.leaf"
	case reading.NextLeaf:
		return "reading.nextleaf"
	case reading.UnknownLabel:
		return "reading.label"
	case reading.SameLabel:
		return "reading.samelabel"
	case reading.Empty:
		return "input.empty"
	case reading.TooLong:
		return "input.long"
	case reading.NotPlain:
		return "input.script"
	}
	return "reading.none"
}

// example words a good answer to a prompt.
func (st *step) example(p guard.Prompt) wording.Text {
	a := p.Ask()
	switch {
	case a.Form == guard.Confirm:
		return wording.T(a.Word)
	case a.Form == guard.Pick:
		return a.Choices[0].Text
	case a.Form == guard.Words:
		return wording.T("example.name")
	case a.Expect.Quantity == reading.Angle:
		return wording.T("example.angle")
	case a.Expect.Quantity != reading.Length:
		return wording.T("example.count")
	case a.Expect.Max > 20:
		return st.exampleLong(a.Expect)
	case a.Expect.Min >= 0.5:
		return wording.T("example.thick." + st.unitName())
	case a.Quantity == "indicator":
		return wording.T("example.plain." + st.unitName())
	case a.Plus == "words.top":
		return wording.T("example.gap." + st.unitName())
	case a.Expect.Signed && a.Quantity == "height":
		return wording.T("example.signed." + st.unitName())
	}
	return wording.T("example.plain." + st.unitName())
}

// exampleLong is a dimension that would be taken.
func (st *step) exampleLong(e reading.Expect) wording.Text {
	if e.Min <= 410 && 410 <= e.Max {
		return wording.T("example.long." + st.unitName())
	}
	for _, l := range []calc.Length{200, 18, 5} {
		if e.Min <= float64(l) && float64(l) <= e.Max {
			return wording.T("size", "Value", sized(l))
		}
	}
	return wording.T("example.long." + st.unitName())
}

func (st *step) unitName() string {
	if st.voice.Unit() == reading.Inch {
		return "in"
	}
	return "mm"
}

// unreadable returns the id of the sentence for a message that can be no
// answer to anything, or "".
func unreadable(text string) string {
	switch {
	case strings.TrimSpace(text) == "":
		return "input.empty"
	case len(text) > reading.MaxBytes:
		return "input.long"
	case !utf8.ValidString(text):
		return "input.script"
	}
	for _, r := range text {
		switch {
		case unicode.IsControl(r) && r != '\n' && r != '\t' && r != '\r':
			return "input.script"
		case unicode.Is(unicode.Hebrew, r), unicode.Is(unicode.Arabic, r), unicode.Is(unicode.Bidi_Control, r):
			return "input.script"
		}
	}
	return ""
}

// clean makes a name that a person gave fit to be stored and said.
func clean(s string, max int) string {
	s = strings.Join(strings.FieldsFunc(s, func(r rune) bool { return unicode.IsSpace(r) || unicode.IsControl(r) }), " ")
	for utf8.RuneCountInString(s) > max {
		_, n := utf8.DecodeLastRuneInString(s)
		s = s[:len(s)-n]
	}
	return s
}
