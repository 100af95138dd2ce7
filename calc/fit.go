package calc

import (
	"math"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/stat"
)

// Line is a least-squares straight line y = A + B·x with what is known of its
// trust. Units are those of the data.
type Line struct {
	A, B   float64 // intercept, slope
	SA, SB float64 // their standard uncertainties
	Cov    float64 // their covariance
	S      float64 // standard deviation of the points about the line
	DoF    float64 // degrees of freedom of S, at most ManyDoF
	R2     float64 // coefficient of determination; 1 where all y are equal and met
	SSR    float64 // sum of squared residuals; weighted by 1/u² for FitLineKnown: χ²

	n, sxx, meanX float64 // weight, spread and middle of x
	origin        bool    // the line is held to the origin
}

// FitLine fits y = A + B·x to three points or more, all of the same unknown
// scatter. Formulas: JCGM 100:2008 H.3.
func FitLine(x, y []float64) (Line, error) {
	if err := pairs(x, y, 3); err != nil {
		return Line{}, err
	}
	if same(x) {
		return Line{}, bad("x", "is the same at every point")
	}
	d := fromFirst(y)
	a, b := stat.LinearRegression(x, d, nil, false)
	l := Line{A: y[0] + a, B: b, DoF: float64(len(x) - 2), n: float64(len(x))}
	l.meanX = stat.Mean(x, nil)
	meanY := stat.Mean(d, nil)
	var syy float64
	for i := range x {
		dx, dy := x[i]-l.meanX, d[i]-meanY
		l.sxx += dx * dx
		syy += dy * dy
		r := dy - b*dx // as y − a − b·x, without the loss of digits
		l.SSR += r * r
	}
	l.R2 = share(l.SSR, syy)
	l.S = math.Sqrt(l.SSR / l.DoF)
	l.SB = l.S / math.Sqrt(l.sxx)
	l.SA = l.S * math.Sqrt(1/l.n+l.meanX*l.meanX/l.sxx)
	l.Cov = -l.meanX * l.SB * l.SB
	return l, l.check()
}

// FitProportional fits y = B·x, a line through the origin, to two points or
// more.
func FitProportional(x, y []float64) (Line, error) {
	if err := pairs(x, y, 2); err != nil {
		return Line{}, err
	}
	l := Line{DoF: float64(len(x) - 1), sxx: floats.Dot(x, x), origin: true}
	if l.sxx == 0 {
		return Line{}, bad("x", "is zero at every point")
	}
	_, l.B = stat.LinearRegression(x, y, nil, true)
	for i := range x {
		r := y[i] - l.B*x[i]
		l.SSR += r * r
	}
	l.R2 = share(l.SSR, floats.Dot(y, y))
	l.S = math.Sqrt(l.SSR / l.DoF)
	l.SB = l.S / math.Sqrt(l.sxx)
	return l, l.check()
}

// FitLineKnown fits y = A + B·x where the standard uncertainty u[i] of each y
// is known beforehand, so that SA, SB and Cov do not depend on how well the
// points happen to lie (ISO/TS 28037:2010, 6). Two points are enough. S is
// the uncertainty of unit weight, 1/√Σu⁻²·√n, which for equal u is u.
func FitLineKnown(x, y, u []float64) (Line, error) {
	if err := pairs(x, y, 2); err != nil {
		return Line{}, err
	}
	if len(u) != len(x) {
		return Line{}, bad("u", "has another length than x")
	}
	if err := finite("u", u...); err != nil {
		return Line{}, err
	}
	w := make([]float64, len(u))
	for i, ui := range u {
		if ui <= 0 {
			return Line{}, bad("u", "is not above zero")
		}
		w[i] = 1 / (ui * ui)
	}
	if same(x) {
		return Line{}, bad("x", "is the same at every point")
	}
	d := fromFirst(y)
	a, b := stat.LinearRegression(x, d, w, false)
	l := Line{A: y[0] + a, B: b, DoF: ManyDoF, n: floats.Sum(w), meanX: stat.Mean(x, w)}
	meanY := stat.Mean(d, w)
	var syy float64
	for i := range x {
		dx, dy := x[i]-l.meanX, d[i]-meanY
		l.sxx += w[i] * dx * dx
		syy += w[i] * dy * dy
		r := dy - b*dx
		l.SSR += w[i] * r * r
	}
	l.R2 = share(l.SSR, syy)
	l.SB = 1 / math.Sqrt(l.sxx)
	l.SA = math.Sqrt(1/l.n + l.meanX*l.meanX/l.sxx)
	l.Cov = -l.meanX / l.sxx
	// From here on weights are counted as points of one common uncertainty S.
	l.S = math.Sqrt(float64(len(x)) / l.n)
	l.n *= l.S * l.S
	l.sxx *= l.S * l.S
	return l, l.check()
}

