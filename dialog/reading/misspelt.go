package reading

import "math"

// spelling is a word of the table that a finger may miss.
type spelling struct {
	text    string
	meaning meaning
}

// spellings collects the words of the table that stand alone, by their first letter,
// which fingers seldom miss.
func (t *table) spellings() map[byte][]spelling {
	out := map[byte][]spelling{}
	for w, n := range t.words.next {
		if n.meaning.kind != kUnknown && len(w) >= minNear {
			out[w[0]] = append(out[w[0]], spelling{w, n.meaning})
		}
	}
	return out
}

// misspelt finds the unit, number or sign that an unknown word is a slip of the
// finger away from, if it is near nothing else. A unit is taken; with a number or a
// sign p.guess is set, so that the message is asked back.
func (p *parser) misspelt(t *token) (m meaning, ok bool) {
	word := string(p.letters(t))
	if len(word) < minNear {
		return m, false
	}
	if v := p.t.joinedTens(word); v > 0 {
		return meaning{kind: kCard, val: v, homo: math.NaN()}, true
	}
	for _, s := range p.t.spelt[word[0]] {
		if !slipped(word, s.text) {
			continue
		}
		if ok && (m.kind != s.meaning.kind || m.val != s.meaning.val || m.unit != s.meaning.unit) {
			return m, false
		}
		m, ok = s.meaning, true
	}
	switch m.kind {
	case kUnit, kDecimal:
	case kCard, kPos, kNeg, kPosMore, kNegLess, kPoint, kPlus, kMinusWord:
		p.guess = p.guess || ok
	default:
		return m, false
	}
	m.homo = math.NaN()
	return m, ok
}

// joinedTens is the value of tens and ones that lack their hyphen: "fortyfive". It is 0
// for anything else.
func (t *table) joinedTens(word string) float64 {
	for i := minNear; i < len(word)-2; i++ {
		tens, ones := t.words.next[word[:i]], t.words.next[word[i:]]
		if tens != nil && ones != nil && tens.meaning.kind == kCard && ones.meaning.kind == kCard && !t.onesLead &&
			tens.meaning.val >= 20 && tens.meaning.val < 100 && math.Mod(tens.meaning.val, 10) == 0 &&
			ones.meaning.val >= 1 && ones.meaning.val < 10 {
			return tens.meaning.val + ones.meaning.val
		}
	}
	return 0
}

// slipped reports whether a typed word is a misspelt one of the table. The shorter it
// is, the less is forgiven: "miles" are no mils.
func slipped(typed, word string) bool {
	switch editOf(typed, word) {
	case swapped, doubled:
		return true
	case extra:
		return min(len(typed), len(word)) > minNear
	case wrong:
		return len(word) >= minNear+2
	}
	return false
}
