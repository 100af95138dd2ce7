package calc

import (
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"
)

// NIST Statistical Reference Datasets, linear regression, Norris (36 points,
// lower difficulty). Data and certified values seen in public carriers of the
// data set; the residual standard deviation is from memory, and an exact
// recomputation in rational numbers gives it.
var (
	norrisX = []float64{0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4,
		0.6, 775.5, 666.9, 338.0, 447.5, 11.6, 556.0, 228.1, 995.8, 887.6, 120.2, 0.3,
		0.3, 556.8, 339.1, 887.2, 999.0, 779.0, 11.1, 118.3, 229.2, 669.1, 448.9, 0.5}
	norrisY = []float64{0.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3,
		0.1, 778.1, 668.8, 339.3, 448.9, 10.8, 557.7, 228.3, 998.0, 888.8, 119.6, 0.3,
		0.6, 557.6, 339.3, 888.0, 998.5, 778.9, 10.2, 117.6, 228.9, 668.4, 449.2, 0.2}
)

func TestFitLineNorris(t *testing.T) {
	l, err := FitLine(norrisX, norrisY)
	if err != nil {
		t.Fatal(err)
	}
	significant(t, "intercept", l.A, -0.262323073774029, 9)
	significant(t, "slope", l.B, 1.00211681802045, 9)
	significant(t, "sd of intercept", l.SA, 0.232818234301152, 9)
	significant(t, "sd of slope", l.SB, 0.429796848199937e-03, 9)
	significant(t, "residual sd", l.S, 0.884796396144373, 9)
	significant(t, "R²", l.R2, 0.999993745883712, 9)
	significant(t, "residual sum of squares", l.SSR, 26.6173985294224, 9)
	significant(t, "covariance", l.Cov, -7.74327536339570e-05, 9) // as a public test suite has it, not certified
	if l.DoF != 34 {
		t.Errorf("degrees of freedom = %v, want 34", l.DoF)
	}
	// Derived from the certified values by the textbook formulas.
	mean, err := l.Mean(500)
	sane(t, err, mean.Value, mean.U)
	within(t, "fit at 500", mean.Value, 500.796085936, 1e-8)
	within(t, "mean interval", mean.U, 0.30788946, 1e-7)
	single, err := l.Predict(500)
	sane(t, err, single.U)
	within(t, "prediction interval", single.U, 1.82429188, 1e-7)
}

// NIST StRD NoInt1 and NoInt2, lines through the origin. NoInt1 and the SSR
// of NoInt2 seen in public carriers; the rest of NoInt2 from memory, reproduced.
func TestFitProportionalNoInt(t *testing.T) {
	var x, y []float64
	for i := range 11 {
		x, y = append(x, float64(60+i)), append(y, float64(130+i))
	}
	for _, c := range []struct {
		name                string
		x, y                []float64
		b, sb, s, r2, ssRes float64
	}{
		{"NoInt1", x, y, 2.07438016528926, 0.165289256198347e-01, 3.56753034006338, 0.999365492298663, 127.272727272727},
		{"NoInt2", []float64{4, 5, 6}, []float64{3, 4, 4}, 0.727272727272727, 0.0420827318078432, 0.369274472937998,
			0.993348115299335, 0.272727272727273},
	} {
		l, err := FitProportional(c.x, c.y)
		if err != nil {
			t.Fatal(err)
		}
		significant(t, c.name+" slope", l.B, c.b, 9)
		significant(t, c.name+" sd of slope", l.SB, c.sb, 9)
		significant(t, c.name+" residual sd", l.S, c.s, 9)
		significant(t, c.name+" R²", l.R2, c.r2, 9)
		significant(t, c.name+" SSR", l.SSR, c.ssRes, 9)
		within(t, c.name+" at twice the slope's place", l.At(2), 2*c.b, 1e-9)
		within(t, c.name+" mean se at 2", l.MeanSE(2), 2*c.sb, 1e-9)
	}
}

