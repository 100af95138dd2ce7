package virtualsaw

import (
	"math"
	"math/rand/v2"
	"testing"
)

// A flat disc on a flange that is out of square by a slope wobbles by twice that
// slope times the radius: the full movement of a pure first harmonic is twice its
// amplitude (ISO 230-7 and ASME B89.3.4, from memory).
func TestWobbleOfAFlatDisc(t *testing.T) {
	b := &Blade{Diameter: 315, Centre: vec{0, 0, -40}, Flange: 1e-3, FlangeAngle: 1}
	x, z := b.spotOn()
	radius := plungerAt * b.Diameter
	if got, want := b.TIR(x, z), 2*1e-3*radius; math.Abs(got-want) > 1e-3*want {
		t.Errorf("TIR %g, want %g", got, want)
	}
}

// Half a turn of the blade on its arbor turns the hub's share round and leaves
// the flange's: the two add up once and cancel once.
func TestReversal(t *testing.T) {
	b := &Blade{Diameter: 315, Centre: vec{0, 0, -40}, Flange: 1e-3, Hub: 1e-3}
	x, z := b.spotOn()
	together := b.TIR(x, z)
	b.Mounted = math.Pi
	if apart := b.TIR(x, z); apart > 1e-4*together {
		t.Errorf("flange and hub alike: together %g, reversed %g", together, apart)
	}
}

// One spot of the plate, turned from the front to the rear, cancels whatever
// the blade does: what is left is the toe, on either hand of the saw.
func TestOneSpotCancelsRunout(t *testing.T) {
	for seed := range uint64(20) {
		s := Draw(seed)
		s.Travel.Wander = 0
		s.random = rand.New(rand.NewPCG(seed, 1))
		s.Blade.Warp, s.Blade.Flange = 0.2, 2e-3
		d := s.Profile.Blade
		reach, up := 0.4*d, 0.2*d
		front := s.onSlider(-reach, s.Blade.Centre.z+up, math.Pi-math.Atan2(up, reach)+1)
		rear := s.onSlider(reach, s.Blade.Centre.z+up, math.Atan2(up, reach)+1)
		got := (front - rear) * d / (2 * reach)
		if math.Abs(got-s.Toe()) > 5e-4 {
			t.Errorf("saw %d: the spot says %.4f, the toe is %.4f", seed, got, s.Toe())
		}
	}
}

// A flip test doubles the lean over the thickness, a pair of bevel cuts shows it
// twice in its corner (common practice).
func TestTiltInWood(t *testing.T) {
	if got, want := flipGap(40, 0.002), 2*40*math.Tan(0.002); math.Abs(got-want) > 1e-9 {
		t.Errorf("flipped pair: gap %g, want %g", got, want)
	}
	if got, want := corner(40, math.Pi/4+0.001), math.Pi/2-0.002; math.Abs(got-want) > 1e-9 {
		t.Errorf("bevel pair: corner %g, want %g", got, want)
	}
}
