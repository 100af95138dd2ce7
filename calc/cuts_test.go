package calc

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

// A saw bench of the tests: boards are polygons that lie on the table, are laid
// against a fence, clipped at the blade and turned. Nothing here comes from the
// package.

type corner struct{ x, y float64 }

// bench of cuts: a fence in front of the board or behind it, the slider on the
// left of the blade (hand 1) or on the right (hand -1), its fence leaning by
// eps: the far end to the rear.
type cutter struct {
	eps   float64
	hand  float64
	front bool // the fence stands between the operator and the board
}

// lay moves a polygon (counter-clockwise) so that its edge k lies on the fence and
// the board hangs over the blade by the given amount.
func (c cutter) lay(p []corner, k int, over float64) []corner {
	u := corner{math.Sin(c.eps), c.hand * math.Cos(c.eps)} // along the fence, away from the blade
	// the interior is on the left of an edge's direction; it must be to the rear
	// of a front fence, to the front of a rear one
	dir := u
	if toRear := -u.y > 0; toRear != c.front {
		dir = corner{-u.x, -u.y}
	}
	a, b := p[k], p[(k+1)%len(p)]
	length := math.Hypot(b.x-a.x, b.y-a.y)
	e := corner{(b.x - a.x) / length, (b.y - a.y) / length}
	cos := e.x*dir.x + e.y*dir.y
	sin := e.x*dir.y - e.y*dir.x
	out := make([]corner, len(p))
	lowest := math.Inf(1)
	for i, v := range p {
		x, y := v.x-a.x, v.y-a.y
		out[i] = corner{x*cos - y*sin, x*sin + y*cos}
		lowest = math.Min(lowest, c.hand*out[i].y)
	}
	shift := (-over - lowest) / (c.hand * u.y) // along the fence
	for i := range out {
		out[i].x += shift * u.x
		out[i].y += shift * u.y
	}
	return out
}

// saw clips a polygon at the blade, the line y = 0, and returns what is kept, the
// index of its fresh edge, and what falls off.
func (c cutter) saw(p []corner) (kept []corner, fresh int, off []corner) {
	side := func(v corner) float64 { return c.hand * v.y }
	for i, v := range p {
		w := p[(i+1)%len(p)]
		if side(v) >= 0 {
			kept = append(kept, v)
		} else {
			off = append(off, v)
		}
		if (side(v) >= 0) != (side(w) >= 0) {
			t := v.y / (v.y - w.y)
			cut := corner{v.x + t*(w.x-v.x), 0}
			if side(v) >= 0 { // leaving the kept part: the fresh edge begins here
				fresh = len(kept)
			}
			kept, off = append(kept, cut), append(off, cut)
		}
	}
	return kept, fresh, off
}

// fiveCuts cuts a board five times, turning it so that the fresh edge lies on
// the fence, and returns the caliper's widths of the last strip: a near the end
// that the blade met first (the rear, for the work travels to the rear), b near
// the other, and the distance between.
func (c cutter) fiveCuts(board []corner) (a, b, l float64) {
	edge := 0
	var off []corner
	for cut := range 5 {
		over := 40.0
		if cut == 4 {
			over = 20
		}
		board = c.lay(board, edge, over)
		board, edge, off = c.saw(board)
	}
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, v := range off {
		lo, hi = math.Min(lo, v.x), math.Max(hi, v.x)
	}
	const inset = 15
	return width(off, hi-inset), width(off, lo+inset), hi - lo - 2*inset
}

// width is the extent of a polygon across the blade at x.
func width(p []corner, x float64) float64 {
	lo, hi := math.Inf(1), math.Inf(-1)
	for i, v := range p {
		w := p[(i+1)%len(p)]
		if (v.x-x)*(w.x-x) <= 0 && v.x != w.x {
			y := v.y + (x-v.x)/(w.x-v.x)*(w.y-v.y)
			lo, hi = math.Min(lo, y), math.Max(hi, y)
		}
	}
	return hi - lo
}

// crooked is a board that is anything but square.
func crooked(r *rand.Rand) []corner {
	w, h := 500+300*r.Float64(), 500+300*r.Float64()
	j := func() float64 { return 12 * (2*r.Float64() - 1) }
	return []corner{{j(), j()}, {w + j(), j()}, {w + j(), h + j()}, {j(), h + j()}}
}

