package virtualsaw

import (
	"math"
	"math/rand/v2"
)

// Kinds of saw by how stiff the slider's table is against its supports:
// EI/(k·ℓ³), k the stiffness of one support, ℓ the distance of stations.
const (
	Stiff  = "stiff"  // 3 … 100
	Middle = "middle" // 0.03 … 3
	Soft   = "soft"   // 0.001 … 0.03
)

// kinds are drawn equally often.
var kinds = [...]struct {
	name      string
	low, high float64
}{{Stiff, 3, 100}, {Middle, 0.03, 3}, {Soft, 0.001, 0.03}}

// logUniform draws evenly in the logarithm.
func logUniform(r *rand.Rand, low, high float64) float64 {
	return low * math.Pow(high/low, r.Float64())
}

func uniform(r *rand.Rand, low, high float64) float64 { return low + (high-low)*r.Float64() }

func pick[T any](r *rand.Rand, list []T) T { return list[r.IntN(len(list))] }

func chance(r *rand.Rand, p float64) bool { return r.Float64() < p }

// Draw makes the saw of a seed. The same seed makes the same saw.
func Draw(seed uint64) *Saw {
	r := rand.New(rand.NewPCG(seed, 1))
	kind := kinds[r.IntN(len(kinds))]
	th := pick(r, threads[:])
	s := &Saw{
		Seed: seed, Kind: kind.name,
		Profile: Profile{
			Left: chance(r, 0.7), Thread: th.name, RaisesCCW: chance(r, 0.7), TiltLeft: chance(r, 0.5),
			Blade: pick(r, []float64{250, 300, 315, 350, 400}), Spanner: pick(r, []float64{150, 200, 250}),
		},
		random: rand.New(rand.NewPCG(seed, 2)),
	}
	s.Slider = drawSlider(r, s.Profile, th.pitch, logUniform(r, kind.low, kind.high))
	s.Blade = drawBlade(r, s.Profile.Blade)
	toe := 0.02 + 0.12*r.NormFloat64() // mm over the blade
	s.Travel = Travel{Wander: uniform(r, 0.0005, 0.003), Play: math.Abs(0.008 * r.NormFloat64())}
	s.Travel.Yaw = s.Blade.Yaw + s.side()*toe/s.Profile.Blade
	s.Stops = []Stop{drawStop(r, 90), drawStop(r, 45)}
	s.Crosscut = drawCrosscut(r)
	s.Rip = drawRip(r)
	s.Knife = drawKnife(r)
	if chance(r, 0.5) {
		s.Scoring = &Scoring{Left: uniform(r, -0.05, 0.25), Right: uniform(r, -0.05, 0.25), Depth: uniform(r, 0.8, 2.4),
			Kind: pick(r, []string{"split", "conical", "neither"})}
		if s.Scoring.Kind == "conical" {
			s.Scoring.Flank = uniform(r, 3, 8) * math.Pi / 180
		}
	}
	return s
}

// drawSlider draws two to eight stations of one or two supports.
func drawSlider(r *rand.Rand, p Profile, pitch, ratio float64) *Slider {
	stations, rows := 2+r.IntN(7), 1+r.IntN(2)
	if stations == 2 {
		rows = 2 // a slider on two points would lie down
	}
	side := 1.0
	if !p.Left {
		side = -1
	}
	near := math.Round(uniform(r, 90, 200))
	far := math.Round(near + uniform(r, 150, 300))
	first, gap := uniform(r, 80, 200), uniform(r, 300, 600)*4/math.Max(4, float64(stations))
	s := &Slider{weight: uniform(r, 250, 700), load: uniform(r, 80, 250),
		settle: uniform(r, 0.001, 0.006), drag: uniform(r, 0, 0.006), unlock: uniform(r, 0.005, 0.02)}
	k := logUniform(r, 1e4, 6e4)
	for st := range stations {
		for row := range rows {
			s.Supports = append(s.Supports, Support{
				X: math.Round(first + float64(st)*gap), Y: side * [...]float64{near, far}[row], Station: st, Row: row,
				Pitch: pitch, RaisesCCW: p.RaisesCCW, stiffness: k * math.Exp(0.15*r.NormFloat64()),
				play: uniform(r, 0, 0.010), shape: 0.008 * r.NormFloat64(),
			})
		}
	}
	span := gap * float64(stations-1)
	ei := ratio * k * gap * gap * gap * float64(rows)
	axis := side * near
	if rows == 2 {
		axis = side * (near + far) / 2
	}
	// GJ against EI: from an open section to a closed box.
	s.beam = newBeam(ei, ei*logUniform(r, 0.05, 0.8), axis, first-span/8, first+span*9/8)
	// Where the nuts stand: each by itself, and the whole table heaved, pitched
	// and rolled by whoever set it last.
	one := uniform(r, 0.03, 0.2)
	heave, pitched, roll := 0.05+0.10*r.NormFloat64(), 0.10*r.NormFloat64(), 0.05*r.NormFloat64()
	sag := s.sag()
	for i := range s.Supports {
		t := &s.Supports[i]
		t.Foot = sag[i] + one*r.NormFloat64() + heave + pitched*((t.X-first)/span-0.5) + roll*(float64(t.Row)-0.5)
		t.Nut = t.Foot + uniform(r, -0.5, 0.5)*t.play
	}
	return s
}

