package calc

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// JCGM 100:2008 (GUM), example H.1, calibration of an end gauge. Inputs and
// contributions seen in public carriers, effective degrees of freedom, t and
// U₉₉ from memory and reproduced by the inputs. Lengths in nanometres.
func TestGUMH1(t *testing.T) {
	ud, dofD := StandardCombined(Normal(5.8, 24), Normal(3.9, 5), Normal(6.7, 8))
	within(t, "u(d)", ud, 9.7, 0.05)
	within(t, "dof(d)", dofD, 25.6, 0.2) // 25.447 from the rounded inputs
	deltaAlpha, deltaTheta := Rectangular(1e-6), Rectangular(0.05)
	deltaAlpha.DoF, deltaTheta.DoF = 50, 2 // judged reliable to 10 % and 50 %
	model := func(x []float64) float64 {
		ls, d, da, theta, as, dt := x[0], x[1], x[2], x[3], x[4], x[5]
		return ls + d - ls*(da*theta+as*dt)
	}
	x := []float64{50000623, 215, 0, -0.1, 11.5e-6, 0}
	uTheta, _ := StandardCombined(Normal(0.2, math.Inf(1)), Arcsine(0.5))
	within(t, "u(θ)", uTheta, 0.41, 0.005)
	inputs := []Component{Normal(25, 18), Normal(ud, dofD), deltaAlpha, Normal(uTheta, math.Inf(1)),
		Rectangular(2e-6), deltaTheta}
	u := make([]float64, len(inputs))
	for i, c := range inputs {
		u[i] = c.Standard()
	}
	c, err := Sensitivities(model, x, u)
	if err != nil {
		t.Fatal(err)
	}
	parts := make([]Component, len(inputs))
	for i := range parts {
		parts[i] = inputs[i].Times(c[i])
	}
	for i, want := range []float64{25, 9.7, 2.88679, 0, 0, 16.599} {
		within(t, "contribution", parts[i].Standard(), want, 0.0005+0.05*float64(i%2))
	}
	uc, dof := StandardCombined(parts...)
	within(t, "u_c", uc, 32, 0.5)
	within(t, "u_c, unrounded", uc, 31.6639, 0.0005)
	within(t, "effective degrees of freedom", dof, 16.752, 0.001)
	if got := truncate(dof); got != 16 { // truncated, not rounded to 17
		t.Errorf("truncated to %v, want 16", got)
	}
	t99, err := StudentT(0.99, 16)
	sane(t, err, t99)
	within(t, "t99", t99, 2.92, 0.005)
	within(t, "U99", t99*uc, 93, 1)
	within(t, "U99, unrounded", t99*uc, 92.48, 0.01)

	e, err := Propagate(model, x, inputs)
	sane(t, err, e.Value, e.U)
	within(t, "l in mm", e.Value*1e-6, 50.000838, 5e-7)
	within(t, "dof of the result", e.DoF, 16, 0)
	// U₉₅ by the t factor alone is 67.12 (derived); the rectangle among the
	// contributions takes less than half a percent off that.
	if e.U > 67.13 || e.U < 67.12*0.995 {
		t.Errorf("U95 = %.3f, want just under 67.12", e.U)
	}
	within(t, "U95 of normal contributions", Combine(Normal(25, 18), Normal(ud, dofD), Normal(2.886787, 50),
		Normal(16.599027, 2)).U, 67.12, 0.01)
}

