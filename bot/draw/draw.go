// Package draw renders the pictures that come with an adjustment: the slider,
// the fences, the rail or the blade, what was read at each place and
// what to move there; and the charts of how a characteristic moved over time.
//
// A picture is described by a dialog.Drawing, which is stored; PNG and SVG are
// rendered from it when it is fetched, both by the same routine. Every word in a
// picture comes from the description, already in the person's language. The
// same description gives the same bytes.
//
// A picture is 720 px wide, twice the width of a narrow phone's screen, and its
// smallest text is 24 px high. Nothing is said by colour alone: moves are
// arrows with their words, a reading's place in its window is a dot on a gauge.
//
// Pictures are schematic. Seen from above, the operator stands at the bottom,
// the rear is at the top and the machine's left is on the left. Supports keep
// their order and their side, not their scale; leans are exaggerated.
package draw

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"image/png"
	"math"
	"regexp"
	"strings"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/vgimg"
	"gonum.org/v1/plot/vg/vgsvg"

	"shimwright/dialog"
)

// Kinds of drawing that can be rendered.
const (
	KindSlider   = "slider"   // supports from above: raise and lower
	KindParallel = "parallel" // line of travel against the blade: left and right
	KindFence    = "fence"    // crosscut fence from above
	KindRail     = "rail"     // rail of the rip fence from above: to the rear and to the front
	KindRipFence = "ripfence" // rip fence from above: its rear end to the left and to the right
	KindTilt     = "tilt"     // blade from the front
	KindChart    = "chart"    // course of one characteristic over time
)

// MaxPoints is the largest number of points of one drawing: eight stations of
// two supports, and as many again.
const MaxPoints = 32

// PNG returns the drawing as a PNG image, 720 px wide. The error says what in
// the description cannot be drawn.
func PNG(d dialog.Drawing) ([]byte, error) {
	s, err := compose(d)
	if err != nil {
		return nil, err
	}
	// 72 dots an inch make a point of the vector library one pixel.
	c := vgimg.NewWith(vgimg.UseWH(vg.Length(s.w), vg.Length(s.h)), vgimg.UseDPI(72), vgimg.UseBackgroundColor(paper))
	s.render(c)
	var b bytes.Buffer
	if err := png.Encode(&b, indexed(c.Image())); err != nil {
		return nil, fmt.Errorf("draw: encoding the PNG image of %q: %w", d.Title, err)
	}
	return b.Bytes(), nil
}

// SVG returns the drawing as an SVG document with a title and a description.
// Its text is text, in a sans-serif face of the reader's system that is as wide
// as Arial where there is one.
func SVG(d dialog.Drawing) ([]byte, error) {
	s, c, err := canvas(d)
	if err != nil {
		return nil, err
	}
	return document(s, c, d.Title, d.Alt)
}

// document is the SVG document of a scene on its canvas.
func document(s *scene, c *vgsvg.Canvas, title, alt string) ([]byte, error) {
	body, err := elements(c, title)
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" width="%.0f" height="%.0f" viewBox="0 0 %.0f %.0f" role="img" aria-labelledby="t d">`+"\n",
		s.w, s.h, s.w, s.h)
	fmt.Fprintf(&b, "<title id=\"t\">%s</title>\n<desc id=\"d\">%s</desc>\n", escape(title), escape(alt))
	b.Write(body)
	return b.Bytes(), nil
}

// Inline returns the drawing as an SVG element to stand in a page of HTML. It
// has no size of its own and no style attributes, which a strict content
// security policy forbids: everything is in presentation attributes (SVG 2, 6.6),
// which a page may override. name is a prefix of its ids, one for each drawing
// of a page.
func Inline(d dialog.Drawing, name string) ([]byte, error) {
	s, c, err := canvas(d)
	if err != nil {
		return nil, err
	}
	body, err := elements(c, d.Title)
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	name = escape(name)
	fmt.Fprintf(&b, `<svg viewBox="0 0 %.0f %.0f" role="img" aria-labelledby="%s-t %s-d">`+"\n", s.w, s.h, name, name)
	fmt.Fprintf(&b, "<title id=\"%s-t\">%s</title>\n<desc id=\"%s-d\">%s</desc>\n", name, escape(d.Title), name, escape(d.Alt))
	b.Write(styled.ReplaceAllFunc(body, attributes))
	return b.Bytes(), nil
}

// styled finds the style attribute of an element; a quotation mark in a text is
// escaped, so this matches attributes only.
var styled = regexp.MustCompile(`style="[^"]*"`)