// JCGM 100:2008 (GUM), example H.3: calibration of a thermometer. Data and
// rounded results seen in public carriers; s from memory, reproduced.
func TestFitLineGUMH3(t *testing.T) {
	celsius := []float64{21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511}
	b := []float64{-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160}
	x := make([]float64, len(celsius))
	for i, v := range celsius {
		x[i] = v - 20
	}
	l, err := FitLine(x, b)
	if err != nil {
		t.Fatal(err)
	}
	within(t, "y1", l.A, -0.1712, 0.00005)
	within(t, "s(y1)", l.SA, 0.0029, 0.00005)
	within(t, "y2", l.B, 0.00218, 0.000005)
	within(t, "s(y2)", l.SB, 0.00067, 0.000005)
	within(t, "s", l.S, 0.0035, 0.00005)
	correlation := l.Cov / (l.SA * l.SB)
	within(t, "r", correlation, -0.930, 0.0005)
	within(t, "b(30 °C)", l.At(10), -0.1494, 0.00005)
	within(t, "u of b(30 °C)", l.MeanSE(10), 0.0041, 0.00005)
	within(t, "u of one reading at 30 °C", l.NewSE(10, 1), 0.0054186, 5e-7) // derived
	within(t, "degrees of freedom", l.DoF, 9, 0)
	significant(t, "s(y1), full", l.SA, 0.00287759783516, 9)
	significant(t, "r, full", correlation, -0.93042960309, 9)
	significant(t, "u, full", l.MeanSE(10), 0.00413859575285, 9)

	// By H.3.5 from the covariance, and the negative control: without it the
	// uncertainty comes out almost double.
	full := math.Sqrt(l.SA*l.SA + 100*l.SB*l.SB + 20*l.Cov)
	within(t, "u by the law of propagation", full, l.MeanSE(10), 1e-15)
	within(t, "u without the covariance", math.Hypot(l.SA, 10*l.SB), 0.00727, 0.000005)
}

// Predictions, as the documentation of a public uncertainty library (GTC,
// "linear regression") prints them: 33 points, seen; 95 % interval derived.
func TestFitLinePrediction(t *testing.T) {
	x := []float64{3, 7, 11, 15, 18, 27, 29, 30, 30, 31, 31, 32, 33, 33, 34, 36, 36, 36, 37, 38, 39, 39, 39, 40, 41, 42, 42, 43, 44, 45, 46, 47, 50}
	y := []float64{5, 11, 21, 16, 16, 28, 27, 25, 35, 30, 40, 32, 34, 32, 34, 37, 38, 34, 36, 38, 37, 36, 45, 39, 41, 40, 44, 37, 44, 46, 46, 49, 51}
	l, err := FitLine(x, y)
	if err != nil {
		t.Fatal(err)
	}
	significant(t, "a", l.A, 3.829633197588695, 9)
	significant(t, "u(a)", l.SA, 1.768447327250652, 9)
	significant(t, "b", l.B, 0.903643210579323, 9)
	significant(t, "u(b)", l.SB, 0.0501189735591820, 9)
	significant(t, "r(a,b)", l.Cov/(l.SA*l.SB), -0.948124070891915, 9)
	significant(t, "mean at 21.5", l.At(21.5), 23.2579622250441, 9)
	significant(t, "u(mean)", l.MeanSE(21.5), 0.821607058888506, 9)
	significant(t, "u(new)", l.NewSE(21.5, 1), 3.332409257957110, 9)
	e, err := l.Predict(21.5)
	sane(t, err, e.Value, e.U)
	within(t, "low end", e.Value-e.U, 16.461469, 1e-6)
	within(t, "high end", e.Value+e.U, 30.054456, 1e-6)
	x0, u, err := l.Inverse((31.4+29.3+27.1)/3, 3)
	sane(t, err, x0, u)
	significant(t, "inverse", x0, 28.14942133275184, 9)
	significant(t, "u(inverse)", u, 2.175140873342519, 9)
}

