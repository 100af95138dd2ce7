package dialog

import (
	"math"

	"shimwright/calc"
	"shimwright/dialog/wording"
)

// What a round of heights shows, and the readings that settle it.

// judge decides on a round: the support farthest out stands for all.
func (l *levelling) judge(h heights) (calc.Decision, calc.Estimate) {
	decision, worst, most := calc.Within, calc.Estimate{}, math.Inf(-1)
	for i := range h.value {
		if h.missing[i] {
			continue
		}
		e := calc.Estimate{Value: float64(h.value[i]), U: h.u[i], DoF: calc.ManyDoF}
		d := must(calc.Decide(e, l.window))
		if d == calc.Outside || d == calc.Undecided && decision == calc.Within {
			decision = d
		}
		if out := math.Max(l.window.Low-e.Value, e.Value-l.window.High); out > most {
			most, worst = out, e
		}
	}
	return decision, worst
}

// settle asks for the readings that would settle an undecided round, at most
// three of a support.
func (l *levelling) settle(round int, h *heights) (calc.Decision, calc.Estimate) {
	for i := range h.value {
		tool, values := l.tool.measuring(), []float64{float64(h.value[i])}
		for k := range levelRepeats {
			e := calc.Estimate{Value: float64(h.value[i]), U: h.u[i], DoF: calc.ManyDoF}
			if h.missing[i] || must(calc.Decide(e, l.window)) != calc.Undecided {
				break
			}
			v := l.height(round, 0, i, 3+k, nil)
			if v.Skipped {
				break
			}
			r := v.Reading(tool)
			values = append(values, float64(r.Value()))
			h.value[i], h.u[i] = calc.Length(mean(values)), calc.Combine(averaged(r.Components(), values)...).U
		}
	}
	return l.judge(*h)
}

// loose asks, where a height stands so low that a lock nut that is still loose may
// be all that keeps it in, whether one was. The round is then read again, for what
// the last pass did.
func (l *levelling) loose(round int, h heights) bool {
	if len(l.passes) == 0 {
		return false
	}
	low := -1
	for i, v := range h.value {
		if !h.missing[i] && (low < 0 || v < h.value[low]) {
			low = i
		}
	}
	if low < 0 || float64(h.value[low]-looseLift)-h.u[low] >= l.window.Low {
		return false
	}
	a := question(Key{Name: "slider.locked", Round: round}, "level.locked", "Part", l.supports[low].label())
	a.Choices = choices("no", "yes")
	if l.t.Pick(a, wording.T("caution.nuts")) != "yes" {
		return false
	}
	l.lesson = lesson{}
	return true
}

// say words what a round showed.
func (l *levelling) say(d calc.Decision, worst calc.Estimate) {
	l.t.SayLazily(func() wording.Text {
		w := l.t.work()
		edge := calc.Length(worst.Value) * w.Thick / w.Width // how much an edge leans on a piece that lies across
		args := append(w.effect(), "Edge", wording.Size{Value: edge.Abs(), Resolution: 0.001}, "Value", l.tool.size(calc.Length(worst.Value)), "U", l.tool.doubt(worst.U),
			"Window", l.tool.span(l.p.Tol.LevelLow, l.p.Tol.LevelHigh))
		id := "level." + d.String()
		if d == calc.Outside && worst.Value < l.window.Low {
			id = "level.low"
		}
		return wording.T(id, args...)
	})
	l.t.Judge(verdict("slider.height", worst, l.window, d.String()))
}
