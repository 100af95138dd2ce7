package calc

import (
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"
)

func lengths(v ...float64) []Length {
	l := make([]Length, len(v))
	for i := range v {
		l[i] = Length(v[i])
	}
	return l
}

// Two sets with known harmonics (formulas of the least-squares circle, ISO
// 12181 and the NIST/SEMATECH e-Handbook 2.3.4.4, from memory; values derived).
func TestFitRunoutCheckSets(t *testing.T) {
	a, err := FitRunout(lengths(0.143301, 0.148296, 0.125, 0.087059, 0.056699, 0.051704, 0.075, 0.112941))
	sane(t, err)
	within(t, "set A mean", float64(a.Mean), 0.100, 5e-7)
	within(t, "set A amplitude", float64(a.First.Amplitude()), 0.0500, 5e-7)
	within(t, "set A phase", a.First.Phase().Degrees(), 30, 0.001)
	within(t, "set A sampled TIR", float64(a.Sampled), 0.0966, 5e-5)
	within(t, "set A TIR", float64(a.First.TIR()), 0.100, 1e-6)
	within(t, "set A residual", float64(a.Residual), 0, 1e-6)
	within(t, "set A high spot", a.First.High(), 30.0/360, 1e-5)
	if a.Best != 2 && a.Best != 6 && a.Best != 3 && a.Best != 7 {
		t.Errorf("set A: reading %d is called nearest to the mean", a.Best)
	}

	b, err := FitRunout(lengths(0.229, 0.243, 0.240, 0.226, 0.211, 0.200, 0.189, 0.174, 0.160, 0.157, 0.171, 0.200))
	sane(t, err)
	within(t, "set B mean", float64(b.Mean), 0.2000, 5e-5)
	within(t, "set B amplitude", float64(b.First.Amplitude()), 0.039919, 5e-7)
	within(t, "set B phase", b.First.Phase().Degrees(), 60.00, 0.005)
	within(t, "set B sampled TIR", float64(b.Sampled), 0.086, 1e-9)
	// The second harmonic of 0.01 that the readings were made with.
	within(t, "set B residual", float64(b.Residual), 0.01*math.Sqrt(6.0/9), 3e-4)
	if b.Best != 5 || b.Worst != 1 && b.Worst != 9 {
		t.Errorf("set B: best %d, worst %d", b.Best, b.Worst)
	}
}

// Sampled points under-read a wobble: at worst 2A·cos(π/N) for even N (0.7071
// of the true TIR at four, 0.9239 at eight; derived). The fit does not.
func TestFitRunoutSampling(t *testing.T) {
	for n, worst := range map[int]float64{4: 0.7071, 6: 0.8660, 8: 0.9239, 12: 0.9659} {
		least := 1.0
		for phase := range 720 { // half degrees
			r := make([]Length, n)
			for i := range r {
				r[i] = Length(0.5 * math.Cos(2*math.Pi*float64(i)/float64(n)-float64(phase)*math.Pi/360))
			}
			f, err := FitRunout(r)
			sane(t, err)
			within(t, "TIR of the fit", float64(f.First.TIR()), 1, 1e-12)
			least = math.Min(least, float64(f.Sampled))
		}
		within(t, "least sampled TIR", least, worst, 1e-4)
	}
	// With four readings a third harmonic of 0.01 reads as a first of 0.01; with
	// eight it does not.
	for n, want := range map[int]float64{4: 0.01, 8: 0, 5: 0} {
		r := make([]Length, n)
		for i := range r {
			r[i] = Length(0.01 * math.Cos(3*2*math.Pi*float64(i)/float64(n)))
		}
		f, err := FitRunout(r)
		sane(t, err)
		within(t, "alias", float64(f.First.Amplitude()), want, 1e-15)
	}
}

