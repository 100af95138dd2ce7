package dialog

import (
	"shimwright/calc"
	"shimwright/dialog/wording"
)

// proof shows the whole chain by a rip cut, and asks what the cut looks like.
// The crosscut fence and the bevel stops have proofs of their own in their
// procedures; what is stale of them is named.
type proof struct{}

// ripLimit is the most that a ripped piece may differ between its ends for
// each millimetre of its length (practice, no published source).
const ripLimit = 0.0002

func (proof) Name() string        { return "proof" }
func (proof) Gives() []string     { return []string{"proof.rip"} }
func (proof) Needs() []string     { return []string{"riving-knife", "ripfence.toe"} }
func (proof) Minimum(Profile) int { return 3 }

func (proof) Run(t *Script) {
	round, long := t.firstRound(), calc.Length(600)
	if t.person.Unit == "in" {
		long = 24 * calc.Inch
	}
	t.Cut(question(Key{Name: "ripcut.cut", Round: round}, "proof.cut", "Long", sized(long)), wording.T("caution.rip.cut"))
	tool := t.Tool(Caliper)
	var front calc.Length
	read := func(name, id string, i int) calc.Length {
		a := question(Key{Name: name, Round: round, Index: i}, id)
		a.Expect, a.Quantity, a.Tool, a.NoSkip, a.Hard = dims(5, 600), "length", Caliper, true, true
		if i > 0 {
			near := float64(front)
			a.Expect.Near, a.Expect.Spread = &near, apartMost
		}
		a.At = t.at(calc.Length(i)*1000, 0)
		return t.Read(a, wording.Text{}).Length()
	}
	front = read("ripcut.width", "proof.front", 0)
	rear := read("ripcut.width", "proof.rear", 1)
	def := float64(long)
	a := question(Key{Name: "ripcut.length"}, "proof.length", "Default", sized(long))
	a.Expect, a.Quantity, a.Tool, a.Default, a.Hard = dims(200, 3000), "length", Ruler, &def, true
	length := calc.Length(def)
	if v := t.Read(a, wording.Text{}); !v.Skipped {
		length = v.Length()
	}
	r := must(tool.measuring().Read(0))
	e := calc.Difference(r, r)
	e.Value = float64(front - rear)
	w := calc.Window{Low: -ripLimit * float64(length), High: ripLimit * float64(length)}
	d := must(calc.Decide(e, w))
	t.Say("proof."+d.String(), "Value", tool.size(calc.Length(e.Value).Abs()), "Limit", tool.size(calc.Length(w.High)))
	t.Judge(verdict("proof.rip", e, w, d.String()))
	t.Record(Record{Characteristic: "proof.rip", Unit: "mm", Low: bound(w.Low), High: bound(w.High),
		AsFound: t.measured(e), AsLeft: t.measured(e), Decision: d.String(), Tool: tool.Kind, Resolution: float64(tool.Resolution)})
	look := question(Key{Name: "proof.look"}, "proof.look")
	look.Choices = append(choices("clean"), seen("burn", "pinch", "ridge")...)
	if s := t.Pick(look, wording.Text{}); s != "clean" {
		diagnose(t, s, map[string]string{"how": "onfence", "howgauge": "onfence"})
	}
}
