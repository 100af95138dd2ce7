package reading

import "math"

// item is what a whole message is made of: quantities, and words that say
// something about them.
type item struct {
	kind kind
	q    int // index into parser.qs, for kQuantity
	tok  int // first token
	last int // last token
}

// readItems turns tokens into items. Fillers are dropped.
func (p *parser) readItems() {
	for i := 0; i < len(p.toks); {
		if q := p.quantity(i); q.end > i {
			if p.kindAt(i) == kPlusMinus || q.sign == both && p.kindAt(i) == kPlus {
				q.unsure = true
			}
			p.qs = append(p.qs, q)
			p.items = append(p.items, item{kQuantity, len(p.qs) - 1, i, q.end - 1})
			i = q.end
			continue
		}
		if k := p.loose(i); k != kFiller && !p.tooHigh(i) {
			p.items = append(p.items, item{k, 0, i, i})
		}
		i++
	}
}

// loose is what token i is when it is no part of a quantity.
func (p *parser) loose(i int) kind {
	t := p.at(i)
	switch t.kind {
	case kFiller:
		switch {
		case t.val == yesWord && len(p.e.Leaves) > 0 && p.between(i):
			p.guess = true // or a yes to something else
			return kGoes
		case t.val == triedWord && !p.tells():
			return kUnknown // "tried 5": and?
		}
		return kFiller
	case kStop, kArticle, kOf, kColon, kNoun:
		return kFiller
	case kMinus:
		return p.loneDash(i)
	case kSlash:
		if t.spaceBefore && t.spaceAfter && p.kindAt(i+1) != kDigits {
			return kComma // "front 0 / back -3"
		}
		return kUnknown
	case kPos, kNeg:
		if t.weak && !p.between(i) {
			return kUnknown // "hi, 3 thou" is a greeting
		}
		p.guess = p.guess || t.weak
	case kPoint, kDouble, kOrdinal, kTick, kDoubleTick, kDigits, kCard, kHalfWord, kFraction:
		return kUnknown // a piece of a number that makes none
	case kDimension:
		if p.between(i) {
			return kFiller
		}
		return kUnknown
	case kUnit:
		if t.weak {
			return kFiller // "goes in"
		}
	case kUnknown:
		if !math.IsNaN(t.homo) && p.kindAt(i+1) == kLabel {
			return kFiller // "for A"
		}
	}
	return t.kind
}

// tells reports whether the message says of anything whether it goes in.
func (p *parser) tells() bool {
	for i := range p.toks {
		switch p.toks[i].kind {
		case kGoes, kNoGo, kNot, kNoneGoes, kLoose, kSnug, kTight:
			return true
		}
	}
	return false
}

// loneDash is what a dash is that is no sign of a number: a range, a dash
// between words, or a slip of the finger such as "3-" or "--3".
func (p *parser) loneDash(i int) kind {
	next := p.kindAt(i + 1)
	switch {
	case next == kMinus, next == kPlus, p.kindAt(i-1) == kMinus, p.kindAt(i-1) == kPlus:
		return kBadNumber
	case p.between(i) && next == kEnd:
		return kBadNumber
	case p.between(i) && (next == kDigits || next == kCard || next == kFraction || next == kPoint || next == kArticle || next == kBinary):
		return kTo
	}
	return kFiller
}

// tooHigh reports whether the "to" at i is a too that lost its o: "3 thou to high".
// Without a unit before it, "1 to high" may be 1: 2 high.
func (p *parser) tooHigh(i int) bool {
	next := p.kindAt(i + 1)
	return p.kindAt(i) == kTo && p.at(i).homo == 2 && (p.kindAt(i-1) == kUnit || p.kindAt(i-1) == kDecimal) &&
		(next == kPos || next == kNeg) && p.onlyFillers(i+2)
}

// between reports whether what stands at i follows a number.
func (p *parser) between(i int) bool {
	switch p.kindAt(i - 1) {
	case kDigits, kFraction, kCard, kUnit, kDoubleTick, kDecimal, kBinary:
		return true
	}
	return false
}

// find returns the first item of a kind at or after i, or -1.
func find(items []item, k kind, i int) int {
	for ; i < len(items); i++ {
		if items[i].kind == k {
			return i
		}
	}
	return -1
}

func count(items []item, k kind) int {
	n := 0
	for _, it := range items {
		if it.kind == k {
			n++
		}
	}
	return n
}

