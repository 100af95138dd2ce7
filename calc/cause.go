package calc

import (
	"math"
	"slices"
)

// cause is one possible explanation of what does not fit. Its score is that of
// the best guess with it, with a penalty for how rare it is.
type cause struct {
	kind           FindingKind
	support, other int
	set            int // of a reading; -1 for a nut
	gain           float64
	score          float64
}

// nut says whether the cause is about a nut (or all) and not about a reading.
func (c cause) nut() bool { return c.set < 0 }

// Penalties, −2·ln of how rare a slip is (practice, no source), with enough on
// top that noise among so many possible causes is not named.
const (
	rareNut     = 9.0  // one nut stuck or reversed
	rarePitch   = 13.0 // one nut of another thread
	rareAll     = 9.0  // the profile names the wrong thread or direction
	rareSwap    = 11.0
	rareReading = 13.0
	betterBy    = 2.0 // a cause must be better than none by this
	clearBy     = 4.0 // and better than the next by this
	mostCauses  = 3
)

// explain looks for the causes of what does not fit, the likeliest first.
func (l *learner) explain() error {
	for range mostCauses {
		best, err := l.fit()
		if err != nil {
			return err
		}
		none := best.score()
		causes := l.causes(none)
		slices.SortStableFunc(causes, func(a, b cause) int { return compare(a.score, b.score) })
		if len(causes) == 0 || causes[0].score > none-betterBy {
			return nil
		}
		rivals := causes[:1]
		for len(rivals) < len(causes) && causes[len(rivals)].score < causes[0].score+clearBy {
			rivals = causes[:len(rivals)+1]
		}
		c, clear := l.choose(rivals)
		if !clear {
			for _, r := range rivals {
				if r.nut() && r.support >= 0 {
					l.loose[r.support] = true
				}
			}
			return nil
		}
		l.accept(c)
	}
	_, err := l.fit()
	return err
}

// choose picks one of the causes that explain equally well. One about a
// reading that can still be taken again is the cheapest to try; otherwise
// there must be but one.
func (l *learner) choose(rivals []cause) (c cause, clear bool) {
	last := len(l.sets) - 1
	for _, r := range rivals {
		if !r.nut() && r.set == last {
			return r, true
		}
	}
	for _, r := range rivals {
		if r.support != rivals[0].support || r.set != rivals[0].set || r.kind != rivals[0].kind {
			return cause{}, false
		}
	}
	return rivals[0], true
}

// accept makes a cause part of the explanation.
func (l *learner) accept(c cause) {
	f := Finding{Kind: c.kind, Support: c.support, Other: c.other, Pass: c.set - 1, Gain: 1}
	switch {
	case c.kind == Swapped:
		s := l.sets[c.set]
		s[c.support], s[c.other] = s[c.other], s[c.support]
	case c.kind == OddReading:
		l.usable[c.set][c.support] = false
	case c.support == AllSupports:
		f.Pass, f.Gain = -1, c.gain
		for j := range l.gain {
			l.gain[j] *= c.gain
		}
	default:
		f.Pass, f.Gain = -1, c.gain
		l.gain[c.support] = c.gain
	}
	l.findings = append(l.findings, f)
}

// causes lists what one more slip could explain better than none does, and not
// much worse than the best of them does.
func (l *learner) causes(none float64) []cause {
	var list []cause
	limit := none
	for _, k := range l.likeliest() {
		// even where a slip explains everything, its penalty and the prior stay
		if l.guesses[k].prior+rareNut >= limit {
			break
		}
		if list == nil {
			list = l.possible()
		}
		l.detail(k)
		g := &l.guesses[k]
		for i := range list {
			if c := &list[i]; g.prior+c.rare() < limit {
				l.try(c, g.score(), limit)
				limit = min(limit, c.score+clearBy)
			}
		}
	}
	return slices.DeleteFunc(list, func(c cause) bool { return c.score >= limit })
}

