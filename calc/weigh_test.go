package calc

import (
	"fmt"
	"math"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// χ² = rᵀS⁻¹r and what a cause or a gain needs of S⁻¹, against the definition:
// S written out in full and solved by gonum (generalised least squares, any
// text on regression; the identity of Sherman, Morrison and Woodbury is not
// used here).
func TestWeighingAgainstTheWholeCovariance(t *testing.T) {
	for _, s := range [][]Support{grid(3, 500, 160), line(5, 400), append(grid(2, 600, 200), Support{X: 1500, Y: 250, Pitch: 2})} {
		n := len(s)
		m := knownModel(t, s, 0.2)
		m.Gain[1] = 1.3
		turns, before, after := make([]float64, n), make([]Length, n), make([]Length, n)
		for i := range n {
			before[i], after[i] = Length(0.1*math.Sin(float64(i))), Length(0.1*math.Cos(float64(i)))
		}
		turns[0], turns[1], turns[n-1] = 0.125, -0.25, 0.0625
		missing := make([]bool, n)
		missing[2] = true
		const u = 0.02
		l, err := m.newLearner([]Pass{{Turns: turns, Before: before, After: after, Missing: missing}}, u)
		if err != nil {
			t.Fatal(err)
		}
		l.detail(0)

		M := influence(t, m)
		S, r := mat.NewSymDense(n, nil), mat.NewVecDense(n, nil)
		for i := range n {
			through := 0.0
			for j := range n {
				move := turns[j] * float64(s[j].Pitch) * m.Gain[j]
				r.SetVec(i, r.AtVec(i)-M.At(i, j)*move)
				if i != j {
					through += M.At(i, j) * move
				} else {
					through += (M.At(i, j) - 1) * move
				}
			}
			r.SetVec(i, r.AtVec(i)+float64(after[i]-before[i]))
			v := 2*sq(u/2) + sq(0.10*through)
			if missing[i] {
				r.SetVec(i, 0)
				v += 1e6
			}
			S.SetSym(i, i, v)
		}
		for j := range n {
			if turns[j] == 0 {
				continue
			}
			v := sq(0.008*float64(s[j].Pitch)*m.Gain[j]) + sq(0.004)
			for i := range n {
				for k := i; k < n; k++ {
					S.SetSym(i, k, S.At(i, k)+v*M.At(i, j)*M.At(k, j))
				}
			}
		}
		var inv mat.Dense
		if err := inv.Inverse(S); err != nil {
			t.Fatal(err)
		}
		quad := func(a, b mat.Vector) float64 { return mat.Inner(a, &inv, b) }
		near := func(what string, got, want float64) {
			t.Helper()
			within(t, fmt.Sprintf("%d supports, %s", n, what), got, want, 1e-9*(1+math.Abs(want)))
		}
		near("χ²", l.guesses[0].chi, quad(r, r))
		for j := range n {
			x := mat.NewVecDense(n, nil)
			for i := range n {
				x.SetVec(i, M.At(i, j)*turns[j]*float64(s[j].Pitch))
			}
			xr, xx := l.nutEffect(j)
			near("nut on r", xr, quad(x, r))
			near("nut on itself", xx, quad(x, x))
			e := mat.NewVecDense(n, nil)
			e.SetVec(j, 0.3)
			e.SetVec((j+1)%n, -0.2)
			near("readings on r", l.readingPull(1, j, (j+1)%n, 0.3, -0.2), quad(e, r))
			near("readings on themselves", l.readingHold(0, j, (j+1)%n, 0.3, -0.2), quad(e, e))
		}
	}
}

// A table on pairs has its modes from bending and twisting apart. One whose
// pairs are off by a nanometre has them from the whole, and answers alike.
func TestPairsAnswerLikeAnyTable(t *testing.T) {
	for _, stations := range []int{2, 3, 8} {
		apart := grid(stations, 430, 180)
		whole := grid(stations, 430, 180)
		whole[1].Y += 1e-6
		for _, twist := range []float64{0.01, 1, 40} {
			a, b := model(t, apart), model(t, whole)
			a.Stiffness, a.Torsion = 0.3, 0.3*twist
			b.Stiffness, b.Torsion = a.Stiffness, a.Torsion
			one, two := influence(t, a), influence(t, b)
			for i := range apart {
				for j := range apart {
					within(t, fmt.Sprintf("%d stations, M[%d][%d]", stations, i, j), one.At(i, j), two.At(i, j), 1e-6)
				}
			}
		}
	}
}
