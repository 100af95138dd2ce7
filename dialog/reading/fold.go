package reading

import (
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"
)

// Fold returns s in lower case and without accents, as messages and the words
// of the languages are compared: "Fünf" is "funf", "ß" is "ss".
func Fold(s string) string { return string(fold(nil, s)) }

// fold appends s to b in lower case and without accents: "Fünf" is "funf", "ß"
// is "ss". Plain ASCII takes no detour.
func fold(b []byte, s string) []byte {
	for i := 0; i < len(s); {
		if c := s[i]; c < utf8.RuneSelf {
			if 'A' <= c && c <= 'Z' {
				c += 'a' - 'A'
			}
			b = append(b, c)
			i++
			continue
		}
		r, n := utf8.DecodeRuneInString(s[i:])
		b = foldRune(b, r, s[i:i+n])
		i += n
	}
	return b
}

// foldRune appends one rune beyond ASCII, given also as text.
func foldRune(b []byte, r rune, s string) []byte {
	switch r {
	case 'ß', 'ẞ':
		return append(b, "ss"...)
	case 'µ', 'μ': // the micro sign, and the Greek letter that keyboards give for it
		return append(b, "µ"...)
	case '’', 'ʼ', '‘':
		return append(b, '\'')
	}
	if d := norm.NFD.PropertiesString(s).Decomposition(); d != nil {
		for len(d) > 0 {
			r, n := utf8.DecodeRune(d)
			if !unicode.Is(unicode.Mn, r) {
				b = utf8.AppendRune(b, unicode.ToLower(r))
			}
			d = d[n:]
		}
		return b
	}
	if unicode.Is(unicode.Mn, r) {
		return b
	}
	if r = unicode.ToLower(r); r == 'μ' { // of a capital Greek letter
		r = 'µ'
	}
	return utf8.AppendRune(b, r)
}
