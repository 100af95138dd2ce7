package draw

import (
	"fmt"
	"image/color"
	"math"
	"strings"
	"unicode"
	"unicode/utf8"

	"codeberg.org/go-fonts/liberation/liberationsansbold"
	"codeberg.org/go-fonts/liberation/liberationsansregular"
	xfont "golang.org/x/image/font"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/font/sfnt"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
)

// Measures of every drawing, in px.
const (
	width  = 720.0
	margin = 14.0
	small  = 24.0 // the smallest text
	body   = 26.0
	strong = 29.0
	head   = 33.0
	lead   = 1.22 // height of a line over that of its text
)

// The palette. Each ink has at least 4.5:1 on each ground it is used on.
var (
	paper = color.RGBA{0xfb, 0xf9, 0xf4, 0xff}
	ink   = color.RGBA{0x1b, 0x27, 0x2f, 0xff}
	quiet = color.RGBA{0x4c, 0x58, 0x60, 0xff} // outlines, words of orientation
	faint = color.RGBA{0xa9, 0xb2, 0xb6, 0xff} // lines that mean nothing by themselves
	steel = color.RGBA{0xe3, 0xea, 0xec, 0xff} // slider
	iron  = color.RGBA{0xe4, 0xde, 0xd2, 0xff} // main table
	work  = color.RGBA{0x0a, 0x55, 0x6e, 0xff} // what is to be moved
	amiss = color.RGBA{0x8c, 0x36, 0x10, 0xff} // what is out of its window

	black = color.RGBA{0, 0, 0, 0xff} // labels: what a printer of labels knows
	white = color.RGBA{0xff, 0xff, 0xff, 0xff}
)

// scene is a drawing laid out from the top: y is where the next part begins.
// Coordinates are px from the top left corner.
type scene struct {
	w, h, y       float64
	regular, bold font.Face
	ops           []func(vg.Canvas)
	texts         []label // for the tests: where each text stands
}

// label is one line of text as it was laid out: its box from the top left.
type label struct {
	text       string
	size       float64
	x, y, w, h float64
}

func newScene() (*scene, error) {
	regular, err := face(liberationsansregular.TTF, xfont.WeightNormal)
	if err != nil {
		return nil, err
	}
	bold, err := face(liberationsansbold.TTF, xfont.WeightBold)
	if err != nil {
		return nil, err
	}
	return &scene{w: width, y: margin, regular: regular, bold: bold}, nil
}

func face(ttf []byte, weight xfont.Weight) (font.Face, error) {
	f, err := opentype.Parse(ttf)
	if err != nil {
		return font.Face{}, fmt.Errorf("draw: reading the embedded font: %w", err)
	}
	return font.Face{Font: font.Font{Typeface: "Liberation", Variant: "Sans", Weight: weight}, Face: f}, nil
}

// render draws the scene onto a canvas of its size, whose ground is paper.
func (s *scene) render(c vg.Canvas) {
	for _, op := range s.ops {
		op(c)
	}
}

// ground paints the canvas: an SVG canvas has no ground of its own.
func (s *scene) ground(c vg.Canvas) {
	c.SetColor(paper)
	c.Fill(s.path(true, pt{0, 0}, pt{s.w, 0}, pt{s.w, s.h}, pt{0, s.h}))
}

// pt is a place in px from the top left corner.
type pt struct{ x, y float64 }

// at is that place on the canvas, whose origin is at the bottom left.
func (s *scene) at(p pt) vg.Point { return vg.Point{X: vg.Length(p.x), Y: vg.Length(s.h - p.y)} }

func (s *scene) path(closed bool, points ...pt) vg.Path {
	var p vg.Path
	for i, q := range points {
		if i == 0 {
			p.Move(s.at(q))
		} else {
			p.Line(s.at(q))
		}
	}
	if closed {
		p.Close()
	}
	return p
}

// line draws a line through the points.
func (s *scene) line(c color.Color, w float64, points ...pt) {
	s.ops = append(s.ops, func(cv vg.Canvas) { stroke(cv, c, w, nil, s.path(false, points...)) })
}

