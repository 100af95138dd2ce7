package virtualsaw

import (
	"math"
	"math/rand/v2"
)

// strip is what the fifth cut of a five-cut test takes off.
type strip struct {
	shape board
	edge  int // the fresh edge, from the end cut first to the end cut last
}

// kerfLine and keepLine are the two sides of the cut of a slider on the left:
// the blade travels along x at y = 0, the board is kept on the left.
func keepLine() halfPlane            { return halfPlane{point{0, 0}, point{1, 0}} }
func offLine(kerf float64) halfPlane { return halfPlane{point{0, -kerf}, point{-1, 0}} }

// fenceLine is the face of a crosscut fence whose far end leans to the rear by
// lean, the board behind it (fence at the front) or before it.
func fenceLine(lean float64, atRear bool) halfPlane {
	dir := point{math.Sin(lean), math.Cos(lean)}
	if atRear {
		return halfPlane{point{800, 0}, dir}
	}
	return halfPlane{point{0, 0}, point{-dir.x, -dir.y}}
}

// fiveCuts cuts a board of about that size, no corner of it square, four times
// round and takes a strip of about 20 mm with the fifth cut. seat is the
// standard deviation of the angle at which an edge comes to lie on the fence.
//
// The board is laid out for a slider on the left. For one on the right all of
// it happens in the mirror, where the same lean of the far end to the rear is
// the same error.
func (c *Crosscut) fiveCuts(size float64, r *rand.Rand) strip {
	b := board{{0, 0}, {size, 0}, {size, size}, {0, size}}
	for i := range b {
		b[i].x += uniform(r, -3, 3)
		b[i].y += uniform(r, -3, 3)
	}
	edge := 0
	for range 4 {
		laid := b.against(edge, fenceLine(c.Lean+c.seat*r.NormFloat64(), c.AtRear), 12+3*r.Float64())
		b, edge = laid.clip(keepLine())
	}
	kerf := 3.2
	laid := b.against(edge, fenceLine(c.Lean+c.seat*r.NormFloat64(), c.AtRear), kerf+17+6*r.Float64())
	s, fresh := laid.clip(offLine(kerf))
	return strip{s, fresh}
}

// widths returns the strip's width near the end cut first and near the end cut
// last, each a part of the length from its end, and the distance between the
// two places.
func (s strip) widths(part float64) (first, last, apart float64) {
	p, q := s.shape.edge(s.edge)
	return s.shape.width(s.edge, part), s.shape.width(s.edge, 1-part), (1 - 2*part) * math.Hypot(q.x-p.x, q.y-p.y)
}

// crossSection cuts a piece of that thickness across with a blade that leans
// by lean from upright, towards positive y as it goes up, and returns the y of
// the cut at the bottom and at the top of the part on the left. In this plane x
// of the board is y of the machine, and y is z.
func crossSection(thick, lean float64) (bottom, top float64) {
	piece := board{{-100, 0}, {300, 0}, {300, thick}, {-100, thick}}
	dir := point{math.Sin(lean), math.Cos(lean)}
	left, edge := piece.clip(halfPlane{point{0, 0}, point{-dir.x, -dir.y}})
	p, q := left.edge(edge)
	if p.y > q.y {
		p, q = q, p
	}
	return p.x, q.x
}

// flipGap returns the gap between two parts of one cut at 90° when the right
// one is rolled over and butted to the left one: positive when open at the top.
func flipGap(thick, lean float64) float64 {
	bottom, top := crossSection(thick, lean)
	// The rolled part's face is the mirror image of its own, top for bottom, so
	// the faces lean apart by twice the lean. Leaning towards +y as it goes up,
	// the left part's face opens upwards.
	return 2 * (top - bottom)
}

// corner returns the angle of the inside corner that two pieces make, each cut
// with the blade tilted from upright.
func corner(thick, tilt float64) float64 {
	bottom, top := crossSection(thick, tilt)
	edge := math.Atan2(thick, math.Abs(top-bottom)) // between face and cut
	return 2 * edge
}
