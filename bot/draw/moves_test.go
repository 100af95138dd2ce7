package draw

import (
	"math"
	"strings"
	"testing"

	"shimwright/calc"
	"shimwright/dialog"
)

var (
	up    = pt{0, -1}
	down  = pt{0, 1}
	left  = pt{-1, 0}
	right = pt{1, 0}
)

// TestArrows checks what every move looks like: the directions of all straight
// arrows of a drawing with one move.
func TestArrows(t *testing.T) {
	point := func(kind string, hand calc.Hand, dir int) dialog.Drawing {
		y := float64(hand.Mirror(200))
		return dialog.Drawing{Kind: kind, Hand: hand, Words: english, Points: []dialog.DrawPoint{
			{Label: "one", X: 0, Y: y, Dir: dir, Move: "so"}, {Label: "two", X: 900, Y: 2 * y}}}
	}
	one := func(kind string, hand calc.Hand, dir int) dialog.Drawing {
		d := point(kind, hand, dir)
		d.Points = d.Points[:1]
		return d
	}
	fenced := func(hand calc.Hand, move float64) dialog.Drawing {
		d := fence(hand, false, 0)
		d.Fence.Move = move
		return d
	}
	for _, hand := range []calc.Hand{calc.Left, calc.Right} {
		for name, c := range map[string]struct {
			d    dialog.Drawing
			want pt
			n    int
		}{
			// A level drawing repeats the sign in its legend, where two more
			// arrows show the slider itself.
			"raise":            {point(KindSlider, hand, 1), up, 4},
			"lower":            {point(KindSlider, hand, -1), down, 4},
			"leave":            {point(KindSlider, hand, 0), up, 0},
			"to the left":      {point(KindParallel, hand, 1), left, 2},
			"to the right":     {point(KindParallel, hand, -1), right, 2},
			"rail to the rear": {point(KindRail, hand, 1), up, 2},
			"rail to front":    {point(KindRail, hand, -1), down, 2},
			"head to the left": {one(KindRipFence, hand, 1), left, 2},
			"head to right":    {one(KindRipFence, hand, -1), right, 2},
			"fence to rear":    {fenced(hand, 0.4), up, 2},
			"fence to front":   {fenced(hand, -0.4), down, 2},
			"fence stays":      {fenced(hand, 0), up, 0},
		} {
			got := read(t, c.d).arrows()
			if len(got) != c.n {
				t.Errorf("hand %d, %s: %d arrows, want %d", hand, name, len(got), c.n)
			}
			for _, a := range got {
				if !closeTo(a, c.want) {
					t.Errorf("hand %d, %s: an arrow points to %v, want %v", hand, name, a, c.want)
				}
			}
		}
	}
}

// TestTiltArrows checks that the arrow brings the blade back to where it
// should be: a blade that leans too far to the left goes to the right.
func TestTiltArrows(t *testing.T) {
	for _, c := range []struct {
		left bool
		err  float64
		want float64 // sign of the arrow's x
	}{{true, 0.002, 1}, {true, -0.002, -1}, {false, 0.002, -1}, {false, -0.002, 1}} {
		for _, nominal := range []float64{0, math.Pi / 4} {
			got := read(t, tilt(nominal, c.err, c.left)).arrows()
			if len(got) != 2 {
				t.Fatalf("%d arrows, want 2", len(got))
			}
			for _, a := range got {
				if a.x*c.want <= 0 {
					t.Errorf("left %v, error %g, nominal %g: an arrow points to %v", c.left, c.err, nominal, a)
				}
			}
		}
	}
}

