package draw

import (
	"cmp"
	"image/color"
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	vgdraw "gonum.org/v1/plot/vg/draw"

	"shimwright/dialog"
)

// A chart's numbers are those of the dialog's ChartOf; nothing is reckoned here
// but the unit.

// plotHigh is the height of a chart's axes and data, in px.
const plotHigh = 452.0

// drawChart draws the course of one characteristic over time: the tolerance as
// a shaded zone between two lines, what was found as rings and what was left as
// discs, each with its uncertainty, the fitted line between the two dashed lines
// of its prediction, and the next date.
func drawChart(s *scene, d dialog.Drawing) {
	c := newCourse(d.Chart)
	p := s.axes()
	c.zone(p)
	c.grid(p)
	c.forecast(p)
	c.visits(p)
	p.X.Min, p.X.Max = c.from, c.to // whatever is drawn beyond is cut off
	p.Y.Min, p.Y.Max = c.low, c.high
	p.X.Tick.Marker, p.Y.Tick.Marker = dates{c.start}, steps{cmp.Or(c.words.Point, ".")}
	s.text(c.scale.name, style{small, false, quiet}, margin, s.y)
	s.y += small*lead + 2
	top := s.y
	s.ops = append(s.ops, func(cv vg.Canvas) {
		p.Draw(vgdraw.Canvas{Canvas: cv, Rectangle: vg.Rectangle{
			Min: s.at(pt{margin, top + plotHigh}), Max: s.at(pt{s.w - margin, top}),
		}})
	})
	s.y += plotHigh + 10
	s.legend(c)
}

// axes returns an empty plot in the hand of a drawing.
func (s *scene) axes() *plot.Plot {
	p := plot.New()
	p.BackgroundColor = nil
	p.TextHandler = text.Plain{Fonts: font.NewCache(font.Collection{
		{Font: s.regular.Font, Face: s.regular.Face}, {Font: s.bold.Font, Face: s.bold.Face}})}
	for _, a := range []*plot.Axis{&p.X, &p.Y} {
		a.LineStyle = vgdraw.LineStyle{Color: quiet, Width: 2}
		a.Tick.LineStyle = a.LineStyle
		a.Tick.Length = 9
		a.Tick.Label.Font = s.face(style{size: small}).Font
		a.Tick.Label.Color = ink
		a.Tick.Label.Handler = p.TextHandler
		a.Padding = 0
	}
	return p
}

// zone shades the tolerance, between its limits or from one to the edge.
func (c *course) zone(p *plot.Plot) {
	if c.tolLow == nil && c.tolHigh == nil {
		return
	}
	low, high := c.low, c.high
	if c.tolLow != nil {
		low = *c.tolLow
	}
	if c.tolHigh != nil {
		high = *c.tolHigh
	}
	area, err := plotter.NewPolygon(plotter.XYs{{X: c.from, Y: low}, {X: c.to, Y: low}, {X: c.to, Y: high}, {X: c.from, Y: high}})
	if err != nil {
		panic(err) // the numbers were checked
	}
	area.Color = steel
	area.LineStyle.Width = 0
	p.Add(area)
}

// grid draws a thin line at each value that the axis names, then the limits of
// the tolerance.
func (c *course) grid(p *plot.Plot) {
	grid := plotter.NewGrid()
	grid.Vertical.Width = 0
	grid.Horizontal = vgdraw.LineStyle{Color: faint, Width: 1}
	p.Add(grid)
	for _, limit := range []*float64{c.tolLow, c.tolHigh} {
		if limit != nil {
			p.Add(stretch(plotter.XYs{{X: c.from, Y: *limit}, {X: c.to, Y: *limit}}, vgdraw.LineStyle{Color: work, Width: 3}))
		}
	}
}

// forecast draws the fitted line with its band, and the next date.
func (c *course) forecast(p *plot.Plot) {
	if len(c.middle) > 1 {
		dashes := []vg.Length{10, 8}
		p.Add(stretch(c.middle, vgdraw.LineStyle{Color: ink, Width: 2.5}))
		p.Add(stretch(c.lower, vgdraw.LineStyle{Color: ink, Width: 2, Dashes: dashes}))
		p.Add(stretch(c.upper, vgdraw.LineStyle{Color: ink, Width: 2, Dashes: dashes}))
	}
	if !math.IsNaN(c.next) {
		p.Add(stretch(plotter.XYs{{X: c.next, Y: c.low}, {X: c.next, Y: c.high}}, nextStyle()))
	}
}

func nextStyle() vgdraw.LineStyle {
	return vgdraw.LineStyle{Color: amiss, Width: 4, Dashes: []vg.Length{4, 8}}
}

