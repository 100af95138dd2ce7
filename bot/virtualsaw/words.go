package virtualsaw

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Numbers as a person types them. step is what the tool reads.

// number writes a length in the prompt's unit, as finely as the tool reads.
func number(v, step float64, unit string) string {
	if unit == "in" {
		return plain(v/inch, step/inch)
	}
	return plain(v, step)
}

// plain writes v with the decimals that a step needs, at most five.
func plain(v, step float64) string {
	d := 0
	for s := step; d < 5 && math.Abs(s-math.Round(s)) > 1e-6; d++ {
		s *= 10
	}
	return strconv.FormatFloat(v+0, 'f', d, 64)
}

// signed writes a reading around zero in one of the ways people have: with a
// sign, or with a word for the side.
func (p *Person) signed(v, step float64, unit, plus, minus string) string {
	small := func(v float64) string {
		if unit == "in" {
			return plain(v/thou, step/thou) + " thou"
		}
		return plain(v, step)
	}
	switch n := p.r.IntN(3); {
	case v == 0 || n == 0:
		if s := small(v); v <= 0 {
			return s
		}
		return "+" + small(v)
	case v > 0:
		return small(v) + " " + plus
	}
	return small(-v) + " " + minus
}

// leaves tries leaves in a gap, and writes what went in and what did not.
func (p *Person) leaves(gap float64, unit string) string {
	goes, next := p.Tools.feel(gap)
	name := func(leaf float64) string {
		if unit == "in" {
			return plain(leaf/thou, 0.5) + " thou"
		}
		return fmt.Sprintf("%.2f", leaf)
	}
	switch {
	case goes == 0:
		return name(next) + " won't go in"
	case next == 0:
		return p.stacked(gap, name)
	}
	return name(goes) + " goes, " + name(next) + " doesn't"
}

// stacked writes the leaves that fill a gap wider than the thickest of them.
func (p *Person) stacked(gap float64, name func(float64) string) string {
	set := p.Tools.leaves()
	thick := set[len(set)-1]
	var list []string
	rest := gap + p.Tools.LeafFeel*p.Tools.r.NormFloat64()
	for rest > thick {
		list = append(list, name(thick))
		rest -= thick
	}
	best := 0.0
	for _, leaf := range set {
		if math.Abs(leaf-rest) < math.Abs(best-rest) {
			best = leaf
		}
	}
	if best > 0 {
		list = append(list, name(best))
	}
	return strings.Join(list, " + ")
}

// amount is the first number in a text, rounded, with its unit and sign: what
// two texts that mean the same reading have in common.
func amount(text string) string {
	digits := strings.IndexAny(text, "0123456789")
	if digits < 0 {
		return ""
	}
	rest := text[digits:]
	end := strings.IndexFunc(rest, func(r rune) bool { return (r < '0' || r > '9') && r != '.' })
	if end < 0 {
		end = len(rest)
	}
	v, err := strconv.ParseFloat(strings.TrimRight(rest[:end], "."), 64)
	if err != nil {
		return ""
	}
	if strings.Contains(text, "thou") {
		v /= 1000
	}
	for _, w := range [...]string{"-", "low", "below", "bottom", "proud", "short"} {
		if strings.Contains(text, w) {
			v = -v
			break
		}
	}
	return fmt.Sprintf("%.4g", v)
}

// oneOf returns the choice that has one of the words in it, or the first.
func oneOf(choices []string, words ...string) string {
	for _, w := range words {
		for _, c := range choices {
			if strings.EqualFold(c, w) {
				return c
			}
		}
	}
	for _, w := range words {
		for _, c := range choices {
			if strings.Contains(strings.ToLower(c), w) {
				return c
			}
		}
	}
	return choices[0]
}
