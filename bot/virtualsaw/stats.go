package virtualsaw

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// Share is a count of some cases among all.
type Share struct{ Of, All int }

// add counts one case.
func (s *Share) add(yes bool) {
	s.All++
	if yes {
		s.Of++
	}
}

// Rate returns the share, NaN of none.
func (s Share) Rate() float64 { return float64(s.Of) / float64(s.All) }

// Interval returns the bounds between which the true rate lies with at least
// the given confidence (Clopper and Pearson, Biometrika 26, 1934): the beta
// quantiles that leave half of the rest on either side.
func (s Share) Interval(confidence float64) (low, high float64) {
	tail := (1 - confidence) / 2
	k, n := float64(s.Of), float64(s.All)
	low, high = 0, 1
	if s.Of > 0 {
		low = distuv.Beta{Alpha: k, Beta: n - k + 1}.Quantile(tail)
	}
	if s.Of < s.All {
		high = distuv.Beta{Alpha: k + 1, Beta: n - k}.Quantile(1 - tail)
	}
	return low, high
}

// Quantile returns the q-quantile of the values, NaN of none.
func Quantile(values []float64, q float64) float64 {
	if len(values) == 0 {
		return math.NaN()
	}
	v := slices.Clone(values)
	slices.Sort(v)
	at := q * float64(len(v)-1)
	i := int(at)
	if i+1 == len(v) {
		return v[i]
	}
	return v[i] + (at-float64(i))*(v[i+1]-v[i])
}
