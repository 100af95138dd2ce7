package dialog

import (
	"math"
	"slices"

	"shimwright/calc"
	"shimwright/dialog/wording"
)

// What the passes taught about the table, and the readings that they put in doubt.

// learn adds the round to the pass that led to it.
func (l *levelling) learn(h heights) {
	p := &l.passes[len(l.passes)-1]
	p.After, p.Unread = h.value, slices.Clone(h.missing)
}

// vagueness is how much less exactly than by a reading a height may be known for
// its reading to wait: it is read before anything is called within.
const vagueness = 2.5

// foreseen says of each support whether its height follows well enough from the
// readings before and from those of this round so far, whatever stiffness of the
// table agrees with them. Where they show anything odd, none does.
func (l *levelling) foreseen(h heights) []bool {
	out := make([]bool, len(l.supports))
	passes := slices.Clone(l.passes)
	p := &passes[len(passes)-1]
	p.After, p.Unread = h.value, h.missing
	u := calc.Length(l.typicalU(h))
	model, findings, err := must(calc.NewModel(l.points())).Learn(passes, u)
	if err != nil || len(findings) > 0 {
		return out
	}
	var likely []calc.Estimate
	for _, off := range [...]float64{0, -model.Spread, model.Spread} {
		m := model
		m.Stiffness, m.Torsion = m.Stiffness*math.Exp(off), m.Torsion*math.Exp(off)
		best, err := m.Heights(passes, nil, u, l.tool.Resolution/2)
		if err != nil {
			return out
		}
		if likely == nil {
			likely = best
		}
		for i, e := range best {
			likely[i].U = math.Max(likely[i].U, e.U+math.Abs(e.Value-likely[i].Value))
		}
	}
	for i, e := range likely {
		out[i] = e.U <= vagueness*float64(u)
	}
	return out
}

// recheck reads supports again whose readings fit nothing that the last pass
// can have done: exchanged, or an odd one. It reports whether any was.
func (l *levelling) recheck(round int, h *heights) bool {
	if len(l.passes) == 0 {
		return false
	}
	live, again := l.open(round), l.t.hasFrom(l.key(round, 0, 0, anew))
	var doubtful map[int]bool
	any := false
	for i := range l.supports {
		if !live && !again {
			break
		}
		k := l.key(round, 0, i, anew)
		if !l.t.has(k) {
			if live && len(doubtful) == 0 {
				doubtful = l.doubtful(*h)
			}
			if !doubtful[i] || h.missing[i] {
				continue
			}
			l.t.Say("level.doubtful", "Part", l.supports[i].label())
		}
		if v := l.height(round, 0, i, anew, nil); !v.Skipped {
			was := h.value[i]
			l.take(h, i, v)
			any, l.lesson = true, lesson{}
			if (h.value[i] - was).Abs() <= calc.Length(l.allowed) {
				p := &l.passes[len(l.passes)-1]
				if p.Confirmed == nil {
					p.Confirmed = make([]bool, len(l.supports))
				}
				p.Confirmed[i] = true
			}
		}
	}
	u := l.typicalU(*h)
	l.t.Later(func() { l.sayFindings(u) })
	return any
}

// open reports whether the moves after a round have not been told yet: only
// then is anything worked out from its readings.
func (l *levelling) open(round int) bool {
	k := Key{Name: "slider.moves", Round: round}
	return !l.t.has(k) && (l.t.job.Told == nil || l.t.job.Told.Key != k)
}

// anew counts a reading that is taken anew because it fits nothing.
const anew = 50

// doubtful lists the supports whose last readings fit nothing.
func (l *levelling) doubtful(h heights) map[int]bool {
	out := map[int]bool{}
	_, findings := l.learned(l.typicalU(h))
	for _, f := range findings {
		if f.Pass != len(l.passes)-1 || f.Kind != calc.Swapped && f.Kind != calc.OddReading {
			continue
		}
		out[f.Support] = true
		if f.Other >= 0 {
			out[f.Other] = true
		}
	}
	return out
}

// lesson is what a number of passes has taught.
type lesson struct {
	model    calc.Model
	findings []calc.Finding
	passes   int
}

// learned returns what the whole history of passes teaches about the table.
func (l *levelling) learned(u float64) (calc.Model, []calc.Finding) {
	if l.lesson.model.Supports != nil && l.lesson.passes == len(l.passes) {
		return l.lesson.model, l.lesson.findings
	}
	m := must(calc.NewModel(l.points()))
	var findings []calc.Finding
	if len(l.passes) > 0 {
		if learned, found, err := m.Learn(l.passes, calc.Length(u)); err == nil {
			m, findings = learned, found
		}
	}
	l.lesson = lesson{m, findings, len(l.passes)}
	return m, findings
}

// sayFindings names what the latest pass showed: a stuck or reversed nut,
// another thread, a reading that fits nothing.
func (l *levelling) sayFindings(u float64) {
	_, findings := l.learned(u)
	for _, f := range findings {
		if f.Kind == calc.Swapped || f.Kind == calc.OddReading {
			continue // read again already, see recheck
		}
		args := []any{"Part", wording.T("support.all"), "Other", wording.T("support.all")}
		if f.Support >= 0 {
			args[1] = l.supports[f.Support].label()
		}
		if f.Other >= 0 {
			args[3] = l.supports[f.Other].label()
		}
		l.t.Say("level.finding."+f.Kind.String(), args...)
	}
}

func (l *levelling) points() []calc.Support {
	out := make([]calc.Support, len(l.supports))
	for i, s := range l.supports {
		out[i] = s.Support
	}
	return out
}

func (l *levelling) typicalU(h heights) float64 {
	u := 0.0
	for _, v := range h.u {
		u = math.Max(u, v)
	}
	return u
}
