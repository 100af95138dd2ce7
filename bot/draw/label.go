package draw

import (
	"bytes"
	"fmt"
	"image/png"
	"math"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/vgimg"
	"gonum.org/v1/plot/vg/vgsvg"
	"rsc.io/qr"
)

// Label is what is printed for a machine: a QR code that opens the conversation
// about it.
type Label struct {
	Name    string // of the saw
	Address string // what the code holds: a page, an sms: or a matrix: address
	Scan    string // what the code does, in words
	Caution string
}

// Measures of a label, in px: of its QR code, and of the border of four modules
// around it that ISO/IEC 18004 asks for.
const (
	codeWidth = 620.0
	border    = 4
	labelDPI  = 144 // two pixels a px: 300 dots an inch on a label 120 mm wide
)

// LabelPNG returns a label as a PNG image, 1440 px wide.
func LabelPNG(l Label) ([]byte, error) {
	s, err := layLabel(l)
	if err != nil {
		return nil, err
	}
	c := vgimg.NewWith(vgimg.UseWH(vg.Length(s.w), vg.Length(s.h)), vgimg.UseDPI(labelDPI), vgimg.UseBackgroundColor(white))
	s.render(c)
	var b bytes.Buffer
	if err := png.Encode(&b, indexed(c.Image())); err != nil {
		return nil, fmt.Errorf("draw: encoding the label of %q: %w", l.Name, err)
	}
	return b.Bytes(), nil
}

// LabelSVG returns a label as an SVG document.
func LabelSVG(l Label) ([]byte, error) {
	s, err := layLabel(l)
	if err != nil {
		return nil, err
	}
	c := vgsvg.NewWith(vgsvg.UseWH(vg.Length(s.w), vg.Length(s.h)))
	c.SetColor(white)
	c.Fill(s.path(true, pt{0, 0}, pt{s.w, 0}, pt{s.w, s.h}, pt{0, s.h}))
	s.render(c)
	return document(s, c, l.Name, l.Scan+" "+l.Address)
}

// layLabel lays a label out: the name, the code, what it does, the address for
// those who type it, the caution.
func layLabel(l Label) (*scene, error) {
	s, err := newScene()
	if err != nil {
		return nil, err
	}
	// Level Q mends a quarter of the code: a label in a workshop gets dirty.
	code, err := qr.Encode(l.Address, qr.Q)
	if err != nil {
		return nil, fmt.Errorf("draw: %d characters are too many for the QR code of a label", len(l.Address))
	}
	middle := func(text string, st style, max int) {
		for _, line := range s.wrap(text, st, s.w-2*margin, max) {
			s.centred(line, st, s.w/2, s.y)
			s.y += st.size * lead
		}
	}
	s.y = margin + 6
	middle(l.Name, style{62, true, black}, 3)
	s.y += 2
	s.code(code)
	middle(l.Scan, style{34, true, black}, 2)
	s.y += 4
	middle(l.Address, style{small, false, black}, 3)
	s.y += 14
	s.line(black, 3, pt{margin, s.y}, pt{s.w - margin, s.y})
	s.y += 14
	middle(l.Caution, style{34, true, black}, 4)
	s.h = math.Ceil(s.y + margin)
	return s, nil
}

// code draws a QR code in the middle, its modules whole pixels, runs of dark
// modules in one piece so that no seam shows.
func (s *scene) code(c *qr.Code) {
	module := math.Floor(codeWidth / float64(c.Size+2*border))
	left := math.Round((s.w - module*float64(c.Size)) / 2)
	top := s.y + module*border
	s.ops = append(s.ops, func(cv vg.Canvas) {
		var p vg.Path
		for y := range c.Size {
			for x := 0; x < c.Size; x++ {
				from := x
				for x < c.Size && c.Black(x, y) {
					x++
				}
				if x > from {
					x0, x1 := left+module*float64(from), left+module*float64(x)
					y0, y1 := top+module*float64(y), top+module*float64(y+1)
					p.Move(s.at(pt{x0, y0}))
					p.Line(s.at(pt{x1, y0}))
					p.Line(s.at(pt{x1, y1}))
					p.Line(s.at(pt{x0, y1}))
					p.Close()
				}
			}
		}
		cv.SetColor(black)
		cv.Fill(p)
	})
	s.y = top + module*float64(c.Size+border)
}
