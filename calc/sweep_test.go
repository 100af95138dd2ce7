package calc

import (
	"math"
	"math/rand/v2"
	"testing"
)

// saddle is a wobbling, saddle-bent plate as a sum of two waves, turned finely
// for the truth. It shares nothing with the fit.
func saddle(wobble, at, warp, bent, turn float64) float64 {
	return wobble/2*math.Cos(2*math.Pi*(turn-at)) + warp/2*math.Cos(4*math.Pi*(turn-bent))
}

func sweptTruth(wobble, at, warp, bent float64) float64 {
	low, high := math.Inf(1), math.Inf(-1)
	for i := range 1440 {
		v := saddle(wobble, at, warp, bent, float64(i)/1440)
		low, high = math.Min(low, v), math.Max(high, v)
	}
	return high - low
}

// The curve of a plate without noise is found to the last digits, also where
// the peak is between two readings; a wobble alone has the TIR of the harmonic.
func TestSweepFindsThePeaks(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 9))
	for range 200 {
		wobble, at, warp, bent := r.Float64()/10, r.Float64(), r.Float64()/20, r.Float64()
		turns, values := make([]float64, 8), make([]Length, 8)
		for i := range turns {
			turns[i] = float64(i) / 8
			values[i] = 1.3 + Length(saddle(wobble, at, warp, bent, turns[i]))
		}
		s, err := SweepRunout(turns, values)
		sane(t, err)
		within(t, "TIR", float64(s.TIR), sweptTruth(wobble, at, warp, bent), 1e-5)
		if s.Waves != 2 {
			t.Fatalf("%d waves", s.Waves)
		}
	}
}

// Four or five places do not tell a warp from a wobble.
func TestSweepOfFewReadings(t *testing.T) {
	for n := 4; n <= 5; n++ {
		turns, values := make([]float64, n), make([]Length, n)
		for i := range turns {
			turns[i] = float64(i) / float64(n)
			values[i] = Length(saddle(0.08, 0.1, 0, 0, turns[i]))
		}
		s, err := SweepRunout(turns, values)
		sane(t, err)
		within(t, "TIR", float64(s.TIR), 0.08, 1e-5)
		if s.Waves != 1 {
			t.Errorf("%d readings: %d waves", n, s.Waves)
		}
	}
	if _, err := SweepRunout([]float64{0, 0.1}, []Length{1, 2}); err == nil {
		t.Error("two readings gave a curve")
	}
}

// Over plates of every size of wobble and warp the stated 95 % reaches the
// truth: between 93 and 98 of 100 where the shape stands out of the noise, and
// no less where it does not. The truth is a fine turn of the plate.
func TestSweepCoversTheTruth(t *testing.T) {
	r := rand.New(rand.NewPCG(17, 4))
	const sigma, trials = 0.0035, 3000
	for _, c := range []struct{ wobble, warp float64 }{{0.1, 0}, {0.06, 0.02}, {0.03, 0.03}, {0.02, 0.05}, {0.015, 0.01}, {0, 0}} {
		covered, u := 0, 0.0
		for range trials {
			at, bent := r.Float64(), r.Float64()
			turns, values := make([]float64, 8), make([]Length, 8)
			for i := range turns {
				turns[i] = float64(i) / 8
				values[i] = Length(saddle(c.wobble, at, c.warp, bent, turns[i]) + sigma*r.NormFloat64())
			}
			s, err := SweepRunout(turns, values)
			sane(t, err)
			e := s.Estimate(Normal(sigma, math.Inf(1)))
			u += e.U / trials
			covered += b2i(math.Abs(e.Value-sweptTruth(c.wobble, at, c.warp, bent)) <= e.U)
		}
		share := float64(covered) / trials
		t.Logf("wobble %.3f, warp %.3f: %.1f %% covered, mean U %.4f", c.wobble, c.warp, 100*share, u)
		if share < 0.93 {
			t.Errorf("wobble %.3f, warp %.3f: only %.1f %% covered", c.wobble, c.warp, 100*share)
		}
	}
}
