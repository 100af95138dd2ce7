package calc

import (
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

// Harmonic is the part of a runout that comes and goes once a turn, as a
// wobbling disc or an eccentric hub gives it. It deviates from the mean by
// Re(H·e^(−iθ)) = A·cos(θ − φ), H = A·e^(iφ), θ counted from the mark. In mm.
type Harmonic complex128

// Amplitude returns A, half of the harmonic's TIR.
func (h Harmonic) Amplitude() Length { return Length(cmplx.Abs(complex128(h))) }

// TIR returns the largest less the smallest reading that the harmonic alone
// gives over a turn: 2A (ISO 230-1, ISO 230-7).
func (h Harmonic) TIR() Length { return 2 * h.Amplitude() }

// Phase returns the angle from the mark to the high spot, 0 ≤ φ < 2π.
func (h Harmonic) Phase() Angle { return Angle(2 * math.Pi * h.High()) }

// High returns the high spot as a part of a turn from the mark, 0 ≤ turn < 1.
// The low spot is half a turn on. A quarter of a turn on either side of them the
// face stands where it would without the harmonic: the spots to measure with.
func (h Harmonic) High() float64 { return wrap(cmplx.Phase(complex128(h)) / (2 * math.Pi)) }

// At returns the deviation from the mean at a part of a turn from the mark.
func (h Harmonic) At(turn float64) Length {
	return Length(real(complex128(h) * cmplx.Rect(1, -2*math.Pi*turn)))
}

// Scale returns the harmonic of an axial (face) runout, measured at one radius,
// at another: a wobble grows in proportion to the radius.
func (h Harmonic) Scale(measured, at Length) (Harmonic, error) {
	if err := finite("harmonic", real(h), imag(h)); err != nil {
		return 0, err
	}
	if !(measured > 0) || math.IsInf(float64(measured), 1) {
		return 0, bad("measured", "is not a radius above zero")
	}
	if !(at > 0) || math.IsInf(float64(at), 1) {
		return 0, bad("at", "is not a radius above zero")
	}
	s := h * Harmonic(complex(float64(at/measured), 0))
	return s, inRange("at", real(s), imag(s))
}

// wrap brings a part of a turn into 0 ≤ turn < 1.
func wrap(turn float64) float64 {
	turn -= math.Floor(turn)
	if turn >= 1 { // a tiny negative number rounds to 1
		return 0
	}
	return turn
}

// Runout is what a round of readings over one turn says.
type Runout struct {
	Mean     Length
	First    Harmonic // first harmonic: its TIR is the wobble's
	Sampled  Length   // largest less smallest reading: under-reads a wobble, includes warp
	Residual Length   // standard deviation about mean and harmonic: warp and noise
	DoF      int      // degrees of freedom of Residual: readings less three
	Best     int      // index of the reading nearest to the mean: the spot to measure with
	Worst    int      // index of the reading farthest from the mean

	solve solution
}

// solution holds how a change of each reading changes the first harmonic: the
// rows of the pseudo-inverse for a and b. For n equal steps they are
// (2/n)·cos θᵢ and (2/n)·sin θᵢ.
type solution struct{ a, b []float64 }

// gain returns the change of the amplitude of h per change of each reading: the
// change of the harmonic, projected on its direction.
func (s solution) gain(h Harmonic) []float64 {
	sin, cos := math.Sincos(float64(h.Phase()))
	gain := make([]float64, len(s.a))
	for i := range gain {
		gain[i] = cos*s.a[i] + sin*s.b[i]
	}
	return gain
}

// FitRunout fits mean and first harmonic to readings at equal steps over one
// turn, four or more, the first at the mark. Harmonics k·n ± 1 of n readings
// fold into the first: with four readings a third harmonic does.
func FitRunout(readings []Length) (Runout, error) {
	turns := make([]float64, len(readings))
	for i := range turns {
		turns[i] = float64(i) / float64(len(turns))
	}
	return FitRunoutAt(turns, readings)
}

// FitRunoutAt is FitRunout for readings at any parts of a turn from the mark,
// by least squares of a₀ + a·cos θ + b·sin θ. The turns must span the circle
// well enough to tell the three apart.
func FitRunoutAt(turns []float64, readings []Length) (Runout, error) {
	n := len(readings)
	if n < 4 {
		return Runout{}, bad("readings", "are fewer than four")
	}
	if len(turns) != n {
		return Runout{}, bad("turns", "are not one for each reading")
	}
	values := bare(readings)
	if err := finite("readings", values...); err != nil {
		return Runout{}, err
	}
	if err := finite("turns", turns...); err != nil {
		return Runout{}, err
	}
	design := mat.NewDense(n, 3, nil)
	for i, t := range turns {
		sin, cos := math.Sincos(2 * math.Pi * wrap(t))
		design.SetRow(i, []float64{1, cos, sin})
	}
	var qr mat.QR
	qr.Factorize(design)
	if !(qr.Cond() < 1e3) {
		return Runout{}, bad("turns", "do not span the circle")
	}
	var c mat.VecDense
	shifted := mat.NewVecDense(n, nil) // about the first reading, so that no digits are lost
	for i, v := range values {
		shifted.SetVec(i, v-values[0])
	}
	if err := qr.SolveVecTo(&c, false, shifted); err != nil {
		return Runout{}, bad("turns", "do not span the circle")
	}
	r := Runout{Mean: readings[0] + Length(c.AtVec(0)), First: Harmonic(complex(c.AtVec(1), c.AtVec(2))), DoF: n - 3}
	r.scan(turns, readings)
	r.solve = solved(&qr, n)
	return r, inRange("readings", float64(r.Mean), float64(r.First.Amplitude()), float64(r.Residual), float64(r.Sampled))
}

// scan sets what is found by going through the readings once more.
func (r *Runout) scan(turns []float64, readings []Length) {
	lo, hi := readings[0], readings[0]
	var ss float64
	for i, v := range readings {
		lo, hi = min(lo, v), max(hi, v)
		e := float64(v - r.At(turns[i]))
		ss += e * e
		off := (v - r.Mean).Abs()
		if off < (readings[r.Best] - r.Mean).Abs() {
			r.Best = i
		}
		if off > (readings[r.Worst] - r.Mean).Abs() {
			r.Worst = i
		}
	}
	r.Sampled = hi - lo
	if r.DoF > 0 {
		r.Residual = Length(math.Sqrt(ss / float64(r.DoF)))
	}
}

// solved returns the solution for n readings that have been factorised.
func solved(qr *mat.QR, n int) solution {
	inverse, err := pseudoInverse(qr, n)
	if err != nil {
		return solution{} // not reached: the condition number has been checked
	}
	return solution{a: mat.Row(nil, 1, inverse), b: mat.Row(nil, 2, inverse)}
}

// pseudoInverse returns how a change of each of n readings changes each
// coefficient of the fit.
func pseudoInverse(qr *mat.QR, n int) (*mat.Dense, error) {
	eye := mat.NewDense(n, n, nil)
	for i := range n {
		eye.Set(i, i, 1)
	}
	var inverse mat.Dense
	return &inverse, qr.SolveTo(&inverse, false, eye)
}

// roundingTogether is by how much the rounding errors of a round count for more
// than independent ones would. Readings that follow a smooth curve, opposite
// ones above all, do not round independently: simulated rounds of 4 to 16
// readings without noise show amplitudes up to 3 % more uncertain.
const roundingTogether = 1.05

// At returns the fitted reading at a part of a turn from the mark.
func (r Runout) At(turn float64) Length { return r.Mean + r.First.At(turn) }

// Estimate returns the TIR of the first harmonic with its expanded
// uncertainty, given the components of a single reading: the tool's resolution
// and repeatability, and Normal(Residual, DoF) too where the residual is taken
// for noise rather than for a warped plate.
//
// A fitted amplitude cannot be negative, so that a small one is more often
// too large than too small. Where the amplitude is not to be told from none, U
// is therefore the radius of the circle about it that holds 95 %, 2.45 times
// its standard uncertainty, and the interval reaches to zero.
func (r Runout) Estimate(reading ...Component) Estimate {
	return r.First.estimate(r.solve.gain(r.First), reading)
}

// estimate returns the TIR of h with its uncertainty from that of each reading.
func (h Harmonic) estimate(gain []float64, reading []Component) Estimate {
	var parts []Component
	for _, c := range reading {
		if len(gain) == 0 {
			break
		}
		if c.Half != 0 {
			c = c.Times(roundingTogether)
		}
		parts = append(parts, c.Times(2).Across(gain...)...)
	}
	e := Combine(parts...)
	e.Value = float64(h.TIR())
	if circle := e.U * math.Sqrt(-2*math.Log(1-Coverage)) / normal95; circle >= e.Value {
		e.U = circle
	}
	return e
}

// Reversal is the runout of a blade taken apart into what the arbor's flange
// and what the blade itself contributes, both at the radius measured at.
type Reversal struct {
	Flange, Blade Harmonic

	first, second solution
}

// Reverse takes apart two rounds at the same radius, indicator not moved: the
// second after turning the blade half a turn on the arbor, angles in both
// counted from a mark on the arbor. The flange's part stays, the blade's turns
// its sign: F = (M₁ + M₂)/2, B = (M₁ − M₂)/2.
func Reverse(first, second Runout) (Reversal, error) {
	m1, m2 := first.First, second.First
	if err := finite("first", real(m1), imag(m1)); err != nil {
		return Reversal{}, err
	}
	if err := finite("second", real(m2), imag(m2)); err != nil {
		return Reversal{}, err
	}
	return Reversal{Flange: m1/2 + m2/2, Blade: m1/2 - m2/2, first: first.solve, second: second.solve}, nil
}

// Estimate returns the TIR of flange and blade at the radius measured at, with
// their expanded uncertainties from the components of a single reading, as
// Runout.Estimate does: each of them takes all readings of both rounds, so that
// it is known better than either round by √2.
func (r Reversal) Estimate(reading ...Component) (flange, blade Estimate) {
	half := func(h Harmonic) []float64 {
		gain := append(r.first.gain(h), r.second.gain(h)...)
		floats.Scale(0.5, gain) // the sign of the second round does not matter here
		return gain
	}
	return r.Flange.estimate(half(r.Flange), reading), r.Blade.estimate(half(r.Blade), reading)
}

// CountedOnBlade returns what the two rounds mean if the angles of the second
// were counted from a mark on the blade instead of the arbor: that mark went
// half a turn round with the blade, so that the second round has the other sign
// and flange and blade change places.
func (r Reversal) CountedOnBlade() Reversal {
	r.Flange, r.Blade = r.Blade, r.Flange
	return r
}

// MarkMatters reports whether the verdict on the flange depends on which mark
// the second round was counted from: whether one of the two answers is above
// the limit, a TIR at the radius measured at, and the other is not.
func (r Reversal) MarkMatters(limit Length) bool {
	return (r.Flange.TIR() > limit) != (r.Blade.TIR() > limit)
}

// Mark is where the angles of a round were counted from.
type Mark int

// What CheckMark can find.
const (
	MarkUnclear Mark = iota // the check reading does not tell
	MarkOnArbor
	MarkOnBlade
)

// CheckMark tells from one more reading which mark the second round was counted
// from: taken as that round was, but with the arbor's mark for certain a part of
// a turn on. Counted on the arbor it repeats the round there, counted on the
// blade it is what the round has half a turn on. U is the expanded uncertainty
// of the difference of two readings.
func CheckMark(second Runout, turn float64, reading, U Length) (Mark, error) {
	if err := finite("reading", float64(reading), float64(U), turn); err != nil {
		return MarkUnclear, err
	}
	if U < 0 {
		return MarkUnclear, bad("U", "is negative")
	}
	arbor := (reading - second.At(turn)).Abs() <= U
	blade := (reading - second.At(turn+0.5)).Abs() <= U
	switch {
	case arbor && !blade:
		return MarkOnArbor, nil
	case blade && !arbor:
		return MarkOnBlade, nil
	}
	return MarkUnclear, nil
}
