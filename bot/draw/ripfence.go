package draw

import (
	"cmp"

	"shimwright/dialog"
)

// drawRipFence draws the rip fence beside the blade, from above: how it stands
// now, exaggerated, and how it should, turning at its head by the front edge. A
// Dir of +1 moves its rear end to the left, -1 to the right, as the axes have it.
func drawRipFence(s *scene, d dialog.Drawing) {
	const high = 330.0
	q := d.Points[0]
	bladeX, top := s.mainTable(d, high)
	// It stands on the side away from the slider.
	x := bladeX - away(d.Hand)*210
	rear, head := pt{x, top + 60}, pt{x, top + high + 26}
	now := pt{x + lean*float64(cmp.Compare(q.Dir, 0)), rear.y} // the move undoes it
	s.dashed(quiet, 4, rear, head)
	s.bar(now, head, 16)
	s.pivot(head)
	s.sideways(d.Points, 0, now, 0)

	s.y = head.y + 40
	s.frontAndOperator(d)
	c := s.newListCard(q, tag(0))
	c.along, c.angle = true, sideAngle(q.Dir)
	s.list([]*card{c})
}
