package reading

import (
	"math"
	"strconv"
	"strings"
	"unicode"
)

// number is a number without its unit, in each way that it can be read.
type number struct {
	vals   [6]nval
	n      int
	binary bool // halves, quarters … sixty-fourths: an inch habit
	decs   int  // digits after the point
	huge   bool
}

// nval is one way to read a number.
type nval struct {
	v     float64
	dec   float64 // 0.001 when it was said in thousandths; 0 when not
	heard bool    // only speech software writes it so
	ask   bool    // a guess at the place of a point that was not said
	pair  bool    // "one twenty": of a long length, metres and centimetres
}

// whole says that a number may stand before "and a half".
func (n *number) whole() bool {
	return n.n > 0 && n.decs == 0 && !n.binary && n.vals[0].v == math.Trunc(n.vals[0].v)
}

func (n *number) add(v, dec float64, heard bool) {
	if n.n < len(n.vals) {
		n.vals[n.n] = nval{v: v, dec: dec, heard: heard}
		n.n++
	}
	if math.Abs(v) > 1e9 {
		n.huge = true
	}
}

func one(v float64) number {
	var n number
	n.add(v, 0, false)
	return n
}

// number reads the number that starts at token i and returns where it ends; j
// is i when there is none.
func (p *parser) number(i int) (n number, j int) {
	t := p.at(i)
	switch t.kind {
	case kDigits:
		return p.digitNumber(i)
	case kFraction:
		n.add(t.val, 0, false)
		n.binary = true
		return n, i + 1
	case kPoint:
		if n, j := p.withPoint(0, i); j > i {
			return n, j
		}
	case kCard, kDouble, kHalfWord:
		return p.spoken(i)
	case kArticle:
		if next := p.at(i + 1); next.kind == kBinary || next.kind == kCard && next.val >= 100 {
			return p.spoken(i)
		}
	case kBinary:
		n.add(t.val, 0, false)
		n.binary = true
		return n, i + 1
	}
	if p.soundsLikeNumber(i) {
		switch p.kindAt(i + 1) {
		case kPoint:
			return p.spoken(i)
		case kAnd:
			return p.mixed(t.homo, i+1)
		}
		return one(t.homo), i + 1
	}
	return n, i
}

// soundsLikeNumber reports whether "to", "for", "won" … at i can only be the
// number that it sounds like: at the start or after a sign or a point, and
// before a unit, or right after a sign at the end ("minus to thou").
func (p *parser) soundsLikeNumber(i int) bool {
	if math.IsNaN(p.at(i).homo) {
		return false
	}
	signed := false
	switch p.kindAt(i - 1) {
	case kPlus, kMinus, kMinusWord:
		signed = true
	case kEnd, kComma, kColon, kLabel, kPos, kNeg, kFiller, kArticle:
	default:
		return false
	}
	switch next := p.at(i + 1); next.kind {
	case kDecimal, kPoint:
		return true
	case kUnit:
		return !next.weak
	case kAnd:
		part, _ := p.properFraction(i + 2)
		return part > 0
	case kComma:
		return signed
	}
	return signed && p.onlyFillers(i+1)
}

// onlyFillers reports whether nothing that counts follows token i.
func (p *parser) onlyFillers(i int) bool {
	for ; i < len(p.toks); i++ {
		if k := p.toks[i].kind; k != kFiller && k != kStop || !math.IsNaN(p.toks[i].homo) {
			return false
		}
	}
	return true
}

// digitNumber reads a number that starts with digits.
func (p *parser) digitNumber(i int) (n number, j int) {
	text := p.text(i)
	if !p.readDigits(text, &n) {
		p.toks[i].kind = kBadNumber
		return n, i
	}
	j = i + 1
	if n.decs == 0 && isInteger(text) {
		if b, k := p.denominator(j); k > j {
			m, ok := fraction(n.vals[0].v, b)
			if !ok {
				p.toks[i].kind = kBadNumber
				return n, i
			}
			return m, k
		}
		if m, k := p.mixed(n.vals[0].v, j); k > j {
			return m, k
		}
		if m, k := p.withPoint(n.vals[0].v, j); k > j {
			return m, k
		}
		if p.spacedPoint(text, j) {
			frac, digits, k := p.fractional(j + 1)
			whole := n.vals[0].v
			n = number{decs: digits}
			n.add(whole+frac, 0, true)
			return n, k
		}
	}
	if m, k := p.ohDigit(n, j); k > j {
		return m, k
	}
	if next := p.at(j); next.kind == kCard && next.val >= 100 { // 3 thousand, 1.5 thousand
		v := n.vals[0].v
		n = number{}
		n.add(v*next.val, 0, false)
		n.add(v, 1/next.val, true)
		return n, j + 1
	}
	if p.kindAt(j) == kOrdinal && !p.toks[j].spaceBefore { // 3000ths
		v := n.vals[0].v
		n = number{}
		switch {
		case v >= 1000 && math.Mod(v, 1000) == 0:
			n.add(v/1000, 0.001, true)
		case v >= 100 && math.Mod(v, 100) == 0:
			n.add(v/100, 0.01, true)
		default:
			return n, i
		}
		return n, j + 1
	}
	if v := n.vals[0].v; n.decs == 0 && v >= 1000 && v < 1e6 && math.Mod(v, 1000) == 0 {
		n.add(v/1000, 0.001, true) // speech software writes three thousandths as 3000
	}
	return n, j
}

