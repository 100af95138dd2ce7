package calc

import (
	"math"
	"sort"
	"sync/atomic"

	"gonum.org/v1/gonum/diff/fd"
	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// Estimate is a measured value with its expanded uncertainty: the true value
// lies in Value ± U with 95 % probability. Lengths are in millimetres, angles
// in radians.
type Estimate struct {
	Value float64
	U     float64 // expanded, 95 %; +Inf where nothing is known
	DoF   float64 // effective degrees of freedom of U, at most ManyDoF
}

// Times returns the estimate of k times the quantity, as when a runout measured
// at one radius is wanted at another.
func (e Estimate) Times(k float64) Estimate {
	return Estimate{Value: k * e.Value, U: math.Abs(k) * e.U, DoF: e.DoF}
}

// ManyDoF is the number of degrees of freedom that an Estimate carries in
// place of infinitely many, so that it can be written as JSON. Student's t
// does not differ from the normal distribution there in nine digits.
const ManyDoF = 1e9

// Coverage is the probability that every expanded uncertainty of this package
// stands for.
const Coverage = 0.95

// Component is one contribution to an uncertainty (JCGM 100:2008, GUM, 4.1).
// Make one with Rectangular, Triangular, Arcsine, Normal or TypeA, and scale
// it with Times: they set DoF and C. A literal that leaves DoF at zero counts
// as knowing nothing, and one that leaves C at zero as contributing nothing.
type Component struct {
	U    float64 // standard uncertainty, ≥ 0, of the input
	DoF  float64 // degrees of freedom of U; +Inf where U is taken as exact
	C    float64 // sensitivity: change of the result per change of the input
	Half float64 // half-width if rectangular, else 0; U is then Half/√3

	bound float64 // largest possible error, 0 where there is none to state
}

// Rectangular is a type B component that lies anywhere within ± half with
// equal probability: a tool's resolution (half a step), a limit on a data
// sheet. u = half/√3 (GUM 4.3.7). A half that is negative or not finite gives a
// component of infinite uncertainty.
func Rectangular(half float64) Component {
	c := typeB(half, math.Sqrt(3))
	if !math.IsInf(c.U, 1) {
		c.Half = half
	}
	return c
}

// Triangular is a type B component within ± half whose middle is likelier
// than its ends: u = half/√6 (GUM 4.3.9). Combine treats it as normal.
func Triangular(half float64) Component { return typeB(half, math.Sqrt(6)) }

// Arcsine is a type B component that swings as a sine between ± half, such as
// the runout of a spot taken at random or a cyclic temperature: u = half/√2
// (GUM H.1.3.4). Combine treats it as normal, but never past half.
func Arcsine(half float64) Component { return typeB(half, math.Sqrt2) }

func typeB(half, divisor float64) Component {
	if !(half >= 0) || math.IsInf(half, 1) {
		return unknown()
	}
	return Component{U: half / divisor, DoF: math.Inf(1), C: 1, bound: half}
}

// Normal is a component of standard uncertainty u with dof degrees of freedom
// (math.Inf(1) where u is taken as exact), as from a certificate or a pooled
// repeatability. A u that is negative or not finite, or a dof that is not
// positive, gives a component of infinite uncertainty.
func Normal(u, dof float64) Component {
	if !(u >= 0) || math.IsInf(u, 1) || !(dof > 0) {
		return unknown()
	}
	return Component{U: u, DoF: dof, C: 1}
}

// unknown is the component of an input that cannot be used. It makes the
// combined U infinite, so that no decision can be taken on it.
func unknown() Component { return Component{U: math.Inf(1), DoF: 1, C: 1} }

// TypeA returns the mean of repeated readings and the component of that mean:
// s/√n with n − 1 degrees of freedom (GUM 4.2.3). Readings that are all equal
// give U = 0: add the tool's resolution.
func TypeA(sample []float64) (mean float64, c Component, err error) {
	if len(sample) < 2 {
		return 0, Component{}, bad("sample", "has fewer than two readings")
	}
	if err := finite("sample", sample...); err != nil {
		return 0, Component{}, err
	}
	mean, s := stat.MeanStdDev(sample, nil)
	if err := inRange("sample", mean, s); err != nil {
		return 0, Component{}, err
	}
	n := float64(len(sample))
	return mean, Normal(s/math.Sqrt(n), n-1), nil
}

// Pooled returns the standard deviation of one reading from several groups of
// repeats, each about its own mean, and its degrees of freedom:
// s² = Σ νᵢsᵢ² / Σ νᵢ (GUM H.3.6, 4.2.4). Groups of one reading carry nothing.
func Pooled(groups ...[]float64) (s, dof float64, err error) {
	var ss float64
	for _, g := range groups {
		if err := finite("groups", g...); err != nil {
			return 0, 0, err
		}
		if len(g) < 2 {
			continue
		}
		ss += stat.Variance(g, nil) * float64(len(g)-1)
		dof += float64(len(g) - 1)
	}
	if dof == 0 {
		return 0, 0, bad("groups", "hold no two readings of one spot")
	}
	s = math.Sqrt(ss / dof)
	if err := inRange("groups", s); err != nil {
		return 0, 0, err
	}
	return s, dof, nil
}

// Times returns c with its sensitivity multiplied by k: for a result y = k·x,
// pass the component of x.
func (c Component) Times(k float64) Component {
	c.C *= k
	return c
}

// Across returns what readings that share the component c contribute to a
// result Σ gains[i]·x[i]. The errors of the readings are independent, so that a
// bounded component (a resolution) is returned once for each; but where u itself
// is an estimate, a repeatability say, it is the same estimate every time and no
// better known for being used often: it is returned as one component.
func (c Component) Across(gains ...float64) []Component {
	if c.bound > 0 || c.Half != 0 {
		parts := make([]Component, len(gains))
		for i, g := range gains {
			parts[i] = c.Times(g)
		}
		return parts
	}
	return []Component{c.Times(floats.Norm(gains, 2))}
}

// Standard returns the standard uncertainty that c contributes to the result,
// |C|·U. It is +Inf where c cannot be used.
func (c Component) Standard() float64 {
	u := c.U
	if c.Half != 0 {
		u = c.Half / math.Sqrt(3)
	}
	s := math.Abs(c.C) * u
	if c.C == 0 && c.DoF > 0 && u >= 0 {
		return 0 // whatever the input does, the result does not feel it
	}
	if math.IsNaN(s) || u < 0 || !(c.DoF > 0) {
		return math.Inf(1)
	}
	return s
}

// StandardCombined returns the combined standard uncertainty u_c of
// independent components, the root of the sum of squares (GUM 5.1.2), and its
// effective degrees of freedom by Welch and Satterthwaite, not yet truncated:
// ν = u_c⁴ / Σ uᵢ⁴/νᵢ (GUM G.4.1). No component at all, or one that cannot be
// used, gives u = +Inf with one degree of freedom.
func StandardCombined(parts ...Component) (u, dof float64) {
	largest := 0.0
	for _, p := range parts {
		largest = math.Max(largest, p.Standard())
	}
	if len(parts) == 0 || math.IsInf(largest, 1) {
		return math.Inf(1), 1
	}
	if largest == 0 {
		return 0, math.Inf(1)
	}
	var sum2, sum4 float64 // relative to the largest, so that nothing overflows
	for _, p := range parts {
		r := p.Standard() / largest
		sum2 += r * r
		sum4 += r * r * r * r / p.DoF
	}
	return largest * math.Sqrt(sum2), sum2 * sum2 / sum4
}

// Combine returns the expanded uncertainty of independent components at 95 %:
//
//	U = u_c · k · t₉₅(ν)/z₉₅
//
// u_c and ν are those of StandardCombined, ν truncated to a whole number (GUM
// G.4.1). k is the 95 % point of the sum in units of u_c, where the widest
// rectangular components keep their shape and the rest counts as normal; t/z
// is how far Student's t stretches the normal 95 % point. So repeated readings
// alone give t₉₅(ν)·u, many small components 1.96·u_c, one rectangular
// component 0.95 of its half-width (1.65·u; EA-4/02, example S9), two equal ones
// the triangle's 1.553 half-widths. Where every component is bounded, U is
// at most the largest possible error. Value is 0. Where a component cannot be used,
// or there is none, U is +Inf.
func Combine(parts ...Component) Estimate {
	u, dof := StandardCombined(parts...)
	if math.IsInf(u, 1) || u == 0 {
		return Estimate{U: u, DoF: math.Min(dof, ManyDoF)}
	}
	dof = truncate(dof)
	expanded := shapeFactor(u, parts) * u * studentT(Coverage, dof) / normal95
	if b := largestError(parts); b > 0 {
		expanded = math.Min(expanded, b)
	}
	return Estimate{U: expanded, DoF: math.Min(dof, ManyDoF)}
}

// largestError returns the largest possible error of the sum, or 0 where a
// component has none to state.
func largestError(parts []Component) float64 {
	var sum float64
	for _, p := range parts {
		b := math.Max(p.Half, p.bound)
		if b == 0 && p.Standard() > 0 {
			return 0
		}
		sum += b * math.Abs(p.C)
	}
	return sum
}

// truncate lowers effective degrees of freedom to a whole number, as GUM G.4.1
// has it, forgiving a last digit lost to rounding. Less than one stays.
func truncate(dof float64) float64 {
	if dof < 1 {
		return dof
	}
	return math.Min(math.Floor(dof*(1+1e-12)), ManyDoF)
}

// StudentT returns the factor t such that a Student-distributed variable of
// dof degrees of freedom lies within ± t with probability p (GUM table G.2).
func StudentT(p, dof float64) (float64, error) {
	if !(p > 0 && p < 1) {
		return 0, bad("p", "is not between 0 and 1")
	}
	if !(dof >= 0.1) {
		return 0, bad("dof", "is not a positive number of degrees of freedom")
	}
	t := studentT(p, dof)
	if math.IsInf(t, 1) {
		return 0, bad("p", "is too close to 1 for so few degrees of freedom")
	}
	return t, nil
}

// studentT asks for the point below which (1-p)/2 lies: above it, (1+p)/2 has
// lost the digits of a p close to 1.
func studentT(p, dof float64) float64 {
	tail := (1 - p) / 2
	switch {
	case dof >= ManyDoF:
		return -distuv.UnitNormal.Quantile(tail)
	case dof >= float64(len(student95)):
		return studentTMany(p, dof)
	}
	t := func() float64 { return -distuv.StudentsT{Mu: 0, Sigma: 1, Nu: dof}.Quantile(tail) }
	i := int(dof)
	if p != Coverage || float64(i) != dof {
		return t()
	}
	known := math.Float64frombits(student95[i].Load())
	if known == 0 {
		known = t()
		student95[i].Store(math.Float64bits(known))
	}
	return known
}

// studentTMany is studentT for many degrees of freedom, by its expansion about
// the normal quantile (Abramowitz and Stegun, 26.7.5). From 512 on what is left
// out is below the rounding of the quantile.
func studentTMany(p, dof float64) float64 {
	z := -distuv.UnitNormal.Quantile((1 - p) / 2)
	q := z * z
	return z + z*((q+1)/4+
		((5*q+16)*q+3)/96/dof+
		(((3*q+19)*q+17)*q-15)/384/(dof*dof)+
		((((79*q+776)*q+1482)*q-1920)*q-945)/92160/(dof*dof*dof))/dof
}

// student95 keeps the 95 % factors of whole degrees of freedom once they have
// been worked out: the quantile takes some ten microseconds, and the same few
// are wanted all the time.
var student95 [512]atomic.Uint64

// Sensitivities returns ∂f/∂xᵢ at x by central differences over ± u[i], the
// input's own standard uncertainty, as GUM 5.1.3 note 2 advises. An input with
// u[i] = 0 gets 0: it contributes nothing.
func Sensitivities(f func(x []float64) float64, x, u []float64) ([]float64, error) {
	if len(x) != len(u) {
		return nil, bad("u", "has another length than x")
	}
	if err := finite("x", x...); err != nil {
		return nil, err
	}
	c := make([]float64, len(x))
	at := append([]float64(nil), x...)
	for i, ui := range u {
		if !(ui >= 0) || math.IsInf(ui, 1) {
			return nil, bad("u", "is negative or not finite")
		}
		if ui == 0 {
			continue
		}
		c[i] = fd.Derivative(func(v float64) float64 {
			at[i] = v
			return f(at)
		}, x[i], &fd.Settings{Formula: fd.Central, Step: ui})
		at[i] = x[i]
		if err := finite("f", c[i]); err != nil {
			return nil, err
		}
	}
	return c, nil
}

// Propagate returns f(x) with the uncertainty that the components of the
// inputs give it, part i being that of x[i].
func Propagate(f func(x []float64) float64, x []float64, parts []Component) (Estimate, error) {
	if len(x) == 0 || len(x) != len(parts) {
		return Estimate{}, bad("parts", "are not one for each input")
	}
	u := make([]float64, len(parts))
	for i, p := range parts {
		u[i] = p.Times(1).Standard()
	}
	c, err := Sensitivities(f, x, u)
	if err != nil {
		return Estimate{}, err
	}
	scaled := make([]Component, len(parts))
	for i, p := range parts {
		scaled[i] = p.Times(c[i])
	}
	e := Combine(scaled...)
	e.Value = f(append([]float64(nil), x...))
	if err := finite("f", e.Value, e.U); err != nil {
		return Estimate{}, err
	}
	return e, nil
}

// inRange returns an InputError when a result came out NaN or infinite although
// the input was finite: the numbers were of a size that cannot be calculated with.
func inRange(input string, results ...float64) error {
	if finite(input, results...) != nil {
		return bad(input, "is too large or too small to calculate with")
	}
	return nil
}

// normal95 is the two-sided 95 % point of the normal distribution.
var normal95 = -distuv.UnitNormal.Quantile((1 - Coverage) / 2)

// widest returns the half-widths, in units of u, of the rectangular components
// that keep their shape in a combination, widest first: at most four, none
// below a fiftieth of the widest or a twentieth of u, where as normal it moves
// the 95 % point by less than one part in a thousand and as a rectangle it would
// cost the sum its digits. The second result is the variance of all the rest.
func widest(u float64, parts []Component) (halves []float64, rest float64) {
	for _, p := range parts {
		if h := math.Abs(p.C) * p.Half / u; h > 0.05 {
			halves = append(halves, h)
		}
	}
	sort.Sort(sort.Reverse(sort.Float64Slice(halves)))
	keep := 0
	for keep < min(len(halves), 4) && halves[keep] >= halves[0]/50 {
		keep++
	}
	halves = halves[:keep]
	rest = 1
	for _, h := range halves {
		rest -= h * h / 3
	}
	return halves, math.Max(rest, 0)
}
