// Package gsm7 knows how a text travels as a short message: the default
// alphabet of 3GPP TS 23.038 (clauses 6.2.1 and 6.2.1.1), how many parts a text
// takes (TS 23.040, clause 9.2.3.24.1), and how typography is written without
// leaving the alphabet, because one character outside it makes every part of a
// message hold 70 characters instead of 160.
package gsm7

import (
	"strings"
	"unicode/utf16"
)

// basic is the table of clause 6.2.1 by code: 128 characters of one septet.
// 0x1b is the escape to the extension table and no character.
const basic = "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞ\x1bÆæßÉ" +
	" !\"#¤%&'()*+,-./0123456789:;<=>?" +
	"¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§" +
	"¿abcdefghijklmnopqrstuvwxyzäöñüà"

// extension holds the characters of clause 6.2.1.1: an escape and one more
// septet.
const extension = "\f^{}\\[~]|€"

const escape = '\x1b'

// Septets is what a character costs in the default alphabet: 1, 2, or 0 when
// it is not in it.
func Septets(r rune) int {
	switch {
	case r == escape:
		return 0
	case strings.ContainsRune(basic, r):
		return 1
	case strings.ContainsRune(extension, r):
		return 2
	}
	return 0
}

// Encodable reports whether all of s is in the default alphabet.
func Encodable(s string) bool {
	for _, r := range s {
		if Septets(r) == 0 {
			return false
		}
	}
	return true
}

// Coding is how a message travels.
type Coding int

// The codings.
const (
	Default Coding = iota // the default alphabet, 7 bits a septet
	UCS2                  // 16 bits a unit, for everything else
)

func (c Coding) String() string {
	if c == UCS2 {
		return "UCS-2"
	}
	return "GSM 7-bit"
}

// Concat is how many units a part of a longer message holds: a part has 140
// octets, of which the header that joins the parts takes some.
type Concat struct{ Septets, Units int }

// The two headers of TS 23.040: with a reference of 8 bits it takes 6 octets
// (134 left: 153 septets or 67 units), of 16 bits 7 octets (133 left).
var (
	Ref8  = Concat{Septets: 134 * 8 / 7, Units: 134 / 2}
	Ref16 = Concat{Septets: 133 * 8 / 7, Units: 133 / 2}
)

// A message of one part needs no header.
const (
	singleSeptets = 140 * 8 / 7 // 160
	singleUnits   = 140 / 2     // 70
)

// Size is what a text takes.
type Size struct {
	Coding Coding
	Units  int // septets, or 16-bit units
	Parts  int
}

// Measure returns what s takes. An escape and what follows it, or the two
// halves of a character beyond the 16 bits, are never parted, so a part may
// stay one unit short.
func Measure(s string, c Concat) Size {
	size := Size{Coding: codingOf(s)}
	single, part := singleSeptets, c.Septets
	if size.Coding == UCS2 {
		single, part = singleUnits, c.Units
	}
	room := 0
	for _, r := range s {
		n := size.Coding.cost(r)
		size.Units += n
		if n > room {
			size.Parts++
			room = part
		}
		room -= n
	}
	if size.Units <= single {
		size.Parts = 1
	}
	return size
}

// Cut returns the longest beginning of s that fits the given number of parts
// in s's own coding.
func Cut(s string, parts int, c Concat) string {
	coding := codingOf(s)
	single, part := singleSeptets, c.Septets
	if coding == UCS2 {
		single, part = singleUnits, c.Units
	}
	if parts <= 1 {
		parts, part = 1, single
	}
	used, room := 0, 0
	for i, r := range s {
		n := coding.cost(r)
		if n > room {
			if used == parts {
				return s[:i]
			}
			used++
			room = part
		}
		room -= n
	}
	return s
}

func codingOf(s string) Coding {
	if Encodable(s) {
		return Default
	}
	return UCS2
}

func (c Coding) cost(r rune) int {
	if c == UCS2 {
		return max(utf16.RuneLen(r), 1)
	}
	return Septets(r)
}