// likeliest lists the guesses by their priors.
func (l *learner) likeliest() []int {
	order := make([]int, len(l.guesses))
	for k := range order {
		order[k] = k
	}
	slices.SortFunc(order, func(a, b int) int { return compare(l.guesses[a].prior, l.guesses[b].prior) })
	return order
}

// rare returns the penalty of a cause.
func (c *cause) rare() float64 {
	switch {
	case c.kind == OddReading:
		return rareReading
	case c.kind == Swapped:
		return rareSwap
	case c.support == AllSupports && c.kind == WrongPitch:
		return rareAll + rarePitch - rareNut
	case c.support == AllSupports:
		return rareAll
	case c.kind == WrongPitch:
		return rarePitch
	}
	return rareNut
}

// possible lists every slip that there may have been.
func (l *learner) possible() []cause {
	out := make([]cause, 0, 3*len(l.turned)+2+len(l.sets)*l.n*(l.n+1)/2)
	add := func(kind FindingKind, support, other, set int) {
		out = append(out, cause{kind: kind, support: support, other: other, set: set, score: math.Inf(1)})
	}
	for _, j := range l.turned {
		for _, kind := range []FindingKind{Stuck, Reversed, WrongPitch} {
			add(kind, j, -1, -1)
		}
	}
	if len(l.turned) > 1 { // all stuck at once is no nut's fault
		add(Reversed, AllSupports, -1, -1)
		add(WrongPitch, AllSupports, -1, -1)
	}
	for s := range l.sets {
		for i := range l.n {
			if !l.usable[s][i] || l.confirmed[s][i] {
				continue
			}
			add(OddReading, i, -1, s)
			for o := i + 1; o < l.n; o++ {
				// equal readings cannot be told from exchanged ones
				if l.usable[s][o] && !l.confirmed[s][o] && math.Abs(l.sets[s][o]-l.sets[s][i]) > 4*l.u {
					add(Swapped, i, o, s)
				}
			}
		}
	}
	return out
}

// try betters the score of a cause by the guess that was worked out in detail,
// whose score without it is none. What stays above limit need not be exact.
func (l *learner) try(c *cause, none, limit float64) {
	switch c.kind {
	case OddReading: // by any amount
		xr, xx := l.readingPull(c.set, c.support, c.support, 1, 0), l.readingHold(c.set, c.support, c.support, 1, 0)
		if xx > 0 {
			c.score = min(c.score, none-xr*xr/xx+c.rare())
		}
	case Swapped:
		d := l.sets[c.set][c.other] - l.sets[c.set][c.support]
		if xr := l.readingPull(c.set, c.support, c.other, d, -d); none+2*xr+c.rare() < limit {
			xx := l.readingHold(c.set, c.support, c.other, d, -d)
			c.score = min(c.score, none+2*xr+xx+c.rare())
		}
	default:
		l.tryNut(c, none)
	}
}

// tryNut does the same for a nut (or all) being stuck, reversed, or of another
// thread.
func (l *learner) tryNut(c *cause, none float64) {
	xr, xx := l.nutEffect(c.support)
	if !(xx > 0) {
		return
	}
	was := 1.0
	if c.support >= 0 {
		was = l.gain[c.support]
	}
	at := func(d float64) float64 { return none - 2*d*xr + d*d*xx + c.rare() }
	switch c.kind {
	case Stuck:
		c.score = min(c.score, at(-was))
	case Reversed:
		c.gain = -was
		c.score = min(c.score, at(-2*was))
	case WrongPitch:
		d := xr / xx
		if score := at(d); wrongPitch(was+d) && score < c.score {
			c.gain, c.score = was+d, score
		}
	}
}

// wrongPitch says whether a gain may be that of another thread: the ratios of
// common threads reach from a half to two, and a fifth is nobody's turning.
func wrongPitch(gain float64) bool {
	return gain > 0.35 && gain < 3 && math.Abs(gain-1) > 0.2
}
