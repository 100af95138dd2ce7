package virtualsaw

import "math"

// point is a place on the table, seen from above.
type point struct{ x, y float64 }

// board is a convex piece of wood seen from above, its corners anticlockwise.
type board []point

// halfPlane is everything on the left of a directed line through at.
type halfPlane struct {
	at  point
	dir point // of unit length
}

// side returns how far p is on the left of the line.
func (h halfPlane) side(p point) float64 {
	return h.dir.x*(p.y-h.at.y) - h.dir.y*(p.x-h.at.x)
}

// clip returns the part of the board in the half plane (Sutherland and
// Hodgman), and the index of the edge that the line made; edge i runs from
// corner i to the next. The index is −1 where the line misses the board.
func (b board) clip(h halfPlane) (board, int) {
	var out board
	edge := -1
	for i, p := range b {
		q := b[(i+1)%len(b)]
		sp, sq := h.side(p), h.side(q)
		if sp >= 0 {
			out = append(out, p)
		}
		if (sp >= 0) != (sq >= 0) {
			t := sp / (sp - sq)
			cut := point{p.x + t*(q.x-p.x), p.y + t*(q.y-p.y)}
			out = append(out, cut)
			if sp >= 0 {
				edge = len(out) - 1 // from here along the line
			}
		}
	}
	if len(out) < 3 {
		return nil, -1
	}
	return out, edge
}

// edge returns the ends of an edge.
func (b board) edge(i int) (point, point) { return b[i], b[(i+1)%len(b)] }

// moved returns the board turned by an angle about the origin, then shifted.
func (b board) moved(angle, dx, dy float64) board {
	c, s := math.Cos(angle), math.Sin(angle)
	out := make(board, len(b))
	for i, p := range b {
		out[i] = point{c*p.x - s*p.y + dx, s*p.x + c*p.y + dy}
	}
	return out
}

// against returns the board laid with an edge along a line, the board on the
// left of it, and pushed along the line until it stands over y = 0 by past.
func (b board) against(edge int, line halfPlane, past float64) board {
	p, q := b.edge(edge)
	out := b.moved(math.Atan2(line.dir.y, line.dir.x)-math.Atan2(q.y-p.y, q.x-p.x), 0, 0)
	p, _ = out.edge(edge)
	out = out.moved(0, line.at.x-p.x, line.at.y-p.y)
	least := math.Inf(1)
	for _, c := range out {
		least = math.Min(least, c.y)
	}
	t := (-past - least) / line.dir.y
	return out.moved(0, t*line.dir.x, t*line.dir.y)
}

// width returns the distance of the board's outline from an edge, square to
// that edge, at a part of the edge's length.
func (b board) width(edge int, part float64) float64 {
	p, q := b.edge(edge)
	l := math.Hypot(q.x-p.x, q.y-p.y)
	dir := point{(q.x - p.x) / l, (q.y - p.y) / l}
	at := point{p.x + part*(q.x-p.x), p.y + part*(q.y-p.y)}
	across := halfPlane{at, point{-dir.y, dir.x}}
	most := 0.0
	for i := range b {
		u, v := b.edge(i)
		su, sv := across.side(u), across.side(v)
		if (su >= 0) == (sv >= 0) {
			continue
		}
		t := su / (su - sv)
		c := point{u.x + t*(v.x-u.x), u.y + t*(v.y-u.y)}
		most = math.Max(most, (c.x-at.x)*-dir.y+(c.y-at.y)*dir.x)
	}
	return most
}
