package dialog

import (
	"math"
	"slices"

	"shimwright/calc"
	"shimwright/dialog/wording"
)

// quickCheck is what a reminder leads to: at most five readings, of what has
// moved most, against what was last left.
type quickCheck struct{}

// quickReadings is the most that a quick check asks for.
const quickReadings = 5

func (quickCheck) Name() string        { return "quick-check" }
func (quickCheck) Gives() []string     { return nil }
func (quickCheck) Needs() []string     { return nil }
func (quickCheck) Minimum(Profile) int { return 2 }

// probe is one characteristic that a few readings can check.
type probe struct {
	characteristic, procedure string
	readings                  int
	run                       func(*Script, *Record) (calc.Estimate, calc.Window)
}

// size words a value of the characteristic, a toe that is closed at the rear as such.
func (p probe) size(t *Script, v float64) any {
	if v < 0 && p.characteristic == t.profile.toeName() {
		return t.Tool(Indicator).toe(v)
	}
	return wording.Size{Value: calc.Length(v), Signed: true}
}

func (quickCheck) Run(t *Script) {
	left := quickReadings
	worst := ""
	asked := false
	for _, pr := range probes(t) {
		last := t.last(pr.characteristic)
		if last == nil || last.AsLeft == nil || pr.readings > left {
			continue
		}
		left -= pr.readings
		asked = true
		e, w := pr.run(t, last)
		d := must(calc.Decide(e, w))
		moved := math.Abs(e.Value-last.AsLeft.Value) > e.U+last.AsLeft.Uncertainty
		id, decision := "quick.same", d.String()
		switch {
		case d == calc.Outside && (moved || !calc.AtToeIn(e, w)):
			id = "quick.outside"
			if worst == "" {
				worst = pr.procedure
			}
		case d == calc.Outside: // as doubtful at the toe-in limit as it was left
			decision = last.Decision
		case moved:
			id = "quick.moved"
		}
		t.Say(id, "What", whatOf(pr.characteristic), "Value", pr.size(t, e.Value), "Was", pr.size(t, last.AsLeft.Value))
		t.Judge(verdict(pr.characteristic, e, w, decision))
		t.Record(Record{Characteristic: pr.characteristic, Unit: last.Unit, Low: last.Low, High: last.High,
			AsFound: t.measured(e), AsLeft: t.measured(e), Decision: decision, Tool: Indicator,
			Resolution: float64(t.Tool(Indicator).Resolution)})
	}
	switch {
	case !asked:
		t.Say("quick.nothing")
		t.Lead(firstSetting(t.profile))
	case worst != "":
		t.Say("quick.needed", "Job", titleOf(worst, t.profile))
		t.Lead(worst)
	default:
		t.Say("quick.leave")
	}
}

// firstSetting is the job that comes first on a saw that was never measured.
func firstSetting(p Profile) string {
	if applies(level{}, p) {
		return level{}.Name()
	}
	return parallel{}.Name()
}

// last returns the newest record of a characteristic of this saw, as it was
// before this job.
func (t *Script) last(characteristic string) *Record {
	for i := range t.view.Last {
		r := &t.view.Last[i]
		switch {
		case r.Saw != t.saw.ID || r.Characteristic != characteristic:
		case r.At.Before(t.job.Started):
			return r
		default: // this job has written its own since
			return t.older(characteristic)
		}
	}
	return nil
}

// older looks for that record among the older ones.
func (t *Script) older(characteristic string) *Record {
	if !t.view.HasHistory {
		panic(needHistory{t.saw.ID})
	}
	for _, r := range slices.Backward(ofSaw(t.view.History, t.saw.ID, characteristic)) {
		if r.At.Before(t.job.Started) {
			return &r
		}
	}
	return nil
}

// probes lists what can be checked quickly, what moved most in the last set-up
// first: against its window, so that unlike things compare.
func probes(t *Script) []probe {
	list := []probe{
		{t.profile.toeName(), "slider-parallel", 2, quickToe},
		{"slider.level", "slider-level", 3, quickLevel},
	}
	list = slices.DeleteFunc(list, func(p probe) bool { return !applies(procedureNamed(p.procedure), t.profile) })
	drift := func(p probe) float64 {
		r := t.last(p.characteristic)
		if r == nil || r.AsFound == nil || r.AsLeft == nil || r.Low == nil || r.High == nil || *r.High <= *r.Low {
			return 0
		}
		return math.Abs(r.AsFound.Value-r.AsLeft.Value) / (*r.High - *r.Low)
	}
	slices.SortStableFunc(list, func(a, b probe) int {
		switch da, db := drift(a), drift(b); {
		case da > db:
			return -1
		case da < db:
			return 1
		}
		return 0
	})
	return list
}

// quickToe reads one spot at the front and at the rear.
func quickToe(t *Script, _ *Record) (calc.Estimate, calc.Window) {
	p := t.Profile()
	j := &toeing{t: t, p: p, tool: t.Tool(Indicator), length: p.Blade * 8 / 10,
		window: calc.Window{Low: float64(p.Tol.ToeLow), High: float64(p.Tol.ToeHigh), ToeIn: true}}
	id := "quick.front"
	if p.Kind == Cabinet {
		id = "quick.slot"
	}
	front := j.read(1, 1, 0, 0, id, 0)
	rear := j.read(1, 1, 0, 1, "quick.rear", front)
	return j.estimate([]calc.Travel{{Front: front, Rear: rear}}), j.window
}

// quickLevel reads three supports: the first, the middle one, the last.
func quickLevel(t *Script, _ *Record) (calc.Estimate, calc.Window) {
	l := newLevelling(t)
	n, h := len(l.supports), l.newHeights(1)
	for i := range h.missing {
		h.missing[i] = true
	}
	for _, i := range slices.Compact([]int{0, n / 2, n - 1}) {
		v := l.height(1, 0, i, 1, nil)
		if !v.Skipped {
			h.missing[i] = false
			l.take(&h, i, v)
		}
	}
	_, worst := l.judge(h)
	return worst, l.window
}
