package reading

import "math"

// withoutOtherEnd drops what is said of the end of a gap where there is none: "0.15 at
// the top and none at the bottom".
func (p *parser) withoutOtherEnd(items []item) []item {
	if len(p.e.Positive) == 0 || count(items, kZero) != 1 || count(items, kQuantity) == 0 || p.signs(items) != 2 {
		return items
	}
	at, n := find(items, kZero, 0), len(items)
	for _, end := range [...]int{at - 1, at + 1} {
		if end < 0 || end == n || !p.signAt(items, end) {
			continue
		}
		rest := items[:min(at, end)]
		if len(rest) == 0 {
			rest = items[max(at, end)+1:]
		} else if max(at, end) < n-1 {
			continue // in the middle: whose zero is it?
		}
		for _, it := range rest {
			if (it.kind == kPos || it.kind == kNeg) && it.kind != items[end].kind {
				return trim(rest)
			}
		}
	}
	return items
}

// oneOf makes a quantity of the unit of "thou low" and "Zehntel hoch". Its number may
// have been lost on the way, so it is asked back.
func (p *parser) oneOf(items []item) bool {
	if p.e.Quantity != Length || count(items, kUnit)+count(items, kDecimal) != 1 || p.signs(items) == 0 {
		return false
	}
	for i, it := range items {
		t := p.at(it.tok)
		if it.kind != kDecimal && (it.kind != kUnit || t.unit != uThou) {
			continue
		}
		q := p.withScale(quantity{num: one(1), other: math.NaN()}, it.tok)
		q.start, q.unsure = it.tok, true
		p.qs = append(p.qs, q)
		items[i].kind, items[i].q = kQuantity, len(p.qs)-1
		return true
	}
	return false
}
