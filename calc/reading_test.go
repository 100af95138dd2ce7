package calc

import (
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"
)

// The numbers are worked by hand from GUM F.2.2.1 (resolution) and 4.3.7.
func TestRead(t *testing.T) {
	indicator := Tool{Resolution: 0.01, Repeat: 0.003, RepeatDoF: 9, Correction: -0.02}
	r, err := indicator.Read(0.35)
	sane(t, err)
	within(t, "low", float64(r.Low), 0.325, 1e-12)
	within(t, "high", float64(r.High), 0.335, 1e-12)
	within(t, "value", float64(r.Value()), 0.33, 1e-12)
	within(t, "half", float64(r.Half()), 0.005, 1e-12)
	u, dof := StandardCombined(r.Components()...)
	within(t, "u", u, math.Sqrt(0.005*0.005/3+0.003*0.003), 1e-12)
	if dof < 9 || r.Tool != indicator {
		t.Errorf("%v degrees of freedom, tool %+v", dof, r.Tool)
	}

	caliper := Tool{Resolution: 0.02}
	a, err := caliper.Read(25.60)
	sane(t, err)
	within(t, "U of one reading", a.Estimate().U, 0.0095, 1e-12)
	within(t, "value of one reading", a.Estimate().Value, 25.60, 1e-12)
	b, err := caliper.Read(25.20)
	sane(t, err)
	d := Difference(a, b)
	within(t, "difference", d.Value, 0.40, 1e-12)
	within(t, "U of a difference: the triangle's", d.U, 0.02*(1-math.Sqrt(0.05)), 1e-12)
}

// VALUES of a go/no-go reading: u = (stops − goes)/(2√3), from memory of common practice.
func TestFeelerReading(t *testing.T) {
	r, err := FeelerReading(0.10, 0.15)
	sane(t, err)
	within(t, "value", float64(r.Value()), 0.125, 1e-12)
	within(t, "u", r.Components()[0].Standard(), 0.05/(2*math.Sqrt(3)), 1e-12)
	within(t, "U", r.Estimate().U, 0.95*0.025, 1e-12)
	closed, err := FeelerReading(0, 0.05)
	sane(t, err)
	within(t, "less than the thinnest leaf", float64(closed.Value()), 0.025, 1e-12)
	for _, c := range []struct {
		goes, stops float64
		input       string
	}{{-0.1, 0.1, "goes"}, {0.1, 0.1, "stops"}, {0.2, 0.1, "stops"}, {math.NaN(), 1, "leaves"}, {0, math.Inf(1), "leaves"}} {
		_, err := FeelerReading(Length(c.goes), Length(c.stops))
		refused(t, err, c.input)
	}
}

func TestReadRefuses(t *testing.T) {
	for _, v := range unusable {
		_, err := Tool{Resolution: 0.01}.Read(Length(v))
		refused(t, err, "value")
		for _, tool := range []Tool{{Resolution: Length(v)}, {Resolution: 1, Repeat: Length(v)}, {Resolution: 1, Correction: Length(v)}} {
			_, err := tool.Read(1)
			refused(t, err, "tool")
		}
	}
	for _, c := range []struct {
		tool  Tool
		input string
	}{{Tool{}, "resolution"}, {Tool{Resolution: -1}, "resolution"}, {Tool{Resolution: 1, Repeat: -1}, "repeat"},
		{Tool{Resolution: 1, Repeat: 1}, "repeat"}, {Tool{Resolution: math.MaxFloat64, Correction: math.MaxFloat64}, "value"}} {
		_, err := c.tool.Read(math.MaxFloat64 / 2)
		refused(t, err, c.input)
	}
}

// Two readings of one spot by a tool of 0.01 may differ by half a step each way,
// and by noise as √2 of one: by hand.
func TestAgree(t *testing.T) {
	tool := Tool{Resolution: 0.01}
	read := func(v Length) Reading {
		r, err := tool.Read(v)
		sane(t, err)
		return r
	}
	first := read(0.20)
	for again, want := range map[Length]bool{0.20: true, 0.205: true, 0.21: false, 0.19: false, 0.25: false} {
		if got := Agree(first, read(again)); got != want {
			t.Errorf("0.20 and %v agree: %v", again, got)
		}
	}
	// With scatter of 0.005 a difference of one step is nothing.
	tool.Repeat, tool.RepeatDoF = 0.005, 9
	if first = read(0.20); !Agree(first, read(0.21)) {
		t.Error("one step apart at a repeatability of half a step")
	}
}

