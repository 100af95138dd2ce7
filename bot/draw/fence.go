package draw

import (
	"cmp"
	"math"

	"shimwright/dialog"
)

// tipped is the angle, in radians, at which a lean is drawn, whatever its size.
const tipped = 0.12

// drawFence draws the crosscut fence from above with its lean exaggerated,
// where it turns and where it is moved.
func drawFence(s *scene, d dialog.Drawing) {
	const high = 520.0
	f := *d.Fence
	p := newPlan(d.Hand, 560)
	p.ground(s, d, high)
	out := away(d.Hand)
	y0 := p.top + high*0.68
	if f.AtRear {
		y0 = p.top + high*0.3
	}
	reach := math.Max(math.Abs(f.EndY), math.Max(math.Abs(f.PivotY), math.Abs(f.AdjustY)))
	if reach == 0 {
		reach = 1
	}
	// place is where a point of the fence so far from the blade lies.
	place := func(y float64) float64 { return p.bladeX + out*(22+math.Abs(y)/reach*(p.sliderW-70)) }
	pivot := pt{place(f.PivotY), y0}
	lean := tipped * direction(f.Lean)
	// on is the fence at px x: the far end leans to the rear when lean is positive.
	on := func(x float64) pt { return pt{x, y0 - (x-pivot.x)*out*math.Tan(lean)} }

	inner, outer := place(0), place(reach)+out*16
	s.dashed(quiet, 4, pt{inner, y0}, pt{outer, y0})
	s.bar(on(inner), on(outer), 13)
	s.pivot(pivot)
	adjust := on(place(f.AdjustY))
	s.adjuster(adjust)
	angle := math.Pi / 2 * direction(f.Move)
	if f.Move != 0 {
		s.arrow(work, polar(adjust, 24+58, angle), angle, 58, 18)
	}

	s.y += 12
	fenceList(s, f, angle)
}

// row writes lines across the whole width behind a sign, drawn by icon round
// its place; a move has a thick edge. Without a text there is no row.
func (s *scene) row(t string, st style, max int, icon func(c pt)) {
	const w, indent = width - 2*margin, 130.0
	lines := s.wrap(t, st, w-indent-14, max)
	if len(lines) == 0 {
		return
	}
	tall := float64(len(lines)) * st.size * lead
	h := math.Max(tall, 60) + 24
	colour, edge := faint, 2.0
	if st == moveStyle {
		colour, edge = work, 5
	}
	s.box(paper, colour, edge, margin+edge/2, s.y+edge/2, w-edge, h-edge, 12)
	icon(pt{margin + 60, s.y + h/2})
	s.lines(lines, st, margin+indent, s.y+(h-tall)/2+2)
	s.y += h + 10
}

// fenceList says what the signs on the fence are.
func fenceList(s *scene, f dialog.DrawFence, angle float64) {
	s.row(f.LeanText, readingStyle, 3, func(c pt) { s.leanSign(c, direction(f.Lean)) })
	s.row(f.Pivot, labelStyle, 2, s.pivot)
	s.row(f.Adjust, labelStyle, 2, s.adjuster)
	s.row(f.MoveText, moveStyle, 4, func(c pt) {
		if f.Move == 0 {
			s.adjuster(c)
			return
		}
		s.adjuster(pt{c.x - 26, c.y})
		s.shift(angle, pt{c.x + 26, c.y})
	})
}

// bar draws a straight part of that thickness.
func (s *scene) bar(a, b pt, thick float64) {
	s.line(ink, thick, a, b)
	s.line(steel, thick-6, a, b)
}

// pivot draws where a part turns.
func (s *scene) pivot(c pt) {
	s.disc(paper, c, 17)
	s.ring(ink, 4, c, 16)
	s.disc(ink, c, 6)
}

// adjuster draws where a part is moved.
func (s *scene) adjuster(c pt) {
	d := []pt{{c.x, c.y - 20}, {c.x + 20, c.y}, {c.x, c.y + 20}, {c.x - 20, c.y}}
	s.shape(paper, d...)
	s.outline(work, 5, d...)
}

// leanSign draws a leaning line beside a dashed one; no lean is one line.
func (s *scene) leanSign(c pt, dir float64) {
	s.dashed(quiet, 3, pt{c.x - 34, c.y + 12}, pt{c.x + 34, c.y + 12})
	s.line(ink, 5, pt{c.x - 34, c.y + 12}, pt{c.x + 34, c.y + 12 - dir*22})
}

// direction is the sign of v: -1, 0 or 1.
func direction(v float64) float64 { return float64(cmp.Compare(v, 0)) }
