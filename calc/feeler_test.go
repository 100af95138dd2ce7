package calc

import (
	"math"
	"math/bits"
	"testing"

	"pgregory.net/rapid"
)

// DIN 2275, the sets as they are commonly sold: from memory.
func TestFeelerSets(t *testing.T) {
	for n, want := range map[int][]Length{
		8:  {0.05, 0.10, 0.15, 0.20, 0.25, 0.30, 0.40, 0.50},
		13: {0.05, 0.10, 0.15, 0.20, 0.25, 0.30, 0.40, 0.50, 0.60, 0.70, 0.80, 0.90, 1.00},
		20: {.05, .1, .15, .2, .25, .3, .35, .4, .45, .5, .55, .6, .65, .7, .75, .8, .85, .9, .95, 1},
	} {
		set, err := FeelerSet(n)
		sane(t, err)
		if len(set) != len(want) {
			t.Fatalf("a set of %d has %d leaves", n, len(set))
		}
		for i := range set {
			within(t, "leaf", float64(set[i]), float64(want[i]), 1e-12)
		}
	}
	_, err := FeelerSet(9)
	refused(t, err, "leaves")
}

// Stacks found by hand from the DIN 2275 set of 8 and a common inch set.
func TestFeelerStack(t *testing.T) {
	eight, err := FeelerSet(8)
	sane(t, err)
	thou := []Length{1.5 * Thou, 2 * Thou, 3 * Thou, 4 * Thou, 6 * Thou, 8 * Thou, 10 * Thou, 12 * Thou}
	for _, c := range []struct {
		name      string
		leaves    []Length
		want, tol Length
		max       int
		stack     []Length
		ok        bool
	}{
		{"one leaf", eight, 0.20, 0.001, 3, []Length{0.20}, true},
		{"one leaf is enough", eight, 0.19, 0.02, 3, []Length{0.20}, true},
		{"two, thickest first", eight, 0.35, 0.001, 3, []Length{0.30, 0.05}, true},
		{"the closest of the fewest", eight, 0.19, 0.1, 3, []Length{0.20}, true},
		{"three", eight, 1.15, 0.001, 3, []Length{0.50, 0.40, 0.25}, true},
		{"each leaf once", []Length{0.1, 0.2}, 0.4, 0.001, 4, []Length{0.2, 0.1}, false},
		{"twice where there are two", []Length{0.2, 0.2}, 0.4, 0.001, 4, []Length{0.2, 0.2}, true},
		{"too few allowed", eight, 1.15, 0.001, 2, []Length{0.50, 0.40}, false},
		{"never more than four", eight, 1.90, 0.001, 8, []Length{0.50, 0.40, 0.30, 0.25}, false},
		{"thicker than all", eight, 5, 0.01, 2, []Length{0.50, 0.40}, false},
		{"thinner than all", eight, 0.02, 0.001, 3, nil, false},
		{"nothing wanted", eight, 0, 0.001, 3, nil, true},
		{"next to nothing wanted", eight, 0.004, 0.005, 3, nil, true},
		{"thousandths of an inch", thou, 11 * Thou, 0.1 * Thou, 3, []Length{8 * Thou, 3 * Thou}, true},
	} {
		stack, err := FeelerStack(c.leaves, c.want, c.tol, c.max)
		if c.ok {
			sane(t, err)
		} else {
			refused(t, err, "want")
		}
		if (err == nil) != c.ok || len(stack) != len(c.stack) {
			t.Errorf("%s: %v, %v; want %v", c.name, stack, err, c.stack)
			continue
		}
		for i := range stack {
			within(t, c.name, float64(stack[i]), float64(c.stack[i]), 1e-12)
		}
	}
	before := append([]Length(nil), thou...)
	_, err = FeelerStack(thou, 0.3, 0.01, 3)
	sane(t, err)
	for i := range thou {
		within(t, "the person's set afterwards", float64(thou[i]), float64(before[i]), 0)
	}
}

func TestFeelerStackRefuses(t *testing.T) {
	set := []Length{0.1}
	for _, v := range append(unusable, -1) {
		_, err := FeelerStack([]Length{0.1, Length(v)}, 0.1, 0.01, 1)
		refused(t, err, "leaves")
		_, err = FeelerStack(set, Length(v), 0.01, 1)
		refused(t, err, "want")
		_, err = FeelerStack(set, 0.1, Length(v), 1)
		refused(t, err, "tol")
	}
	_, err := FeelerStack(nil, 0.1, 0.01, 1)
	refused(t, err, "leaves")
	_, err = FeelerStack(make([]Length, MostLeaves+1), 0.1, 0.01, 1)
	refused(t, err, "leaves")
	_, err = FeelerStack([]Length{0}, 0.1, 0.01, 1)
	refused(t, err, "leaves")
	_, err = FeelerStack(set, 0.1, 0.01, 0)
	refused(t, err, "max")
}

