package reading

import (
	"math"
	"strconv"
	"strings"

	"shimwright/calc"
)

// Format writes v (mm, rad, or a plain number) in the person's unit, rounded to
// what the tool reads: "0.08 mm", "3 thou", "0.982 in", "49 1/4 in", "45.05°".
// The resolution is in the unit of v; 0 is the usual one: 0.01 mm, 0.001 in,
// 0.01°. Inches of a tool with a binary scale are written as a fraction, and
// less than a tenth of an inch in thousandths where the language has a short
// word for them. Parse reads what Format writes. NaN and infinities give "?".
func Format(v float64, q Quantity, u Unit, lang Lang, resolution float64) string {
	return FormatBeside(v, v, q, u, lang, resolution)
}

// FormatBeside writes a value as Format does, in the unit that suits a larger one of
// the same sentence: "0.098 in" beside "0.110 in".
func FormatBeside(v, beside float64, q Quantity, u Unit, lang Lang, resolution float64) string {
	n, unit := format(v, math.Max(math.Abs(v), math.Abs(beside)), q, u, tableOf(lang), resolution)
	return n + unit
}

// FormatValue writes a value as Format does, and an interval as "0.10 to 0.15 mm"
// or "0 to 0.10 mm".
func FormatValue(v Value, q Quantity, u Unit, lang Lang, resolution float64) string {
	t := tableOf(lang)
	if v.Plain() {
		return Format(v.Low, q, u, lang, resolution)
	}
	size := math.Max(math.Abs(v.Low), math.Abs(v.High))
	low, _ := format(v.Low, size, q, u, t, resolution)
	high, unit := format(v.High, size, q, u, t, resolution)
	switch {
	case v.Low == 0:
		low = "0"
	case v.High == 0:
		high = "0"
	case v.Low < 0 && v.High > 0:
		high = "+" + high
	}
	return strings.Replace(strings.Replace(t.interval, "%s", low, 1), "%s", high, 1) + unit
}

// format returns the number and the unit, with the space before the unit. size
// is the largest value that is written beside it in the same unit.
func format(v, size float64, q Quantity, u Unit, t *table, resolution float64) (number, unit string) {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return "?", ""
	}
	resolution = math.Abs(resolution)
	switch {
	case q == Angle:
		return decimal(v/factors[uDegree], orElse(resolution/factors[uDegree], 0.01), t), "°"
	case q == Count:
		return decimal(v, 1, t), ""
	case q == Number && resolution == 0:
		return strings.Replace(strconv.FormatFloat(v+0, 'f', -1, 64), ".", string(t.point), 1), ""
	case q == Number:
		return decimal(v, resolution, t), ""
	case u != Inch:
		return decimal(v, orElse(resolution, 0.01), t), " mm"
	}
	step := orElse(resolution/factors[uInch], 0.001)
	inches := v / factors[uInch]
	if den := binaryStep(step); den > 0 {
		return mixedInches(inches, den), " " + t.inch
	}
	if t.thou != "" && math.Abs(size) < 0.1*factors[uInch] && step <= 0.001*(1+1e-9) {
		return decimal(v/float64(calc.Thou), step*1000, t), " " + t.thou
	}
	return decimal(inches, step, t), " " + t.inch
}

func orElse(v, other float64) float64 {
	if v <= 0 || math.IsInf(v, 0) || math.IsNaN(v) {
		return other
	}
	return v
}

// decimal writes v to the nearest step, with the decimals that the step has.
func decimal(v, step float64, t *table) string {
	digits, scale := 0, 1.0
	for digits < 6 && math.Abs(step*scale-math.Round(step*scale)) > 1e-6 {
		digits++
		scale *= 10
	}
	if n := math.Round(v / step); math.Abs(n) < 1<<52 {
		v = n * step
	}
	s := strconv.FormatFloat(v, 'f', digits, 64)
	if strings.Trim(s, "-0.") == "" {
		s = strings.TrimPrefix(s, "-") // no negative zero
	}
	if t.point != '.' {
		s = strings.Replace(s, ".", string(t.point), 1)
	}
	return s
}

// binaryStep returns the denominator when the step is 1/2 … 1/128, else 0.
func binaryStep(step float64) int {
	for den := 2; den <= 128; den *= 2 {
		if math.Abs(step*float64(den)-1) < 1e-6 {
			return den
		}
	}
	return 0
}

// mixedInches writes 49.25 as "49 1/4", to the nearest 1/den.
func mixedInches(inches float64, den int) string {
	n := math.Round(math.Abs(inches) * float64(den))
	if n > 1<<52 {
		return strconv.FormatFloat(inches, 'f', 0, 64)
	}
	whole, num := int64(n)/int64(den), int64(n)%int64(den)
	for num > 0 && num%2 == 0 {
		num, den = num/2, den/2
	}
	s := strconv.FormatInt(whole, 10)
	if num > 0 {
		part := strconv.FormatInt(num, 10) + "/" + strconv.Itoa(den)
		if whole == 0 {
			s = part
		} else {
			s += " " + part
		}
	}
	if inches < 0 && n > 0 {
		s = "-" + s
	}
	return s
}