// ISO/TS 28037:2010, 6.3 (known uncertainties, equal and unequal) and annex E
// (unknown scatter), as the documentation of GTC quotes them, seen.
func TestFitLineISO28037(t *testing.T) {
	x := []float64{1, 2, 3, 4, 5, 6}
	equal, err := FitLineKnown(x, []float64{3.3, 5.6, 7.1, 9.3, 10.7, 12.1}, []float64{.5, .5, .5, .5, .5, .5})
	if err != nil {
		t.Fatal(err)
	}
	significant(t, "a", equal.A, 1.86666666666667, 9)
	significant(t, "u(a)", equal.SA, 0.465474668125631, 9)
	significant(t, "b", equal.B, 1.75714285714286, 9)
	significant(t, "u(b)", equal.SB, 0.119522860933439, 9)
	within(t, "cov", equal.Cov, -0.050, 0.0005)
	within(t, "χ²", equal.SSR, 1.665, 0.0005)
	x1, u1, err := equal.Inverse(10.5, 1)
	sane(t, err, x1, u1)
	significant(t, "inverse", x1, 4.91327913279133, 9)
	significant(t, "u(inverse)", u1, 0.32203556012891, 9)
	forward := math.Hypot(equal.MeanSE(3.5), equal.B*0.2) // the new x has its own u = 0.2
	significant(t, "forward", equal.At(3.5), 8.01666666666667, 9)
	significant(t, "u(forward)", forward, 0.406409531732455, 9)

	unequal, err := FitLineKnown(x, []float64{3.2, 4.3, 7.6, 8.6, 11.7, 12.8}, []float64{.5, .5, .5, 1, 1, 1})
	if err != nil {
		t.Fatal(err)
	}
	within(t, "a, unequal", unequal.A, 0.885, 0.0005)
	within(t, "u(a), unequal", unequal.SA, 0.530, 0.0005)
	within(t, "b, unequal", unequal.B, 2.057, 0.0005)
	within(t, "u(b), unequal", unequal.SB, 0.178, 0.0005)
	within(t, "cov, unequal", unequal.Cov, -0.082, 0.0005)
	within(t, "χ², unequal", unequal.SSR, 4.131, 0.0005)

	annex, err := FitLine(x, []float64{3.014, 5.225, 7.004, 9.061, 11.201, 12.762})
	if err != nil {
		t.Fatal(err)
	}
	within(t, "a, annex E", annex.A, 1.172, 0.0005)
	significant(t, "u(a), annex E", annex.SA, 0.158875093196181, 9)
	significant(t, "b, annex E", annex.B, 1.96357142857143, 9)
	significant(t, "u(b), annex E", annex.SB, 0.0407953578791729, 9)
	within(t, "SSR, annex E", annex.SSR, 0.116498285714, 1e-12)
	within(t, "single at 3.5", annex.NewSE(3.5, 1), 0.18, 0.005)
	within(t, "mean at 3.5", annex.MeanSE(3.5), 0.070, 0.0005)
	back, u, err := annex.Inverse(10.5, 1)
	sane(t, err, back, u)
	within(t, "inverse, annex E", back, 4.751, 0.0005)
	within(t, "u(inverse), annex E", u, 0.097, 0.0005)
}

// By hand: equal readings lie on a level line; through two points the slope is
// their difference over the distance, uncertain by √2·u over it (GUM 5.1.2).
func TestFitLineEdges(t *testing.T) {
	level, err := FitLine([]float64{0, 1, 2}, []float64{0.2, 0.2, 0.2})
	sane(t, err, level.A, level.B, level.S, level.R2)
	within(t, "intercept of equal readings", level.A, 0.2, 1e-15)
	within(t, "slope of equal readings", level.B, 0, 0)
	within(t, "R² of equal readings", level.R2, 1, 0)
	two, err := FitLineKnown([]float64{0, 100}, []float64{0.1, 0.3}, []float64{0.01, 0.01})
	sane(t, err, two.A, two.B)
	within(t, "slope of two points", two.B, 0.002, 1e-15)
	within(t, "its uncertainty", two.SB, 0.01*math.Sqrt2/100, 1e-15)
	if u := two.NewSE(50, 0); !math.IsInf(u, 1) {
		t.Errorf("no new reading has the uncertainty %v", u)
	}
	_, _, err = level.Inverse(0.3, 1)
	refused(t, err, "line")
	_, _, err = two.Inverse(0.3, 0)
	refused(t, err, "m")
	_, _, err = two.Inverse(math.NaN(), 1)
	refused(t, err, "y")
	_, _, err = Line{}.Inverse(1, 1)
	refused(t, err, "line")
	_, err = Line{}.Mean(1)
	refused(t, err, "line")
	_, err = two.Predict(math.Inf(1))
	refused(t, err, "x")
	_, err = two.Predict(math.MaxFloat64)
	refused(t, err, "x")
}

func TestFitLineRefuses(t *testing.T) {
	three := []float64{1, 2, 3}
	for _, v := range unusable {
		_, err := FitLine([]float64{1, v, 3}, three)
		refused(t, err, "x")
		_, err = FitLine(three, []float64{1, 2, v})
		refused(t, err, "y")
		_, err = FitProportional(three, []float64{1, 2, v})
		refused(t, err, "y")
		_, err = FitLineKnown(three, three, []float64{1, v, 1})
		refused(t, err, "u")
	}
	for _, c := range []struct {
		x, y  []float64
		input string
	}{
		{nil, nil, "x"},
		{[]float64{1, 2}, []float64{1, 2}, "x"},
		{three, three[:2], "y"},
		{[]float64{7, 7, 7}, three, "x"},
		{[]float64{1e200, -1e200, 0}, three, "x"},
		{[]float64{1e-200, 2e-200, 3e-200}, three, "x"},
		{three, []float64{math.MaxFloat64, -math.MaxFloat64, math.MaxFloat64}, "y"},
	} {
		_, err := FitLine(c.x, c.y)
		refused(t, err, c.input)
	}
	_, err := FitProportional([]float64{0, 0}, []float64{1, 2})
	refused(t, err, "x")
	_, err = FitLineKnown(three, three, three[:2])
	refused(t, err, "u")
	_, err = FitLineKnown(three, three, []float64{1, 0, 1})
	refused(t, err, "u")
	_, err = FitLineKnown([]float64{2, 2, 2}, three, three)
	refused(t, err, "x")
	_, err = FitLineKnown(three[:1], three[:1], three[:1])
	refused(t, err, "x")
}