// value reads the items of one value: the whole message, or what belongs to
// one label.
func (p *parser) value(items []item) Result {
	qs := count(items, kQuantity)
	if count(items, kUnknown)+count(items, kBadNumber)+count(items, kLabel) > 0 {
		if qs > 0 && count(items, kBadNumber) == 0 {
			return refuse(Unclear)
		}
		return refuse(NotANumber)
	}
	if anyOf(items, kUnit, kDecimal, kPlusMinus) && anyOf(items, kQuantity, kZero, kDeadOn) {
		return refuse(Unclear) // a unit that is left over: "3 thou mm"
	}
	if p.aboutLeaves(items) {
		r := p.feeler(items)
		if r.Reason == NoLeaf && len(p.e.Leaves) == 0 {
			r.Reason = NotANumber // which leaf is no question where none is used
		}
		return r
	}
	items = p.withoutOtherEnd(items)
	zeros := count(items, kZero)
	dead := count(items, kDeadOn)
	switch {
	case p.corrected(items):
		return p.several(items)
	case len(items) == 2 && (items[0].kind == kNot || items[0].kind == kNo) && items[1].kind == kGap:
		return p.zeroWord(items) // no daylight
	case anyOf(items, kNot, kNo):
		return refuse(Negated)
	case (qs > 0 || zeros > 0 && len(p.e.Labels) > 0) && anyOf(items, kDozen, kPair), qs < 2 && anyOf(items, kBetween, kTo, kOr):
		return refuse(Unclear)
	case p.e.Quantity == Count && qs == 0 && count(items, kPair)+count(items, kDozen) == 1:
		return p.countWord(items)
	case count(items, kLess)+count(items, kMore) > 0, count(items, kVague) > 0 && qs != 1:
		return refuse(NotExact)
	case qs == 0 && (zeros+dead > 0 || p.closedGap(items)):
		return p.zeroWord(items)
	case qs == 0 && p.oneOf(items):
		return p.single(items)
	case qs == 0 && count(items, kUnit)+count(items, kDecimal)+p.signs(items) > 0:
		return refuse(NoNumber)
	case qs == 0:
		return refuse(NotANumber)
	case zeros > 0 && !p.allZero(items):
		return refuse(TwoNumbers)
	case anyOf(items, kTouching) && p.signs(items) == 0 && !p.allZero(items):
		return refuse(Unclear) // it touches, and there is a gap: where?
	case qs == 1:
		return p.single(items)
	}
	return p.several(items)
}

// corrected reports whether a second number takes the first one back: "3 thou,
// no, 4".
func (p *parser) corrected(items []item) bool {
	if count(items, kQuantity) != 2 || count(items, kNot)+count(items, kNo) > 1 {
		return false
	}
	a := find(items, kQuantity, 0)
	b := find(items, kQuantity, a+1)
	no, word := max(find(items, kNot, 0), find(items, kNo, 0)), find(items, kCorrection, 0)
	between := func(i int) bool { return a < i && i < b }
	return between(word) && (no < 0 || between(no)) || between(no) && word < 0
}

// hedged reports whether a value is asked, guessed, or a correction of what may
// be another reading ("sorry, make that 4").
func hedged(items []item) bool { return anyOf(items, kQuestion, kVague, kCorrection) }

// signs counts the words that give a sign.
func (p *parser) signs(items []item) int {
	return count(items, kPos) + count(items, kNeg) + count(items, kPosMore) + count(items, kNegLess) +
		count(items, kPlus) + count(items, kMinusWord)
}

func (p *parser) allZero(items []item) bool {
	for _, it := range items {
		if it.kind == kQuantity && !p.qs[it.q].zero() {
			return false
		}
	}
	return true
}

// countWord is "a pair" or "a dozen".
func (p *parser) countWord(items []item) Result {
	v := 2.0
	if count(items, kDozen) > 0 {
		v = 12
	}
	p.cands = append(p.cands[:0], reading{lo: v, hi: v})
	return p.judge(said{cands: p.cands, text: p.span(items), num: math.NaN(), unsure: hedged(items)})
}

// closedGap reports whether a gap is asked and nothing is said but that it is
// closed: "touching", "touching top and bottom". Where it touches at one end only,
// the gap is at the other, and its size is to be said.
func (p *parser) closedGap(items []item) bool {
	gap := len(p.e.Positive) > 0 || !p.e.Signed && p.e.Min == 0
	up, down := count(items, kPos)+count(items, kPosMore), count(items, kNeg)+count(items, kNegLess)
	return gap && count(items, kTouching) > 0 && (up > 0) == (down > 0)
}

// zeroWord is "flush", "nothing", "dead on".
func (p *parser) zeroWord(items []item) Result {
	if count(items, kDeadOn) > 0 && p.e.ranged() && (p.e.Min > 0 || p.e.Max < 0) {
		return refuse(NotANumber) // dead on 45°? Say the number.
	}
	p.cands = append(p.cands[:0], reading{})
	return p.judge(said{cands: p.cands, text: p.span(items), num: math.NaN(), zeroWord: true,
		unsure: hedged(items)})
}

