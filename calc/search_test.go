package calc

import (
	"fmt"
	"math"
	"testing"
)

// Against every one of the 17⁴ ways to turn four nuts, the search must come
// within one move (45 s) of the best that its own expectation knows.
func TestSearchAgainstAllTurns(t *testing.T) {
	o := DefaultPlanOptions()
	worst := 0.0
	for _, stiffness := range []float64{0.01, 0.3, 10} {
		for _, h := range [][]Length{
			{-0.1, 0.12, 0.02, 0.2}, {0.15, 0.14, -0.05, -0.06}, {0.02, 0.1, 0.11, -0.02}, {-0.08, -0.02, 0.05, 0.11},
		} {
			m := knownModel(t, line(4, 500), stiffness)
			md, err := m.modes()
			if err != nil {
				t.Fatal(err)
			}
			s := m.newSearch(md, h, nil, o)
			s.run()
			found := s.seconds
			s.reset()
			best := math.Inf(1)
			for a := -s.most; a <= s.most; a++ {
				s.set(0, a)
				for b := -s.most; b <= s.most; b++ {
					s.set(1, b)
					for c := -s.most; c <= s.most; c++ {
						s.set(2, c)
						for d := -s.most; d <= s.most; d++ {
							v, _ := s.cost(3, d, math.Inf(1))
							best = math.Min(best, v)
						}
					}
				}
			}
			if found < best-1e-6 {
				t.Fatalf("found %.3f s below the best %.3f s", found, best)
			}
			worst = math.Max(worst, found-best)
		}
	}
	t.Logf("the search is at most %.0f s worse than the best of all turns", worst)
	if worst > 45 {
		t.Errorf("the search is %.0f s worse than the best of all turns", worst)
	}
}

// The approximation of the normal tail is as good as it says.
func TestTail(t *testing.T) {
	for x := -5.0; x <= 5; x += 0.01 {
		within(t, fmt.Sprintf("tail(%.2f)", x), tail(x), 0.5*math.Erfc(x/math.Sqrt2), 2.6e-4)
	}
}
