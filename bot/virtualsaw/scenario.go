package virtualsaw

import "math/rand/v2"

// Scenario returns a saw and its person for a demonstration: the common
// arrangement, three stations of two supports, on which the rear has sunk and
// one nut stands proud. The person takes the usual profile as it is offered.
func Scenario() *Person {
	const seed = 11
	s := Draw(seed)
	s.Profile = Profile{Left: true, Thread: "M10", RaisesCCW: true, Blade: 315, TiltLeft: true, Spanner: 200}
	r := rand.New(rand.NewPCG(seed, 4))
	s.Kind = Middle
	s.Slider = arrangement(r)
	p := NewPerson(s, seed)
	p.Unit, p.parts = "mm", nil
	p.Tools = drawTools(p.r, false)
	p.Tools.Indicator, p.Tools.IndicatorRepeat = 0.01, 0.003
	p.read = make([]*float64, len(s.Slider.Supports))
	return p
}

// arrangement is the slider of the scenario.
func arrangement(r *rand.Rand) *Slider {
	s := &Slider{weight: 400, load: 150, settle: 0.003, drag: 0.002, unlock: 0.01}
	feet := []float64{0.05, 0.04, 0.06, 0.17, -0.05, -0.06} // how the heights stand, by and large
	for i := range feet {
		s.Supports = append(s.Supports, Support{X: []float64{120, 600, 1080}[i/2], Y: []float64{120, 360}[i%2], Station: i / 2, Row: i % 2,
			Pitch: 1.5, RaisesCCW: true, stiffness: 3e4, play: 0.004, shape: 0.005 * r.NormFloat64()})
	}
	const ratio = 0.1
	ei := ratio * 3e4 * 480 * 480 * 480 * 2
	s.beam = newBeam(ei, 0.3*ei, 240, 0, 1200)
	sag := s.sag()
	for i := range s.Supports {
		t := &s.Supports[i]
		t.Foot = feet[i] + sag[i]
		t.Nut = t.Foot
	}
	return s
}
