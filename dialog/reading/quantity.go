package reading

import "math"

// quantity is a number with its unit and its own sign, as it was said.
type quantity struct {
	num        number
	unit       unit
	dec        float64 // 0.1, 0.01, 0.001: tenths, hundredths, thousandths; 0 when none was said
	sign       int8    // -1, +1; both when a dash may be either; 0 when none was said
	start, end int     // tokens
	// base is the value in mm or rad of a quantity in two units (45°3', 4 ft 1 in);
	// other is its second reading, NaN when there is none.
	base, other float64
	twoUnits    bool
	unsure      bool // one reading, but not surely this one
	noun        bool // a counted noun followed
	minutes     bool // ' after it is minutes, whatever is asked
}

const both int8 = 2

// quantity reads a quantity with its sign at token i; end is i when there is
// none.
func (p *parser) quantity(i int) quantity {
	sign, j := int8(0), i
	switch p.kindAt(i) {
	case kPlus:
		sign, j = 1, i+1
	case kMinusWord:
		sign, j = -1, i+1
	case kPlusMinus:
		sign, j = both, i+1
	case kMinus:
		if t := p.at(i); t.spaceBefore == t.spaceAfter && p.between(i) {
			return quantity{end: i} // 0.10-0.15, 3 - 4 thou
		}
		sign, j = p.dashSign(i), i+1
	}
	if sign != 0 {
		switch p.kindAt(i - 1) {
		case kPlus, kMinus, kMinusWord, kPlusMinus: // two signs in a row are a slip
			return quantity{end: i}
		}
	}
	// "+/-"
	if sign == 1 && p.kindAt(j) == kSlash && p.kindAt(j+1) == kMinus {
		sign, j = both, j+2
	}
	q := p.magnitude(j)
	if q.end == j {
		q.end = i
	}
	q.sign, q.start = sign, i
	return q
}

// dashSign tells a minus from a dash that only sets apart: "-3", "front -3" and
// a dash at the start are minus; "front - 3" and "front-3" may be either.
func (p *parser) dashSign(i int) int8 {
	t, prev := p.at(i), p.kindAt(i-1)
	switch prev {
	case kEnd, kComma, kColon:
		return -1
	}
	if t.spaceBefore != t.spaceAfter {
		return -1
	}
	if prev == kPos || prev == kNeg || prev == kPosMore || prev == kNegLess {
		return 0
	}
	return both
}

// magnitude reads a quantity without its sign.
func (p *parser) magnitude(i int) quantity {
	q := quantity{end: i, other: math.NaN()}
	switch t := p.at(i); {
	case t.kind == kArticle && p.scaleAt(i+1), // a thou
		p.scaleAt(i) && p.kindAt(i+1) == kAnd,                                   // thou and a half
		t.kind == kDecimal && p.kindAt(i+1) == kOf && p.scaleAt(p.skipOne(i+2)): // tenth of a thou
		q.num = one(1)
		if t.kind == kArticle {
			i++
		}
		return p.withScale(q, i)
	case t.kind == kBinary:
		// half a thou, half of an inch, quarter inch
		j := i + 1
		if p.kindAt(j) == kOf {
			j++
		}
		if p.kindAt(j) == kArticle || p.kindAt(j) == kCard && p.at(j).val == 1 {
			j++
		}
		if p.scaleAt(j) {
			q.num.add(t.val, 0, false)
			q.num.binary = true
			return p.withScale(q, j)
		}
	case t.kind == kArticle && p.kindAt(i+1) == kBinary && p.scaleAt(i+2): // a half thou, ein halbes Zehntel
		q.num.add(p.at(i+1).val, 0, false)
		q.num.binary = true
		return p.withScale(q, i+2)
	}
	n, j := p.number(i)
	if j == i {
		return q
	}
	q.num, q.end = n, j
	return p.withScale(q, j)
}

// scaleAt reports whether token i is a unit or a decimal fraction that can
// follow an article.
func (p *parser) scaleAt(i int) bool {
	t := p.at(i)
	return t.kind == kDecimal || t.kind == kUnit && !t.weak && t.word
}

// withScale reads the unit after the number of q at token j, and what may
// follow it: a half, minutes, inches.
func (p *parser) withScale(q quantity, j int) quantity {
	if p.kindAt(j) == kVague && !p.toks[j].spaceBefore && p.scaleAt(j+1) { // 3ish thou
		p.guess = true
		j++
	}
	q.end = j
	k := p.scale(&q, j)
	if k == j {
		if p.kindAt(j) == kNoun {
			q.noun, q.end = true, j+1
		}
		return q
	}
	q.end = k
	// A thou and a half, an inch and a quarter.
	if p.kindAt(k) == kAnd && q.num.whole() {
		part, m := p.properFraction(k + 1)
		if part > 0 && p.kindAt(m) != kUnit && p.kindAt(m) != kDecimal {
			if q.dec == 0.1 && q.unit == uNone {
				q.halfOfWhat(part, p.e.own())
			}
			for x := range q.num.n {
				q.num.vals[x].v += part
			}
			q.end = m
			return q
		}
	}
	return p.secondUnit(q)
}

// halfOfWhat keeps the second reading of "a tenth and a half": half of a tenth,
// or half of the unit.
func (q *quantity) halfOfWhat(part float64, own unit) {
	if own == uMM {
		q.other = q.num.vals[0].v*0.1 + part
	}
}