// TestTurn checks the way that the turning arrow runs. In an SVG path the
// sweep flag 1 is clockwise as seen; the drawing's group is mirrored top to
// bottom, which makes it 0 (SVG 2, 9.3.8, elliptical arc commands).
func TestTurn(t *testing.T) {
	for _, hand := range []calc.Hand{calc.Left, calc.Right} {
		for clock, want := range map[int]string{1: " 0 0 0 ", -1: " 0 0 1 "} {
			d := dialog.Drawing{Kind: KindSlider, Hand: hand, Words: english,
				Points: []dialog.DrawPoint{{Label: "one", Y: 100, Dir: 1, Turns: 0.125, Clock: clock}}}
			n := 0
			for _, p := range read(t, d).paths {
				if strings.Contains(p.d, "A43,43") {
					n++
					if !strings.Contains(p.d, want) {
						t.Errorf("hand %d, clock %d: %s has no flags %q", hand, clock, p.d, want)
					}
				}
			}
			if n != 1 {
				t.Errorf("%d turning arrows, want 1", n)
			}
		}
	}
	for turns, degrees := range map[float64]float64{0.125: 45, -0.125: 45, 0.25: 90, 0.5: 180, 0.01: 30, 3: 315} {
		if got := sweepOf(turns) * 180 / math.Pi; math.Abs(got-degrees) > 1e-9 {
			t.Errorf("%g of a turn is drawn as %g°, want %g°", turns, got, degrees)
		}
	}
}

// TestSides checks that what is on the machine's left is on the left, what is
// at its rear is at the top, for both hands.
func TestSides(t *testing.T) {
	for _, hand := range []calc.Hand{calc.Left, calc.Right} {
		p := read(t, level(hand, 3, 2))
		outer, inner := p.find(t, "support 1,"), p.find(t, "support 2,")
		rear := p.find(t, "support 6,")
		blade := p.find(t, "blade").x
		if hand == calc.Left && !(outer.x < inner.x && inner.x < blade) {
			t.Errorf("left: outer %g, blade side %g, blade %g", outer.x, inner.x, blade)
		}
		if hand == calc.Right && !(blade < inner.x && inner.x < outer.x) {
			t.Errorf("right: blade %g, blade side %g, outer %g", blade, inner.x, outer.x)
		}
		if rear.y >= inner.y {
			t.Errorf("the rear support stands at %g, below the front one at %g", rear.y, inner.y)
		}
	}
}

// TestLean checks the way that the fence is drawn: a far end that leans to the
// rear is higher than the end near the blade, on both hands.
func TestLean(t *testing.T) {
	for _, hand := range []calc.Hand{calc.Left, calc.Right} {
		for _, lean := range []float64{0.0005, -0.0005, 0} {
			var bar []pt
			for _, p := range read(t, fence(hand, false, lean)).paths {
				if strings.Contains(p.style, "stroke-width:13") {
					bar = p.points
				}
			}
			if len(bar) != 2 {
				t.Fatalf("the fence has %d ends", len(bar))
			}
			near, far := bar[0], bar[1]
			if (hand == calc.Left) != (far.x < near.x) {
				t.Errorf("hand %d: the far end is at %g, the near one at %g", hand, far.x, near.x)
			}
			if got := near.y - far.y; direction(math.Round(got)) != direction(lean) {
				t.Errorf("hand %d, lean %g: the far end is %g px nearer to the rear", hand, lean, got)
			}
		}
	}
}

// TestTravel checks the line of travel: a rear end that is to go left lies to
// the right of the line that it should have, beside the blade on both hands.
func TestTravel(t *testing.T) {
	for _, hand := range []calc.Hand{calc.Left, calc.Right} {
		var now, should []pt
		for _, p := range read(t, sideways(hand)).paths {
			switch {
			case strings.Contains(p.style, "stroke-width:7"):
				now = p.points
			case strings.Contains(p.style, "stroke-dasharray:16,12") && len(p.points) == 2:
				should = p.points
			}
		}
		if len(now) != 2 || len(should) != 2 {
			t.Fatalf("lines of %d and %d points", len(now), len(should))
		}
		if now[0].x <= should[0].x+20 || math.Abs(now[1].x-should[1].x) > 20 {
			t.Errorf("hand %d: now %v, should be %v", hand, now, should)
		}
	}
}
