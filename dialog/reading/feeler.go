package reading

import "math"

// aboutLeaves reports whether the items say what goes in and what does not.
func (p *parser) aboutLeaves(items []item) bool {
	if p.e.Quantity != Length {
		return false
	}
	if anyOf(items, kGoes, kNoGo, kNoneGoes, kNext, kLoose, kSnug, kLargest) {
		return true
	}
	leaves := len(p.e.Leaves) > 0
	if leaves && count(items, kQuantity) == 1 {
		at := find(items, kQuantity, 0)
		if anyOf(items, kLess, kMore) || !p.e.Signed && at > 0 && p.comparing(items, at-1) {
			return true
		}
	}
	// Tight alone is how a leaf goes; "tight at the top" is where it touches.
	return leaves && anyOf(items, kTight) && p.signs(items) == 0
}

// fit is what a message says about one leaf.
type fit struct {
	leaf  float64 // mm; NaN for "it", +Inf for "the next one"
	goes  bool
	loose bool
	snug  bool
	tight bool
	said  bool // a verb was said
	not   bool // the verb was only a negation: "not 0.15"
}

// feeler reads a go/no-go answer: an interval between the leaf that goes and
// the one that does not.
func (p *parser) feeler(items []item) Result {
	if anyOf(items, kVague, kCorrection, kBetween, kOr, kTo) {
		return refuse(Unclear)
	}
	if count(items, kNoneGoes) > 0 {
		switch {
		case count(items, kNot) > 0:
			return refuse(Negated)
		case anyOf(items, kQuantity, kGoes):
			return refuse(Unclear)
		}
		if len(p.e.Leaves) == 0 {
			return refuse(NoLeaf)
		}
		return p.between2(items, 0, float64(p.e.Leaves[0]), false)
	}
	fits, reason := p.fits(items)
	if reason != NoReason {
		return refuse(reason)
	}
	return p.weighFits(items, fits)
}

// fits pairs every leaf with what is said about it. A verb belongs to the leaf
// before it, or to the one after it when none is waiting.
func (p *parser) fits(items []item) ([]fit, Reason) {
	var out []fit
	cur := fit{leaf: math.NaN()}
	waiting := false // cur has a leaf but no verb
	flush := func() {
		switch last := len(out) - 1; {
		case !waiting && !cur.said && !cur.loose && !cur.snug && !cur.tight:
		case math.IsNaN(cur.leaf) && last >= 0 && (!cur.said || out[last].said && out[last].goes == cur.goes):
			// "won't go in, too thick", "goes in, loose": more about the same leaf
			out[last].loose = out[last].loose || cur.loose
			out[last].snug = out[last].snug || cur.snug
			out[last].tight = out[last].tight || cur.tight
		default:
			out = append(out, cur)
		}
		cur, waiting = fit{leaf: math.NaN()}, false
	}
	setLeaf := func(v float64) {
		if waiting || !math.IsNaN(cur.leaf) {
			flush()
		}
		cur.leaf, waiting = v, !cur.said
	}
	verb := func(goes bool) {
		if cur.said {
			flush()
		}
		cur.said, cur.goes, waiting = true, goes, false
	}
	for i, it := range items {
		if cur.not && !math.IsNaN(cur.leaf) && says(it.kind) {
			return nil, Negated // "not 0.15 goes"
		}
		switch it.kind {
		case kQuantity:
			q := &p.qs[it.q]
			v, ok := p.leaf(q)
			if !ok {
				if r := p.readings(q); r != NoReason {
					return nil, r
				}
				return nil, UnknownLeaf
			}
			setLeaf(v)
		case kNext:
			setLeaf(math.Inf(1))
		case kGoes:
			switch denied := i > 0 && (items[i-1].kind == kNot || items[i-1].kind == kNo); {
			case denied && cur.said: // "passt da nicht rein"
				cur.goes = false
			case cur.said && cur.goes: // "goes, slides in easily"
			default:
				verb(!denied)
			}
		case kPosMore, kNegLess:
			if !p.e.Signed && p.comparing(items, i) { // "under 0.05"
				verb(it.kind == kPosMore)
			}
		case kMore:
			verb(true)
		case kNoGo, kLess:
			verb(false)
		case kNot, kNo:
			switch next := itemKind(items, i+1); {
			case next == kGoes: // it is that verb's
			case it.kind == kNo && next == kNoGo: // "no, it won't go"
			case says(next) || it.kind == kNot && (next == kNot || next == kNo):
				return nil, Negated // "not won't go in", "not loose"
			case cur.said && cur.goes && next != kQuantity && next != kNext && items[i-1].kind == kGoes:
				cur.goes = false // "geht nicht"
			default: // "0.15 not", "not the next one"
				verb(false)
				cur.not = math.IsNaN(cur.leaf)
			}
		case kLoose:
			cur.loose = true
		case kSnug:
			cur.snug = true
		case kTight:
			cur.tight = true
		case kComma, kAnd:
			if cur.said || cur.loose || cur.snug || cur.tight {
				flush()
			}
		}
	}
	flush()
	return out, NoReason
}