// Five cuts of crooked boards give the fence's error back with its sign, for
// both places of the fence and both hands. First principles replace a source:
// the polygons know nothing of the formula.
func TestFiveCutOnCrookedBoards(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 5))
	for _, hand := range []float64{1, -1} {
		for _, front := range []bool{true, false} {
			for range 50 {
				c := cutter{eps: 2e-3 * (2*r.Float64() - 1), hand: hand, front: front}
				a, b, l := c.fiveCuts(crooked(r))
				e, err := FiveCut(Length(a), Length(b), Length(l), Rectangular(0.005))
				if err != nil {
					t.Fatal(err)
				}
				within(t, fmt.Sprintf("hand %g, front %v: eps", hand, front), e.Value, c.eps, 1e-8)
			}
		}
	}
}

// The correction closes the loop: the fence turned about its pivot by the move
// advised at its adjuster cuts square, with the pivot at either end.
func TestFenceMoveMakesTheNextBoardSquare(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 6))
	for _, hand := range []float64{1, -1} {
		for _, ends := range [][2]float64{{1000, 60}, {60, 1000}, {900, 400}} {
			c := cutter{eps: 1.5e-3 * (2*r.Float64() - 1), hand: hand, front: true}
			a, b, l := c.fiveCuts(crooked(r))
			e, err := FiveCut(Length(a), Length(b), Length(l), Rectangular(0.005))
			if err != nil {
				t.Fatal(err)
			}
			adjuster, pivot := hand*ends[0], hand*ends[1]
			move, err := FenceMove(Angle(e.Value), Length(adjuster), Length(pivot))
			if err != nil {
				t.Fatal(err)
			}
			// the fence through the pivot and through where the adjuster now is
			x := (math.Abs(adjuster)-math.Abs(pivot))*math.Tan(c.eps) + float64(move)
			after := cutter{eps: math.Atan2(x, math.Abs(adjuster)-math.Abs(pivot)), hand: hand, front: true}
			if ends[0] < ends[1] {
				after.eps = math.Atan(x / (math.Abs(adjuster) - math.Abs(pivot)))
			}
			a, b, _ = after.fiveCuts(crooked(r))
			within(t, fmt.Sprintf("hand %g, adjuster %g, pivot %g: taper left", hand, adjuster, pivot), a-b, 0, 1e-4)
		}
	}
}

// Worked examples (derived by an independent polygon script, no published
// source). They name the strip's ends after the fence: with a front fence the end
// at the fence is cut last, so that here the two change places and ε its sign.
func TestFiveCutWorkedExamples(t *testing.T) {
	for _, c := range []struct {
		fence, far, l Length // widths at the fence and at the far end
		keeper        float64
		perMetre      float64 // mm
		degrees       float64
		r, move       Length
	}{
		{25.60, 25.20, 400, 2.5000e-4, 0.250, 0.0143239, 760, 0.190},
		{19.05, 19.30, 610, -1.02459e-4, 0.10246, -0.0058705, 760, 0.0779},
		{1.006 * Inch, 0.998 * Inch, 24 * Inch, 8.3333e-5, 0.083333, 0.0047746, 30 * Inch, 0.0025 * Inch},
	} {
		// obtuse at the fence: the far end of a front fence leans to the front
		e, err := FiveCut(c.far, c.fence, c.l, Rectangular(0.005))
		if err != nil {
			t.Fatal(err)
		}
		within(t, "eps", -e.Value, c.keeper, 1e-9)
		within(t, "degrees", -Angle(e.Value).Degrees(), c.degrees, 6e-8)
		move, err := FenceMove(Angle(e.Value), c.r, 0)
		if err != nil {
			t.Fatal(err)
		}
		within(t, "adjuster", math.Abs(float64(move)), float64(c.move), 5e-5)
		if (move > 0) != (c.keeper > 0) {
			t.Errorf("a corner of 90° + %g is closed by a move of %g", c.keeper, move)
		}
		s, err := Express(Angle(e.Value), 1000)
		if err != nil {
			t.Fatal(err)
		}
		within(t, "over a metre", math.Abs(float64(s.PerMetre)), c.perMetre, 5e-6)
	}
}

