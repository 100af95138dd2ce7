package reading

import "math"

// share gives a quantity without a unit the unit of its neighbour: "between 3
// and 4 thou".
func share(a, b *quantity) {
	if a.unit == uNone && a.dec == 0 && a.num.vals[0].dec == 0 {
		a.unit, a.dec = b.unit, b.dec
	} else if b.unit == uNone && b.dec == 0 && b.num.vals[0].dec == 0 {
		b.unit, b.dec = a.unit, a.dec
	}
}

// meanings returns the meanings of both quantities. Both slices are valid until
// p.cands is used again.
func (p *parser) meanings(a, b *quantity) (as, bs []reading, r Reason) {
	p.cands = p.cands[:0]
	if r = p.readings(a); r != NoReason {
		return nil, nil, r
	}
	n := len(p.cands)
	if r = p.readings(b); r != NoReason {
		return nil, nil, r
	}
	return p.cands[:n:n], p.cands[n:], NoReason
}

// interval is "between 3 and 4 thou" or "0.10-0.15".
func (p *parser) interval(items []item, a, b *quantity) Result {
	share(a, b)
	as, bs, reason := p.meanings(a, b)
	if reason != NoReason {
		return refuse(reason)
	}
	// Both ends have one sign of their own ("between minus 3 and minus 4"), or
	// share what the words give ("3 to 4 low"). "Minus 3 to 4" is not clear.
	if (a.sign == 0) != (b.sign == 0) || a.sign == both || b.sign == both || anyOf(items, kVague) {
		return refuse(TwoNumbers)
	}
	signOf := func(s int8) float64 { return float64(min(s, 0)*2 + 1) }
	var buf [8]reading
	pairs := buf[:0]
	for _, x := range as {
		for _, y := range bs {
			lo, hi := x.lo*signOf(a.sign), y.lo*signOf(b.sign)
			other := x.unit != y.unit && (a.unit == uNone || b.unit == uNone) // "1 to 3" is in one unit
			if other || x.tier != y.tier || lo == hi || len(pairs) == cap(buf) {
				continue
			}
			if lo < hi || anyOf(items, kBetween) || a.sign < 0 && b.sign < 0 {
				pairs = append(pairs, reading{min(lo, hi), max(lo, hi), x.tier, x.unit, x.ask || y.ask})
			}
		}
	}
	if len(pairs) == 0 {
		return refuse(TwoNumbers)
	}
	sign, clear := int8(1), true
	switch {
	case a.sign == 0:
		sign, clear = p.sign(items, find(items, kQuantity, 0))
	case p.signs(items) > 0:
		return refuse(TwoNumbers)
	case pairs[0].lo < 0 && !p.e.Signed:
		return refuse(NegativeNotAllowed)
	}
	return p.judge(said{cands: pairs, sign: sign, text: p.span(items), num: math.NaN(), unsure: !clear || hedged(items)})
}

// either is "3 or 4 thou" and "3, no, 4": both are offered, the last first.
func (p *parser) either(items []item, a, b *quantity) Result {
	share(a, b)
	sign := int8(1)
	if p.signs(items) > 0 {
		if sign, _ = p.sign(items, find(items, kQuantity, 0)); sign == 0 || sign == both {
			sign = 1
		}
	}
	r := Result{Status: AskBack}
	for _, q := range []*quantity{b, a} {
		p.cands = p.cands[:0]
		if p.readings(q) != NoReason {
			continue
		}
		s := sign
		if q.sign == -1 || q.sign == 1 {
			s = q.sign
		}
		for _, c := range p.cands {
			if s < 0 {
				c.lo, c.hi = -c.hi, -c.lo
			}
			if p.e.fits(c) {
				r.offer(Value{Low: c.lo, High: c.hi, Text: p.typed[p.toks[q.start].start:p.toks[q.end-1].end]}, NoSlip)
				break
			}
		}
	}
	if len(r.Alternatives) == 0 {
		return refuse(TwoNumbers)
	}
	return r
}

// sameTwice reports whether two quantities have a meaning in common: "3 thou,
// 0.003".
func (p *parser) sameTwice(a, b *quantity) bool {
	as, bs, r := p.meanings(a, b)
	if r != NoReason {
		return false
	}
	for _, x := range as {
		for _, y := range bs {
			if same(x.lo, y.lo) && x.lo != 0 {
				return true
			}
		}
	}
	return a.zero() && b.zero()
}

// twice takes a value that was said in two ways, by what both have in common.
func (p *parser) twice(items []item, ia, ib int) Result {
	a, b := &p.qs[items[ia].q], &p.qs[items[ib].q]
	as, bs, _ := p.meanings(a, b)
	var buf [8]reading
	common := buf[:0]
	for _, x := range as {
		for _, y := range bs {
			if (same(x.lo, y.lo) || x.lo == y.lo) && len(common) < cap(buf) && !contains(common, x) {
				x.tier = min(x.tier, y.tier)
				common = append(common, x)
			}
		}
	}
	sa, clearA := p.sign(items, ia)
	sb, clearB := p.sign(items, ib)
	if b.sign == 0 && a.sign != 0 || b.sign != 0 && a.sign == 0 {
		if sa == 0 {
			sa = sb
		} else if sb != 0 && sb != sa {
			sa = both
		}
	} else if sa != sb {
		sa = both
	}
	return p.judge(said{cands: common, sign: sa, text: p.span(items), num: math.NaN(),
		unsure: !clearA || !clearB || hedged(items)})
}

// stack adds feeler leaves that were used together: "0.10 + 0.05". Every one
// must be a leaf that the person owns.
func (p *parser) stack(items []item) (Result, bool) {
	if len(p.e.Leaves) == 0 || p.e.Quantity != Length {
		return Result{}, false
	}
	var sum float64
	first := true
	for i, it := range items {
		switch it.kind {
		case kQuantity:
			q := &p.qs[it.q]
			if !first && q.sign != 1 && (i == 0 || items[i-1].kind != kAnd) || first && q.sign != 0 {
				return Result{}, false
			}
			leaf, ok := p.leaf(q)
			if !ok {
				return Result{}, false
			}
			sum += leaf
			first = false
		case kAnd, kComma, kPos, kNeg, kPosMore, kNegLess, kGap:
		default:
			return Result{}, false
		}
	}
	p.cands = append(p.cands[:0], reading{lo: sum, hi: sum, unit: p.e.own()})
	sign := int8(0)
	for i, it := range items {
		if p.signAt(items, i) {
			s := int8(1)
			if it.kind == kNeg || it.kind == kNegLess {
				s = -1
			}
			if sign != 0 && sign != s {
				s = both
			}
			sign = s
		}
	}
	return p.judge(said{cands: p.cands, sign: sign, text: p.span(items), num: math.NaN()}), true
}
