package reading

import "math"

// aboutLeaves reports whether the items say what goes in and what does not.
func (p *parser) aboutLeaves(items []item) bool {
	if p.e.Quantity != Length {
		return false
	}
	if anyOf(items, kGoes, kNoGo, kNoneGoes, kNext, kLoose, kSnug, kLargest, kSmallest) {
		return true
	}
	leaves := len(p.e.Leaves) > 0
	if leaves && count(items, kQuantity) == 2 && count(items, kMore) == 1 && count(items, kLess) == 1 {
		return true // "more than 0.20, less than 0.25"
	}
	if p.e.Tried != nil && len(items) == 1 && anyOf(items, kNot) {
		return true // "it doesn't"
	}
	if leaves && count(items, kQuantity) == 1 {
		at := find(items, kQuantity, 0)
		if anyOf(items, kLess, kMore) || !p.e.Signed && at > 0 && p.comparing(items, at-1) {
			return true
		}
	}
	// Tight alone is how a leaf goes; "tight at the top" is where it touches.
	return leaves && anyOf(items, kTight) && p.signs(items) == 0
}

// feeler reads a go/no-go answer: an interval between the leaf that goes and
// the one that does not.
func (p *parser) feeler(items []item) Result {
	if anyOf(items, kVague, kCorrection, kBetween, kOr, kTo) {
		return refuse(Unclear)
	}
	if count(items, kNoneGoes) > 0 || count(items, kQuantity) == 0 && count(items, kZero) == 1 && count(items, kGoes) == 1 {
		switch {
		case count(items, kNot) > 0:
			return refuse(Negated)
		case count(items, kNoneGoes) > 0 && anyOf(items, kQuantity, kGoes):
			return refuse(Unclear)
		}
		if len(p.e.Leaves) == 0 {
			return refuse(NoLeaf)
		}
		return p.gap(items, 0, float64(p.e.Leaves[0]), false)
	}
	fits, reason := p.fits(items)
	if reason != NoReason {
		return refuse(reason)
	}
	return p.weighFits(items, fits)
}

// bounds are the largest leaf that goes and the smallest that does not, NaN
// where nothing was said.
type bounds struct {
	low, high          float64
	snug, loose, tight bool
	nextNo             bool // the leaf above low does not go
}

// bounds puts together what was said about the leaves.
func (p *parser) bounds(fits []fit, largest bool) (bounds, Reason) {
	b := bounds{low: math.NaN(), high: math.NaN()}
	stops := math.Inf(-1) // a leaf that does not go: what is only tight below it goes
	for _, f := range fits {
		if f.said && !f.goes && !math.IsInf(f.leaf, 1) && !math.IsNaN(f.leaf) {
			stops = math.Max(stops, f.leaf)
		}
	}
	for _, f := range fits {
		goes := f.goes || !f.said && (f.loose || f.snug || largest || f.tight && f.leaf < stops)
		leaf := f.leaf
		switch {
		case math.IsInf(leaf, 1) && goes:
			return b, NextLeaf
		case math.IsInf(leaf, 1):
			b.nextNo = true
			continue
		case !f.said && !goes && !f.tight:
			return b, TwoNumbers
		case f.said && !f.goes && (f.snug || f.loose):
			return b, Negated
		case math.IsNaN(leaf) && p.e.Tried != nil:
			leaf = float64(*p.e.Tried)
		case math.IsNaN(leaf) && len(p.e.Leaves) > 0 && len(fits) == 1 && f.said && !goes:
			leaf = float64(p.e.Leaves[0]) // none does
		case math.IsNaN(leaf):
			return b, NoLeaf
		}
		if goes {
			b.low = math.Max(nanTo(b.low, leaf), leaf)
			b.snug, b.loose = f.snug || f.tight, f.loose
			continue
		}
		b.tight = b.tight || !f.said // "0.15 loose, 0.20 tight"
		b.high = math.Min(nanTo(b.high, leaf), leaf)
	}
	return b, NoReason
}

