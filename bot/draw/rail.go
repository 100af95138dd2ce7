package draw

import (
	"cmp"
	"math"
	"slices"

	"shimwright/dialog"
)

// drawRail draws the rail of the rip fence along the table's front edge, from
// above. A Dir of +1 moves a fixing to the rear, -1 to the front, as the axes
// have it.
func drawRail(s *scene, d dialog.Drawing) {
	const high = 330.0
	ps := slices.Clone(d.Points)
	slices.SortStableFunc(ps, leftFirst)
	_, top := s.mainTable(d, high)
	left, w := margin, width-2*margin
	rail := top + high + 62
	tipLine := nearestRail(ps, left+50, left+w-50)
	s.dashed(quiet, 4, pt{left, rail}, pt{left + w, rail})
	s.bar(pt{left, rail + tipLine(left)}, pt{left + w, rail + tipLine(left+w)}, 16)
	xs := across(ps, left+50, left+w-50)
	var cards []*card
	for i, q := range ps {
		angle := math.Pi / 2 * float64(cmp.Compare(q.Dir, 0))
		c := pt{xs[i], rail + tipLine(xs[i])}
		if q.Dir != 0 {
			s.arrow(work, polar(c, 24+40, angle), angle, 40, 15)
		}
		s.badge(tag(i), c)
		card := s.newListCard(q, tag(i))
		card.along, card.angle = true, angle
		cards = append(cards, card)
	}
	s.y = rail + 100
	s.frontAndOperator(d)
	s.list(cards)
}

// mainTable draws the main table with its blade from above, and returns where
// the blade and the table's rear edge are.
func (s *scene) mainTable(d dialog.Drawing, high float64) (bladeX, top float64) {
	word := style{small, false, quiet}
	s.orient(d.Words.Rear, width/2, s.y, 400, true)
	s.y += 36
	top = s.y
	w := width - 2*margin
	s.box(iron, quiet, 2, margin, top, w, high, 8)
	// The rip fence works on the side away from the slider.
	bladeX = width/2 + away(d.Hand)*120
	s.blade(bladeX, top+70, top+230)
	s.text(first(s.wrap(d.Words.Blade, word, 200, 1)), word, bladeX+16, top+206)
	s.text(first(s.wrap(d.Words.Table, word, w-40, 1)), word, margin+16, top+14)
	return bladeX, top
}

// frontAndOperator says below a table which edge is the front, and who stands there.
func (s *scene) frontAndOperator(d dialog.Drawing) {
	word := style{small, false, quiet}
	s.orient(d.Words.Front, width/2, s.y, 200, false)
	s.operator(pt{width/2 + 150, s.y + 14})
	s.text(first(s.wrap(d.Words.Operator, word, 160, 1)), word, width/2+188, s.y)
	s.y += 44
}

// across places points sorted from the left between left and right: true to
// scale where numbers can stand side by side, evenly otherwise.
func across(ps []dialog.DrawPoint, left, right float64) []float64 {
	n := len(ps)
	out := make([]float64, n)
	if n == 1 {
		out[0] = (left + right) / 2
		return out
	}
	span := ps[0].Y - ps[n-1].Y
	even := span <= 0
	for i := 0; !even && i < n; i++ {
		out[i] = left + (ps[0].Y-ps[i].Y)/span*(right-left)
		even = i > 0 && out[i]-out[i-1] < 44
	}
	for i := 0; even && i < n; i++ {
		out[i] = left + float64(i)/float64(n-1)*(right-left)
	}
	return out
}

// nearestRail is where the rail lies now, px below where it should, by px from
// the left.
func nearestRail(ps []dialog.DrawPoint, left, right float64) func(float64) float64 {
	line := nearest(across(ps, left, right), ps)
	return func(x float64) float64 { return line(x) * 0.4 }
}
