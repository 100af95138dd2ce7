package reading

import (
	"strconv"
	"strings"

	"shimwright/calc"
)

// Format writes v (mm, rad, or a plain number) in the person's unit, rounded to
// the tool's resolution (same unit as v; 0: the usual one of the unit).
func Format(v float64, q Quantity, u Unit, lang Lang, resolution float64) string {
	digits, suffix := 0, ""
	switch {
	case q == Angle:
		v, digits, suffix = v/float64(calc.Degree), 2, "°"
	case q == Length && u == Inch:
		v, digits, suffix = v/float64(calc.Inch), 3, " in"
	case q == Length:
		digits, suffix = 2, " mm"
	}
	s := strconv.FormatFloat(v, 'f', digits, 64)
	if lang == "de" || lang == "es" {
		s = strings.Replace(s, ".", ",", 1)
	}
	return s + suffix
}
