package calc

import "math"

// TrueTravel returns the travel square to a surface when an indicator shows
// reading with its axis tilted against the square by tilt; for a lever-type
// indicator, with its arm tilted against the surface: reading·cos(tilt). A
// tilted indicator always shows too much. (Cosine error; JIS B 7533 tabulates
// cos(tilt) for lever types.)
func TrueTravel(reading Length, tilt Angle) (Length, error) {
	if err := finite("reading", float64(reading)); err != nil {
		return 0, err
	}
	if !(tilt.Abs() < 90*Degree) {
		return 0, bad("tilt", "is not below a right angle")
	}
	return reading * Length(math.Cos(float64(tilt))), nil
}

// UnknownTilt returns what to add to a travel read on an indicator whose tilt
// is only known to be at most most, every tilt up to it being equally
// probable, and the component that stays (GUM F.2.4.4). With θ uniform on
// ± m, 1 − cos θ has the mean 1 − sin(m)/m and, for small m, the standard
// deviation m²/√45.
func UnknownTilt(reading Length, most Angle) (correction Length, c Component, err error) {
	if err := finite("reading", float64(reading)); err != nil {
		return 0, Component{}, err
	}
	if !(most >= 0 && most < 90*Degree) {
		return 0, Component{}, bad("most", "is not between zero and a right angle")
	}
	m := float64(most)
	mean, sd := m*m/6-m*m*m*m/120, m*m/math.Sqrt(45)
	if m > 0.05 { // the series loses digits above, the exact form below
		sinc := math.Sin(m) / m
		mean, sd = 1-sinc, math.Sqrt(0.5+math.Sin(2*m)/(4*m)-sinc*sinc)
	}
	return -reading * Length(mean), Normal(float64(reading.Abs())*sd, math.Inf(1)), nil
}
