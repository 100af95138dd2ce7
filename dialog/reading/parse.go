package reading

import (
	"math"
	"strconv"
	"strings"

	"shimwright/calc"
)

// Parse decides what text means as an answer to the question that e describes.
func Parse(text string, e Expect) Result {
	s := strings.TrimSpace(text)
	if s == "" {
		return Result{Status: Refused, Reason: Empty}
	}
	if len(text) > MaxBytes {
		return Result{Status: Refused, Reason: TooLong}
	}
	scale := 1.0
	switch {
	case e.Quantity == Angle:
		scale = float64(calc.Degree)
	case e.Quantity == Length && e.Unit == Inch:
		scale = float64(calc.Inch)
	}
	for suffix, f := range map[string]float64{"mm": 1, "in": 25.4, `"`: 25.4, "thou": 0.0254} {
		if t, ok := strings.CutSuffix(s, suffix); ok && e.Quantity == Length {
			s, scale = strings.TrimSpace(t), f
			break
		}
	}
	s = strings.ReplaceAll(strings.TrimSuffix(s, "°"), ",", ".")
	x, err := strconv.ParseFloat(s, 64)
	if err != nil || math.IsNaN(x) || math.IsInf(x, 0) {
		return Result{Status: Refused, Reason: NotANumber}
	}
	v := Value{Low: x * scale, High: x * scale, Text: text}
	if v.Low < 0 && !e.Signed {
		return Result{Status: Refused, Reason: NegativeNotAllowed}
	}
	if e.Min != e.Max && (v.Low < e.Min || v.Low > e.Max) {
		return Result{Status: Doubt, Value: v, Slips: []Slip{TooLarge}}
	}
	return Result{Status: Taken, Value: v}
}