// Against trying every subset of the set.
func TestFeelerStackAgainstAllSubsets(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 11).Draw(t, "leaves")
		leaves := make([]Length, n)
		for i := range leaves {
			leaves[i] = Length(rapid.IntRange(1, 100).Draw(t, "leaf")) / 100
		}
		want := Length(rapid.IntRange(0, 350).Draw(t, "want")) / 100
		tol := Length(rapid.IntRange(0, 5).Draw(t, "tol")) / 100
		most := rapid.IntRange(1, 4).Draw(t, "max")
		fewest, closest := 99, Length(math.Inf(1))
		for set := range 1 << n {
			var sum Length
			for i, l := range leaves {
				if set&(1<<i) != 0 {
					sum += l
				}
			}
			size, miss := bits.OnesCount(uint(set)), (sum - want).Abs()
			if size <= most && miss <= tol+1e-9 && (size < fewest || size == fewest && miss < closest) {
				fewest, closest = size, miss
			}
		}
		stack, err := FeelerStack(leaves, want, tol, most)
		if (err == nil) != (fewest < 99) {
			t.Fatalf("%v, %v; the fewest of all subsets are %d", stack, err, fewest)
		}
		var sum Length
		for _, l := range stack {
			sum += l
		}
		if err == nil && (len(stack) != fewest || (sum-want).Abs() > closest+1e-8) {
			t.Errorf("%v, but %d leaves come to within %v", stack, fewest, closest)
		}
		inInch := make([]Length, n)
		for i, l := range leaves {
			inInch[i] = l / 25.4
		}
		if other, err2 := FeelerStack(inInch, want/25.4, tol/25.4, most); (err == nil) != (err2 == nil) || err == nil && len(other) != len(stack) {
			t.Errorf("in another unit %v, %v after %v, %v", other, err2, stack, err)
		}
	})
}

func FuzzFeelerStack(f *testing.F) {
	f.Add(0.05, 0.1, 0.2, 0.35, 0.001, 3)
	f.Add(1e-300, 1e300, math.NaN(), math.Inf(1), 0.0, -1)
	f.Fuzz(func(t *testing.T, a, b, c, want, tol float64, most int) {
		stack, err := FeelerStack([]Length{Length(a), Length(b), Length(c)}, Length(want), Length(tol), most)
		sane(t, err, bare(stack)...)
		if len(stack) > 3 {
			t.Errorf("%v of three leaves", stack)
		}
		if s := FeelerStep([]Length{Length(a), Length(b), Length(c)}, Length(want)); math.IsNaN(float64(s)) && a < b && b < c {
			t.Errorf("a step of %v", s)
		}
		set, err := FeelerSet(most)
		sane(t, err, bare(set)...)
	})
}

// Two readings are as far apart as the leaves beside the one that is changed.
// Worked by hand on the DIN 2275 set of 13 and a common inch set.
func TestFeelerStep(t *testing.T) {
	mm, err := FeelerSet(13)
	sane(t, err)
	inches := lengths(1.5, 2, 3, 4, 5, 6, 7, 8, 9, 10, 12, 15, 18, 20, 25)
	for i := range inches {
		inches[i] *= Thou
	}
	for _, c := range []struct {
		set       []Length
		gap, want Length
	}{
		{mm, 0.20, 0.05}, // 0.15 … 0.25
		{mm, 0.30, 0.075},
		{mm, 0.35, 0.05},  // 0.30 + 0.05; without or with 0.10
		{mm, -0.13, 0.05}, // between 0.10 and 0.15
		{mm, 1.00, 0.075}, // 0.90 … 1.00 + 0.05
		{mm, 0.02, 0.05},
		{inches, 35 * Thou, 1.5 * Thou}, // 25 + 10; + 9, + 12
		{inches, 40 * Thou, 3 * Thou},   // 25 + 15; + 12, + 18
	} {
		within(t, "step", float64(FeelerStep(c.set, c.gap)), float64(c.want), 1e-9)
	}
}

// Nothing can be told from no leaves, leaves of no thickness or out of order, or a gap that is not
// finite; and a gap in kilometres is answered as fast as any.
func TestFeelerStepOfWhatCannotBeUsed(t *testing.T) {
	set := []Length{0.05, 0.1}
	for _, v := range unusable {
		if s := FeelerStep(set, Length(v)); !math.IsInf(float64(s), 1) {
			t.Errorf("gap of %v: %v", v, s)
		}
	}
	for _, leaves := range [][]Length{nil, {0, 0.1}, {-0.05, 0.1}, {Length(math.NaN()), 0.1}, {0.05, Length(math.NaN())},
		{0.1, 0.05}, {21.7625, 0.1, -67.8}} { // the last one never ended
		if s := FeelerStep(leaves, 0.35); !math.IsInf(float64(s), 1) {
			t.Errorf("leaves %v: %v", leaves, s)
		}
	}
	if s := FeelerStep(set, 1e15); !(s > 0 && s <= 0.1) {
		t.Errorf("a gap of 1e15 mm: %v", s)
	}
}
