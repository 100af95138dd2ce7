package reading

import (
	"bytes"
	"math"
)

// classify gives every word its meaning, joining the words of a phrase: first
// the names of points, then the question's own words for a sign, then the
// longest phrase of the language, then numbers that are written together.
func (p *parser) classify() {
	src := p.toks
	var buf [64]token
	out := buf[:0]
	for i := 0; i < len(src); {
		if k, label := p.matchLabel(i); k > 0 {
			out = append(out, joined(src[i:i+k], meaning{kind: kLabel, homo: math.NaN()}))
			out[len(out)-1].label = int16(label)
			i += k
			continue
		}
		if !src[i].word {
			out = append(out, src[i])
			i++
			continue
		}
		if k, m := p.matchOwnSign(i); k > 0 {
			out = append(out, joined(src[i:i+k], m))
			i += k
			continue
		}
		if k, m := p.matchPhrase(i); k > 0 {
			out = append(out, joined(src[i:i+k], m))
			i += k
			continue
		}
		if p.t.compound {
			if pieces, ok := p.cut(out, &src[i]); ok {
				out = pieces
				i++
				continue
			}
		}
		if m, ok := p.misspelt(&src[i]); ok {
			out = append(out, joined(src[i:i+1], m))
		} else {
			out = append(out, src[i])
		}
		i++
	}
	p.toks = append(src[:0], out...)
}

// joined makes one token of several.
func joined(toks []token, m meaning) token {
	t := toks[0]
	last := toks[len(toks)-1]
	t.meaning, t.end, t.spaceAfter, t.foldEnd = m, last.end, last.spaceAfter, last.foldEnd
	return t
}

// matchPhrase returns how many words from i make the longest known phrase.
func (p *parser) matchPhrase(i int) (int, meaning) {
	n, best, m := p.t.words, 0, meaning{}
	for k := i; k < len(p.toks) && p.toks[k].word; k++ {
		n = n.next[string(p.letters(&p.toks[k]))]
		if n == nil {
			break
		}
		if n.meaning.kind != kUnknown || !math.IsNaN(n.meaning.homo) {
			best, m = k-i+1, n.meaning
		}
	}
	return best, m
}

// matchOwnSign looks for the question's own words for a sign.
func (p *parser) matchOwnSign(i int) (int, meaning) {
	best, m := 0, meaning{}
	try := func(words []string, k kind) {
		for _, w := range words {
			if n := p.matchName(i, w); n > best {
				best, m = n, meaning{kind: k, homo: math.NaN()}
			}
		}
	}
	try(p.e.Positive, kPos)
	try(p.e.Negative, kNeg)
	if best > 0 {
		// A longer phrase of the language wins: "open at the top" over "top",
		// but only where it says no other sign.
		if n, own := p.matchPhrase(i); n > best && own.kind != kPos && own.kind != kNeg {
			return 0, meaning{}
		}
	}
	return best, m
}

// matchName returns how many tokens from i spell the name, 0 if they do not.
func (p *parser) matchName(i int, name string) int {
	var buf [48]byte
	rest := fold(buf[:0], name)
	k := i
	for {
		rest = bytes.TrimLeft(rest, " -")
		if len(rest) == 0 {
			return k - i
		}
		if k >= len(p.toks) {
			return 0
		}
		t := &p.toks[k]
		var part []byte
		switch {
		case t.word:
			part = p.letters(t)
		case t.kind == kDigits:
			part = fold(nil, p.src[t.start:t.end])
		default:
			return 0
		}
		if !bytes.HasPrefix(rest, part) {
			return 0
		}
		rest = rest[len(part):]
		if len(rest) > 0 && rest[0] != ' ' && rest[0] != '-' && (isLetterByte(rest[0]) == t.word) {
			return 0 // only the beginning of a longer word
		}
		k++
	}
}

func isLetterByte(c byte) bool { return c < '0' || c > '9' }

// matchLabel returns the longest name of a point that starts at token i. A
// number is a name only before a colon ("1: +2") or a verb with a value ("1 is
// +2"), a single letter only before something that can be its value ("A 24.95").
func (p *parser) matchLabel(i int) (length, label int) {
	for l := range p.e.Labels {
		for _, name := range p.e.Labels[l].Names {
			n := p.matchName(i, name)
			if n <= length {
				continue
			}
			if t := &p.toks[i]; n == 1 && (t.kind == kDigits && p.kindAt(i+1) != kColon && !p.isFollows(i+1) ||
				t.word && len(name) == 1 && !p.valueFollows(i+1)) {
				continue
			}
			length, label = n, l
		}
	}
	return length, label
}

// isFollows reports whether a verb and a value start at the unclassified token i.
func (p *parser) isFollows(i int) bool {
	n, m := p.matchPhrase(i)
	return n > 0 && m.kind == kFiller && m.val == isWord && p.valueFollows(i+n)
}

// valueFollows reports whether a value can start at the unclassified token i.
func (p *parser) valueFollows(i int) bool {
	t := p.at(i)
	switch t.kind {
	case kDigits, kMinus, kPlus, kColon, kFraction:
		return true
	}
	if !t.word {
		return false
	}
	_, m := p.matchPhrase(i)
	switch m.kind {
	case kCard:
		return m.val < 100
	case kPoint, kPlus, kMinusWord, kFiller, kZero:
		return true
	}
	return p.t.compound && m.kind == kUnknown
}
