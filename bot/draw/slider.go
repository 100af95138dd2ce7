package draw

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"shimwright/calc"
	"shimwright/dialog"
)

// station is the supports at one place along the slider, from the left, and
// how high they are drawn.
type station struct {
	cards []*card
	h     float64
}

// same is how far apart along the slider, in mm, two supports of one station
// may be.
const same = 25

// rearFirst orders points along the slider, leftFirst across it: y grows to
// the left.
func rearFirst(a, b dialog.DrawPoint) int { return cmp.Compare(b.X, a.X) }
func leftFirst(a, b dialog.DrawPoint) int { return cmp.Compare(b.Y, a.Y) }

// stations sorts the points into stations, the rearmost first.
func stations(points []dialog.DrawPoint) [][]dialog.DrawPoint {
	ps := slices.Clone(points)
	slices.SortStableFunc(ps, rearFirst)
	var out [][]dialog.DrawPoint
	for _, p := range ps {
		n := len(out)
		if n > 0 && len(out[n-1]) < 2 && math.Abs(out[n-1][0].X-p.X) <= same {
			out[n-1] = append(out[n-1], p)
			continue
		}
		out = append(out, []dialog.DrawPoint{p})
	}
	for _, st := range out {
		slices.SortStableFunc(st, leftFirst)
	}
	return out
}

// plan is the ground of a drawing from above: slider and main table side by
// side, rear at the top, with the operator at the bottom.
type plan struct {
	sliderX, sliderW float64
	tableX, tableW   float64
	bladeX           float64
	top, bottom      float64
}

// newPlan divides the width for a slider on that side.
func newPlan(hand calc.Hand, sliderW float64) plan {
	p := plan{sliderW: sliderW, tableW: width - 2*margin - sliderW - 10}
	p.sliderX, p.tableX = margin, width-margin-p.tableW
	p.bladeX = p.sliderX + p.sliderW + 5
	if hand == calc.Right {
		p.tableX, p.sliderX = margin, width-margin-p.sliderW
		p.bladeX = p.sliderX - 5
	}
	return p
}

// ground draws slider, table and blade from s.y on, high px high, with the words
// of orientation above and below, and leaves s.y below them.
func (p *plan) ground(s *scene, d dialog.Drawing, high float64) {
	word := style{small, false, quiet}
	middle := p.sliderX + p.sliderW/2
	s.orient(d.Words.Rear, middle, s.y, p.sliderW-60, true)
	s.y += 36
	p.top, p.bottom = s.y, s.y+high
	s.box(steel, quiet, 2, p.sliderX, p.top, p.sliderW, high, 14)
	// The main table is shorter than the slider.
	inset := math.Min(high*0.12, 90)
	s.box(iron, quiet, 2, p.tableX, p.top+inset, p.tableW, high-2*inset, 8)
	length := math.Min(high*0.42, 230)
	centre := (p.top + p.bottom) / 2
	s.blade(p.bladeX, centre-length/2, centre+length/2)
	half := (high - 2*inset) / 4
	s.beside(d.Words.Blade, word, p, centre-half, 2*half-12)
	s.beside(d.Words.Table, word, p, centre+half, 2*half-12)
	s.y = p.bottom + 10
	s.orient(d.Words.Front, middle, s.y, p.sliderW-60, false)
	s.operator(pt{p.tableX + p.tableW/2, s.y + 16})
	s.y += 34
	x := p.tableX + p.tableW/2
	o := first(s.wrap(d.Words.Operator, word, width-2*margin, 1))
	w := s.width(o, word)
	x = math.Max(margin+w/2, math.Min(width-margin-w/2, x))
	s.centred(o, word, x, s.y)
	s.y += small * lead
}

// orient writes rear or front, at most room wide, with a small arrow to that
// side.
func (s *scene) orient(t string, x, y, room float64, rear bool) {
	st := style{small, true, quiet}
	t = first(s.wrap(t, st, room, 1))
	w := s.width(t, st)
	s.text(t, st, x-w/2+14, y)
	tip, foot := y+2, y+small-2
	if !rear {
		tip, foot = foot, tip
	}
	ax := x - w/2 - 6
	s.shape(quiet, pt{ax, tip}, pt{ax - 9, foot}, pt{ax + 9, foot})
}

