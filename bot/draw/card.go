package draw

import (
	"math"
	"unicode/utf8"

	"shimwright/dialog"
)

// iconColumn is the width that the signs of a card take.
const iconColumn = 102.0

// card is a place with what was read there and what to do there.
type card struct {
	p        dialog.DrawPoint
	tag      string // a number that the drawing above refers to; "" draws the nut in its place
	angle    float64
	along    bool // the move is along the drawing, in the direction of angle
	moves    bool
	style    style // of the label: a mere number is written larger
	label    []string
	reading  []string
	move     []string
	w, h     float64
	textLeft float64
}

var (
	labelStyle   = style{body, false, ink}
	numberStyle  = style{head, true, ink}
	readingStyle = style{strong, true, ink}
	moveStyle    = style{strong, true, work}
)

// newCard measures a card of the width w.
func (s *scene) newCard(p dialog.DrawPoint, w float64) *card {
	c := &card{p: p, w: w, textLeft: iconColumn, moves: p.Dir != 0}
	room := w - c.textLeft - 10
	c.style = labelStyle
	if utf8.RuneCountInString(p.Label) <= 3 {
		c.style = numberStyle
	}
	c.label = s.wrap(p.Label, c.style, room, 4)
	c.reading = s.wrap(p.Reading, readingStyle, room-32, 3)
	c.move = s.wrap(p.Move, moveStyle, room, 4)
	c.h = math.Max(c.textHeight(), c.iconHeight()) + 24
	return c
}

func (c *card) textHeight() float64 {
	h := float64(len(c.label)) * c.style.size * lead
	if n := len(c.reading); n > 0 {
		h += 6 + math.Max(float64(n)*strong*lead, 44)
	}
	if n := len(c.move); n > 0 {
		h += 9 + float64(n)*strong*lead
	}
	return h
}

func (c *card) iconHeight() float64 {
	h := c.nutHeight()
	if c.tag != "" {
		h += 40
		if c.turns() {
			h += 10
		}
	}
	if c.moves {
		h += 62
	}
	return h
}

// nutHeight is the room that the nut and its turn take; a card with a tag
// shows the nut only where it is turned.
func (c *card) nutHeight() float64 {
	switch {
	case c.turns():
		return nutRadius + nutDepth(c.p.Turns)
	case c.tag != "":
		return 0
	}
	return 40
}

func (c *card) turns() bool { return c.p.Turns != 0 && c.p.Clock != 0 }

// draw draws the card with its left top corner at x, y, as high as h.
func (c *card) draw(s *scene, x, y, h float64) {
	edge, thick := faint, 2.0
	if c.moves {
		edge, thick = work, 5
	}
	s.box(paper, edge, thick, x+thick/2, y+thick/2, c.w-thick, h-thick, 12)
	c.icons(s, x+iconColumn/2, y+(h-c.iconHeight())/2)
	c.words(s, x+c.textLeft, y+(h-c.textHeight())/2)
}

func (c *card) icons(s *scene, x, y float64) {
	if c.tag != "" {
		s.badge(c.tag, pt{x, y + 20})
		y += 40
		if c.turns() {
			y += 10
		}
	}
	if h := c.nutHeight(); h > 0 {
		centre := y + h/2
		if c.turns() {
			centre = y + nutRadius
		}
		s.nut(pt{x, centre}, c.p.Turns, c.p.Clock)
		y += h
	}
	switch {
	case !c.moves:
	case c.along:
		s.shift(c.angle, pt{x, y + 34})
	default:
		s.lift(c.p.Dir, pt{x, y + 34})
	}
}

func (c *card) words(s *scene, x, y float64) {
	y = s.lines(c.label, c.style, x, y)
	if n := len(c.reading); n > 0 {
		y += 6
		high := math.Max(float64(n)*strong*lead, 44)
		s.gauge(c.p.Sign, pt{x + 13, y + high/2})
		s.lines(c.reading, readingStyle, x+32, y+(high-float64(n)*strong*lead)/2+2)
		y += high
	}
	if len(c.move) > 0 {
		s.lines(c.move, moveStyle, x, y+9)
	}
}

// list draws cards one below the other across the whole width.
func (s *scene) list(cards []*card) {
	for _, c := range cards {
		c.draw(s, margin, s.y, c.h)
		s.y += c.h + 10
	}
}