func TestFitRunoutEdges(t *testing.T) {
	flat, err := FitRunout(lengths(0.1, 0.1, 0.1, 0.1))
	sane(t, err)
	within(t, "a true disc", float64(flat.First.TIR()+flat.Sampled+flat.Residual), 0, 0)
	// Uneven steps, one of them missed: the same wobble.
	turns := []float64{0, 0.125, 0.25, 0.5, 0.625, 0.75, 1.875}
	r := make([]Length, len(turns))
	for i, turn := range turns {
		r[i] = Length(3 + 0.02*math.Cos(2*math.Pi*turn-1))
	}
	f, err := FitRunoutAt(turns, r)
	sane(t, err)
	within(t, "uneven amplitude", float64(f.First.Amplitude()), 0.02, 1e-14)
	within(t, "uneven phase", float64(f.First.Phase()), 1, 1e-12)
	within(t, "at a turn", float64(f.At(0.3)), 3+0.02*math.Cos(0.6*math.Pi-1), 1e-12)
	for _, v := range unusable {
		_, err := FitRunout(lengths(0, 1, 2, v))
		refused(t, err, "readings")
		_, err = FitRunoutAt([]float64{0, 0.25, 0.5, v}, lengths(0, 1, 2, 3))
		refused(t, err, "turns")
	}
	for _, c := range []struct {
		turns    []float64
		readings []Length
		input    string
	}{
		{nil, nil, "readings"}, {[]float64{0, 1, 2}, lengths(1, 2, 3), "readings"},
		{[]float64{0, .25, .5}, lengths(1, 2, 3, 4), "turns"},
		{[]float64{0, 1, 2, 3}, lengths(1, 2, 3, 4), "turns"}, // all on one spot
		{[]float64{0, 0.5, 0, 0.5}, lengths(1, 2, 3, 4), "turns"},
		{[]float64{0, .25, .5, .75}, lengths(math.MaxFloat64, -math.MaxFloat64, 0, 0), "readings"},
	} {
		_, err := FitRunoutAt(c.turns, c.readings)
		refused(t, err, c.input)
	}
	if wrap(-1e-20) != 0 {
		t.Errorf("just before the mark is %v", wrap(-1e-20))
	}
}

// Reversal of a part that is turned half way round on its spindle (ASME
// B89.3.4, ISO 230-7; formula from memory, values derived, micrometres). The
// published form moves the indicator to the other side as well, so that the
// sum is the part and the difference the spindle. Here the indicator stays,
// the second trace has the other sign and the roles change: the difference is
// the part (blade), the sum the spindle (flange).
func TestReverseDonaldson(t *testing.T) {
	m1 := lengths(5.755, -1.919, -3.041, 0.563, 2.245, 1.919, -4.959, -0.563)
	m2 := lengths(2.245, 1.919, -4.959, -0.563, 5.755, -1.919, -3.041, 0.563)
	part := lengths(4, 0, -4, 0, 4, 0, -4, 0)
	spindle := lengths(1.755, -1.919, 0.959, 0.563, -1.755, 1.919, -0.959, -0.563)
	fit := func(r []Length) Runout {
		f, err := FitRunout(r)
		sane(t, err)
		return f
	}
	fixed := make([]Length, len(m2)) // m2 = P − S; a fixed indicator shows S − P
	for i := range m2 {
		within(t, "the set itself", float64(m1[i]+m2[i])/2, float64(part[i]), 0.0015)
		within(t, "the set itself", float64(m1[i]-m2[i])/2, float64(spindle[i]), 0.0015)
		fixed[i] = -m2[i]
	}
	published, err := Reverse(fit(m1), fit(m2))
	sane(t, err)
	within(t, "sum, moved indicator: the part", float64(published.Flange.Amplitude()-fit(part).First.Amplitude()), 0, 0.001)
	within(t, "difference, moved indicator: the spindle", float64(published.Blade.Amplitude()-fit(spindle).First.Amplitude()), 0, 0.001)
	here, err := Reverse(fit(m1), fit(fixed))
	sane(t, err)
	within(t, "sum, fixed indicator: the spindle", float64(here.Flange.Amplitude()), float64(fit(spindle).First.Amplitude()), 0.001)
	within(t, "difference, fixed indicator: the part", float64(here.Blade.Amplitude()), float64(fit(part).First.Amplitude()), 0.001)
	within(t, "phase of the spindle", here.Flange.Phase().Degrees(), fit(spindle).First.Phase().Degrees(), 0.05)
}

func TestReverseRefuses(t *testing.T) {
	nan := Runout{First: Harmonic(complex(math.NaN(), 0))}
	_, err := Reverse(nan, Runout{})
	refused(t, err, "first")
	_, err = Reverse(Runout{}, nan)
	refused(t, err, "second")
	for _, v := range append(unusable, 0, -1) {
		_, err = Harmonic(1).Scale(Length(v), 1)
		refused(t, err, "measured")
		_, err = Harmonic(1).Scale(1, Length(v))
		refused(t, err, "at")
	}
	_, err = nan.First.Scale(1, 1)
	refused(t, err, "harmonic")
	_, err = Harmonic(1).Scale(1e-300, 1e300)
	refused(t, err, "at")
	for _, v := range unusable {
		for _, c := range [][3]float64{{v, 0, 0}, {0, v, 0}, {0, 0, v}} {
			_, err = CheckMark(Runout{}, c[0], Length(c[1]), Length(c[2]))
			refused(t, err, "reading")
		}
	}
	_, err = CheckMark(Runout{}, 0, 0, -1)
	refused(t, err, "U")
	if e := (Runout{}).Estimate(Rectangular(0.005)); !math.IsInf(e.U, 1) {
		t.Errorf("a runout that was not fitted has U = %v", e.U)
	}
}

