package draw

import (
	"math"

	"shimwright/dialog"
)

// drawTilt draws the blade from the front, at the operator's eyes: where it
// should lean, dashed, and where it leans, exaggerated. Nominal is the tilt from
// upright.
func drawTilt(s *scene, d dialog.Drawing) {
	t := *d.Tilt
	const above, below = 330.0, 110.0
	side := 1.0 // to the right, clockwise as seen
	if t.Left {
		side = -1
	}
	top := s.y
	table := top + 30 + above
	// The blade passes the table where both of its drawings fit on the picture.
	x0 := width/2 - side*above*math.Sin(math.Abs(t.Nominal))/2
	foot := pt{x0, table}
	lean := t.Nominal + 1.1*tipped*direction(t.Error)
	along := func(angle, r float64) pt { return polar(foot, r, math.Pi/2-side*angle) }

	s.box(iron, quiet, 2, margin, table, width-2*margin, 44, 4)
	s.text(first(s.wrap(d.Words.Table, style{small, false, ink}, 240, 1)), style{small, false, ink}, margin+14, table+10)
	s.dashed(quiet, 4, along(t.Nominal, -below), along(t.Nominal, above))
	s.line(ink, 9, along(lean, -below), along(lean, above))
	// The tip of a tooth stands out a little on both sides.
	s.line(ink, 16, along(lean, above), along(lean, above-14))
	// The blade's name stands on the side where the dashed line is not.
	name := style{small, false, quiet}
	blade := first(s.wrap(d.Words.Blade, name, 200, 1))
	outer := side
	if t.Error < 0 {
		outer = -side
	}
	b := along(lean, above*0.4)
	b.x += outer * 20
	if outer < 0 {
		b.x -= s.width(blade, name)
	}
	s.text(blade, name, b.x, b.y-small/2)
	if t.Error != 0 {
		// The move undoes the error: a leaning blade is brought back.
		angle := math.Pi - side*lean
		if (side > 0) == (t.Error < 0) {
			angle = -side * lean
		}
		from := along(lean, above*0.8)
		s.arrow(work, polar(from, 14+70, angle), angle, 70, 18)
	}
	s.y = table + below + 24
	tiltList(s, t, side)
}

// tiltList says what was read and what to do.
func tiltList(s *scene, t dialog.DrawTilt, side float64) {
	off := side * direction(t.Error)
	s.row(t.Text, readingStyle, 3, func(c pt) {
		c.y += 25
		s.dashed(quiet, 3, c, pt{c.x, c.y - 52})
		s.line(ink, 5, c, pt{c.x + 22*off, c.y - 50})
	})
	s.row(t.Move, moveStyle, 4, func(c pt) {
		switch {
		case off > 0:
			s.shift(math.Pi, c)
		case off < 0:
			s.shift(0, c)
		}
	})
}