// single is one quantity with what is said about its sign.
func (p *parser) single(items []item) Result {
	at := find(items, kQuantity, 0)
	q := &p.qs[items[at].q]
	p.cands = p.cands[:0]
	if r := p.readings(q); r != NoReason {
		return refuse(r)
	}
	sign, clear := p.sign(items, at)
	if !p.e.Signed && at > 0 && p.comparing(items, at-1) {
		return refuse(NotExact)
	}
	s := said{cands: p.cands, sign: sign, text: p.span(items), fraction: q.num.binary, num: q.num.vals[0].v * scaleOf(q.dec) * scaleOf(q.num.vals[0].dec), unit: q.unit,
		unsure: q.unsure || !clear || hedged(items) || p.tightLeaf(items)}
	if q.twoUnits {
		s.num = math.NaN()
	}
	if s.unit == uNone {
		s.unit = p.e.own()
	}
	return p.judge(s)
}

// sign puts together the sign before the number at items[at] and the words that
// give one. clear is false when "under 3" may also mean less than 3.
func (p *parser) sign(items []item, at int) (sign int8, clear bool) {
	sign, clear = p.qs[items[at].q].sign, true
	for i, it := range items {
		s := int8(0)
		switch it.kind {
		case kPos, kPosMore, kPlus:
			s = 1
		case kNeg, kNegLess, kMinusWord:
			s = -1
		default:
			continue
		}
		if p.comparing(items, i) && i+1 == at || sign != 0 && (it.kind == kPlus || it.kind == kMinusWord) {
			clear = false // "under 3" may be less than 3; "minus minus 3" is a slip
		}
		if p.touchingAt(items, i) {
			s = -s
		}
		switch {
		case sign == 0:
			sign = s
		case sign != s:
			sign = both
		}
	}
	if sign == 0 && p.e.Signed && count(items, kGap) > 0 {
		sign = both
	}
	return sign, clear
}

// tightLeaf reports whether "tight" is not said of an end.
func (p *parser) tightLeaf(items []item) bool { return anyOf(items, kTight) && p.signs(items) == 0 }

// comparing reports whether item i is "over" or "under" right before a number.
func (p *parser) comparing(items []item, i int) bool {
	return (items[i].kind == kPosMore || items[i].kind == kNegLess) && i+1 < len(items) &&
		items[i+1].kind == kQuantity && items[i].last+1 == items[i+1].tok
}

// touchingAt reports whether the sign word at i tells where it touches, so that
// the gap is at the other end: "touching at the top, 0.1".
func (p *parser) touchingAt(items []item, i int) bool {
	touching := func(k kind) bool { return k == kTouching || k == kTight }
	if i > 0 && touching(items[i-1].kind) {
		return true
	}
	return i+1 < len(items) && touching(items[i+1].kind) && (i+2 == len(items) || !p.signAt(items, i+2))
}

func (p *parser) signAt(items []item, i int) bool {
	switch items[i].kind {
	case kPos, kNeg, kPosMore, kNegLess:
		return true
	}
	return false
}

// several is more than one quantity: an interval, a stack of leaves, the same
// value said twice, or too much.
func (p *parser) several(items []item) Result {
	a := find(items, kQuantity, 0)
	b := find(items, kQuantity, a+1)
	if count(items, kQuantity) == 2 {
		qa, qb := &p.qs[items[a].q], &p.qs[items[b].q]
		switch {
		case count(items, kOr) > 0 || p.corrected(items):
			return p.either(items, qa, qb)
		case a > 0 && items[a-1].kind == kBetween && b == a+2 && (items[a+1].kind == kAnd || items[a+1].kind == kTo),
			b == a+2 && items[a+1].kind == kTo:
			return p.interval(items, qa, qb)
		case qa.unit != qb.unit && p.sameTwice(qa, qb) && !anyOf(items, kAnd, kTo, kBetween):
			return p.twice(items, a, b)
		}
	}
	if r, ok := p.stack(items); ok {
		return r
	}
	return refuse(TwoNumbers)
}

func anyOf(items []item, kinds ...kind) bool {
	for _, k := range kinds {
		if count(items, k) > 0 {
			return true
		}
	}
	return false
}

// span is the part of the message that the items come from.
func (p *parser) span(items []item) string {
	first, last := int32(-1), int32(-1)
	for _, it := range items {
		switch it.kind {
		case kComma, kQuestion, kVague:
			continue
		}
		if first < 0 {
			first = p.toks[it.tok].start
		}
		last = p.toks[it.last].end
	}
	if first < 0 {
		return ""
	}
	return p.typed[first:last]
}