// JCGM 100:2008, table G.2, from memory to two places; the third by an
// incomplete beta function outside this project.
func TestStudentT(t *testing.T) {
	for _, row := range [][]float64{
		{1, 1.837, 6.314, 12.706, 13.968, 63.657}, {2, 1.321, 2.920, 4.303, 4.527, 9.925},
		{3, 1.197, 2.353, 3.182, 3.307, 5.841}, {4, 1.142, 2.132, 2.776, 2.869, 4.604},
		{5, 1.111, 2.015, 2.571, 2.649, 4.032}, {6, 1.091, 1.943, 2.447, 2.517, 3.707},
		{7, 1.077, 1.895, 2.365, 2.429, 3.499}, {8, 1.067, 1.860, 2.306, 2.366, 3.355},
		{9, 1.059, 1.833, 2.262, 2.320, 3.250}, {10, 1.053, 1.812, 2.228, 2.284, 3.169},
		{15, 1.034, 1.753, 2.131, 2.181, 2.947}, {20, 1.026, 1.725, 2.086, 2.133, 2.845},
		{30, 1.017, 1.697, 2.042, 2.087, 2.750}, {50, 1.010, 1.676, 2.009, 2.051, 2.678},
		{100, 1.005, 1.660, 1.984, 2.025, 2.626}, {math.Inf(1), 1.000, 1.645, 1.960, 2.000, 2.576},
	} {
		for i, p := range []float64{0.6827, 0.90, 0.95, 0.9545, 0.99} {
			got, err := StudentT(p, row[0])
			sane(t, err, got)
			within(t, "t", got, row[i+1], 0.00051)
		}
	}
	for _, c := range []struct {
		p, dof float64
		input  string
	}{{0, 5, "p"}, {1, 5, "p"}, {1 - 1e-16, 0.1, "p"}, {math.NaN(), 5, "p"}, {0.95, 0, "dof"}, {0.95, -1, "dof"}, {0.95, math.NaN(), "dof"}} {
		_, err := StudentT(c.p, c.dof)
		refused(t, err, c.input)
	}
}

// One and two degrees of freedom have their quantile in closed form: the
// tangent (Cauchy's distribution), and p·√(2/(1-p²)). It holds as close to
// certainty as a number can come.
func TestStudentTInClosedForm(t *testing.T) {
	for _, p := range []float64{0.5, Coverage, 0.999, 1 - 1e-9, 1 - 1e-13, 1 - 1e-16} {
		one, err := StudentT(p, 1)
		sane(t, err, one)
		within(t, "t of 1", one, 1/math.Tan(math.Pi*(1-p)/2), 1e-12*one)
		two, err := StudentT(p, 2)
		sane(t, err, two)
		within(t, "t of 2", two, p*math.Sqrt(2/((1-p)*(1+p))), 1e-12*two)
	}
}

// Type B by the divisors of GUM 4.3.7 (√3), 4.3.9 (√6) and H.1.3.4 (√2), and
// type A by the defining formulas on a set that is easily worked by hand.
func TestComponents(t *testing.T) {
	within(t, "rectangular", Rectangular(2e-6).Standard(), 1.1547e-6, 5e-11) // α_S of GUM H.1
	within(t, "rectangular", Rectangular(0.05).Standard(), 0.028868, 5e-7)   // δθ of GUM H.1
	within(t, "arcsine", Arcsine(0.5).Standard(), 0.35355, 5e-6)             // Δ of GUM H.1
	within(t, "triangular", Triangular(math.Sqrt(6)).Standard(), 1, 1e-15)
	mean, c, err := TypeA([]float64{0.10, 0.12, 0.14})
	sane(t, err, mean, c.U)
	within(t, "mean", mean, 0.12, 1e-15)
	within(t, "u of the mean", c.U, 0.02/math.Sqrt(3), 1e-15)
	within(t, "dof", c.DoF, 2, 0)
	mean, c, err = TypeA([]float64{0.1, 0.1, 0.1, 0.1})
	sane(t, err, mean, c.U)
	within(t, "u of equal readings", c.U, 0, 1e-16)
	within(t, "scaled", Normal(0.1, 5).Times(-3).Times(2).Standard(), 0.6, 1e-15)

	// Two spots read three and two times: (2 + 2)/(2 + 1), by hand.
	s, dof, err := Pooled([]float64{1, 2, 3}, []float64{4, 6}, []float64{9})
	sane(t, err, s, dof)
	within(t, "pooled", s, math.Sqrt(4.0/3), 1e-15)
	within(t, "pooled dof", dof, 3, 0)
}