// Common practice, no source: 0.006 in of A − B on a board 20 in square, 80 in
// round, is 0.006/80 = 0.000075 rad or 0.0043°, and 0.0009 in over a foot.
func TestFiveCutAsTheTradeSaysIt(t *testing.T) {
	e, err := FiveCut(1.006*Inch, 1.000*Inch, 20*Inch, Rectangular(0.01))
	if err != nil {
		t.Fatal(err)
	}
	within(t, "eps", e.Value, 0.000075, 1e-11)
	within(t, "degrees", Angle(e.Value).Degrees(), 0.0043, 5e-5)
	s, err := Express(Angle(e.Value), 20*Inch)
	if err != nil {
		t.Fatal(err)
	}
	within(t, "round the board, in", s.Perimeter.Inches(), 0.006, 1e-8)
	within(t, "over a foot, in", s.PerFoot.Inches(), 0.0009, 1e-8)
	within(t, "over the board, in", s.Over.Inches(), 0.0015, 1e-8)
	within(t, "a metre is as a foot", float64(s.PerMetre), float64(s.PerFoot)/0.3048, 1e-12)
	// u(eps) = √2·u/(4L): 0.01 mm normal over 400 mm is 8.84e-6 rad (derived)
	e, _ = FiveCut(25, 25, 400, Normal(0.01, ManyDoF))
	within(t, "u(eps)", e.U/1.959964, 8.84e-6, 1e-8)
}

// What an error does to a panel, against the panel itself: both ends cut with the
// fence's error by the polygons.
func TestPanelAgainstPolygons(t *testing.T) {
	const eps, w, l = 1.2e-3, 400.0, 900.0
	e, err := Panel(eps, w, l)
	if err != nil {
		t.Fatal(err)
	}
	lean := w * math.Tan(eps)
	// opposite edges on the fence: both ends lean alike, a parallelogram
	p := []corner{{0, 0}, {l, 0}, {l + lean, w}, {lean, w}}
	within(t, "diagonals", float64(e.Diagonals), distance(p[0], p[2])-distance(p[1], p[3]), 1e-9)
	// one edge on the fence, turned over: a trapezium
	p = []corner{{0, 0}, {l, 0}, {l - lean, w}, {lean, w}}
	within(t, "length", float64(e.Length), distance(p[0], p[1])-distance(p[2], p[3]), 1e-9)
	within(t, "end", float64(e.End), lean, 1e-12)
	if e2, _ := Panel(-eps, w, l); e2 != e {
		t.Errorf("an error to the other side does %v, want %v", e2, e)
	}
}

func distance(a, b corner) float64 { return math.Hypot(b.x-a.x, b.y-a.y) }

func TestCrosscutRefusesWhatItCannotUse(t *testing.T) {
	nan, inf := Length(math.NaN()), Length(math.Inf(1))
	r := Rectangular(0.005)
	for _, c := range []struct {
		input   string
		a, b, l Length
		parts   []Component
	}{
		{"a", nan, 20, 400, []Component{r}}, {"a", 0, 20, 400, []Component{r}}, {"b", 20, -1, 400, []Component{r}},
		{"b", 20, inf, 400, []Component{r}}, {"l", 20, 20, 0, []Component{r}}, {"l", 20, 20, nan, []Component{r}},
		{"a", 900, 20, 400, []Component{r}}, {"reading", 20, 20, 400, nil}, {"reading", 20, 20, 400, []Component{Normal(-1, 1)}},
	} {
		_, err := FiveCut(c.a, c.b, c.l, c.parts...)
		refused(t, err, c.input)
	}
	for _, c := range []struct {
		input           string
		eps             Angle
		adjuster, pivot Length
	}{
		{"eps", Angle(math.NaN()), 900, 0}, {"eps", 1, 900, 0}, {"yAdjuster", 0.001, nan, 0}, {"yPivot", 0.001, 900, inf},
		{"yPivot", 0.001, 900, 900}, {"yPivot", 0.001, 900, -100},
	} {
		_, err := FenceMove(c.eps, c.adjuster, c.pivot)
		refused(t, err, c.input)
	}
	for _, v := range []Length{0, -1, nan, inf} {
		_, err := Express(0.001, v)
		refused(t, err, "over")
		_, err = Panel(0.001, v, 500)
		refused(t, err, "width")
		_, err = Panel(0.001, 500, v)
		refused(t, err, "length")
	}
	_, err := Express(Angle(math.Inf(1)), 500)
	refused(t, err, "eps")
	_, err = Panel(0.5, 500, 500)
	refused(t, err, "eps")
}
