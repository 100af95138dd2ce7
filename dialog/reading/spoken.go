package reading

import "math"

// spoken reads a number in words, in all the ways that people and speech
// software put one:
//
//	twenty three, a hundred and five, drei und zwanzig   a cardinal
//	twenty four point nine five, 24 point 95             with a point
//	two and three quarters, five eighths                 with a fraction
//	three thousand                                       or three thousandths, misheard
//	twenty four ninety five, four ten                    in pairs
//	oh oh three, two four nine five                      digit by digit
func (p *parser) spoken(i int) (n number, j int) {
	if t := p.at(i); t.kind == kHalfWord && t.val >= 1 { // anderthalb
		n.add(t.val, 0, false)
		n.binary = true
		return n, i + 1
	}
	v, j, mult := p.cardinal(i)
	if j == i {
		if run, k := p.digitRun(i); k > i {
			return run, k
		}
		if t := p.at(i); !math.IsNaN(t.homo) {
			v, j = t.homo, i+1
		} else if part, k := p.properFraction(i); part > 0 { // a half, half
			n.add(part, 0, false)
			n.binary = true
			return n, k
		} else {
			return n, i
		}
	}
	if run, k := p.digitRun(i); k > j { // also 24 oh 5
		return run, k
	}
	if m, k := p.withPoint(v, j); k > j {
		return m, k
	}
	if half := p.at(j); half.kind == kBinary && v >= 1 && v*half.val < 1 { // three quarters
		n.add(v*half.val, 0, false)
		n.binary = true
		return n, j + 1
	}
	if half := p.at(j); half.kind == kHalfWord && half.val < 1 { // zwei-einhalb
		n.add(v+half.val, 0, false)
		n.binary = true
		return n, j + 1
	}
	if m, k := p.mixed(v, j); k > j && mult < 1000 {
		return m, k
	} else if k > j { // two and a half thousand is said otherwise
		return n, i
	}
	if pair, k := p.pair(v, j); k > j {
		return pair, k
	}
	n.add(v, 0, false)
	if mult > 0 && v >= mult && math.Mod(v, mult) == 0 {
		n.add(v/mult, 1/mult, true)
	}
	return n, j
}

// cardinal reads a whole number in words. mult is 100 or 1000 when it ends in
// that word.
func (p *parser) cardinal(i int) (v float64, j int, mult float64) {
	total, cur, last := 0.0, 0.0, 0.0 // last: size of the last word, 1, 10, 11 (closed), 100, 1000
	j = i
	for {
		t := p.at(j)
		switch {
		case t.kind == kArticle && j == i && p.kindAt(j+1) == kCard && p.at(j+1).val >= 100:
			cur, last = 1, 1
			j++
			continue
		case t.kind == kAnd && j > i && p.joins(j, last):
			j++
			if last == 1 { // drei und zwanzig
				cur += p.at(j).val
				last = 11
				j++
			}
			continue
		case t.kind != kCard:
			return total + cur, j, multOf(last)
		}
		size := p.follows(t.val, cur, total, last)
		if size == 0 {
			return total + cur, j, multOf(last)
		}
		switch {
		case t.val == 1000:
			total, cur = max(cur, 1)*1000, 0
		case t.val == 100:
			cur = max(cur, 1) * 100
		default:
			cur += t.val
		}
		last = size
		j++
		if t.val == 0 {
			return 0, j, 0
		}
	}
}

func multOf(last float64) float64 {
	if last >= 100 {
		return last
	}
	return 0
}

// joins reports whether the "and" at j stays inside a cardinal: after hundred
// and thousand, between ones and tens in German, between tens and ones in
// Spanish. Before a fraction it never does: a hundred and five eighths.
func (p *parser) joins(j int, last float64) bool {
	next := p.at(j + 1)
	if next.kind != kCard || next.val == 0 || next.val >= 100 || p.kindAt(j+2) == kBinary {
		return false
	}
	switch {
	case last >= 100:
		return true
	case last == 1:
		return p.t.onesLead && next.val >= 20 && math.Mod(next.val, 10) == 0
	case last == 10:
		return p.t.lang == "es" && next.val < 10
	}
	return false
}

// follows returns the size of the number word when it may follow, else 0.
func (p *parser) follows(val, cur, total, last float64) float64 {
	switch {
	case val == 0:
		if last == 0 {
			return 11
		}
	case val == 1000:
		if total == 0 && last != 1000 && (last != 11 || cur > 0) {
			return 1000
		}
	case val == 100:
		if cur < 100 && (last == 0 || last == 1 || last == 11 || last == 1000) {
			return 100
		}
	case val > 100:
		if cur == 0 && (last == 0 || last == 1000) {
			return 101
		}
	case val >= 10:
		if last == 0 || last >= 100 {
			if val >= 20 && math.Mod(val, 10) == 0 {
				return 10
			}
			return 11
		}
	default:
		if last == 0 || last >= 100 || last == 10 && !p.t.onesLead {
			return 1
		}
	}
	return 0
}