// beside writes a word on the main table about the height y, on one or more
// lines, or upright where a part of it is too wide for that and there is the
// room.
func (s *scene) beside(t string, st style, p *plan, y, room float64) {
	t = s.clean(t)
	x := p.tableX + p.tableW/2
	ls := s.wrap(t, st, p.tableW-14, 3)
	whole := strings.Join(ls, " ") == t
	if !whole && s.width(t, st) <= room {
		s.upright(t, st, pt{x, y})
		return
	}
	y -= float64(len(ls)) * st.size * lead / 2
	for _, l := range ls {
		s.centred(l, st, x, y)
		y += st.size * lead
	}
}

// drawSlider draws the slider from above, every support with its reading and
// its move, and what the arrows mean.
func drawSlider(s *scene, d dialog.Drawing) {
	const gap, pad = 8.0, 10.0
	p := newPlan(d.Hand, 600)
	rows := make([]station, 0, len(d.Points))
	high := pad
	for _, ps := range stations(d.Points) {
		w := (p.sliderW - 2*pad - gap) / 2
		if len(ps) == 1 {
			w = math.Min(p.sliderW-2*pad, 440)
		}
		var row station
		for _, q := range ps {
			c := s.newCard(q, w)
			row.cards = append(row.cards, c)
			row.h = math.Max(row.h, c.h)
		}
		rows = append(rows, row)
		high += row.h + pad
	}
	// A short slider still has room for the table's words beside it.
	spare := math.Max(0, 460-high) / float64(len(rows)+1)
	high += spare * float64(len(rows)+1)
	p.ground(s, d, high)
	below := s.y
	y := p.top + pad + spare
	for _, row := range rows {
		x := p.sliderX + pad
		if len(row.cards) == 1 {
			x = p.sliderX + (p.sliderW-row.cards[0].w)/2
		}
		for _, c := range row.cards {
			c.draw(s, x, y, row.h)
			x += c.w + gap
		}
		y += row.h + pad + spare
	}
	s.y = below
	liftLegend(s, d)
}

// liftLegend shows what the arrows of a level drawing mean: the slider from
// the side, before and after, beside the main table.
func liftLegend(s *scene, d dialog.Drawing) {
	up, down := false, false
	for _, p := range d.Points {
		up, down = up || p.Dir > 0, down || p.Dir < 0
	}
	for _, l := range []struct {
		used bool
		dir  int
	}{{up, 1}, {down, -1}} {
		if l.used {
			s.y += 12
			sideView(s, d, l.dir)
		}
	}
}

// sideView draws one arrow and what it does, seen from the side.
func sideView(s *scene, d dialog.Drawing, dir int) {
	const high = 96.0
	s.box(nil, faint, 2, margin, s.y, width-2*margin, high, 12)
	mid := s.y + high/2
	s.lift(dir, pt{margin + 49, mid})
	s.line(quiet, 4, pt{margin + 92, mid - 5}, pt{margin + 110, mid - 5})
	s.line(quiet, 4, pt{margin + 92, mid + 5}, pt{margin + 110, mid + 5})
	const block = 40.0
	x, w := margin+130, 262.0
	tx := x + w + 10
	if d.Hand == calc.Right {
		x, tx = tx, x
	}
	word := style{small, false, ink}
	s.box(iron, quiet, 2, tx, mid-block/2, w, block, 4)
	s.centred(first(s.wrap(d.Words.Table, word, w-12, 1)), word, tx+w/2, mid-small/2)
	y := mid - block/2 - float64(dir)*18
	s.box(steel, work, 3, x, y, w, block, 4)
	s.centred(first(s.wrap(d.Words.Slider, word, w-80, 1)), word, x+w/2, y+block/2-small/2)
	angle := math.Pi / 2 * float64(dir)
	for _, ax := range []float64{x + 22, x + w - 22} {
		s.arrow(work, polar(pt{ax, y + block/2}, 15, angle), angle, 30, 11)
	}
	s.y += high
}
