package draw

import (
	"cmp"
	"math"
	"slices"

	"shimwright/calc"
	"shimwright/dialog"
)

// lean is how far, in px, the line of travel is drawn from where it should be
// at a point that is to be moved.
const lean = 54.0

// drawParallel draws the slider's line of travel beside the blade: as it runs
// now, as it should run, and which point moves which way. The line now is the
// straight line nearest to "off against the move" at each point; with no move it
// lies on the line that it should have.
func drawParallel(s *scene, d dialog.Drawing) {
	const high = 560.0
	ps := slices.Clone(d.Points)
	slices.SortStableFunc(ps, rearFirst)
	p := newPlan(d.Hand, 500)
	p.ground(s, d, high)
	ys := spread(ps, p.top+70, p.bottom-70)
	x0 := p.sliderX + p.sliderW/2
	now := nearest(ys, ps)

	s.dashed(quiet, 4, pt{x0, p.top + 16}, pt{x0, p.bottom - 16})
	s.line(ink, 7, pt{x0 + now(p.top+16), p.top + 16}, pt{x0 + now(p.bottom-16), p.bottom - 16})
	s.centred(first(s.wrap(d.Words.Slider, style{small, false, quiet}, p.sliderW/2-2*lean, 1)),
		style{small, false, quiet}, p.sliderX+p.sliderW/4-lean/2, p.top+14)

	var cards []*card
	for i := 0; i < len(ps); {
		// The points of one station stand side by side, on the line and beyond.
		n := i
		for ; n < len(ps) && ys[n] == ys[i]; n++ {
			card := s.newListCard(ps[n], tag(n))
			card.along, card.angle = true, sideAngle(ps[n].Dir)
			cards = append(cards, card)
		}
		s.sideways(ps[i:n], i, pt{x0 + now(ys[i]), ys[i]}, away(d.Hand)*46)
		i = n
	}
	s.y += 12
	s.list(cards)
}

// sideways draws the tags of the points of one station, the first at c, and an
// arrow to each side that one of them moves to.
func (s *scene) sideways(ps []dialog.DrawPoint, index int, c pt, step float64) {
	left, right := c.x, c.x
	for i := range ps {
		x := c.x + step*float64(i)
		left, right = math.Min(left, x), math.Max(right, x)
		s.badge(tag(index+i), pt{x, c.y})
	}
	for _, p := range ps {
		switch {
		case p.Dir > 0:
			s.arrow(work, pt{left - 24 - 52, c.y}, math.Pi, 52, 16)
		case p.Dir < 0:
			s.arrow(work, pt{right + 24 + 52, c.y}, 0, 52, 16)
		}
	}
}

// sideAngle is the direction of a move to the left (+1) or to the right (-1).
func sideAngle(dir int) float64 {
	if dir > 0 {
		return math.Pi
	}
	return 0
}

// tag names a point between the drawing and the list below: A, B, C … so that
// it cannot be taken for the number of a support.
func tag(i int) string {
	t := string(rune('A' + i%26))
	if i >= 26 {
		t = "A" + t
	}
	return t
}

// newListCard measures a card across the whole width that refers to a number
// in the drawing.
func (s *scene) newListCard(p dialog.DrawPoint, tag string) *card {
	c := s.newCard(p, width-2*margin)
	c.tag = tag
	c.h = math.Max(c.textHeight(), c.iconHeight()) + 24
	return c
}

// away is the direction on the drawing from the blade to the slider.
func away(h calc.Hand) float64 {
	if h == calc.Right {
		return 1
	}
	return -1
}

// spread places points sorted from the rear between top and bottom, true to
// scale where numbers of 44 px can stand one above the other, evenly
// otherwise. Points of one station get one place.
func spread(ps []dialog.DrawPoint, top, bottom float64) []float64 {
	var xs []float64
	at := make([]int, len(ps))
	for i, p := range ps {
		if n := len(xs); n == 0 || xs[n-1]-p.X > same {
			xs = append(xs, p.X)
		}
		at[i] = len(xs) - 1
	}
	n := len(xs)
	places := make([]float64, n)
	if n == 1 {
		places[0] = (top + bottom) / 2
	}
	even := false
	for i := 0; n > 1 && i < n; i++ {
		places[i] = top + (xs[0]-xs[i])/(xs[0]-xs[n-1])*(bottom-top)
		even = even || i > 0 && places[i]-places[i-1] < 44
	}
	for i := 0; even && i < n; i++ {
		places[i] = top + float64(i)/float64(n-1)*(bottom-top)
	}
	out := make([]float64, len(ps))
	for i := range ps {
		out[i] = places[at[i]]
	}
	return out
}

// nearest returns the straight line, px to the right by px from the top, that
// is nearest to where each point is now: off to the side that its move undoes.
func nearest(ys []float64, ps []dialog.DrawPoint) func(float64) float64 {
	var n, sy, so, syy, syo float64
	for i, p := range ps {
		// A move to the left (+1) undoes a line that is too far to the right.
		off := lean * float64(cmp.Compare(p.Dir, 0))
		n++
		sy += ys[i]
		so += off
		syy += ys[i] * ys[i]
		syo += ys[i] * off
	}
	det := n*syy - sy*sy
	if det < 1 {
		return func(float64) float64 { return so / n }
	}
	slope := (n*syo - sy*so) / det
	return func(y float64) float64 { return so/n + slope*(y-sy/n) }
}