// Two readings of one tool share the estimate of its repeatability: the
// difference has √2·s with the degrees of freedom of s, by hand t₉₅(2)·√2·s, and
// not the four that two separate estimates would have. Their resolutions are
// two rectangles.
func TestAcross(t *testing.T) {
	within(t, "shared", Combine(Normal(0.01, 2).Across(1, -1)...).U, 4.303*math.Sqrt2*0.01, 5e-6)
	within(t, "separate", Combine(Normal(0.01, 2), Normal(0.01, 2)).U, 2.776*math.Sqrt2*0.01, 1e-5)
	within(t, "mean of four", Combine(Normal(0.01, 2).Across(0.25, 0.25, 0.25, 0.25)...).U, 4.303*0.005, 5e-6)
	within(t, "rectangles", Combine(Rectangular(0.01).Across(1, -1)...).U, 0.02*(1-math.Sqrt(0.05)), 1e-12)
	tool := Tool{Resolution: 1e-9, Repeat: 0.01, RepeatDoF: 2}
	r, err := tool.Read(1)
	sane(t, err)
	within(t, "difference of readings", Difference(r, r).U, 4.303*math.Sqrt2*0.01, 5e-6)
	other, err := Tool{Resolution: 1e-9, Repeat: 0.01, RepeatDoF: 3}.Read(1)
	sane(t, err)
	within(t, "difference of two tools' readings, dof 4·(1/2 + 1/3)⁻¹ = 4.8", Difference(r, other).U, 2.776*math.Sqrt2*0.01, 1e-5)
}

func TestSensitivities(t *testing.T) {
	// Five-cut angle (A − B)/(4L): derivatives by hand.
	c, err := Sensitivities(func(x []float64) float64 { return (x[0] - x[1]) / (4 * x[2]) },
		[]float64{25.6, 25.2, 400}, []float64{0.01, 0.01, 0.5})
	sane(t, err, c...)
	within(t, "∂/∂A", c[0], 1.0/1600, 1e-12)
	within(t, "∂/∂B", c[1], -1.0/1600, 1e-12)
	within(t, "∂/∂L", c[2], -0.4/(4*400*400), 1e-11)
	nan := func([]float64) float64 { return math.NaN() }
	for _, bad := range []struct {
		x, u  []float64
		f     func([]float64) float64
		input string
	}{
		{[]float64{1}, []float64{1, 2}, nan, "u"}, {[]float64{math.NaN()}, []float64{1}, nan, "x"},
		{[]float64{1}, []float64{-1}, nan, "u"}, {[]float64{1}, []float64{math.Inf(1)}, nan, "u"},
		{[]float64{1}, []float64{1}, nan, "f"},
	} {
		_, err := Sensitivities(bad.f, bad.x, bad.u)
		refused(t, err, bad.input)
	}
	_, err = Propagate(nan, nil, nil)
	refused(t, err, "parts")
	_, err = Propagate(nan, []float64{1}, []Component{Normal(0, 1)})
	refused(t, err, "f")
	_, err = Propagate(nan, []float64{1}, []Component{unknown()})
	refused(t, err, "u")
}