// dashed draws a dashed line through the points.
func (s *scene) dashed(c color.Color, w float64, points ...pt) {
	s.ops = append(s.ops, func(cv vg.Canvas) {
		stroke(cv, c, w, []vg.Length{vg.Length(4 * w), vg.Length(3 * w)}, s.path(false, points...))
	})
}

// shape fills a polygon.
func (s *scene) shape(c color.Color, points ...pt) {
	s.ops = append(s.ops, func(cv vg.Canvas) {
		cv.SetColor(c)
		cv.Fill(s.path(true, points...))
	})
}

// outline draws the edge of a polygon.
func (s *scene) outline(c color.Color, w float64, points ...pt) {
	s.ops = append(s.ops, func(cv vg.Canvas) { stroke(cv, c, w, nil, s.path(true, points...)) })
}

// disc fills a circle.
func (s *scene) disc(c color.Color, centre pt, r float64) {
	s.ops = append(s.ops, func(cv vg.Canvas) {
		cv.SetColor(c)
		cv.Fill(s.circle(centre, r))
	})
}

// ring draws a circle.
func (s *scene) ring(c color.Color, w float64, centre pt, r float64) {
	s.ops = append(s.ops, func(cv vg.Canvas) { stroke(cv, c, w, nil, s.circle(centre, r)) })
}

func (s *scene) circle(centre pt, r float64) vg.Path {
	var p vg.Path
	p.Move(s.at(pt{centre.x + r, centre.y}))
	p.Arc(s.at(centre), vg.Length(r), 0, 2*math.Pi)
	p.Close()
	return p
}

// arc draws part of a circle; angles are radians, anticlockwise as seen.
func (s *scene) arc(c color.Color, w float64, centre pt, r, from, sweep float64) {
	s.ops = append(s.ops, func(cv vg.Canvas) {
		var p vg.Path
		p.Move(s.at(polar(centre, r, from)))
		p.Arc(s.at(centre), vg.Length(r), from, sweep)
		stroke(cv, c, w, nil, p)
	})
}

// box draws a rectangle with rounded corners: fill may be nil, an edge of 0 is
// none.
func (s *scene) box(fill, edge color.Color, w float64, x, y, bw, bh, r float64) {
	s.ops = append(s.ops, func(cv vg.Canvas) {
		const right = math.Pi / 2
		var p vg.Path
		p.Move(s.at(pt{x + r, y}))
		p.Line(s.at(pt{x + bw - r, y}))
		p.Arc(s.at(pt{x + bw - r, y + r}), vg.Length(r), right, -right)
		p.Line(s.at(pt{x + bw, y + bh - r}))
		p.Arc(s.at(pt{x + bw - r, y + bh - r}), vg.Length(r), 0, -right)
		p.Line(s.at(pt{x + r, y + bh}))
		p.Arc(s.at(pt{x + r, y + bh - r}), vg.Length(r), -right, -right)
		p.Line(s.at(pt{x, y + r}))
		p.Arc(s.at(pt{x + r, y + r}), vg.Length(r), -2*right, -right)
		p.Close()
		if fill != nil {
			cv.SetColor(fill)
			cv.Fill(p)
		}
		if w > 0 {
			stroke(cv, edge, w, nil, p)
		}
	})
}

func stroke(cv vg.Canvas, c color.Color, w float64, dash []vg.Length, p vg.Path) {
	cv.SetColor(c)
	cv.SetLineWidth(vg.Length(w))
	cv.SetLineDash(dash, 0)
	cv.Stroke(p)
}

// style is a face at a size.
type style struct {
	size  float64
	heavy bool
	ink   color.Color
}

func (s *scene) face(st style) font.Face {
	f := s.regular
	if st.heavy {
		f = s.bold
	}
	f.Font.Size = vg.Length(st.size)
	return f
}

func (s *scene) width(t string, st style) float64 {
	f := s.face(st)
	return float64(f.Width(t))
}