// ohDigit reads the rest of "45 oh 5" after whole tens and ones.
func (p *parser) ohDigit(n number, j int) (number, int) {
	v, oh, last := n.vals[0].v, p.at(j), p.at(j+1)
	if n.decs > 0 || v < 10 || v >= 100 || oh.kind != kCard || oh.val != 0 {
		return n, j
	}
	digit := last.val
	switch {
	case last.kind == kDigits && len(p.text(j+1)) == 1:
		digit = digitsValue(p.text(j + 1))
	case last.kind != kCard || last.val == 0 || last.val >= 10:
		return n, j
	}
	if p.kindAt(j+2) == kCard || p.kindAt(j+2) == kDigits || p.kindAt(j+2) == kPoint {
		return n, j
	}
	m := number{}
	m.add(v+digit/100, 0, true)
	return m, j + 2
}

// spacedPoint reports whether the token j behind the whole number text is its point:
// "0. 08", "24. 95", by a keyboard that puts a space after every full stop. "3. 40" may
// be the third point.
func (p *parser) spacedPoint(text string, j int) bool {
	if p.kindAt(j) != kStop || p.text(j) != "." || p.toks[j].spaceBefore || p.kindAt(j+1) != kDigits {
		return false
	}
	after := p.text(j + 1)
	return isInteger(after) && (text == "0" || len(text) > 1 && text[0] != '0' && len(after) == 2)
}

// readDigits reads 1234, 24.95, 0,08, 1,234.5. A comma or point that may group
// thousands gives both readings.
func (p *parser) readDigits(s string, n *number) bool {
	if strings.IndexFunc(s, unicode.IsSpace) >= 0 { // grouped by thin spaces
		s = strings.Map(func(r rune) rune {
			if unicode.IsSpace(r) {
				return -1
			}
			return r
		}, s)
	}
	if len(s) > 20 {
		n.add(math.MaxFloat64, 0, false)
		return true
	}
	last := strings.LastIndexAny(s, ".,")
	if last < 0 {
		n.add(digitsValue(s), 0, false)
		return true
	}
	sep, head, tail := s[last], s[:last], s[last+1:]
	switch strings.Count(head, ".") + strings.Count(head, ",") {
	case 0:
		n.decs = len(tail)
		n.add(digitsValue(s), 0, false)
		if sep != p.t.point && len(tail) == 3 && len(head) > 0 && len(head) <= 3 && head[0] != '0' {
			n.decs = 0
			v := digitsValue(head + tail)
			n.add(v, 0, false)
			if math.Mod(v, 1000) == 0 {
				n.add(v/1000, 0.001, true)
			}
		}
		return true
	default:
		if strings.IndexByte(head, sep) >= 0 { // 1,234,567
			if !grouped(s, sep) {
				return false
			}
			n.add(digitsValue(s), 0, false)
			n.vals[n.n-1].v = digitsValue(strings.ReplaceAll(s, string(sep), ""))
			return true
		}
		other := byte('.' + ',' - int(sep))
		if !grouped(head, other) { // 1,234.5
			return false
		}
		n.decs = len(tail)
		n.add(digitsValue(strings.ReplaceAll(head, string(other), "")+"."+tail), 0, false)
		return true
	}
}

// grouped reports whether s is digits in groups of three.
func grouped(s string, sep byte) bool {
	parts := strings.Split(s, string(sep))
	if len(parts) < 2 || len(parts[0]) == 0 || len(parts[0]) > 3 || parts[0][0] == '0' {
		return false
	}
	for _, g := range parts[1:] {
		if len(g) != 3 || !isInteger(g) {
			return false
		}
	}
	return true
}

func isInteger(s string) bool { return s != "" && !strings.ContainsAny(s, ".,") }

// digitsValue is the value of digits with at most one point or comma. Up to 15
// digits are exact: a whole number and a power of ten that float64 holds.
func digitsValue(s string) float64 {
	if len(s) > 15 {
		v, err := strconv.ParseFloat(strings.Replace(s, ",", ".", 1), 64)
		if err != nil {
			return math.MaxFloat64
		}
		return v
	}
	mantissa, scale, after := 0.0, 1.0, false
	for i := 0; i < len(s); i++ {
		if !isDigit(rune(s[i])) {
			after = true
			continue
		}
		mantissa = mantissa*10 + float64(s[i]-'0')
		if after {
			scale *= 10
		}
	}
	return mantissa / scale
}
