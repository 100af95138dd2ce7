package calc

import (
	"fmt"
	"math"
)

// Length is a length in millimetres.
type Length float64

// Angle is an angle in radians.
type Angle float64

// Units, as factors: 3*Thou is three thousandths of an inch. 1 in = 25.4 mm
// exactly (international inch).
const (
	Millimetre Length = 1
	Micrometre Length = 1e-3
	Inch       Length = 25.4
	Thou       Length = 25.4e-3
	Radian     Angle  = 1
	Degree     Angle  = math.Pi / 180
)

// Millimetres returns l as a bare number of millimetres.
func (l Length) Millimetres() float64 { return float64(l) }

// Inches returns l as a bare number of inches.
func (l Length) Inches() float64 { return float64(l / Inch) }

// Thousandths returns l as a bare number of thousandths of an inch.
func (l Length) Thousandths() float64 { return float64(l / Thou) }

// Radians returns a as a bare number of radians.
func (a Angle) Radians() float64 { return float64(a) }

// Degrees returns a as a bare number of degrees.
func (a Angle) Degrees() float64 { return float64(a / Degree) }

// Abs returns the magnitude of l.
func (l Length) Abs() Length { return Length(math.Abs(float64(l))) }

// Abs returns the magnitude of a.
func (a Angle) Abs() Angle { return Angle(math.Abs(float64(a))) }

// Hand says on which side of the blade the slider runs, seen by the operator.
type Hand int

// A left-hand slider has y > 0. A right-hand one is mirrored once, by Mirror.
const (
	Left  Hand = iota // slider on the left of the blade, the common arrangement
	Right             // slider on the right of the blade
)

// Mirror maps a y coordinate (or a shift along y) between the machine and the
// left-hand frame that every other function of this package works in. It is
// its own inverse and the only place where the hand of a saw matters.
func (h Hand) Mirror(y Length) Length {
	if h == Right {
		return -y
	}
	return y
}

// InputError says which input of a calculation cannot be used, and why. Every
// function of this package that can fail returns one.
type InputError struct {
	Input  string // name of the input, as in the function's documentation
	Reason string // what is wrong with it, as a clause: "is not finite"
}

func (e *InputError) Error() string { return fmt.Sprintf("calc: %s %s", e.Input, e.Reason) }

// bad returns an InputError.
func bad(input, reason string) error { return &InputError{Input: input, Reason: reason} }

// finite returns an InputError when any of the values is NaN or infinite.
func finite(input string, values ...float64) error {
	for _, v := range values {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return bad(input, "is not finite")
		}
	}
	return nil
}
