package dialog

import (
	"math"
	"testing"

	"shimwright/calc"
)

// Rounding averages out only where the readings differ: while a caliper says the
// same each time, another reading tells nothing of what it rounds away.
func TestRepeatsShrinkWhatScatters(t *testing.T) {
	parts := []calc.Component{calc.Rectangular(0.05), calc.Normal(0.004, 50)}
	for _, c := range []struct {
		name           string
		values         []float64
		rounding, hand float64 // parts of what one reading has
	}{
		{"one", []float64{1}, 1, 1},
		{"four alike", []float64{1, 1, 1, 1}, 1, 0.5},
		{"four that differ", []float64{1, 1.1, 1, 1.1}, 0.5, 0.5},
	} {
		got := averaged(parts, c.values)
		for i, want := range []float64{c.rounding, c.hand} {
			if r := got[i].Standard() / parts[i].Standard(); math.Abs(r-want) > 1e-12 {
				t.Errorf("%s: part %d is %g of one reading's, want %g", c.name, i, r, want)
			}
		}
	}
}

// A square that was never checked is not taken as true to nothing.
func TestSquareNeverChecked(t *testing.T) {
	e, u := Tool{Kind: Square, Length: 150}.squareness()
	if e.Value != 0 || u.Standard()*150 < 0.005 {
		t.Errorf("an unchecked square counts as %g ± %g mm over 150 mm", e.Value*150, u.Standard()*150)
	}
	e, u = Tool{Kind: Square, Length: 150, Error: 2e-4, ErrorU: 1e-4}.squareness()
	if e.Value != 2e-4 || math.Abs(u.Standard()-1e-4/1.95996) > 1e-8 {
		t.Errorf("a checked square counts as %g ± %g", e.Value, u.Standard())
	}
}
