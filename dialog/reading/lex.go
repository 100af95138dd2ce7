package reading

import (
	"bytes"
	"math"
	"strings"
	"unicode"
	"unicode/utf8"
)

// parser holds one message while it is read.
type parser struct {
	e      *Expect
	t      *table
	src    string // the message with noughts for the letter o in numbers
	typed  string // the message
	toks   []token
	folded []byte // the words of the message, folded, one after the other
	items  []item
	qs     []quantity
	cands  []reading
	guess  bool // a word was guessed at: ask back what would be taken
	quoted bool // a quotation mark is open
}

// noughts writes a 0 for each letter o in what is digits with a point otherwise:
// "O.003", ".oo3". Nothing moves, because both are one byte.
func noughts(s string) string {
	if !strings.ContainsAny(s, "oO") || !strings.ContainsAny(s, ".,") {
		return s
	}
	out := []byte(nil)
	for i := 0; i < len(s); {
		j, letters, point := i, 0, false
		for ; j < len(s) && (isDigit(rune(s[j])) || strings.IndexByte("oO.,", s[j]) >= 0); j++ {
			switch s[j] {
			case 'o', 'O':
				letters++
			case '.', ',':
				point = true
			}
		}
		if j == i {
			_, n := utf8.DecodeRuneInString(s[i:])
			i += n
			continue
		}
		for j > i+1 && (s[j-1] == '.' || s[j-1] == ',') {
			j-- // a full stop
		}
		before, _ := utf8.DecodeLastRuneInString(s[:i])
		after, _ := utf8.DecodeRuneInString(s[j:])
		if letters > 0 && point && isDigit(rune(s[j-1])) && !unicode.IsLetter(before) && !unicode.IsLetter(after) {
			if out == nil {
				out = []byte(s)
			}
			for k := i; k < j; k++ {
				if out[k]|0x20 == 'o' {
					out[k] = '0'
				}
			}
		}
		i = j
	}
	if out == nil {
		return s
	}
	return string(out)
}

// lex cuts the message into tokens. It returns a reason when the message holds
// what no keyboard at a saw would send.
func (p *parser) lex() Reason {
	space := true
	for i := 0; i < len(p.src); {
		r, n := rune(p.src[i]), 1
		if r >= utf8.RuneSelf {
			r, n = utf8.DecodeRuneInString(p.src[i:])
		}
		if unicode.IsSpace(r) {
			i += n
			p.markSpace()
			if r == '\n' {
				p.push(kComma, i-n, i, true)
			}
			space = true
			continue
		}
		if notPlain(r, n) {
			return NotPlain
		}
		j := p.scan(r, i, n, space)
		space = false
		i = j
	}
	p.markSpace()
	return NoReason
}

// notPlain tells apart what is refused unread: control characters, marks that
// turn the direction of writing, scripts written from the right, digits of
// other scripts and full-width forms, and bytes that are no text.
func notPlain(r rune, size int) bool {
	switch {
	case r < utf8.RuneSelf:
		return r < ' ' || r == 0x7f
	case r == utf8.RuneError && size == 1:
		return true
	case r == 0x200d: // joins emoji
		return false
	case r >= 0xff00 && r <= 0xffef, r == 0x20e3: // full width, keycaps
		return true
	}
	return unicode.In(r, unicode.Cc, unicode.Cf, unicode.Co, unicode.Nd,
		unicode.Hebrew, unicode.Arabic, unicode.Syriac, unicode.Thaana, unicode.Nko)
}

// scan takes one token that starts with r at i and returns where it ends.
func (p *parser) scan(r rune, i, n int, space bool) int {
	switch {
	case isDigit(r) || (r == '.' || r == ',') && i+1 < len(p.src) && isDigit(rune(p.src[i+1])):
		j := scanDigits(p.src, i)
		if j == i { // a comma before a point's name
			p.push(kComma, i, i+1, space)
			return i + 1
		}
		p.push(kDigits, i, j, space)
		return j
	case unicode.IsLetter(r) && r != 'º':
		return p.scanWord(i, space)
	case isDash(r):
		if p.joinsWords(i, n, space) {
			return i + n
		}
		p.push(kMinus, i, i+n, space)
	case vulgar[r] != 0:
		p.push(kFraction, i, i+n, space)
		p.toks[len(p.toks)-1].val = vulgar[r]
	default:
		p.scanSymbol(r, i, n, space)
	}
	return i + n
}

func isDigit(r rune) bool { return '0' <= r && r <= '9' }

// scanDigits returns where the number that starts at i ends. In "1:+2,2:-1" the
// second comma ends a value, because a point's name follows it.
func scanDigits(s string, i int) int {
	comma := -1
	for ; i < len(s) && (isDigit(rune(s[i])) || (s[i] == '.' || s[i] == ',') && i+1 < len(s) && isDigit(rune(s[i+1]))); i++ {
		if s[i] == ',' {
			comma = i
		}
	}
	if g := thinGroup(s, i); g > 0 && comma < 0 {
		return scanDigits(s, i+g)
	}
	if comma > 0 && i < len(s) && (s[i] == ':' || s[i] == '=') {
		return comma
	}
	return i
}