// sag returns how far weight and load press each support down: the feet stand
// that much higher on a saw that was ever set.
func (s *Slider) sag() []float64 {
	c := s.clone()
	for i := range c.Supports {
		c.Supports[i].Foot, c.Supports[i].shape = 0, 0
	}
	h := c.Heights()
	for i := range h {
		h[i] = -h[i]
	}
	return h
}

func drawBlade(r *rand.Rand, diameter float64) *Blade {
	turn := func() float64 { return uniform(r, 0, 2*math.Pi) }
	radius := 0.42 * diameter
	return &Blade{
		Diameter: diameter, Centre: vec{0, 0, -40}, Yaw: 2e-4 * r.NormFloat64(),
		Flange: math.Abs(0.015*r.NormFloat64()) / radius, FlangeAngle: turn(),
		Hub: math.Abs(0.015*r.NormFloat64()) / radius, HubAngle: turn(),
		Warp: math.Abs(0.02 * r.NormFloat64()), WarpAngle: turn(),
		Flangeseat: uniform(r, 30, 60),
	}
}

func drawStop(r *rand.Rand, degrees float64) Stop {
	const degree = math.Pi / 180
	// A screw of 1 to 1.5 mm pitch at a lever of 60 to 250 mm.
	rate := uniform(r, 1, 1.5) / logUniform(r, 60, 250)
	if chance(r, 0.5) {
		rate = -rate
	}
	return Stop{Degrees: degrees, Error: 0.2 * degree * r.NormFloat64(), Rate: rate, Slack: uniform(r, 0, 0.06),
		Scatter: uniform(r, 0.001, 0.006) * degree}
}

func drawCrosscut(r *rand.Rand) Crosscut {
	c := Crosscut{Lean: 1.0 / 1000 * r.NormFloat64(), AtRear: chance(r, 0.4),
		seat: uniform(r, 2e-6, 1.2e-5), slack: uniform(r, 0.003, 0.015)}
	c.Pivot, c.Adjust = math.Round(uniform(r, 60, 400)), math.Round(uniform(r, 900, 2200))
	if chance(r, 0.3) { // the pivot at the outer end
		c.Pivot, c.Adjust = c.Adjust, c.Pivot
	}
	return c
}

func drawRip(r *rand.Rand) Rip {
	return Rip{Toe: 0.02 + 0.12*r.NormFloat64(), Scatter: logUniform(r, 0.002, 0.03), Away: uniform(r, 80, 150),
		Reach: math.Round(uniform(r, 600, 1100)), Near: math.Round(uniform(r, 100, 250)), Far: math.Round(uniform(r, 700, 1400)),
		AtRail: chance(r, 0.4)}
}

func drawKnife(r *rand.Rand) Knife {
	plate := pick(r, []float64{1.8, 2.2, 2.5})
	k := Knife{Plate: plate, Kerf: plate + pick(r, []float64{0.8, 1.0, 1.2}), Off: 0.12 * r.NormFloat64(),
		Near: uniform(r, 1.5, 9), Hood: chance(r, 0.4)}
	k.Far = k.Near + uniform(r, 0, 2.5)
	k.Top = uniform(r, -30, 3)
	k.Thick = plate + uniform(r, 0.1, 0.9)*(k.Kerf-plate)
	if chance(r, 0.1) { // one that goes with another blade
		k.Thick = plate - 0.2
	}
	return k
}
