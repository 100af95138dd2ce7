package reading

import "math"

// denominator reads "/64" or the "64ths" of "3 64ths" at token j.
func (p *parser) denominator(j int) (b float64, k int) {
	if p.kindAt(j) == kSlash && p.kindAt(j+1) == kDigits && isInteger(p.text(j+1)) {
		k = j + 2
		if p.kindAt(k) == kOrdinal && !p.toks[k].spaceBefore {
			k++
		}
		if p.kindAt(k) == kSlash { // a date
			return 0, j
		}
		return digitsValue(p.text(j + 1)), k
	}
	if p.kindAt(j) == kDigits && p.kindAt(j+1) == kOrdinal && len(p.text(j+1)) > 1 && !p.toks[j+1].spaceBefore && isInteger(p.text(j)) {
		switch b := digitsValue(p.text(j)); b {
		case 2, 4, 8, 16, 32, 64, 10, 100, 1000:
			return b, j + 2
		}
	}
	return 0, j
}

// fraction is a/b. Tenths, hundredths and thousandths keep their name, because
// they are of the person's unit; halves to hundred-and-twenty-eighths are an
// inch habit.
func fraction(a, b float64) (n number, ok bool) {
	if b == 0 || b > 1e6 {
		return n, false
	}
	switch b {
	case 10, 100, 1000:
		n.add(a, 1/b, false)
		return n, true
	}
	n.add(a/b, 0, false)
	exp := math.Log2(b)
	n.binary = exp == math.Trunc(exp) && exp >= 1 && exp <= 7
	return n, true
}

// mixed reads what makes a mixed number of a whole one: the 1/4 of "49 1/4",
// "49-1/4", "49 and a quarter", "49½".
func (p *parser) mixed(whole float64, j int) (n number, k int) {
	k = j
	switch {
	case p.kindAt(k) == kAnd:
		k++
	case p.kindAt(k) == kMinus && !p.toks[k].spaceBefore && !p.toks[k].spaceAfter:
		k++
	}
	part, k := p.properFraction(k)
	if part == 0 {
		return n, j
	}
	n.add(whole+part, 0, false)
	n.binary = true
	return n, k
}

// properFraction reads a fraction below one at token k: 1/4, ½, a quarter,
// three eighths. It returns 0 when there is none.
func (p *parser) properFraction(k int) (v float64, next int) {
	switch t := p.at(k); t.kind {
	case kFraction:
		return t.val, k + 1
	case kDigits:
		if !isInteger(p.text(k)) {
			return 0, k
		}
		a := digitsValue(p.text(k))
		if b, j := p.denominator(k + 1); j > k+1 && a > 0 && a < b {
			return a / b, j
		}
		if half := p.at(k + 1); half.kind == kBinary && a > 0 && a*half.val < 1 {
			return a * half.val, k + 2
		}
	case kBinary:
		return t.val, k + 1
	case kArticle, kCard:
		if half := p.at(k + 1); half.kind == kBinary && t.val >= 1 && t.val*half.val < 1 {
			return t.val * half.val, k + 2
		}
	}
	return 0, k
}