// thinGroup returns the bytes of a thin or no-break space at i that three digits
// follow, as in 1 250 by the SI Brochure, else 0.
func thinGroup(s string, i int) int {
	r, n := utf8.DecodeRuneInString(s[i:])
	if r != '\u00a0' && r != '\u2009' && r != '\u202f' {
		return 0
	}
	group := 0
	for j := i + n; j < len(s) && isDigit(rune(s[j])); j++ {
		group++
	}
	if group != 3 {
		return 0
	}
	return n
}

// scanWord takes letters, with apostrophes and accents between them.
func (p *parser) scanWord(i int, space bool) int {
	j := i
	for j < len(p.src) {
		r, n := utf8.DecodeRuneInString(p.src[j:])
		if (r == '\'' || r == '’') && j > i {
			if next, _ := utf8.DecodeRuneInString(p.src[j+n:]); !unicode.IsLetter(next) {
				break
			}
		} else if r == 'º' || !unicode.IsLetter(r) && !unicode.Is(unicode.Mn, r) {
			break
		}
		j += n
	}
	p.push(kUnknown, i, j, space)
	t := &p.toks[len(p.toks)-1]
	t.word = true
	t.fold = int32(len(p.folded))
	p.folded = fold(p.folded, p.src[i:j])
	t.foldEnd = int32(len(p.folded))
	if word := p.letters(t); p.t.words.next[string(word)] == nil {
		if cut := bytes.LastIndexByte(word, '\''); cut > 0 && (string(word[cut:]) == "'s" || string(word[cut:]) == "'ll") {
			t.foldEnd = t.fold + int32(cut) // "the needle's at 3": only phrases of the table keep it
		}
	}
	return j
}

// joinsWords reports whether a dash only joins two words: twenty-three.
func (p *parser) joinsWords(i, n int, space bool) bool {
	if space || len(p.toks) == 0 || !p.toks[len(p.toks)-1].word {
		return false
	}
	next, _ := utf8.DecodeRuneInString(p.src[i+n:])
	return unicode.IsLetter(next)
}

// scanSymbol takes a character that is neither letter, digit nor dash.
func (p *parser) scanSymbol(r rune, i, n int, space bool) {
	k, u := kUnknown, uNone
	switch r {
	case '+':
		k = kPlus
	case '±':
		k = kPlusMinus
	case '/', '⁄', '∕':
		k = kSlash
	case ',', ';', '(', '[', '{', '|', '…':
		k = kComma
	case ':', '=', ')', ']', '}':
		k = kColon
	case '.', '!', '*', '_', '#', '«', '»', '`', '¡', '¿', '·', '•':
		k = kStop
	case '“', '„':
		k, p.quoted = kStop, !p.quoted
	case '?':
		k = kQuestion
	case '°', 'º', '˚':
		k, u = kUnit, uDegree
	case '\'', '’', '‘', '′', '´':
		k = kTick
		if next, _ := utf8.DecodeRuneInString(p.src[i+n:]); space && unicode.IsLetter(next) {
			k = kStop // 'em, 'low'
		}
	case '"', '”', '″', '‟':
		k = p.quotes(r, i+n, space)
	case '<':
		k = kLess
	case '>':
		k = kMore
	case '~', '≈':
		k = kFiller
	case '&':
		k = kAnd
	default:
		if strings.ContainsRune(nodding, r) {
			k = kStop
		} else if strings.ContainsRune(shaking, r) {
			k = kNot
		}
	}
	p.push(k, i, i+n, space)
	p.toks[len(p.toks)-1].unit = u
}

// quotes tells quotation marks from inches: one that opens stands before a word
// and has another behind it.
func (p *parser) quotes(r rune, next int, space bool) kind {
	rest := p.src[next:]
	after, _ := utf8.DecodeRuneInString(rest)
	switch {
	case p.quoted:
		p.quoted, p.guess = false, true
		return kStop
	case space && (unicode.IsLetter(after) || unicode.IsNumber(after) || isDash(after) || after == '.') && strings.ContainsRune(rest, r):
		p.quoted = true
		return kStop
	}
	return kDoubleTick
}

func (p *parser) push(k kind, i, j int, space bool) {
	p.toks = append(p.toks, token{meaning: meaning{kind: k, homo: math.NaN()}, start: int32(i), end: int32(j), spaceBefore: space})
}

func (p *parser) markSpace() {
	if n := len(p.toks); n > 0 {
		p.toks[n-1].spaceAfter = true
	}
}

// at returns the token i, or an end.
func (p *parser) at(i int) *token {
	if i < 0 || i >= len(p.toks) {
		return &end
	}
	return &p.toks[i]
}

// kindAt returns the kind of token i.
func (p *parser) kindAt(i int) kind { return p.at(i).kind }

var end = token{meaning: meaning{kind: kEnd, homo: math.NaN()}, spaceBefore: true, spaceAfter: true}

// text returns the source of token i.
func (p *parser) text(i int) string { return p.src[p.toks[i].start:p.toks[i].end] }

// letters returns the folded letters of a word.
func (p *parser) letters(t *token) []byte { return p.folded[t.fold:t.foldEnd] }