// The unit that x and y are in never matters, nor does where they are counted
// from.
func TestFitLineUnits(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(3, 12).Draw(t, "n")
		seed := rapid.Uint64().Draw(t, "seed")
		kx := rapid.Float64Range(1e-3, 1e3).Draw(t, "unit of x")
		ky := rapid.Float64Range(1e-3, 1e3).Draw(t, "unit of y")
		move := rapid.Float64Range(-100, 100).Draw(t, "origin")
		r := rand.New(rand.NewPCG(seed, 1))
		x, y, x2, y2 := make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
		for i := range x {
			x[i], y[i] = 1000*r.Float64(), r.NormFloat64()
			x2[i], y2[i] = (x[i]+move)*kx, (y[i]+move)*ky
		}
		a, err1 := FitLine(x, y)
		b, err2 := FitLine(x2, y2)
		if err1 != nil || err2 != nil {
			t.Fatal(err1, err2)
		}
		scale := 1e-9 * (a.S + math.Abs(move) + 1)
		within(t, "value", b.At((500+move)*kx)/ky, a.At(500)+move, scale)
		within(t, "prediction", b.NewSE((500+move)*kx, 2)/ky, a.NewSE(500, 2), scale)
	})
}

// The true line lies in the 95 % interval, and a new reading in the prediction
// interval, at the rate they claim.
func TestFitLineCoverage(t *testing.T) {
	r := rand.New(rand.NewPCG(20, 26))
	const trials = 10000
	x := []float64{0, 150, 300, 450, 600, 750}
	y := make([]float64, len(x))
	var mean, single int
	for range trials {
		a, b, sd := r.NormFloat64(), r.NormFloat64()/1000, 0.002+0.02*r.Float64()
		for i := range x {
			y[i] = a + b*x[i] + sd*r.NormFloat64()
		}
		at := 900 * r.Float64()
		l, err := FitLine(x, y)
		if err != nil {
			t.Fatal(err)
		}
		m, err1 := l.Mean(at)
		p, err2 := l.Predict(at)
		sane(t, err1, m.U)
		sane(t, err2, p.U)
		if math.Abs(m.Value-a-b*at) <= m.U {
			mean++
		}
		if math.Abs(p.Value-a-b*at-sd*r.NormFloat64()) <= p.U {
			single++
		}
	}
	covers(t, "line", mean, trials, 0.93, 0.975)
	covers(t, "new reading", single, trials, 0.93, 0.975)
}

func FuzzFitLine(f *testing.F) {
	f.Add(0.0, 1.0, 100.0, 1.2, 200.0, 1.1, 50.0)
	f.Add(1e308, -1e308, 5e-324, 0.0, math.Inf(1), math.NaN(), 1.0)
	f.Fuzz(func(t *testing.T, x0, y0, x1, y1, x2, y2, at float64) {
		x, y := []float64{x0, x1, x2}, []float64{y0, y1, y2}
		l, err := FitLine(x, y)
		sane(t, err, l.A, l.B, l.SA, l.SB, l.Cov, l.S, l.R2)
		if err == nil {
			e, err := l.Predict(at)
			sane(t, err, e.Value, e.U)
			e, err = l.Mean(at)
			sane(t, err, e.Value, e.U)
			if err == nil {
				sane(t, nil, l.At(at), l.MeanSE(at))
			}
			if l.NewSE(at, 2) > l.NewSE(at, 1) {
				t.Error("two new readings are worth less than one")
			}
			v, u, err := l.Inverse(at, 1)
			sane(t, err, v, u)
		}
		p, err := FitProportional(x, y)
		sane(t, err, p.B, p.SB, p.S)
		k, err := FitLineKnown(x, y, []float64{y0, 1, at})
		sane(t, err, k.A, k.B, k.SA, k.SB, k.Cov)
	})
}
