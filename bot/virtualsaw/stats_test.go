package virtualsaw

import (
	"math"
	"testing"
)

// Clopper and Pearson's bounds, 95 %: none of 10 gives up to 1 − 0.025^(1/10) =
// 0.3085, by hand; and by the same closed form for all of n.
func TestInterval(t *testing.T) {
	for _, c := range []struct {
		s         Share
		low, high float64
	}{
		{Share{0, 10}, 0, 1 - math.Pow(0.025, 1.0/10)},
		{Share{10, 10}, math.Pow(0.025, 1.0/10), 1},
		{Share{0, 1}, 0, 0.975},
	} {
		low, high := c.s.Interval(0.95)
		if math.Abs(low-c.low) > 1e-9 || math.Abs(high-c.high) > 1e-9 {
			t.Errorf("%v: %g … %g, want %g … %g", c.s, low, high, c.low, c.high)
		}
	}
}

// The bounds hold at least as often as they say, whatever the true rate is:
// summed over all outcomes of 40 draws.
func TestIntervalHolds(t *testing.T) {
	const n = 40
	for _, p := range []float64{0.02, 0.3, 0.5, 0.93, 0.99} {
		holds, chance := 0.0, math.Pow(1-p, n)
		for k := 0; k <= n; k++ {
			if low, high := (Share{k, n}).Interval(0.95); low <= p && p <= high {
				holds += chance
			}
			chance *= float64(n-k) / float64(k+1) * p / (1 - p)
		}
		if holds < 0.95 {
			t.Errorf("rate %g: the bounds hold with probability %.4f", p, holds)
		}
	}
}
