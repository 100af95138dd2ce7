package calc

import (
	"math"
	"math/rand/v2"
	"testing"
)

// covers reports a rate of coverage and fails the test when it is not in range.
func covers(t reporter, what string, hits, trials int, lo, hi float64) {
	t.Helper()
	rate := float64(hits) / float64(trials)
	t.Logf("%s: true value within ± U in %.2f %% of %d trials", what, 100*rate, trials)
	if rate < lo || rate > hi {
		t.Errorf("%s: coverage %.4f, want %.3f to %.3f", what, rate, lo, hi)
	}
}

// Where noise dominates the true value lies within ± U in about 95 % of rounds.
func TestMeanCoverageNoise(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 9))
	const trials = 10000
	var hits int
	for range trials {
		truth, step := r.Float64(), 0.01
		sample := make([]float64, 5)
		for i := range sample {
			sample[i] = step * math.Round((truth+0.02*r.NormFloat64())/step)
		}
		mean, c, err := TypeA(sample)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(mean-truth) <= Combine(c, Rectangular(step/2)).U {
			hits++
		}
	}
	covers(t, "mean of five, noise twice the resolution", hits, trials, 0.93, 0.975)
}

// Where the resolution of one tool dominates, ± U holds the true value in at
// least 95 %, with U no more than 1.2 times the largest possible error. The
// 10,000 trials stand evenly over all that the rounding can do, so that the
// rate is the probability itself and not a draw near it; where two readings are
// rounded, such a grid places the edge of the interval to 0.05 % of the trials.
func TestMeanCoverageResolution(t *testing.T) {
	const rows, columns = 125, 80
	step := 0.02
	first := func(i int) float64 { return (float64(i) + 0.5) / rows * step }
	second := func(j int) float64 { return (float64(j) + 0.5) / columns * step }
	round := func(v float64) float64 { return step * math.Round(v/step) }
	half := Rectangular(step / 2)
	for _, c := range []struct {
		name    string
		result  func(i, j int) (got, truth float64)
		e       Estimate
		largest float64
	}{
		{"one reading", func(i, j int) (float64, float64) {
			v := (float64(columns*i+j) + 0.5) / (rows * columns) * step
			return round(v), v
		}, Combine(half), step / 2},
		{"difference of two", func(i, j int) (float64, float64) {
			a, b := 3+first(i), 1+second(j)
			return round(a) - round(b), a - b
		}, Combine(half, half.Times(-1)), step},
		{"five-cut angle over 400 mm", func(i, j int) (float64, float64) {
			a, b := 20+first(i), 19.6+second(j)
			return (round(a) - round(b)) / 1600, (a - b) / 1600
		}, Combine(half.Times(1.0/1600), half.Times(-1.0/1600)), step / 1600},
	} {
		hits := 0
		for i := range rows {
			for j := range columns {
				got, truth := c.result(i, j)
				if math.Abs(got-truth) <= c.e.U*(1+1e-12) {
					hits++
				}
			}
		}
		covers(t, c.name, hits, rows*columns, 0.9495, 1)
		t.Logf("%s: U is %.3f of the largest possible error", c.name, c.e.U/c.largest)
		if c.e.U > 1.2*c.largest {
			t.Errorf("%s: U = %v, largest possible error %v", c.name, c.e.U, c.largest)
		}
	}
}

// Between the two, at every ratio of noise to resolution.
func TestMeanCoverageBetween(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 14))
	const trials = 10000
	for _, ratio := range []float64{0.1, 0.3, 0.5, 1, 3} { // noise over half a step
		sd := ratio * 0.005
		e := Combine(Rectangular(0.005), Normal(sd, math.Inf(1)))
		var hits int
		for range trials {
			truth := r.Float64()
			if math.Abs(0.01*math.Round(truth/0.01)+sd*r.NormFloat64()-truth) <= e.U {
				hits++
			}
		}
		covers(t, "one reading, known repeatability", hits, trials, 0.94, 0.96)
	}
}
