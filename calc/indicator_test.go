package calc

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Correction factors for lever-type indicators as a maker of measuring tools
// prints them (JIS B 7533 context, seen): two digits, and three readings of
// 0.200 mm worked out. More digits: cosines.
func TestTrueTravel(t *testing.T) {
	for degrees, factor := range map[Angle]float64{10: 0.98, 20: 0.94, 30: 0.87, 40: 0.77, 50: 0.64, 60: 0.50} {
		v, err := TrueTravel(1, degrees*Degree)
		sane(t, err)
		within(t, "factor", float64(v), factor, 0.0051)
	}
	for degrees, want := range map[Angle]float64{10: 0.196, 20: 0.188, 30: 0.174} {
		v, err := TrueTravel(0.2, -degrees*Degree)
		sane(t, err)
		within(t, "0.200 mm", float64(v), want, 0.0011) // the page multiplies by its two-digit factors
	}
	for degrees, cos := range map[Angle]float64{5: .9962, 15: .9659, 20: .9397, 30: .8660, 45: .7071, 60: .5000} {
		v, err := TrueTravel(1, degrees*Degree)
		sane(t, err)
		within(t, "cosine", float64(v), cos, 0.00005)
	}
	for _, v := range unusable {
		_, err := TrueTravel(Length(v), 0)
		refused(t, err, "reading")
		_, err = TrueTravel(1, Angle(v))
		refused(t, err, "tilt")
		_, _, err = UnknownTilt(Length(v), 0)
		refused(t, err, "reading")
		_, _, err = UnknownTilt(1, Angle(v))
		refused(t, err, "most")
	}
	_, err := TrueTravel(1, 90*Degree)
	refused(t, err, "tilt")
	_, _, err = UnknownTilt(1, -1*Degree)
	refused(t, err, "most")
}

// Against indicators set up at random tilts.
func TestUnknownTilt(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 12))
	const trials = 200000
	for _, most := range []Angle{1 * Degree, 2.8 * Degree, 2.9 * Degree, 10 * Degree, 30 * Degree} {
		var sum, sum2 float64
		for range trials {
			over := 1 - math.Cos(float64(most)*(2*r.Float64()-1))
			sum += over
			sum2 += over * over
		}
		mean := sum / trials
		sd := math.Sqrt(sum2/trials - mean*mean)
		correction, c, err := UnknownTilt(-2, most)
		sane(t, err, float64(correction), c.U)
		within(t, "correction", float64(correction), 2*mean, 0.01*2*mean)
		within(t, "u", c.U, 2*sd, 0.01*2*sd)
	}
	below, cBelow, err := UnknownTilt(2, 0.05)
	sane(t, err)
	above, cAbove, err := UnknownTilt(2, 0.0500001) // the exact form takes over
	sane(t, err)
	within(t, "correction where the forms meet", float64(below/above), 1, 1e-5)
	within(t, "u where the forms meet", cBelow.U/cAbove.U, 1, 2e-4)
	correction, c, err := UnknownTilt(2, 0)
	sane(t, err)
	within(t, "no tilt", float64(correction)+c.U, 0, 0)
}

func FuzzIndicator(f *testing.F) {
	f.Add(0.2, 0.17)
	f.Add(math.NaN(), 1e308)
	f.Fuzz(func(t *testing.T, reading, tilt float64) {
		v, err := TrueTravel(Length(reading), Angle(tilt))
		sane(t, err, float64(v))
		v, c, err := UnknownTilt(Length(reading), Angle(tilt))
		sane(t, err, float64(v), c.U*0+float64(v))
		if err == nil && math.IsNaN(c.U) {
			t.Errorf("%+v", c)
		}
	})
}
