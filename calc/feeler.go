package calc

import (
	"math"
	"sort"
)

// FeelerSet returns the leaves of the DIN 2275 set of 8, 13 or 20, thinnest
// first. Sets differ between makers: what counts is the person's own.
func FeelerSet(leaves int) ([]Length, error) {
	switch leaves {
	case 8:
		return []Length{0.05, 0.10, 0.15, 0.20, 0.25, 0.30, 0.40, 0.50}, nil
	case 13:
		return []Length{0.05, 0.10, 0.15, 0.20, 0.25, 0.30, 0.40, 0.50, 0.60, 0.70, 0.80, 0.90, 1.00}, nil
	case 20:
		set := make([]Length, leaves)
		for i := range set {
			set[i] = Length(i+1) / 20
		}
		return set, nil
	}
	return nil, bad("leaves", "is not 8, 13 or 20")
}

// Limits of FeelerStack. A stack of more than four leaves springs, and the
// leaves' errors add.
const (
	MostLeaves  = 40 // in a person's set
	MostStacked = 4
)

// FeelerStack returns the fewest leaves of a set, each used once, whose total
// is within tol of want, and among those the closest, thickest leaf first.
// It stacks at most max leaves and never more than MostStacked. A want that
// is within tol of zero needs no leaf. Where no stack does, the error says so
// and the stack returned is the closest that there is.
func FeelerStack(leaves []Length, want, tol Length, max int) (stack []Length, err error) {
	set, err := feelerInput(leaves, want, tol, max)
	if err != nil {
		return nil, err
	}
	tol += 1e-9 // a picometre of rounding in sums of decimals
	s := feelerSearch{set: set, want: want, miss: want}
	for size := 1; size <= min(max, MostStacked, len(set)) && s.miss > tol; size++ {
		s.add(0, size, 0)
	}
	if s.miss > tol {
		return s.best, bad("want", "cannot be made from these leaves within the tolerance")
	}
	return s.best, nil
}

func feelerInput(leaves []Length, want, tol Length, max int) ([]Length, error) {
	if len(leaves) == 0 || len(leaves) > MostLeaves {
		return nil, bad("leaves", "are none, or more than a set has")
	}
	for _, l := range leaves {
		if !(l > 0) || math.IsInf(float64(l), 1) {
			return nil, bad("leaves", "hold a thickness that is not above zero")
		}
	}
	switch {
	case !(want >= 0) || math.IsInf(float64(want), 1):
		return nil, bad("want", "is negative or not finite")
	case !(tol >= 0) || math.IsInf(float64(tol), 1):
		return nil, bad("tol", "is negative or not finite")
	case max < 1:
		return nil, bad("max", "is below one leaf")
	}
	set := append([]Length(nil), leaves...)
	sort.Slice(set, func(i, j int) bool { return set[i] > set[j] })
	return set, nil
}

// FeelerStep returns how far apart two readings with these leaves (ascending)
// are near a gap that was told as one number, a leaf or a stack of them: half
// the distance between the leaves on either side of the thinnest one in it, with
// the thickest that go taken first. What is left over and thinner than any leaf
// was judged between two of them. Practice: who stacks changes the thinnest leaf.
// Without leaves, with leaves that do not ascend from above nothing, or with a
// gap that is not finite it is +Inf.
func FeelerStep(leaves []Length, gap Length) Length {
	const same Length = 1e-6
	if len(leaves) == 0 || !ascendFromNothing(leaves) || finite("gap", float64(gap)) != nil {
		return Length(math.Inf(1))
	}
	for rest := gap.Abs(); ; {
		i := sort.Search(len(leaves), func(i int) bool { return leaves[i] > rest+same })
		if i == 0 {
			return leaves[0]
		}
		leaf, under := leaves[i-1], Length(0)
		if i > 1 {
			under = leaves[i-2]
		}
		rest = Length(math.Mod(float64(rest+same), float64(leaf))) - same // as many of it as go
		switch {
		case rest > same:
		case i == len(leaves):
			return (leaf + leaves[0] - under) / 2
		default:
			return (leaves[i] - under) / 2
		}
	}
}

func ascendFromNothing(leaves []Length) bool {
	for i, l := range leaves {
		if !(l > 0) || i > 0 && !(l >= leaves[i-1]) {
			return false
		}
	}
	return true
}

// feelerSearch goes through the stacks of one size after the other.
type feelerSearch struct {
	set  []Length // thickest first
	want Length
	pick [MostStacked]Length
	n    int
	best []Length
	miss Length // of best, from want
}

// add tries all stacks that continue the present one of total so far with
// more leaves from set[from:].
func (s *feelerSearch) add(from, more int, total Length) {
	if more == 1 {
		s.last(from, total)
		return
	}
	for i := from; i+more <= len(s.set); i++ {
		// Leaves get thinner: total + more leaves like this one is the most
		// that is still to come, this leaf and the thinnest ones the least.
		if s.want-(total+Length(more)*s.set[i]) >= s.miss {
			return
		}
		least := total + s.set[i]
		for _, l := range s.set[len(s.set)-more+1:] {
			least += l
		}
		if least-s.want >= s.miss {
			continue
		}
		s.pick[s.n] = s.set[i]
		s.n++
		s.add(i+1, more-1, total+s.set[i])
		s.n--
	}
}

// last completes the stack with the leaf of set[from:] that fits best: one of
// the two on either side of what is still missing.
func (s *feelerSearch) last(from int, total Length) {
	rest := s.want - total
	below := from + sort.Search(len(s.set)-from, func(i int) bool { return s.set[from+i] <= rest })
	for i := max(from, below-1); i <= min(below, len(s.set)-1); i++ {
		if e := (s.set[i] - rest).Abs(); e < s.miss-1e-9 {
			s.miss = e
			s.pick[s.n] = s.set[i]
			s.best = append(s.best[:0:0], s.pick[:s.n+1]...)
		}
	}
}
