package calc

import "math"

// shapeFactor returns the k for which a sum of independent components lies
// within ± k·u with 95 % probability, u being its standard deviation. The
// widest rectangular components keep their shape, the rest counts as normal.
//
// The distribution function of n rectangles of half-widths hⱼ plus a normal
// variable of deviation σ is, exactly,
//
//	F(x) = Σ_{e ∈ {−1,+1}ⁿ} (Π eⱼ) · Rₙ(x + Σ eⱼhⱼ) / Π 2hⱼ
//
// with Rₙ the n-fold integral of the normal distribution function. (Integrate
// it once over each rectangle; for σ = 0 this is the classical formula for a
// sum of uniform variables.)
func shapeFactor(u float64, parts []Component) float64 {
	halves, rest := widest(u, parts)
	if len(halves) == 0 {
		return normal95
	}
	sum := uniformSum{halves: halves, sigma: math.Sqrt(rest)}
	if rest < 1e-12 {
		sum.sigma = 0
	}
	return rootBetween(0.9, 2.0, func(k float64) float64 { // any such k lies between
		return 2*sum.cdf(k) - 1 - Coverage
	})
}

// rootBetween returns where the rising function f is zero between lo and hi, to
// about ten digits, by false position (Illinois variant).
func rootBetween(lo, hi float64, f func(float64) float64) float64 {
	fLo, fHi := f(lo), f(hi)
	last := 0
	for range 100 {
		x := (lo*fHi - hi*fLo) / (fHi - fLo)
		fx := f(x)
		if math.Abs(fx) < 1e-12 || hi-lo < 1e-10 {
			return x
		}
		if fx < 0 {
			lo, fLo = x, fx
			if last < 0 {
				fHi /= 2
			}
			last = -1
		} else {
			hi, fHi = x, fx
			if last > 0 {
				fLo /= 2
			}
			last = 1
		}
	}
	return hi
}

// uniformSum is a sum of uniform variables on ± halves and a normal one.
type uniformSum struct {
	halves []float64
	sigma  float64
}

func (s uniformSum) cdf(x float64) float64 {
	n := len(s.halves)
	var total float64
	for signs := range 1 << n {
		at, sign := x, 1.0
		for j, h := range s.halves {
			if signs&(1<<j) == 0 {
				at, sign = at-h, -sign
			} else {
				at += h
			}
		}
		total += sign * s.integral(n, at)
	}
	for _, h := range s.halves {
		total /= 2 * h
	}
	return total
}

// integral returns the n-fold integral of the normal distribution function
// of deviation sigma, from −∞ to x. With R₋₁ = φ and R₀ = Φ it obeys
// n·Rₙ = x·Rₙ₋₁ + σ²·Rₙ₋₂ (Abramowitz and Stegun 7.2.5, repeated integrals of
// erfc).
func (s uniformSum) integral(n int, x float64) float64 {
	if s.sigma == 0 {
		r := 1.0
		for k := 1; k <= n; k++ {
			r *= math.Max(x, 0) / float64(k)
		}
		return r
	}
	z := x / s.sigma
	before := math.Exp(-z*z/2) / (s.sigma * math.Sqrt(2*math.Pi))
	r := math.Erfc(-z/math.Sqrt2) / 2
	for k := 1; k <= n; k++ {
		before, r = r, (x*r+s.sigma*s.sigma*before)/float64(k)
	}
	return r
}