// The true TIR lies within ± U at the rate claimed: with a known repeatability,
// with the residual taken for noise, and where there is next to no wobble.
func TestRunoutCoverageNoise(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 3))
	const trials = 10000
	for _, c := range []struct {
		name       string
		n          int
		least, mo  float64 // amplitude
		lo, hi     float64
		byResidual bool
	}{
		{"TIR, eight readings", 8, 0.02, 0.1, 0.93, 0.975, false},
		{"TIR, four readings", 4, 0.02, 0.1, 0.93, 0.975, false},
		{"TIR, twelve readings, noise from the residual", 12, 0.02, 0.1, 0.93, 0.975, true},
		{"TIR, no wobble", 8, 0, 0, 0.93, 0.975, false},
		{"TIR, hardly a wobble", 8, 0, 0.006, 0.93, 1, false},
	} {
		hits := 0
		for range trials {
			amplitude, phase := c.least+(c.mo-c.least)*r.Float64(), 2*math.Pi*r.Float64()
			readings := make([]Length, c.n)
			for i := range readings {
				readings[i] = Length(amplitude*math.Cos(2*math.Pi*float64(i)/float64(c.n)-phase) + 0.004*r.NormFloat64())
			}
			f, err := FitRunout(readings)
			sane(t, err)
			noise := Normal(0.004, math.Inf(1))
			if c.byResidual {
				noise = Normal(float64(f.Residual), float64(f.DoF))
			}
			if e := f.Estimate(noise); math.Abs(e.Value-2*amplitude) <= e.U {
				hits++
			}
		}
		covers(t, c.name, hits, trials, c.lo, c.hi)
	}
}

// Flange and blade of a reversal, and scaled to the flange's own radius.
func TestReverseCoverage(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 81))
	const trials, n, step = 10000, 8, 0.01
	var flange, blade, coarse int
	for range trials {
		f, b := 0.01+0.03*r.Float64(), 0.02+0.08*r.Float64()
		pf, pb, mean := 2*math.Pi*r.Float64(), 2*math.Pi*r.Float64(), r.Float64()
		round := func(sign, noise, rounding float64) Runout {
			readings := make([]Length, n)
			for i := range readings {
				at := 2 * math.Pi * float64(i) / n
				v := mean + f*math.Cos(at-pf) + sign*b*math.Cos(at-pb) + noise*r.NormFloat64()
				readings[i] = Length(rounding * math.Round(v/rounding))
			}
			fit, err := FitRunout(readings)
			sane(t, err)
			return fit
		}
		both, err := Reverse(round(1, 0.004, 1e-6), round(-1, 0.004, 1e-6))
		sane(t, err)
		ef, eb := both.Estimate(Normal(0.004, math.Inf(1)))
		if own := ef.Times(0.25); math.Abs(own.Value-0.25*2*f) <= own.U {
			flange++
		}
		if math.Abs(eb.Value-2*b) <= eb.U {
			blade++
		}
		rough, err := Reverse(round(1, 0, step), round(-1, 0, step))
		sane(t, err)
		_, eb = rough.Estimate(Rectangular(step / 2))
		if math.Abs(eb.Value-2*b) <= eb.U {
			coarse++
		}
	}
	covers(t, "flange TIR at its own radius", flange, trials, 0.93, 0.975)
	covers(t, "blade TIR", blade, trials, 0.93, 0.975)
	covers(t, "blade TIR, resolution 0.01 mm", coarse, trials, 0.95, 1)
	if e, _ := (Reversal{}).Estimate(Rectangular(1)); !math.IsInf(e.U, 1) {
		t.Errorf("a reversal that was not made has U = %v", e.U)
	}
}

