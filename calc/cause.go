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
func (l *learner) explain() {
	for range mostCauses {
		none := l.fit().score()
		causes := l.causes()
		slices.SortStableFunc(causes, func(a, b cause) int { return compare(a.score, b.score) })
		if len(causes) == 0 || causes[0].score > none-betterBy {
			return
		}
		rivals := causes[:1]
		for len(rivals) < len(causes) && causes[len(rivals)].score < math.Min(causes[0].score+clearBy, none) {
			rivals = causes[:len(rivals)+1]
		}
		c, clear := l.choose(rivals)
		if !clear {
			for _, r := range rivals {
				if r.nut() && r.support >= 0 {
					l.loose[r.support] = true
				}
			}
			return
		}
		l.accept(c)
	}
	l.fit()
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

// causes lists what one more slip could explain.
func (l *learner) causes() []cause {
	var out []cause
	turned := 0
	for j := range l.n {
		if l.turned(j) {
			turned++
			out = append(out, l.nutCauses(j)...)
		}
	}
	if turned > 1 {
		out = append(out, l.nutCauses(AllSupports)...)
	}
	for s := range l.sets {
		for i := range l.n {
			if !l.usable[s][i] || l.confirmed[s][i] {
				continue
			}
			out = append(out, l.readingCause(s, i))
			for o := i + 1; o < l.n; o++ {
				// equal readings cannot be told from exchanged ones
				if l.usable[s][o] && !l.confirmed[s][o] && math.Abs(l.sets[s][o]-l.sets[s][i]) > 4*l.u {
					out = append(out, l.swapCause(s, i, o))
				}
			}
		}
	}
	return out
}

func (l *learner) turned(j int) bool {
	for _, a := range l.moves {
		if a[j] != 0 {
			return true
		}
	}
	return false
}

// nutCauses returns a nut (or all) being stuck, reversed, or of another thread.
func (l *learner) nutCauses(j int) []cause {
	was, rare := 1.0, rareAll
	if j >= 0 {
		was, rare = l.gain[j], rareNut
	}
	inf := math.Inf(1)
	stuck := cause{kind: Stuck, support: j, other: -1, set: -1, gain: 0, score: inf}
	back := cause{kind: Reversed, support: j, other: -1, set: -1, gain: -was, score: inf}
	pitch := cause{kind: WrongPitch, support: j, other: -1, set: -1, score: inf}
	for k := range l.guesses {
		g := &l.guesses[k]
		xr, xx := l.nutEffect(g, j)
		if xx == 0 {
			continue
		}
		at := func(d float64) float64 { return g.score() - 2*d*xr + d*d*xx }
		stuck.score = math.Min(stuck.score, at(-was)+rare)
		back.score = math.Min(back.score, at(-2*was)+rare)
		d := xr / xx
		if gain := was + d; wrongPitch(gain) && at(d)+rare+rarePitch-rareNut < pitch.score {
			pitch.gain, pitch.score = gain, at(d)+rare+rarePitch-rareNut
		}
	}
	if j == AllSupports {
		return []cause{back, pitch} // all stuck at once is no nut's fault
	}
	return []cause{stuck, back, pitch}
}

// wrongPitch says whether a gain may be that of another thread: the ratios of
// common threads reach from a half to two, and a fifth is nobody's turning.
func wrongPitch(gain float64) bool {
	return gain > 0.35 && gain < 3 && math.Abs(gain-1) > 0.2
}

// nutEffect returns xᵀS⁻¹r and xᵀS⁻¹x over all passes, x being the change of
// the heights by a unit of gain of nut j, or of all.
func (l *learner) nutEffect(g *guess, j int) (xr, xx float64) {
	n := l.n
	x := make([]float64, n)
	for p, moves := range l.moves {
		clear(x)
		for k, a := range moves {
			if a == 0 || j >= 0 && k != j {
				continue
			}
			scale := a
			if j < 0 {
				scale *= l.gain[k]
			}
			for i := range n {
				x[i] += g.m[i*n+k] * scale
			}
		}
		for i, v := range x {
			xr += v * g.weighed[p][i]
			for k, w := range x {
				xx += v * w * g.inv[p][i*n+k]
			}
		}
	}
	return xr, xx
}

// readingCause returns reading i of a set being wrong by any amount.
func (l *learner) readingCause(set, i int) cause {
	c := cause{kind: OddReading, support: i, other: -1, set: set, score: math.Inf(1)}
	for k := range l.guesses {
		g := &l.guesses[k]
		if xr, xx := l.readingEffect(g, set, i, i, 1, 0); xx > 0 {
			c.score = math.Min(c.score, g.score()-xr*xr/xx+rareReading)
		}
	}
	return c
}

// swapCause returns readings i and o of a set being exchanged.
func (l *learner) swapCause(set, i, o int) cause {
	c := cause{kind: Swapped, support: i, other: o, set: set, score: math.Inf(1)}
	d := l.sets[set][o] - l.sets[set][i]
	for k := range l.guesses {
		g := &l.guesses[k]
		xr, xx := l.readingEffect(g, set, i, o, d, -d)
		c.score = math.Min(c.score, g.score()+2*xr+xx+rareSwap)
	}
	return c
}

// readingEffect returns xᵀS⁻¹r and xᵀS⁻¹x over all passes, x being the change
// of the differences when readings i and o of a set change by di and do.
func (l *learner) readingEffect(g *guess, set, i, o int, di, do float64) (xr, xx float64) {
	n := l.n
	for p := range l.moves {
		sign := float64(b2i(l.after[p] == set) - b2i(l.before[p] == set))
		if sign == 0 {
			continue
		}
		xr += sign * (di*g.weighed[p][i] + do*g.weighed[p][o])
		xx += di*di*g.inv[p][i*n+i] + do*do*g.inv[p][o*n+o] + 2*di*do*g.inv[p][i*n+o]
	}
	return xr, xx
}