// A reading holds what was read, in any unit; and the true value lies in the
// interval of the feelers always.
func TestReadingProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := Length(rapid.Float64Range(-50, 50).Draw(t, "value"))
		tool := Tool{Resolution: Length(rapid.Float64Range(1e-3, 1).Draw(t, "resolution")),
			Repeat: Length(rapid.Float64Range(1e-4, 0.1).Draw(t, "repeat")), RepeatDoF: rapid.Float64Range(1, 30).Draw(t, "dof")}
		r, err := tool.Read(v)
		sane(t, err)
		inch := Tool{Resolution: tool.Resolution / 25.4, Repeat: tool.Repeat / 25.4, RepeatDoF: tool.RepeatDoF}
		r2, err := inch.Read(v / 25.4)
		sane(t, err)
		a, b := r.Estimate(), r2.Estimate()
		within(t, "value in inches", b.Value*25.4, a.Value, 1e-9)
		within(t, "U in inches", b.U*25.4, a.U, 1e-7*a.U)
	})
}

// 10,000 gaps, each tried with the leaves of a real set: the interval between
// the leaf that goes and the one that stops, ± 0.95 of its half.
func TestFeelerReadingCoverage(t *testing.T) {
	set, err := FeelerSet(20)
	sane(t, err)
	const trials = 10000
	var hits int
	for i := range trials {
		gap := Length(float64(i)+1.0/3) / trials // 0 … 1 mm, never just at the end of an interval
		goes, stops := Length(0), set[0]
		for k, leaf := range set {
			if leaf <= gap {
				goes, stops = leaf, set[min(k+1, len(set)-1)]
			}
		}
		r, err := FeelerReading(goes, stops)
		sane(t, err)
		if e := r.Estimate(); math.Abs(e.Value-float64(gap)) <= e.U {
			hits++
		}
	}
	covers(t, "gap between two leaves, U 0.95 of the largest error", hits, trials, 0.949, 0.975)
}

// A difference of two readings, each the rounded value of a noisy tool.
func TestDifferenceCoverage(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 8))
	tool := Tool{Resolution: 0.01, Repeat: 0.006, RepeatDoF: ManyDoF}
	const trials = 10000
	var hits int
	read := func(v float64) Reading {
		got, err := tool.Read(Length(0.01 * math.Round((v+0.006*r.NormFloat64())/0.01)))
		sane(t, err)
		return got
	}
	for range trials {
		a, b := r.Float64(), r.Float64()
		d := Difference(read(a), read(b))
		if math.Abs(d.Value-(a-b)) <= d.U {
			hits++
		}
	}
	covers(t, "difference of two", hits, trials, 0.93, 0.975)
}

func FuzzReading(f *testing.F) {
	f.Add(0.35, 0.01, 0.003, 9.0, -0.02)
	f.Add(1e308, 1e308, 1e-308, math.NaN(), -1e308)
	f.Fuzz(func(t *testing.T, value, resolution, repeat, dof, correction float64) {
		tool := Tool{Resolution: Length(resolution), Repeat: Length(repeat), RepeatDoF: dof, Correction: Length(correction)}
		r, err := tool.Read(Length(value))
		if err == nil {
			e, d := r.Estimate(), Difference(r, r)
			sane(t, nil, float64(r.Value()), float64(r.Half()), e.Value, d.Value)
			if c := Combine(r.Components()...); c.U != e.U {
				t.Errorf("components of ± %g in a reading of ± %g", c.U, e.U)
			}
			if math.IsNaN(e.U) || math.IsNaN(d.U) || !Agree(r, r) {
				t.Errorf("%+v has %+v", r, e)
			}
		} else {
			sane(t, err)
		}
		g, err := FeelerReading(Length(value), Length(resolution))
		sane(t, err, float64(g.Value()), float64(g.Half()))
	})
}