// visits draws what was found and left, and the way from the one to the other.
func (c *course) visits(p *plot.Plot) {
	for _, v := range c.found.at {
		for _, w := range c.left.at {
			if v.visit == w.visit && v.X != w.X {
				p.Add(stretch(plotter.XYs{v.XY, w.XY}, vgdraw.LineStyle{Color: quiet, Width: 2}))
			}
		}
	}
	p.Add(c.found, c.left)
}

// stretch is a line of a style.
func stretch(points plotter.XYs, st vgdraw.LineStyle) *plotter.Line {
	return &plotter.Line{XYs: points, LineStyle: st}
}

// marks are values at dates with their uncertainty.
type marks struct {
	at   []mark
	ring bool // rings, not discs
}

type mark struct {
	plotter.XY
	u     float64
	visit int
	both  bool // found and left alike: a disc within a ring
}

// Plot draws the uncertainty bars and the marks; it is how plot.Plot asks for
// them.
func (m marks) Plot(c vgdraw.Canvas, p *plot.Plot) {
	x, y := p.Transforms(&c)
	st := vgdraw.LineStyle{Color: ink, Width: 2.5}
	for _, v := range m.at {
		at := vg.Point{X: x(v.X), Y: y(v.Y)}
		low, high := y(v.Y-v.u), y(v.Y+v.u)
		c.StrokeLine2(st, at.X, low, at.X, high)
		for _, end := range []vg.Length{low, high} {
			c.StrokeLine2(st, at.X-8, end, at.X+8, end)
		}
		if m.ring || v.both {
			ring(c, at)
		}
		if !m.ring {
			disc(c, at, v.both)
		}
	}
}

// ring is the sign for what was found.
func ring(c vg.Canvas, at vg.Point) {
	c.SetColor(paper)
	c.Fill(round(at, 10))
	stroke(c, ink, 3, nil, round(at, 10))
}

// disc is the sign for what was left; a small one fits into a ring.
func disc(c vg.Canvas, at vg.Point, small bool) {
	r := vg.Length(9)
	if small {
		r = 5
	}
	c.SetColor(ink)
	c.Fill(round(at, r))
}

func round(at vg.Point, r vg.Length) vg.Path {
	var p vg.Path
	p.Move(vg.Point{X: at.X + r, Y: at.Y})
	p.Arc(at, r, 0, 2*math.Pi)
	p.Close()
	return p
}

// legend explains the signs, in rows.
func (s *scene) legend(c *course) {
	const icon, gap = 48.0, 26.0
	st := style{small, false, ink}
	x := margin
	item := func(shown bool, words string, sign func(x, y float64)) {
		words = first(s.wrap(words, st, s.w-2*margin-icon, 1))
		if !shown || words == "" {
			return
		}
		if w := icon + s.width(words, st); x > margin && x+w > s.w-margin {
			x, s.y = margin, s.y+small*lead+8
		}
		sign(x, s.y+small/2)
		s.text(words, st, x+icon, s.y)
		x += icon + s.width(words, st) + gap
	}
	w := c.words
	item(c.anyFound, w.Found, func(x, y float64) {
		s.ops = append(s.ops, func(cv vg.Canvas) { ring(cv, s.at(pt{x + 20, y})) })
	})
	item(len(c.left.at) > 0, w.Left, func(x, y float64) {
		s.ops = append(s.ops, func(cv vg.Canvas) { disc(cv, s.at(pt{x + 20, y}), false) })
	})
	item(c.tolLow != nil || c.tolHigh != nil, w.Tolerance, func(x, y float64) {
		s.shape(steel, pt{x, y - 12}, pt{x + 40, y - 12}, pt{x + 40, y + 12}, pt{x, y + 12})
		s.line(work, 3, pt{x, y - 12}, pt{x + 40, y - 12})
		s.line(work, 3, pt{x, y + 12}, pt{x + 40, y + 12})
	})
	item(len(c.middle) > 1, w.Line, func(x, y float64) {
		s.line(ink, 2.5, pt{x, y}, pt{x + 40, y})
		for _, off := range []float64{-9, 9} {
			s.strokes(ink, 2, []vg.Length{10, 8}, pt{x, y + off}, pt{x + 40, y + off})
		}
	})
	item(!math.IsNaN(c.next), w.Next, func(x, y float64) {
		s.strokes(nextStyle().Color, 4, nextStyle().Dashes, pt{x + 20, y - 14}, pt{x + 20, y + 14})
	})
	s.y += small * lead
}

// strokes draws a line with dashes of its own.
func (s *scene) strokes(c color.Color, w float64, dashes []vg.Length, points ...pt) {
	s.ops = append(s.ops, func(cv vg.Canvas) { stroke(cv, c, w, dashes, s.path(false, points...)) })
}