// At returns the line at x.
func (l Line) At(x float64) float64 { return l.A + l.B*x }

// MeanSE returns the standard uncertainty of the line itself at x.
func (l Line) MeanSE(x float64) float64 { return l.S * math.Sqrt(l.lever(x)) }

// NewSE returns the standard uncertainty of the mean of m new readings at x,
// about the line: the line's own and theirs. With m below 1 it is +Inf.
func (l Line) NewSE(x float64, m int) float64 {
	if m < 1 {
		return math.Inf(1)
	}
	return l.S * math.Sqrt(1/float64(m)+l.lever(x))
}

// lever is the variance of the line at x in units of S².
func (l Line) lever(x float64) float64 {
	if l.origin {
		return x * x / l.sxx
	}
	d := x - l.meanX
	return 1/l.n + d*d/l.sxx
}

// Mean returns the line at x with its 95 % interval: where the mean of ever
// more readings at x would end.
func (l Line) Mean(x float64) (Estimate, error) { return l.estimate(x, l.MeanSE(x)) }

// Predict returns the line at x with the 95 % interval for one new reading.
func (l Line) Predict(x float64) (Estimate, error) { return l.estimate(x, l.NewSE(x, 1)) }

func (l Line) estimate(x, u float64) (Estimate, error) {
	if !(l.DoF > 0) {
		return Estimate{}, bad("line", "has not been fitted")
	}
	if err := finite("x", x); err != nil {
		return Estimate{}, err
	}
	e := Estimate{Value: l.At(x), U: studentT(Coverage, l.DoF) * u, DoF: l.DoF}
	return e, inRange("x", e.Value, e.U)
}

// Inverse returns the x at which the line has the value y, the mean of m new
// readings, and its standard uncertainty to first order:
// (S/B)·√(1/m + lever(x)).
func (l Line) Inverse(y float64, m int) (x, u float64, err error) {
	switch {
	case !(l.DoF > 0):
		return 0, 0, bad("line", "has not been fitted")
	case l.B == 0:
		return 0, 0, bad("line", "is level, so that every x has the same y")
	case m < 1:
		return 0, 0, bad("m", "is below one reading")
	}
	if err := finite("y", y); err != nil {
		return 0, 0, err
	}
	x = (y - l.A) / l.B
	u = l.NewSE(x, m) / math.Abs(l.B)
	return x, u, inRange("y", x, u)
}

// check returns an InputError where data of extreme size have overflowed.
func (l Line) check() error {
	if err := inRange("x", l.sxx, 1/l.sxx, l.meanX); err != nil {
		return err
	}
	return inRange("y", l.A, l.B, l.SA, l.SB, l.Cov, l.S, l.R2, l.SSR)
}

// pairs returns an InputError unless x and y are at least n finite points.
func pairs(x, y []float64, n int) error {
	if len(x) != len(y) {
		return bad("y", "has another length than x")
	}
	if len(x) < n {
		return bad("x", "has too few points")
	}
	if err := finite("x", x...); err != nil {
		return err
	}
	return finite("y", y...)
}

// same reports whether all values are equal, but for rounding.
func same(v []float64) bool {
	spread := floats.Max(v) - floats.Min(v)
	return spread <= 1e-12*math.Max(math.Abs(floats.Max(v)), math.Abs(floats.Min(v)))
}

// fromFirst returns the values less the first of them, so that equal values give
// exactly zero and a common offset costs no digits.
func fromFirst(v []float64) []float64 {
	d := make([]float64, len(v))
	for i := range v {
		d[i] = v[i] - v[0]
	}
	return d
}

// share returns 1 − part/whole, and 1 where there is nothing to explain.
func share(part, whole float64) float64 {
	if whole == 0 {
		return 1
	}
	return 1 - part/whole
}