// withPoint reads a point and what follows it, after a whole number that was
// read up to token j.
func (p *parser) withPoint(whole float64, j int) (n number, k int) {
	if p.kindAt(j) != kPoint {
		return n, j
	}
	frac, digits, k := p.fractional(j + 1)
	if k == j+1 {
		return n, j
	}
	n = one(whole + frac)
	n.decs = digits
	return n, k
}

// fractional reads the digits after a spoken point, as digits, digit words or
// small cardinals ("oh eight", "ninety five", "95").
func (p *parser) fractional(i int) (v float64, digits, j int) {
	mantissa, scale := 0.0, 1.0
	put := func(x, pow float64, n int) {
		mantissa, scale, digits = mantissa*pow+x, scale*pow, digits+n
	}
	zero := true // only after the point or a zero can a word be the digit it sounds like
	for j = i; digits < 9; {
		t := p.at(j)
		switch {
		case t.kind == kDigits && isInteger(p.text(j)) && len(p.text(j)) <= 6:
			n := len(p.text(j))
			put(digitsValue(p.text(j)), math.Pow10(n), n)
			j++
			zero = false
			continue
		case t.kind == kDouble && p.kindAt(j+1) == kCard && p.at(j+1).val < 10:
			put(11*p.at(j+1).val, 100, 2)
			zero = p.at(j+1).val == 0
			j += 2
			continue
		case t.kind == kCard:
			x, k, _ := p.cardinal(j)
			if x >= 1000 || k == j || p.kindAt(k) == kBinary {
				break
			}
			n := 1
			for y := x; y >= 10; y /= 10 {
				n++
			}
			put(x, math.Pow10(n), n)
			j = k
			zero = x == 0
			continue
		case zero && !math.IsNaN(t.homo) && p.kindAt(j+1) != kCard && p.kindAt(j+1) != kPoint && p.kindAt(j+1) != kDigits:
			put(t.homo, 10, 1)
			j++
			zero = false
			continue
		}
		break
	}
	return mantissa / scale, digits, j
}

// digitRun reads two or more digits that are said one by one. Where they are
// said without a point, every place of it is a reading, to be asked back.
func (p *parser) digitRun(i int) (n number, j int) {
	mantissa, count, zero := 0.0, 0, false
	for j = i; count < 6; {
		t := p.at(j)
		if t.kind == kDouble && p.kindAt(j+1) == kCard && p.at(j+1).val < 10 {
			mantissa = mantissa*100 + 11*p.at(j+1).val
			zero = zero || count == 0 && p.at(j+1).val == 0
			count += 2
			j += 2
			continue
		}
		if t.kind != kCard || t.val >= 10 {
			break
		}
		zero = zero || count == 0 && t.val == 0
		mantissa = mantissa*10 + t.val
		count++
		j++
	}
	if k := p.kindAt(j); count < 2 || k == kBinary || k == kHalfWord || k == kCard || k == kAnd && !zero && p.kindAt(j+1) == kCard {
		return n, i
	}
	if m, k := p.withPoint(mantissa, j); k > j {
		return m, k
	}
	first := 1
	if !zero {
		n.add(mantissa, 0, true)
	} else {
		n.add(mantissa/math.Pow10(count), 0, true)
		first = 0
	}
	for k, scale := count-1, math.Pow10(count-1); k >= 1; k, scale = k-1, scale/10 {
		n.add(mantissa/scale, 0, true)
		if count == 3 && scale == 100 && math.Mod(mantissa, 100) < 10 { // one oh five
			n.vals[n.n-1].pair = true
		}
	}
	for k := first; k < n.n; k++ {
		n.vals[k].ask = true
	}
	return n, j
}

// pair reads the second half of "twenty four ninety five" or "four ten".
func (p *parser) pair(v float64, j int) (n number, k int) {
	if v < 1 || v >= 100 || p.kindAt(j) != kCard {
		return n, j
	}
	w, k, mult := p.cardinal(j)
	if w == 0 && v >= 10 { // twenty four oh five
		if next := p.at(k); next.kind == kCard && next.val < 10 {
			w, k = next.val, k+1
			n.add(v+w/100, 0, true)
			n.add(v*100+w, 0, true)
			return n, k
		}
	}
	if next := p.at(k); v >= 20 && math.Mod(v, 10) != 0 && w > 0 && w < 10 && mult == 0 && next.kind == kCard && next.val < 10 && p.kindAt(k+1) != kCard {
		w, k = w*10+next.val, k+1 // twenty four nine five
	}
	if w < 10 || w >= 100 || mult > 0 || p.kindAt(k) == kDecimal || p.kindAt(k) == kCard {
		return n, j
	}
	n.add(v+w/100, 0, true)
	n.vals[0].pair = true
	n.add(v*100+w, 0, true)
	return n, k
}
