package dialog

import (
	"math"
	"slices"

	"shimwright/calc"
	"shimwright/dialog/guard"
	"shimwright/dialog/wording"
)

// Reading heights: one round of them, and what is asked for each.

// heights is one round of readings.
type heights struct {
	value   []calc.Length
	u       []float64 // expanded, of each
	missing []bool
	raw     []int // the answers; 0 where none was
	round   int
	short   bool // some wait until after the next pass
}

func (l *levelling) newHeights(round int) heights {
	n := len(l.supports)
	return heights{value: make([]calc.Length, n), u: make([]float64, n), missing: make([]bool, n), raw: make([]int, n), round: round}
}

// read takes one round of heights, the first point again last: when it has
// changed by more than the tool explains, the stand has moved and the round is
// read again. Where those whose nuts were turned show that another pass is needed,
// the others wait for it as far as they are known well enough to plan it.
func (l *levelling) read(round int) heights {
	for try := 0; ; try++ {
		h := l.newHeights(round)
		for i := range h.missing {
			h.missing[i] = true
		}
		first := -1
		order, most := l.order()
		var known []bool
		for n, i := range order {
			if n >= most && l.waits(round, try, i, &h, &known) {
				h.short = true
				continue
			}
			v := l.height(round, try, i, 1, &h)
			if v.Skipped {
				continue
			}
			if first < 0 {
				first = i
			}
			l.take(&h, i, v)
		}
		if first < 0 {
			l.t.Say("level.none")
			continue
		}
		if h.short {
			l.t.Say("level.short")
			if single(h.missing) {
				return h // the first point is the last
			}
		}
		again := l.height(round, try, first, 2, nil)
		if again.Skipped || math.Abs(again.Mid()-float64(h.value[first])) <= l.allowed || try == 2 {
			return h
		}
		l.t.Say("level.moved", "Change", l.tool.size((calc.Length(again.Mid()) - h.value[first]).Abs()), "Part", l.supports[first].label())
	}
}

// single says whether all but one are missing.
func single(missing []bool) bool {
	read := 0
	for _, m := range missing {
		if !m {
			read++
		}
	}
	return read == 1
}

// order returns the supports as they are read, and from which place on they may
// wait. Where the last pass turned a nut as far as one pass goes, another is
// likely: then those that were turned come first. Otherwise none waits.
func (l *levelling) order() (order []int, most int) {
	n := len(l.supports)
	full := func(t float64) bool { return math.Abs(t) > calc.DefaultPlanOptions().MaxTurn-1e-9 }
	var turns []float64
	if k := len(l.passes); k > 0 && !l.whole && slices.ContainsFunc(l.passes[k-1].Turns, full) {
		turns = l.passes[k-1].Turns
	}
	var others []int
	for i := range n {
		if turns == nil || turns[i] != 0 {
			order = append(order, i)
		} else {
			others = append(others, i)
		}
	}
	return append(order, others...), len(order)
}

// waits says whether the reading at support i, whose nut was left alone, can
// wait until after the next pass: another is needed, and the height is known
// well enough without. known is worked out with the first question.
func (l *levelling) waits(round, try, i int, h *heights, known *[]bool) bool {
	if l.t.has(l.key(round, try, i, 1)) {
		return false
	}
	if !l.open(round) {
		return true
	}
	if d, _ := l.judge(*h); d != calc.Outside {
		return false
	}
	if l.t.hasFrom(l.key(round, try, 0, 2)) {
		return true
	}
	if *known == nil {
		*known = l.foreseen(*h)
	}
	return (*known)[i]
}

// expected is where the height at support i should be: where the last round
// left it, or among its neighbours of this round. Nil: nothing is known.
func (l *levelling) expected(i int, h *heights) *float64 {
	if h == nil {
		return nil
	}
	for _, past := range []*heights{l.left, l.found} {
		if past != nil && !past.missing[i] {
			v := float64(past.value[i])
			return &v
		}
	}
	var read []float64
	for j := range i {
		if !h.missing[j] {
			read = append(read, float64(h.value[j]))
		}
	}
	if len(read) == 0 {
		return nil
	}
	m := mean(read)
	return &m
}

// take puts a reading into its round. Every plain reading of a tool has the
// same uncertainty: it is worked out once, in newLevelling.
func (l *levelling) take(h *heights, i int, v Value) {
	h.missing[i], h.raw[i] = false, v.answer
	if v.Low == v.High {
		h.value[i], h.u[i] = calc.Length(v.Low)+l.tool.Correction, l.plainU
		return
	}
	r := v.Reading(l.tool.measuring())
	h.value[i], h.u[i] = r.Value(), r.Estimate().U
}

// readings returns a round as a record keeps it.
func (l *levelling) readings(h *heights) []RecordReading {
	var out []RecordReading
	for i, n := range h.raw {
		if a := &l.t.job.Answers[n]; !h.missing[i] {
			out = append(out, RecordReading{Name: "slider.height", Label: itoa(i + 1), Round: h.round, Low: a.Low, High: a.High, At: a.At})
		}
	}
	return out
}

// height reads the height at support i; h is what was read in this round, nil
// where that does not count.
func (l *levelling) height(round, try, i, n int, h *heights) Value {
	return l.t.ReadAt(l.key(round, try, i, n), wording.T("caution.hands"), func() guard.Ask {
		return l.question(round, try, i, n, h)
	})
}

// question asks for the height at support i; n counts how often it was asked
// in this round.
func (l *levelling) question(round, try, i, n int, h *heights) guard.Ask {
	s := &l.supports[i]
	id := "level.next"
	switch {
	case n > 1:
		id = "level.again"
	case i == l.first && (round%anewRounds == 1 || round == checkRound):
		id = "level.height"
	}
	a := question(l.key(round, try, i, n), id, "Part", s.label(), "Tool", l.toolText())
	a.Expect = signed(heightMost, l.tool)
	if n == 1 {
		a.Expect.Near, a.Expect.Spread = l.expected(i, h), float64(heightSpread)
	}
	a.Signs = [3]string{"height.high", "height.low", "height.level"}
	a.Quantity, a.Tool, a.Label, a.At, a.N = "height", l.tool.Kind, s.label(), &s.at, n
	if n == 1 {
		a.Supports = guard.Group{Size: len(l.supports), Key: func(j int) Key { return l.key(round, try, j, 1) }}
	}
	return a
}

func (l *levelling) key(round, try, i, n int) Key {
	return Key{Name: "slider.height", Round: round*10 + try, Index: (n-1)*100 + i}
}

func (l *levelling) toolText() wording.Text { return wording.T("tool." + l.tool.Kind) }