// text writes one line; x is its left edge, y its top.
func (s *scene) text(t string, st style, x, y float64) {
	if t == "" {
		return
	}
	s.texts = append(s.texts, label{t, st.size, x, y, s.width(t, st), st.size})
	s.ops = append(s.ops, func(cv vg.Canvas) {
		cv.SetColor(st.ink)
		cv.FillString(s.face(st), s.at(pt{x, baseline(y, st.size)}), t)
	})
}

// upright writes one line turned a quarter anticlockwise, centred on c.
func (s *scene) upright(t string, st style, c pt) {
	if t == "" {
		return
	}
	w := s.width(t, st)
	s.texts = append(s.texts, label{t, st.size, c.x - st.size/2, c.y - w/2, st.size, w})
	s.ops = append(s.ops, func(cv vg.Canvas) {
		cv.Push()
		cv.Translate(s.at(pt{c.x + st.size*0.36, c.y + w/2}))
		cv.Rotate(math.Pi / 2)
		cv.SetColor(st.ink)
		cv.FillString(s.face(st), vg.Point{}, t)
		cv.Pop()
	})
}

// baseline is where a line of text stands whose box begins at top: capitals of
// the face are 0.72 of its size, and the box leaves as much above as below.
func baseline(top, size float64) float64 { return top + size*0.84 }

// lines writes lines from the top, and returns where the next would begin.
func (s *scene) lines(ls []string, st style, x, y float64) float64 {
	for _, l := range ls {
		s.text(l, st, x, y)
		y += st.size * lead
	}
	return y
}

// centred writes one line centred on x.
func (s *scene) centred(t string, st style, x, y float64) { s.text(t, st, x-s.width(t, st)/2, y) }

// title writes the title across the top.
func (s *scene) title(t string) {
	st := style{head, true, ink}
	s.y = s.lines(s.wrap(t, st, s.w-2*margin, 3), st, margin, s.y)
	s.y += 8
}

// clean returns t on one line, without control characters and without what
// the faces cannot show.
func (s *scene) clean(t string) string {
	var b sfnt.Buffer
	t = strings.Map(func(r rune) rune {
		switch {
		case unicode.IsSpace(r):
			return ' '
		case r == utf8.RuneError || unicode.IsControl(r) || unicode.Is(unicode.Cf, r):
			return -1
		}
		if g, err := s.regular.Face.GlyphIndex(&b, r); err != nil || g == 0 {
			return -1
		}
		return r
	}, t)
	return strings.Join(strings.Fields(t), " ")
}

// wrap breaks t into at most max lines that are no wider than w. A word that is
// wider is broken; what does not fit is left out with an ellipsis.
func (s *scene) wrap(t string, st style, w float64, max int) []string {
	var out []string
	cur := ""
	for _, word := range strings.Fields(s.clean(t)) {
		if len(out) > max {
			break
		}
		for next := true; next; {
			next = false
			try := strings.TrimPrefix(cur+" "+word, " ")
			switch {
			case s.width(try, st) <= w:
				cur = try
			case cur != "":
				out, cur, next = append(out, cur), "", true
			case len(out) > max:
				word = ""
			default:
				n := s.fits(word, st, w-s.width("-", st))
				out, word, next = append(out, word[:n]+"-"), word[n:], true
			}
		}
	}
	if cur != "" {
		out = append(out, cur)
	}
	if len(out) > max {
		last := out[max-1]
		for last != "" && s.width(last+"…", st) > w {
			_, n := utf8.DecodeLastRuneInString(last)
			last = last[:len(last)-n]
		}
		out = append(out[:max-1:max-1], strings.TrimRight(last, " ,;")+"…")
	}
	return out
}

// fits returns how many bytes of word, at least one character, are no wider
// than w.
func (s *scene) fits(word string, st style, w float64) int {
	n := 0
	for i, r := range word {
		if i > 0 && s.width(word[:i+utf8.RuneLen(r)], st) > w {
			break
		}
		n = i + utf8.RuneLen(r)
	}
	return n
}

// first returns the first of some lines, or "".
func first(ls []string) string {
	if len(ls) == 0 {
		return ""
	}
	return ls[0]
}