// scale reads a unit, a decimal fraction or both ("hundredths of a millimetre")
// into q and returns where it ends.
func (p *parser) scale(q *quantity, j int) int {
	k := j
	if p.kindAt(k) == kOf { // three quarters of an inch, 3000 of an inch
		m := p.skipOne(k + 1)
		if p.kindAt(m) != kUnit && p.kindAt(m) != kDecimal {
			return j
		}
		k = m
	}
	if p.kindAt(k) == kMinus && !p.toks[k].spaceBefore && !p.toks[k].spaceAfter && p.scaleAt(k+1) {
		k++ // 3-thou
	}
	t := p.at(k)
	switch {
	case t.kind == kCard && t.val == 10 && p.kindAt(k+1) == kDecimal && p.at(k+1).val == 0.001:
		q.dec, k = 0.0001, k+2 // five ten-thousandths
	case t.kind == kDecimal:
		q.dec, k = t.val, k+1
	case t.kind == kUnit:
		q.unit = t.unit
		return p.ofAnInch(q, k+1)
	case t.kind == kTick && p.kindAt(k+1) == kTick && !p.toks[k+1].spaceBefore:
		q.unit = p.doubleTick()
		return k + 2
	case t.kind == kTick && (p.e.Quantity == Angle || q.minutes):
		q.unit = uMinute
		return k + 1
	case t.kind == kTick:
		q.unit = uFoot
		return k + 1
	case t.kind == kDoubleTick:
		q.unit = p.doubleTick()
		return k + 1
	default:
		return j
	}
	m := k
	if p.kindAt(m) == kOf {
		m = p.skipOne(m + 1)
	}
	if u := p.at(m); u.kind == kUnit && !(u.weak && m == k && u.unit != uInch) {
		q.unit = u.unit
		return p.ofAnInch(q, m+1)
	}
	return k
}

// doubleTick is what " means: inches of a length, seconds of an angle.
func (p *parser) doubleTick() unit {
	if p.e.Quantity == Angle {
		return uSecond
	}
	return uInch
}

// skipOne steps over "a", "an" or "one".
func (p *parser) skipOne(k int) int {
	if t := p.at(k); t.kind == kArticle || t.kind == kCard && t.val == 1 {
		return k + 1
	}
	return k
}

// ofAnInch steps over the rest of "thou of an inch" and over the full stop of
// an abbreviation.
func (p *parser) ofAnInch(q *quantity, k int) int {
	if q.unit != uThou || p.kindAt(k) != kOf {
		return k
	}
	if m := p.skipOne(k + 1); p.at(m).unit == uInch {
		return m + 1
	}
	return k
}

// secondUnit reads minutes after degrees, seconds after minutes, and inches
// after feet.
func (p *parser) secondUnit(q quantity) quantity {
	if q.unit == uM && q.dec == 0 && q.num.n == 1 && q.num.whole() {
		return p.metreAnd(q)
	}
	if q.unit != uDegree && q.unit != uFoot || q.dec != 0 || q.num.n != 1 {
		return q
	}
	j := q.end
	if p.kindAt(j) == kAnd || p.kindAt(j) == kComma {
		j++
	}
	if k := p.kindAt(j); k != kDigits && k != kCard && k != kBinary && k != kFraction && k != kArticle {
		return q
	}
	n, k := p.number(j)
	if k == j || n.n != 1 {
		return q
	}
	first := q.num.vals[0].v * factors[q.unit]
	second := quantity{num: n, minutes: q.unit == uDegree}
	m := p.scale(&second, k)
	small := uMinute
	if q.unit == uFoot {
		small = uInch
	}
	switch {
	case m > k && second.unit == small && second.dec == 0:
		q.base, q.twoUnits, q.end = first+n.vals[0].v*factors[small], true, m
	case m == k && j == q.end && q.num.decs == 0 && n.decs == 0: // 45°3, 4 foot 1
		q.base, q.twoUnits, q.unsure, q.end = first+n.vals[0].v*factors[small], true, true, k
		if q.unit == uDegree && p.kindAt(j) == kDigits {
			q.other = first + n.vals[0].v/math.Pow10(len(p.text(j)))*factors[uDegree]
		}
		return q
	default:
		return q
	}
	if small == uMinute { // seconds
		if n, k := p.number(q.end); k > q.end && n.n == 1 {
			third := quantity{num: n}
			if m := p.scale(&third, k); m > k && third.unit == uSecond {
				q.base, q.end = q.base+n.vals[0].v*factors[uSecond], m
			}
		}
	}
	return q
}

// metreAnd reads what follows whole metres: "1 m 20 cm". "A metre twenty" is asked
// back.
func (p *parser) metreAnd(q quantity) quantity {
	if k := p.kindAt(q.end); k != kDigits && k != kCard {
		return q
	}
	n, k := p.number(q.end)
	if k == q.end || n.n != 1 || n.decs > 0 {
		return q
	}
	rest := quantity{num: n}
	small, v := uCM, n.vals[0].v
	switch m := p.scale(&rest, k); {
	case m > k && rest.dec == 0 && (rest.unit == uCM || rest.unit == uMM):
		small, k = rest.unit, m
	case m > k || v >= 100 || v != math.Trunc(v) || p.kindAt(q.end) == kDigits && len(p.text(q.end)) > 2:
		return q
	default:
		q.unsure = true
	}
	q.base, q.twoUnits, q.end = q.num.vals[0].v*factors[uM]+v*factors[small], true, k
	return q
}

// zero reports whether the quantity is nothing but zero.
func (q *quantity) zero() bool {
	for _, v := range q.num.vals[:q.num.n] {
		if v.v != 0 {
			return false
		}
	}
	return q.num.n > 0 && (!q.twoUnits || q.base == 0)
}