// weighFits finds the interval between the leaves.
func (p *parser) weighFits(items []item, fits []fit) Result {
	largest := count(items, kLargest) > 0
	b, reason := p.bounds(fits, largest)
	noLow, noHigh := math.IsNaN(b.low), math.IsNaN(b.high)
	switch {
	case reason != NoReason:
		return refuse(reason)
	case noLow && noHigh:
		return refuse(NoLeaf)
	case b.nextNo && noHigh:
		return p.upTo(items, b.low, false)
	case b.nextNo:
		return refuse(Unclear)
	case noHigh && b.snug && !b.loose:
		return p.gap(items, b.low, b.low, false)
	case noHigh:
		return p.upTo(items, b.low, !largest)
	case noLow:
		return p.gap(items, p.leafBelow(b.high), b.high, b.tight || len(p.e.Leaves) == 0)
	case b.low >= b.high:
		return refuse(Unclear)
	}
	return p.gap(items, b.low, b.high, false)
}

func nanTo(v, w float64) float64 {
	if math.IsNaN(v) {
		return w
	}
	return v
}

// upTo is the interval from a leaf that goes to the next one. ask says that
// nothing was said about the next one.
func (p *parser) upTo(items []item, low float64, ask bool) Result {
	next := p.leafAbove(low)
	if math.IsNaN(low) || math.IsInf(next, 1) {
		return refuse(NextLeaf)
	}
	r := p.gap(items, low, next, ask)
	if ask && r.Status == AskBack {
		r.Reason = NextLeaf
	}
	return r
}

func (p *parser) leafAbove(v float64) float64 {
	for _, l := range p.e.Leaves {
		if float64(l) > v*(1+1e-6) {
			return float64(l)
		}
	}
	return math.Inf(1)
}

func (p *parser) leafBelow(v float64) float64 {
	below := 0.0
	for _, l := range p.e.Leaves {
		if float64(l) < v*(1-1e-6) {
			below = float64(l)
		}
	}
	return below
}

// gap judges the interval with the sign that the words give.
func (p *parser) gap(items []item, low, high float64, unsure bool) Result {
	p.cands = append(p.cands[:0], reading{lo: low, hi: high, unit: p.e.own()})
	sign := int8(0)
	for i, it := range items {
		s := int8(0)
		if !p.e.Signed && p.comparing(items, i) {
			continue
		}
		switch it.kind {
		case kPos, kPosMore:
			s = 1
		case kNeg, kNegLess:
			s = -1
		case kQuantity:
			s = p.qs[it.q].sign
		}
		if s != 0 && p.touchingAt(items, i) {
			s = -s
		}
		switch {
		case s == 0:
		case sign == 0:
			sign = s
		case sign != s:
			sign = both
		}
	}
	return p.judge(said{cands: p.cands, sign: sign, text: p.span(items), num: math.NaN(), unsure: unsure || anyOf(items, kQuestion)})
}

// leaf returns the leaf that a quantity names: one that the person owns if a
// meaning of it is one, also said in hundredths ("15 goes"), else the first
// plausible meaning.
func (p *parser) leaf(q *quantity) (float64, bool) {
	p.cands = p.cands[:0]
	if p.readings(q) != NoReason {
		return 0, false
	}
	if q.unit == uNone && q.dec == 0 && p.e.Unit == MM {
		for _, c := range p.cands {
			p.add(c.lo*0.01, shop, uMM)
		}
	}
	found, n := 0.0, 0
	for _, l := range p.e.Leaves {
		for _, c := range p.cands {
			if math.Abs(c.lo-float64(l)) < 0.02*float64(l) {
				found = float64(l)
				n++
			}
		}
	}
	if n == 1 {
		return found, true
	}
	if n > 1 {
		return 0, false
	}
	if q.unit == uInch && q.dec == 0 && p.kindAt(q.end-1) == kUnit { // "can't get the 0.15 in"
		bare := *q
		bare.unit = uNone
		return p.leaf(&bare)
	}
	for _, c := range p.cands {
		if c.tier == literal && p.e.fits(c) && c.lo > 0 {
			return c.lo, len(p.e.Leaves) == 0 || p.twoLeaves(c.lo)
		}
	}
	return 0, false
}

// twoLeaves reports whether two of the person's leaves together are v thick.
func (p *parser) twoLeaves(v float64) bool {
	for i, a := range p.e.Leaves {
		for _, b := range p.e.Leaves[i+1:] {
			if math.Abs(float64(a+b)-v) < 1e-6 {
				return true
			}
		}
	}
	return false
}
