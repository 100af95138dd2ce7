package calc

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// Sweep is the whole runout of a mounted blade over one turn as far as its
// readings show it: the wobble (first harmonic) and the warp of a saddle-bent
// plate (second harmonic) together.
type Sweep struct {
	TIR   Length // largest less smallest of the fitted curve
	Waves int    // harmonics in the fit: 2, or 1 where the readings are too few for a warp

	gain  []float64 // change of TIR per change of each reading
	shape float64   // root of the summed squares of the coefficients, mm
	scale float64   // mean gain of one coefficient
}

// sweepSteps is the number of points looked at over a turn: the peak of a second
// harmonic is missed by less than 1 − cos(2π/360), 0.15 per mille.
const sweepSteps = 360

// SweepRunout fits mean, first and second harmonic to readings at parts of a
// turn from the mark, by least squares, and takes the largest less the smallest
// value of that curve: ISO 230-7 takes the same of a full trace, which eight
// readings are not. Where the readings do not tell the second harmonic apart
// (fewer than six places round the turn) it fits the first alone.
func SweepRunout(turns []float64, readings []Length) (Sweep, error) {
	first, err := FitRunoutAt(turns, readings)
	if err != nil {
		return Sweep{}, err
	}
	n := len(readings)
	for waves := 2; ; waves-- {
		design := mat.NewDense(n, 1+2*waves, nil)
		for i, t := range turns {
			design.SetRow(i, waveRow(wrap(t), waves))
		}
		var qr mat.QR
		if n > 2*waves {
			qr.Factorize(design)
		}
		if waves > 1 && (n < 6 || !(qr.Cond() < 1e3)) {
			continue
		}
		return sweep(&qr, waves, readings, first.Mean)
	}
}

// waveRow is what each coefficient contributes at a part of a turn.
func waveRow(turn float64, waves int) []float64 {
	row := []float64{1}
	for k := 1; k <= waves; k++ {
		sin, cos := math.Sincos(2 * math.Pi * float64(k) * turn)
		row = append(row, cos, sin)
	}
	return row
}

// sweep looks for the peak and the valley of the fitted curve. The gain of the
// TIR is the difference of the curve's gains there: where a peak lies does not
// change its height to first order.
func sweep(qr *mat.QR, waves int, readings []Length, mean Length) (Sweep, error) {
	n := len(readings)
	inverse, err := pseudoInverse(qr, n)
	if err != nil {
		return Sweep{}, bad("turns", "do not span the circle")
	}
	c := make([]float64, 1+2*waves)
	s := Sweep{Waves: waves, gain: make([]float64, n)}
	for k := range c {
		for i, r := range readings {
			c[k] += inverse.At(k, i) * float64(r-mean)
			if k > 0 {
				s.scale += sq(inverse.At(k, i)) / float64(2*waves)
			}
		}
		if k > 0 {
			s.shape += sq(c[k])
		}
	}
	s.shape, s.scale = math.Sqrt(s.shape), math.Sqrt(s.scale)
	high, low := math.Inf(-1), math.Inf(1)
	var top, bottom float64
	for i := range sweepSteps {
		turn := float64(i) / sweepSteps
		sin, cos := math.Sincos(2 * math.Pi * turn)
		v := c[0] + c[1]*cos + c[2]*sin
		if waves > 1 {
			v += c[3]*(cos*cos-sin*sin) + c[4]*2*sin*cos
		}
		if v > high {
			high, top = v, turn
		}
		if v < low {
			low, bottom = v, turn
		}
	}
	peak, valley := waveRow(top, waves), waveRow(bottom, waves)
	for i := range n {
		for k := range c {
			s.gain[i] += (peak[k] - valley[k]) * inverse.At(k, i)
		}
	}
	s.TIR = Length(high - low)
	return s, inRange("readings", high-low)
}

// chi95 is the 95 % point of χ with so many degrees of freedom: the radius of
// the sphere that holds a shape which is nothing but noise (any table of χ²:
// √5.991, √9.488).
var chi95 = map[int]float64{2: 2.4477, 4: 3.0802}

// Estimate returns the TIR with its expanded uncertainty, given the components
// of a single reading. Noise alone makes a curve, too: where the shape is not
// to be told from that, the interval reaches to zero.
func (s Sweep) Estimate(reading ...Component) Estimate {
	var parts []Component
	for _, c := range reading {
		if c.Half != 0 {
			c = c.Times(roundingTogether)
		}
		parts = append(parts, c.Across(s.gain...)...)
	}
	e := Combine(parts...)
	e.Value = float64(s.TIR)
	noise, _ := StandardCombined(reading...)
	if s.shape <= chi95[2*s.Waves]*noise*s.scale {
		e.U = math.Max(e.U, e.Value)
	}
	return e
}
