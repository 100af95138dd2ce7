package gsm7

import (
	"strings"
	"unicode"

	"golang.org/x/text/unicode/norm"
)

// written says how typography is written in the default alphabet.
var written = map[rune]string{
	'°': " deg", 'º': " deg", '±': "+/-", '×': "x", '÷': "/", 'µ': "u", 'μ': "u", '∅': "dia ", '⌀': "dia ",
	'‐': "-", '‑': "-", '‒': "-", '–': "-", '—': "-", '―': "-", '−': "-", '­': "",
	'‘': "'", '’': "'", '‚': "'", '‛': "'", '′': "'", '`': "'", '´': "'", 'ʼ': "'",
	'“': "\"", '”': "\"", '„': "\"", '‟': "\"", '″': "\"", '«': "\"", '»': "\"", '‹': "'", '›': "'",
	'…': "...", '•': "-", '·': "-", '‣': "-", '▪': "-",
	'→': "->", '←': "<-", '↑': "up", '↓': "down", '↻': "clockwise", '↺': "anticlockwise",
	'≈': "about ", '≤': "<=", '≥': ">=", '≠': "not ", '√': "sqrt ", '∞': "infinite",
	'⁄': "/", '∕': "/", 'ł': "l", 'Ł': "L", 'đ': "d", 'Đ': "D", 'œ': "oe", 'Œ': "OE", 'ı': "i",
	'\t': " ", '\v': "\n", '\u2028': "\n", '\u2029': "\n", '\u0085': "\n",
	'\u200b': "", '\u200c': "", '\u200d': "", '\u2060': "", '\ufeff': "", '\ufe0e': "", '\ufe0f': "",
	'\u200e': "", '\u200f': "", '\u202a': "", '\u202b': "", '\u202c': "", '\u202d': "", '\u202e': "",
}

// Plain writes typography in the default alphabet: 90° becomes 90 deg, ±0,01
// becomes +/-0,01, 1½ becomes 1 1/2, mm² becomes mm2, curly quotes straight
// ones, and letters that the alphabet has without their accent only lose it.
// What it cannot write so it leaves: a name in Cyrillic stays a name. A second
// pass changes nothing.
func Plain(s string) string {
	if Encodable(s) {
		return s
	}
	var b strings.Builder
	prev := rune(0)
	write := func(t string) {
		b.WriteString(t)
		for _, r := range t {
			prev = r
		}
	}
	runes := []rune(norm.NFC.String(s))
	for i, r := range runes {
		switch t, ok := written[r]; {
		case Septets(r) > 0:
			write(string(r))
		case ok:
			if strings.HasPrefix(t, " ") && (prev == 0 || unicode.IsSpace(prev)) {
				t = t[1:]
			}
			next := rune(0)
			if i+1 < len(runes) {
				next = runes[i+1]
			}
			switch {
			case strings.HasSuffix(t, "deg") && unicode.IsLetter(next):
				t += " " // a unit of its own: 20 deg C
			case unicode.IsSpace(next):
				t = strings.TrimSuffix(t, " ")
			}
			write(t)
		case unicode.IsControl(r):
		case unicode.IsSpace(r):
			write(" ")
		default:
			write(apart(r, prev))
		}
	}
	return b.String()
}

// apart takes a character to pieces (ą is a and a hook, ½ is 1, a stroke and 2)
// and writes those that the alphabet has. A character with another piece stays
// whole.
func apart(r, prev rune) string {
	var b strings.Builder
	switch digits := unicode.IsDigit(prev); {
	case digits && strings.ContainsRune("¹²³⁴⁵⁶⁷⁸⁹⁰", r):
		b.WriteByte('^') // 10² is not 102
	case digits && unicode.Is(unicode.No, r):
		b.WriteByte(' ') // 1½ is not 11/2
	}
	for _, p := range norm.NFKD.String(string(r)) {
		switch t, ok := written[p]; {
		case unicode.Is(unicode.Mn, p):
		case Septets(p) > 0:
			b.WriteRune(p)
		case ok:
			b.WriteString(t)
		default:
			return string(r)
		}
	}
	return b.String()
}