func TestUncertaintyRefuses(t *testing.T) {
	for _, v := range append(unusable, -1) {
		for _, c := range []Component{Rectangular(v), Triangular(v), Arcsine(v), Normal(v, 5)} {
			if e := Combine(Rectangular(1), c); !math.IsInf(e.U, 1) || math.IsNaN(e.DoF) {
				t.Errorf("an input of %v gives U = %v", v, e.U)
			}
			if _, err := Decide(Combine(c), Window{High: 1}); err == nil {
				t.Errorf("an input of %v can be decided on", v)
			}
		}
	}
	for _, c := range []Component{Normal(1, 0), Normal(1, math.NaN()), {U: 1, C: 1}, {U: -1, C: 1, DoF: 1}, {Half: -1, C: 1, DoF: 1},
		{U: 1, C: math.NaN(), DoF: 1}} {
		if e := Combine(c); !math.IsInf(e.U, 1) {
			t.Errorf("%+v gives U = %v", c, e.U)
		}
	}
	if e := Combine(); !math.IsInf(e.U, 1) {
		t.Errorf("no component at all gives U = %v", e.U)
	}
	if e := Combine(Component{U: 1, DoF: 0.4, C: 1}); !(e.U > 12) {
		t.Errorf("less than one degree of freedom gives U = %v", e.U)
	}
	for _, v := range unusable {
		_, _, err := TypeA([]float64{1, v})
		refused(t, err, "sample")
		_, _, err = Pooled([]float64{1, v})
		refused(t, err, "groups")
	}
	for _, s := range [][]float64{nil, {1}, {math.MaxFloat64, -math.MaxFloat64}} {
		_, _, err := TypeA(s)
		refused(t, err, "sample")
	}
	_, _, err := Pooled([]float64{1}, nil)
	refused(t, err, "groups")
	_, _, err = Pooled([]float64{math.MaxFloat64, -math.MaxFloat64})
	refused(t, err, "groups")
}

func FuzzCombine(f *testing.F) {
	f.Add(0.005, 0.01, 4.0, 1.0, -1.0)
	f.Add(1e308, 1e-308, math.Inf(1), 1e300, 0.0)
	f.Add(-146.0, -100.0, 5.01, 1-1e-16, -8.0) // the factor was infinite here
	f.Fuzz(func(t *testing.T, half, u, dof, c1, c2 float64) {
		e := Combine(Rectangular(half).Times(c1), Normal(u, dof).Times(c2), Arcsine(u), Triangular(half))
		if math.IsNaN(e.U) || e.U < 0 || math.IsNaN(e.DoF) || e.DoF > ManyDoF {
			t.Errorf("%+v", e)
		}
		mean, c, err := TypeA([]float64{half, u, dof})
		sane(t, err, mean, c.U)
		p, err := Propagate(func(x []float64) float64 { return x[0] * x[1] }, []float64{c1, c2},
			[]Component{Rectangular(half), Normal(u, dof)})
		sane(t, err, p.Value, p.U)
		s, n, err := Pooled([]float64{half, u}, []float64{c1, c2})
		sane(t, err, s, n)
		v, err := StudentT(c1, dof)
		sane(t, err, v)
		parts := append(Rectangular(half).Across(c1, c2), Normal(u, dof).Across(c1, c2)...)
		if s, n := StandardCombined(parts...); math.IsNaN(s) || s < 0 || math.IsNaN(n) || s < parts[0].Standard() {
			t.Errorf("standard uncertainty %g with %g degrees of freedom", s, n)
		}
		grad, err := Sensitivities(func(x []float64) float64 { return x[0] - x[1]*x[1] }, []float64{c1, c2}, []float64{half, u})
		sane(t, err, grad...)
	})
}

func TestPooledIsTheRootMeanSquareOfEqualGroups(t *testing.T) {
	groups := [][]float64{{1, 3, 2.5}, {10, 11, 12.5}, {0, -1, 0.4}}
	var want float64
	for _, g := range groups {
		want += stat.Variance(g, nil) / 3
	}
	s, _, err := Pooled(groups...)
	sane(t, err, s)
	within(t, "s", s, math.Sqrt(want), 1e-12)
}

// Many degrees of freedom take another way to the quantile: both agree where
// they meet and beyond, as far as the search for the quantile goes, nine digits.
func TestStudentTOfMany(t *testing.T) {
	for _, dof := range []float64{512, 700, 1e3, 12345, 1e6} {
		for _, p := range []float64{0.6827, Coverage, 0.99} {
			want := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: dof}.Quantile((1 + p) / 2)
			if got, err := StudentT(p, dof); err != nil || math.Abs(got-want) > 1e-9*want {
				t.Errorf("StudentT(%v, %v) = %.12f, %v, the quantile is %.12f", p, dof, got, err, want)
			}
		}
	}
}