// attributes writes a style attribute as presentation attributes.
func attributes(style []byte) []byte {
	var b bytes.Buffer
	list := bytes.TrimSuffix(bytes.TrimPrefix(style, []byte(`style="`)), []byte(`"`))
	for _, d := range bytes.Split(list, []byte(";")) {
		if name, value, ok := bytes.Cut(d, []byte(":")); ok {
			fmt.Fprintf(&b, `%s="%s" `, bytes.TrimSpace(name), bytes.TrimSpace(value))
		}
	}
	return bytes.TrimSuffix(b.Bytes(), []byte(" "))
}

// canvas draws a drawing for SVG.
func canvas(d dialog.Drawing) (*scene, *vgsvg.Canvas, error) {
	s, err := compose(d)
	if err != nil {
		return nil, nil, err
	}
	c := vgsvg.NewWith(vgsvg.UseWH(vg.Length(s.w), vg.Length(s.h)))
	s.ground(c)
	s.render(c)
	return s, c, nil
}

// elements returns the elements of a drawing and the end of its svg element.
func elements(c *vgsvg.Canvas, title string) ([]byte, error) {
	var body bytes.Buffer
	if _, err := c.WriteTo(&body); err != nil {
		return nil, fmt.Errorf("draw: writing the SVG document of %q: %w", title, err)
	}
	// The library's own head has neither title nor description, and a size in
	// points; ours takes its place. Its first group begins the drawing.
	_, rest, ok := bytes.Cut(body.Bytes(), []byte("<g "))
	if !ok {
		return nil, fmt.Errorf("draw: the SVG document of %q has no content", title)
	}
	// A quotation mark in a text is escaped, so this matches attributes only.
	rest = bytes.ReplaceAll(rest, []byte(`style="font-family:Liberation Sans;`),
		[]byte(`style="font-family:'Liberation Sans',Arial,Helvetica,sans-serif;`))
	return append([]byte("<g "), rest...), nil
}

// escape returns s as XML character data; what XML does not allow at all
// becomes the replacement character.
func escape(s string) string {
	var b strings.Builder
	if err := xml.EscapeText(&b, []byte(s)); err != nil {
		panic(err) // a strings.Builder does not fail
	}
	return b.String()
}

// compose lays the drawing out.
func compose(d dialog.Drawing) (*scene, error) {
	if err := check(d); err != nil {
		return nil, err
	}
	s, err := newScene()
	if err != nil {
		return nil, err
	}
	s.title(d.Title)
	switch d.Kind {
	case KindSlider:
		drawSlider(s, d)
	case KindParallel:
		drawParallel(s, d)
	case KindFence:
		drawFence(s, d)
	case KindRail:
		drawRail(s, d)
	case KindRipFence:
		drawRipFence(s, d)
	case KindTilt:
		drawTilt(s, d)
	case KindChart:
		drawChart(s, d)
	}
	s.h = math.Ceil(s.y + margin)
	return s, nil
}

// check returns an error when d cannot be drawn.
func check(d dialog.Drawing) error {
	var numbers []float64
	switch d.Kind {
	case KindSlider, KindParallel, KindRail, KindRipFence:
		if len(d.Points) == 0 {
			return fmt.Errorf("draw: a drawing of kind %q needs points", d.Kind)
		}
		if len(d.Points) > MaxPoints {
			return fmt.Errorf("draw: %d points, at most %d can be drawn", len(d.Points), MaxPoints)
		}
		if d.Kind == KindRipFence && len(d.Points) > 1 {
			return fmt.Errorf("draw: a rip fence is moved at one point, not at %d", len(d.Points))
		}
		for _, p := range d.Points {
			numbers = append(numbers, p.X, p.Y, p.Turns)
		}
	case KindFence:
		if d.Fence == nil {
			return fmt.Errorf("draw: a drawing of kind %q needs its fence", d.Kind)
		}
		f := d.Fence
		numbers = append(numbers, f.PivotY, f.AdjustY, f.EndY, f.Lean, f.Move)
	case KindTilt:
		if d.Tilt == nil {
			return fmt.Errorf("draw: a drawing of kind %q needs its tilt", d.Kind)
		}
		if math.Abs(d.Tilt.Nominal) > math.Pi/3 {
			return fmt.Errorf("draw: a tilt of %.3f rad from upright is more than a third of a half turn", d.Tilt.Nominal)
		}
		numbers = append(numbers, d.Tilt.Nominal, d.Tilt.Error)
	case KindChart:
		if d.Chart == nil || len(d.Chart.Points) == 0 {
			return fmt.Errorf("draw: a drawing of kind %q needs points", d.Kind)
		}
		numbers = append(chartNumbers(d.Chart), bandNumbers(d.Chart)...)
	default:
		return fmt.Errorf("draw: no drawing of kind %q", d.Kind)
	}
	for _, v := range numbers {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return fmt.Errorf("draw: a number of the drawing %q is not finite", d.Title)
		}
	}
	return nil
}
