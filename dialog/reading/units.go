package reading

import "shimwright/calc"

// unit is a unit as it is said.
type unit uint8

const (
	uNone unit = iota
	uMM
	uCM
	uM
	uMicron
	uInch
	uFoot
	uThou
	uMil // a millimetre in one country, a thousandth of an inch in another
	uDegree
	uMinute
	uSecond
)

// unitNames are the keys of "units" in a language file.
var unitNames = map[string]unit{"mm": uMM, "cm": uCM, "m": uM, "um": uMicron, "in": uInch, "ft": uFoot, "thou": uThou,
	"mil": uMil, "deg": uDegree, "min": uMinute, "sec": uSecond}

// factors are the units in mm or rad. The inch and the foot are exact
// (international yard and pound agreement, 1959: 1 yd = 0.9144 m).
var factors = [...]float64{uMM: 1, uCM: 10, uM: 1000, uMicron: float64(calc.Micrometre), uInch: float64(calc.Inch),
	uFoot: 12 * float64(calc.Inch), uThou: float64(calc.Thou), uMil: 1, uDegree: float64(calc.Degree),
	uMinute: float64(calc.Degree) / 60, uSecond: float64(calc.Degree) / 3600}

func (u unit) isAngle() bool  { return u >= uDegree }
func (u unit) isLength() bool { return u > uNone && u < uDegree }

// own returns the unit that a bare number is in.
func (e *Expect) own() unit {
	switch {
	case e.Quantity == Angle:
		return uDegree
	case e.Quantity != Length:
		return uNone
	case e.Unit == Inch:
		return uInch
	}
	return uMM
}
