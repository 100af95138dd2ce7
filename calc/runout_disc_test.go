package calc

import (
	"math"
	"testing"
)

// disc is the physics of a blade on an arbor for the tests: an indicator's
// plunger as a ray, the blade's face as a warped plane, turned by finite
// rotations. It shares no formula with the package.
type disc struct {
	flange, flangeAt float64 // tilt of the arbor's flange and where it is tilted to, radians
	blade, bladeAt   float64 // tilt of the blade's face against the side that sits on the flange
	warp             float64 // mm at the radius of 100 mm, three waves round the blade
	probe            float64 // angle of the indicator round the arbor
}

type vec [3]float64 // x, y along the arbor, z

// turned rotates v by a about the y axis.
func turned(v vec, a float64) vec {
	s, c := math.Sincos(a)
	return vec{c*v[0] + s*v[2], v[1], -s*v[0] + c*v[2]}
}

// tipped rotates v by tilt about the axis in the xz plane that leans the y axis
// toward the direction at.
func tipped(v vec, tilt, at float64) vec {
	v = turned(v, -at)
	s, c := math.Sincos(tilt)
	v = vec{c*v[0] + s*v[1], -s*v[0] + c*v[1], v[2]}
	return turned(v, at)
}

// reading is what an indicator at the radius shows after the arbor has turned
// by turn, with the blade mounted by mounted round on the arbor.
func (d disc) reading(radius, turn, mounted float64) Length {
	toBlade := func(v vec) vec { // from space to the blade's own frame
		v = turned(v, -2*math.Pi*turn)
		v = tipped(v, -d.flange, d.flangeAt)
		v = turned(v, -2*math.Pi*mounted)
		return tipped(v, -d.blade, d.bladeAt)
	}
	s, c := math.Sincos(d.probe)
	y := 0.0
	for range 30 { // slide along the plunger's axis until it touches
		p := toBlade(vec{radius * c, y, radius * s})
		r, a := math.Hypot(p[0], p[2]), math.Atan2(p[2], p[0])
		y -= p[1] - d.warp*(r/100)*(r/100)*math.Cos(3*a)
	}
	return Length(y)
}

func (d disc) round(n int, radius, mounted, from float64) []Length {
	r := make([]Length, n)
	for i := range r {
		r[i] = d.reading(radius, from+float64(i)/float64(n), mounted)
	}
	return r
}

// high is where the disc without warp stands out most, found by trying.
func (d disc) high(radius float64) (turn float64, tir Length) {
	lo, hi := Length(math.Inf(1)), Length(math.Inf(-1))
	for i := range 3600 {
		v := d.reading(radius, float64(i)/3600, 0)
		if v > hi {
			hi, turn = v, float64(i)/3600
		}
		lo = min(lo, v)
	}
	return turn, hi - lo
}

func TestReversalOfAWobblingWarpedDisc(t *testing.T) {
	const radius = 120
	d := disc{flange: 1.5e-4, flangeAt: 0.7, blade: 5e-4, bladeAt: -2.1, warp: 0.012, probe: 1.1}
	onlyFlange := disc{flange: d.flange, flangeAt: d.flangeAt, probe: d.probe}
	onlyBlade := disc{blade: d.blade, bladeAt: d.bladeAt, probe: d.probe}
	fit := func(r []Length) Runout {
		f, err := FitRunout(r)
		sane(t, err)
		return f
	}
	first, second := fit(d.round(8, radius, 0, 0)), fit(d.round(8, radius, 0.5, 0))
	got, err := Reverse(first, second)
	sane(t, err)
	for _, c := range []struct {
		name string
		h    Harmonic
		d    disc
		tilt float64
	}{{"flange", got.Flange, onlyFlange, d.flange}, {"blade", got.Blade, onlyBlade, d.blade}} {
		turn, tir := c.d.high(radius)
		within(t, c.name+" TIR", float64(c.h.TIR()), float64(tir), 2e-6)
		within(t, c.name+" TIR by the tilt", float64(c.h.TIR()), 2*radius*math.Tan(c.tilt), 2e-6)
		within(t, c.name+" high spot", wrap(c.h.High()-turn+0.5), 0.5, 0.001)
	}
	// The warp is in the residual, not in the wobble: three waves of amplitude
	// 0.012·1.44, eight readings, five degrees of freedom.
	within(t, "residual", float64(first.Residual), 0.012*1.44*math.Sqrt(8.0/2/5), 1e-5)

	// At the flange's own radius.
	small, err := got.Flange.Scale(radius, 25)
	sane(t, err)
	_, tir := onlyFlange.high(25)
	within(t, "flange at its own radius", float64(small.TIR()), float64(tir), 1e-6)

	// Counted from the blade's mark in the second round, flange and blade swap,
	// and a good arbor would be condemned.
	wrong := fit(d.round(8, radius, 0.5, 0.5))
	swapped, err := Reverse(first, wrong)
	sane(t, err)
	within(t, "flange, counted on the blade", float64(swapped.Flange.TIR()), float64(got.Blade.TIR()), 2e-6)
	within(t, "blade, counted on the blade", float64(swapped.Blade.TIR()), float64(got.Flange.TIR()), 2e-6)
	right := swapped.CountedOnBlade()
	within(t, "put right", float64(right.Flange.TIR()), float64(got.Flange.TIR()), 2e-6)
	within(t, "put right, high spot", wrap(right.Flange.High()-got.Flange.High()+0.5), 0.5, 1e-4)
	limit := 0.02 * Length(radius) / 25 // 0.02 mm at the flange, practice
	for limit, matters := range map[Length]bool{limit: true, 0.03: false, 0.2: false} {
		if got.MarkMatters(limit) != matters {
			t.Errorf("the mark matters at a limit of %v: %v", limit, !matters)
		}
	}

	// One more reading with the arbor's mark known tells the two apart. Take it
	// where the round stands out, or nothing is told.
	at := math.Round(second.First.High()*8) / 8
	check := d.reading(radius, at, 0.5)
	for _, c := range []struct {
		second Runout
		turn   float64
		want   Mark
	}{{second, at, MarkOnArbor}, {wrong, at, MarkOnBlade}} {
		mark, err := CheckMark(c.second, c.turn, check, 0.03)
		sane(t, err)
		if mark != c.want {
			t.Errorf("counted on %v, want %v", mark, c.want)
		}
	}
	quarter := second.First.High() + 0.25
	mark, err := CheckMark(second, quarter, second.At(quarter), 0.01)
	sane(t, err)
	if mark != MarkUnclear {
		t.Errorf("a reading where both agree says %v", mark)
	}
}

// The spots a quarter of a turn from the high one stand where a true disc would.
func TestSpotsToMeasureWith(t *testing.T) {
	d := disc{blade: 5e-4, bladeAt: 0.4, probe: 2}
	f, err := FitRunout(d.round(12, 100, 0, 0))
	sane(t, err)
	for _, quarter := range []float64{0.25, 0.75} {
		within(t, "a quarter on", float64(d.reading(100, f.First.High()+quarter, 0)), 0, 1e-5)
		within(t, "the fit there", float64(f.At(f.First.High()+quarter)), 0, 1e-5)
	}
	within(t, "half a turn on", float64(d.reading(100, f.First.High()+0.5, 0)), -0.05, 1e-5)
	worst := f.At(float64(f.Worst) / 12)
	if worst.Abs() < 0.048 {
		t.Errorf("the worst spot is called one that deviates by %v", worst)
	}
}