// says reports whether a kind of item says how a leaf goes.
func says(k kind) bool {
	switch k {
	case kGoes, kNoGo, kLoose, kSnug, kTight, kLargest:
		return true
	}
	return false
}

func itemKind(items []item, i int) kind {
	if i >= len(items) {
		return kEnd
	}
	return items[i].kind
}

// weighFits finds the largest leaf that goes and the smallest that does not.
func (p *parser) weighFits(items []item, fits []fit) Result {
	low, high := math.NaN(), math.NaN()
	snug, loose, tight := false, false, false
	largest := count(items, kLargest) > 0
	nextNo := false
	for _, f := range fits {
		leaf := f.leaf
		goes := f.goes || !f.said && (f.loose || f.snug || largest)
		if math.IsInf(leaf, 1) {
			if goes {
				return refuse(NextLeaf)
			}
			nextNo = true
			continue
		}
		switch {
		case !f.said && !goes && !f.tight:
			return refuse(TwoNumbers)
		case f.said && !f.goes && (f.snug || f.loose):
			return refuse(Negated)
		}
		if math.IsNaN(leaf) && p.e.Tried != nil {
			leaf = float64(*p.e.Tried)
		}
		switch {
		case f.tight && !f.said: // "0.15 loose, 0.20 tight"
			tight = true
			high = math.Min(nanTo(high, leaf), leaf)
		case goes:
			low = math.Max(nanTo(low, leaf), leaf)
			snug, loose = f.snug || f.tight, f.loose
			if math.IsNaN(leaf) {
				return refuse(NoLeaf)
			}
		case math.IsNaN(leaf) && len(p.e.Leaves) > 0 && len(fits) == 1:
			return p.between2(items, 0, float64(p.e.Leaves[0]), false)
		case math.IsNaN(leaf):
			return refuse(NoLeaf)
		default:
			high = math.Min(nanTo(high, leaf), leaf)
		}
	}
	switch {
	case math.IsNaN(low) && math.IsNaN(high):
		return refuse(NoLeaf)
	case nextNo && math.IsNaN(high):
		return p.upTo(items, low, false)
	case nextNo:
		return refuse(Unclear)
	case math.IsNaN(high) && snug && !loose:
		return p.between2(items, low, low, false)
	case math.IsNaN(high):
		return p.upTo(items, low, !largest)
	case math.IsNaN(low):
		return p.between2(items, p.leafBelow(high), high, tight)
	case low >= high:
		return refuse(Unclear)
	}
	return p.between2(items, low, high, false)
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
	r := p.between2(items, low, next, ask)
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

// between2 judges the interval with the sign that the words give.
func (p *parser) between2(items []item, low, high float64, unsure bool) Result {
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
