package draw

import (
	"image/color"
	"math"
)

// polar is the place at distance r from c; the angle is anticlockwise as seen.
func polar(c pt, r, angle float64) pt {
	sin, cos := math.Sincos(angle)
	return pt{c.x + r*cos, c.y - r*sin}
}

// arrow draws a straight arrow with its point at tip, in the direction of
// angle (anticlockwise as seen, 0 to the right). The outline begins at the tip.
func (s *scene) arrow(c color.Color, tip pt, angle, length, thick float64) {
	headLength := math.Min(length, 1.9*thick)
	along := func(back, across float64) pt {
		p := polar(tip, -back, angle)
		return polar(p, across, angle+math.Pi/2)
	}
	s.shape(c, tip,
		along(headLength, 1.15*thick), along(headLength, thick/2), along(length, thick/2),
		along(length, -thick/2), along(headLength, -thick/2), along(headLength, -1.15*thick))
}

// lift draws the sign for raise (+1) or lower (-1), 52 px high, centred on c: an
// arrow that leaves a bar upwards, or downwards.
func (s *scene) lift(dir int, c pt) {
	const high = 52.0
	angle := math.Pi / 2
	if dir < 0 {
		angle = -angle
	}
	tip := polar(c, high/2, angle)
	s.arrow(work, tip, angle, high-10, 18)
	foot := polar(c, -high/2+2.5, angle)
	s.line(work, 5, pt{foot.x - 21, foot.y}, pt{foot.x + 21, foot.y})
}

// shift draws an arrow along the drawing, 56 px long, centred on c: an angle of 0
// is to the right, a quarter turn to the rear.
func (s *scene) shift(angle float64, c pt) {
	s.arrow(work, polar(c, 28, angle), angle, 56, 18)
}

// nutRadius is how far the sign of a nut reaches from its centre.
const nutRadius = 53.0

// nutDepth is how far it reaches below its centre: a turn of up to a quarter
// stays above.
func nutDepth(turns float64) float64 {
	if math.Abs(turns) > 0.25 {
		return nutRadius
	}
	return 26
}

// nut draws a nut seen from above with the sweep of a spanner from where it
// is to where it goes. Clock is +1 clockwise, -1 anticlockwise, 0 unknown or
// none; turns is the part of a turn.
func (s *scene) nut(c pt, turns float64, clock int) {
	var hex []pt
	for i := range 6 {
		hex = append(hex, polar(c, 19, float64(i)*math.Pi/3))
	}
	s.shape(paper, hex...)
	s.outline(ink, 3, hex...)
	s.ring(ink, 2.5, c, 9)
	if turns == 0 || clock == 0 {
		return
	}
	const r, from = 43.0, math.Pi / 2
	sweep := sweepOf(turns)
	if clock > 0 {
		sweep = -sweep
	}
	s.dashed(quiet, 3, polar(c, 21, from), polar(c, nutRadius, from))
	s.line(work, 6, polar(c, 20, from+sweep), polar(c, nutRadius, from+sweep))
	// The arrowhead's point lies on the spanner's new place.
	bite := math.Copysign(math.Min(0.42, math.Abs(sweep)), sweep)
	s.arc(work, 5, c, r, from, sweep-bite*0.6)
	s.shape(work, polar(c, r, from+sweep), polar(c, r+11, from+sweep-bite), polar(c, r-11, from+sweep-bite))
}

// sweepOf is the angle drawn for a part of a turn: true from a twelfth of a turn
// to seven eighths, and held there so that the arrow can be seen.
func sweepOf(turns float64) float64 {
	return 2 * math.Pi * math.Min(math.Max(math.Abs(turns), 1.0/12), 7.0/8)
}

// gauge draws where a reading lies against its window, 26 px wide: two lines
// are the window, the dot is below, inside or above it.
func (s *scene) gauge(sign int, c pt) {
	s.shape(steel, pt{c.x - 12, c.y - 8}, pt{c.x + 12, c.y - 8}, pt{c.x + 12, c.y + 8}, pt{c.x - 12, c.y + 8})
	s.line(quiet, 2.5, pt{c.x - 13, c.y - 8}, pt{c.x + 13, c.y - 8})
	s.line(quiet, 2.5, pt{c.x - 13, c.y + 8}, pt{c.x + 13, c.y + 8})
	switch {
	case sign == 0:
		s.disc(ink, c, 5)
	case sign > 0:
		s.disc(amiss, pt{c.x, c.y - 16}, 6)
	default:
		s.disc(amiss, pt{c.x, c.y + 16}, 6)
	}
}

// operator draws a person seen from above, centred on c, 56 px wide.
func (s *scene) operator(c pt) {
	s.box(quiet, nil, 0, c.x-28, c.y-9, 56, 20, 10)
	s.disc(paper, c, 13)
	s.disc(quiet, c, 10.5)
}

// badge draws a number in a disc.
func (s *scene) badge(n string, c pt) {
	s.disc(ink, c, 19)
	s.centred(n, style{small, true, paper}, c.x, c.y-small/2)
}

// blade draws a saw blade seen from above, as the line that it is.
func (s *scene) blade(x, top, bottom float64) {
	s.shape(ink, pt{x - 3.5, top}, pt{x + 3.5, top}, pt{x + 3.5, bottom}, pt{x - 3.5, bottom})
	for _, y := range []float64{top, bottom} {
		s.shape(ink, pt{x - 6, y - 5}, pt{x + 6, y - 5}, pt{x + 6, y + 5}, pt{x - 6, y + 5})
	}
}
