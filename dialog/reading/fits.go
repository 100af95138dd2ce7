package reading

import "math"

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

// clauses pairs every leaf with what is said about it. A verb belongs to the leaf
// before it, or to the one after it when none is waiting.
type clauses struct {
	out     []fit
	cur     fit
	waiting bool // cur has a leaf but no verb yet
}

// fits reads the items into what is said about each leaf.
func (p *parser) fits(items []item) ([]fit, Reason) {
	c := clauses{cur: fit{leaf: math.NaN()}}
	for i, it := range items {
		if c.cur.not && !math.IsNaN(c.cur.leaf) && (says(it.kind) || it.kind == kNot || it.kind == kNo) {
			return nil, Negated // "not 0.15 goes", "not the thinnest doesn't"
		}
		switch it.kind {
		case kQuantity:
			v, reason := p.leafOf(&p.qs[it.q])
			if reason != NoReason {
				return nil, reason
			}
			c.leaf(v)
		case kNext:
			c.leaf(math.Inf(1))
		case kSmallest:
			if len(p.e.Leaves) == 0 {
				return nil, NoLeaf
			}
			c.leaf(float64(p.e.Leaves[0]))
		case kGoes:
			c.goes(i > 0 && (items[i-1].kind == kNot || items[i-1].kind == kNo))
		case kPosMore, kNegLess:
			if !p.e.Signed && p.comparing(items, i) { // "under 0.05"
				c.verb(it.kind == kPosMore)
			}
		case kMore:
			c.verb(true)
		case kNoGo, kLess:
			c.verb(false)
		case kNot, kNo:
			if !c.negation(it.kind, itemKind(items, i-1), itemKind(items, i+1)) {
				return nil, Negated
			}
		case kLoose:
			c.cur.loose = true
		case kSnug:
			c.cur.snug = true
		case kTight:
			c.cur.tight = true
		case kComma, kAnd:
			if c.cur.said || c.cur.loose || c.cur.snug || c.cur.tight {
				c.flush()
			}
		}
	}
	c.flush()
	return c.out, NoReason
}

// leafOf is leaf with the reason why a quantity names none.
func (p *parser) leafOf(q *quantity) (float64, Reason) {
	v, ok := p.leaf(q)
	if ok {
		return v, NoReason
	}
	p.cands = p.cands[:0]
	if r := p.readings(q); r != NoReason {
		return 0, r
	}
	return 0, UnknownLeaf
}

// flush ends the statement about one leaf.
func (c *clauses) flush() {
	cur, last := c.cur, len(c.out)-1
	switch {
	case !c.waiting && !cur.said && !cur.loose && !cur.snug && !cur.tight:
	case math.IsNaN(cur.leaf) && last >= 0 && (!cur.said || c.out[last].said && c.out[last].goes == cur.goes):
		// "won't go in, too thick", "goes in, loose": more about the same leaf
		c.out[last].loose = c.out[last].loose || cur.loose
		c.out[last].snug = c.out[last].snug || cur.snug
		c.out[last].tight = c.out[last].tight || cur.tight
	default:
		c.out = append(c.out, cur)
	}
	c.cur, c.waiting = fit{leaf: math.NaN()}, false
}

func (c *clauses) leaf(v float64) {
	if c.waiting || !math.IsNaN(c.cur.leaf) {
		c.flush()
	}
	c.cur.leaf, c.waiting = v, !c.cur.said
}

func (c *clauses) verb(goes bool) {
	if c.cur.said {
		c.flush()
	}
	c.cur.said, c.cur.goes, c.waiting = true, goes, false
}

// goes takes "goes in", which the word before it may deny.
func (c *clauses) goes(denied bool) {
	switch {
	case denied && c.cur.said: // "passt da nicht rein"
		c.cur.goes = false
	case c.cur.said && c.cur.goes: // "goes, slides in easily"
	default:
		c.verb(!denied)
	}
}

// negation takes "not", "no" and "doesn't". It reports false when they deny what
// is not to be denied, as in "not loose".
func (c *clauses) negation(word, before, next kind) bool {
	switch {
	case next == kGoes: // it is that verb's
	case word == kNo && next == kNoGo: // "no, it won't go"
	case says(next) || word == kNot && (next == kNot || next == kNo):
		return false
	case c.cur.said && c.cur.goes && next != kQuantity && next != kNext && before == kGoes:
		c.cur.goes = false // "geht nicht"
	default: // "0.15 not", "not the next one"
		c.verb(false)
		c.cur.not = math.IsNaN(c.cur.leaf)
	}
	return true
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
	if i < 0 || i >= len(items) {
		return kEnd
	}
	return items[i].kind
}