// With a steady hand and a coarse indicator: at least 95 %, U at most 1.2 times
// the largest possible error (every reading off by half a step, each the worse
// way).
func TestRunoutCoverageResolution(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 28))
	const trials, step = 10000, 0.01
	for _, n := range []int{4, 6, 8, 12} {
		hits, largestRatio := 0, 0.0
		for range trials {
			mean, phase, amplitude := r.Float64(), 2*math.Pi*r.Float64(), 0.02+0.1*r.Float64()
			readings := make([]Length, n)
			for i := range readings {
				v := mean + amplitude*math.Cos(2*math.Pi*float64(i)/float64(n)-phase)
				readings[i] = Length(step * math.Round(v/step))
			}
			f, err := FitRunout(readings)
			sane(t, err)
			e := f.Estimate(Rectangular(step / 2))
			largest := 0.0
			for _, g := range f.solve.gain(f.First) {
				largest += math.Abs(g) * step
			}
			largestRatio = math.Max(largestRatio, e.U/largest)
			if math.Abs(e.Value-2*amplitude) <= e.U {
				hits++
			}
		}
		covers(t, "TIR, resolution 0.01 mm", hits, trials, 0.95, 1)
		t.Logf("%d readings: U is at most %.3f of the largest possible error", n, largestRatio)
		if largestRatio > 1.2 {
			t.Errorf("U is %v of the largest possible error", largestRatio)
		}
	}
}

// Units never matter, nor where the indicator was set to zero; and counting
// from another mark turns the phase by as much.
func TestFitRunoutProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(4, 16).Draw(t, "n")
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 4))
		unit := rapid.Float64Range(0.01, 100).Draw(t, "unit")
		zero := rapid.Float64Range(-10, 10).Draw(t, "zero")
		shift := rapid.IntRange(0, n-1).Draw(t, "mark")
		a, b, c := make([]Length, n), make([]Length, n), make([]Length, n)
		for i := range a {
			a[i] = Length(0.1 * r.NormFloat64())
			b[i] = Length(unit) * (a[i] + Length(zero))
		}
		for i := range c {
			c[i] = a[(i+shift)%n]
		}
		fa, err := FitRunout(a)
		sane(t, err)
		fb, err := FitRunout(b)
		sane(t, err)
		fc, err := FitRunout(c)
		sane(t, err)
		within(t, "TIR in another unit", float64(fb.First.TIR())/unit, float64(fa.First.TIR()), 1e-9)
		within(t, "residual in another unit", float64(fb.Residual)/unit, float64(fa.Residual), 1e-9)
		within(t, "TIR from another mark", float64(fc.First.TIR()), float64(fa.First.TIR()), 1e-12)
		half := wrap(fa.First.High() - float64(shift)/float64(n) - fc.First.High() + 0.5)
		within(t, "phase from another mark", half, 0.5, 1e-6)
		ea, eb := fa.Estimate(Normal(0.01, 5)), fb.Estimate(Normal(0.01*unit, 5))
		within(t, "U in another unit", eb.U/unit, ea.U, 1e-6*ea.U)
		within(t, "mean", float64(fa.Mean+fa.First.At(0.25)), float64(fa.At(0.25)), 1e-15)
	})
}

func FuzzFitRunout(f *testing.F) {
	f.Add(0.1, 0.2, 0.1, 0.0, 0.3, 100.0, 25.0)
	f.Add(1e308, -1e308, math.NaN(), 5e-324, math.Inf(1), 0.0, -1.0)
	f.Fuzz(func(t *testing.T, a, b, c, d, turn, measured, at float64) {
		r, err := FitRunout(lengths(a, b, c, d))
		sane(t, err, float64(r.Mean), float64(r.First.TIR()), float64(r.First.Phase()), float64(r.Sampled), float64(r.Residual))
		r, err = FitRunoutAt([]float64{0, 0.3, turn, 0.9}, lengths(a, b, c, d))
		sane(t, err, float64(r.Mean), float64(r.First.TIR()), r.First.High(), float64(r.Residual))
		if e := r.Estimate(Rectangular(at)); math.IsNaN(e.U) {
			t.Errorf("%+v", e)
		}
		w, err := SweepRunout([]float64{0, 0.3, turn, 0.9, 0.5, 0.7}, lengths(a, b, c, d, measured, at))
		sane(t, err, float64(w.TIR), w.Estimate(Rectangular(0.01)).U)
		s, err := r.First.Scale(Length(measured), Length(at))
		sane(t, err, float64(s.TIR()))
		both, err := Reverse(r, r)
		sane(t, err, float64(both.Flange.Amplitude()), float64(both.Blade.Amplitude()))
		if other := both.CountedOnBlade(); other.Flange != both.Blade || other.MarkMatters(Length(measured)) != both.MarkMatters(Length(measured)) {
			t.Errorf("%+v counted on the blade is %+v", both, other)
		}
		_, err = CheckMark(r, turn, Length(a), Length(at))
		sane(t, err)
	})
}
