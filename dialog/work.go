package dialog

import (
	"regexp"
	"strings"

	"shimwright/calc"
	"shimwright/dialog/guard"
	"shimwright/dialog/reading"
	"shimwright/dialog/wording"
)

// A person may name what they make most, "work 600 x 900" or "door 600": every
// verdict then says what an error does to that.

// Work is a piece that a person makes. A length that was not named is zero.
type Work struct {
	Name   string      `json:"name,omitempty"` // door, carcass, … as the person's language has it
	Width  calc.Length `json:"width"`          // along the cut that is to be square
	Length calc.Length `json:"length,omitempty"`
	Thick  calc.Length `json:"thick,omitempty"`
}

// Bounds of a piece of work.
const (
	workLeast  = calc.Length(20)
	workMost   = calc.Length(4000)
	thickLeast = calc.Length(3)
	thickMost  = calc.Length(150)
)

// usualWork is what verdicts speak of until the person names their own
// (practice, no published source).
func (p Person) usualWork() Work {
	if p.Unit == "in" {
		return Work{Width: 24 * calc.Inch, Length: 36 * calc.Inch, Thick: 0.75 * calc.Inch}
	}
	return Work{Width: 600, Length: 900, Thick: 20}
}

// madeOf completes the person's own work with what is usual.
func (p Person) madeOf() Work {
	w := p.usualWork()
	if p.Work == nil {
		return w
	}
	w.Name, w.Width = p.Work.Name, p.Work.Width
	if p.Work.Length > 0 {
		w.Length = p.Work.Length
	}
	if p.Work.Thick > 0 {
		w.Thick = p.Work.Thick
	}
	return w
}

// piece is what the work is called.
func (w Work) piece() wording.Text {
	if w.Name == "" {
		return wording.T("work.piece")
	}
	return wording.Raw(w.Name)
}

// sized shows a dimension of the work, as a person would say it.
func sized(l calc.Length) wording.Size { return wording.Size{Value: l, Coarse: true} }

// fine shows an effect on the work to a hundredth of a millimetre or a thousandth
// of an inch.
func fine(l calc.Length) wording.Size {
	return wording.Size{Value: l.Abs(), Resolution: calc.Thou, Least: true}
}

// figure shows a result to a hundredth of a millimetre or half a thousandth of an
// inch.
func figure(l calc.Length) wording.Size { return wording.Size{Value: l.Abs(), Resolution: 0.01} }

// upTo shows an uncertainty no smaller than it is, to a hundredth of a
// millimetre.
func upTo(u float64) wording.Size { return Tool{Resolution: 0.01}.doubt(u) }

// work returns what the person makes.
func (t *Script) work() Work { return t.person.madeOf() }

// effect are the arguments of a verdict that names the work.
func (w Work) effect() []any {
	return []any{"Piece", w.piece(), "Wide", sized(w.Width), "Long", sized(w.Length), "Thick", sized(w.Thick)}
}

// across parts the dimensions of a piece: "600 x 900".
var across = regexp.MustCompile(`\s*[x×*]\s*`)

// workCommand takes a piece that the person names. o is the open question.
func (st *step) workCommand(text string, o *outcome) bool {
	if o != nil && o.prompt.Ask().Form == guard.Words {
		return false
	}
	words := strings.Fields(reading.Fold(strings.Trim(text, ".?, ")))
	_, n := st.voice.Starts("words.work", words)
	words, asked := words[n:], n > 0
	name := ""
	if i, n := st.voice.Starts("words.piece", words); n > 0 {
		name, _, _ = strings.Cut(st.phrases("words.piece")[i], "/")
		words = words[n:]
	}
	switch rest := strings.Join(words, " "); {
	case !asked && name == "", !asked && !strings.ContainsAny(rest, "0123456789"):
		return false
	case rest == "" && name == "":
		st.sayWork("work.is")
	default:
		st.setWork(name, rest)
	}
	st.show()
	return true
}

// setWork stores a piece of work, or says what a good answer looks like.
func (st *step) setWork(name, dims string) {
	dims = " " + dims + " "
	for _, w := range [...]struct{ id, with string }{{"words.dimension", " "}, {"words.by", " x "}} {
		for _, forms := range st.voice.Forms(w.id) {
			for _, f := range forms {
				dims = strings.ReplaceAll(dims, " "+f+" ", w.with)
			}
		}
	}
	dims = strings.TrimSpace(dims)
	w := Work{Name: name}
	parts := across.Split(dims, -1)
	fields := []*calc.Length{&w.Width, &w.Length, &w.Thick}
	if len(parts) > len(fields) {
		st.say("work.bad", "Example", wording.T("work.example."+st.unitName()))
		return
	}
	for i, part := range parts {
		least, most := workLeast, workMost
		if i == 2 {
			least, most = thickLeast, thickMost
		}
		r := reading.Parse(part, reading.Expect{Quantity: reading.Length, Unit: st.voice.Unit(), Lang: st.voice.Lang(), Min: float64(least), Max: float64(most)})
		l := calc.Length(r.Value.Low)
		if r.Status != reading.Taken || l < least || l > most {
			st.say("work.bad", "Example", wording.T("work.example."+st.unitName()))
			return
		}
		*fields[i] = l
	}
	st.person.Work, st.people = &w, true
	st.sayWork("work.set")
}

func (st *step) sayWork(id string) {
	st.say(id, append(st.person.madeOf().effect(), "Example", wording.T("work.example."+st.unitName()))...)
}
