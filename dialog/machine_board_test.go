package dialog_test

import (
	"math"
	"math/cmplx"
)

// board is a strip as it was cut off, seen from above.
type board struct {
	widths [2]float64 // at the end that the blade met first, and last
	long   float64
}

func (b board) width(i int) float64 { return b.widths[i] }

// fiveCuts cuts a board four times round and a strip off it, each time turned so
// that the fresh edge lies on the fence. Points are complex numbers: x forward,
// y the distance from the blade on the slider's side.
func (m *machine) fiveCuts() board {
	along := cmplx.Rect(1, math.Pi/2-m.fence) // the fence, outwards: its far end leans to the rear
	poly := []complex128{0, 420, complex(420, 420), complex(0, 420)}
	fresh := 3 // the edge from poly[3] to poly[0] lies on the fence first
	var strip board
	for n := range 5 {
		poly = m.lay(poly, fresh, along)
		trim := 5.0
		if n == 4 {
			trim = 20
		}
		// Push the board along the fence until the blade takes trim off it.
		low := math.Inf(1)
		for _, p := range poly {
			low = math.Min(low, imag(p))
		}
		shift := along * complex((-trim-low)/imag(along), 0)
		for i := range poly {
			poly[i] += shift
		}
		keep, off := split(poly)
		if n == 4 {
			strip = measured(off)
		}
		poly = keep
		fresh = freshEdge(poly)
	}
	return strip
}

// lay moves a polygon so that one edge lies on the fence, the board on its side:
// before the fence where it stands at the front, behind it where at the rear.
func (m *machine) lay(poly []complex128, edge int, along complex128) []complex128 {
	n := len(poly)
	a, b := poly[edge], poly[(edge+1)%n]
	var inside complex128
	for _, p := range poly {
		inside += p / complex(float64(n), 0)
	}
	to := along
	turn := to / ((b - a) / complex(cmplx.Abs(b-a), 0))
	turn /= complex(cmplx.Abs(turn), 0)
	// The board has to lie towards +x of a fence at the front.
	at := (inside - a) * turn
	ahead := real(at)*imag(to)-imag(at)*real(to) > 0 // right of the fence's direction is +x
	if ahead == m.saw.fenceRear {
		turn = -turn
		a = b
	}
	out := make([]complex128, n)
	for i, p := range poly {
		out[i] = (p - a) * turn
	}
	return out
}

// split cuts a polygon at the blade, y = 0.
func split(poly []complex128) (keep, off []complex128) {
	n := len(poly)
	for i, p := range poly {
		q := poly[(i+1)%n]
		if imag(p) >= 0 {
			keep = append(keep, p)
		}
		if imag(p) <= 0 {
			off = append(off, p)
		}
		if imag(p)*imag(q) < 0 {
			c := p + (q-p)*complex(imag(p)/(imag(p)-imag(q)), 0)
			keep, off = append(keep, c), append(off, c)
		}
	}
	return keep, off
}

// freshEdge is the edge that the blade has just cut.
func freshEdge(poly []complex128) int {
	for i, p := range poly {
		if q := poly[(i+1)%len(poly)]; math.Abs(imag(p)) < 1e-9 && math.Abs(imag(q)) < 1e-9 {
			return i
		}
	}
	panic("the blade has cut nothing")
}

// measured takes a strip's widths ten millimetres from either end. The blade
// meets the end that lies farther forward first.
func measured(off []complex128) board {
	front, rear := math.Inf(1), math.Inf(-1)
	for _, p := range off {
		if math.Abs(imag(p)) < 1e-9 {
			front, rear = math.Min(front, real(p)), math.Max(rear, real(p))
		}
	}
	width := func(x float64) float64 {
		deep := 0.0
		n := len(off)
		for i, p := range off {
			q := off[(i+1)%n]
			if (real(p)-x)*(real(q)-x) < 0 {
				y := imag(p) + (imag(q)-imag(p))*(x-real(p))/(real(q)-real(p))
				deep = math.Max(deep, -y)
			}
		}
		return deep
	}
	return board{[2]float64{width(rear - 10), width(front + 10)}, rear - front - 20}
}
