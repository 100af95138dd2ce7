package draw

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"io"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"shimwright/dialog"
)

// picture is what a reader of the SVG document sees of it.
type picture struct {
	title, desc string
	texts       []svgText
	paths       []svgPath
}

type svgText struct {
	text string
	x, y float64 // px from the top left corner; 0, 0 where the text is turned
	size float64
}

// svgPath is a path with its points in px from the top left corner.
type svgPath struct {
	style  string
	d      string
	points []pt
}

// read parses the SVG document of d.
func read(t *testing.T, d dialog.Drawing) picture {
	t.Helper()
	b, err := SVG(d)
	if err != nil {
		t.Fatal(err)
	}
	var p picture
	var high float64
	dec := xml.NewDecoder(bytes.NewReader(b))
	var into *string
	for {
		tok, err := dec.Token()
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatalf("the SVG document is not XML: %v\n%s", err, b)
		}
		switch e := tok.(type) {
		case xml.StartElement:
			into = nil
			switch e.Name.Local {
			case "svg":
				high = number(t, attr(e, "height"))
			case "title":
				into = &p.title
			case "desc":
				into = &p.desc
			case "text":
				p.texts = append(p.texts, svgText{size: fontSize(t, attr(e, "style")),
					x: number(t, attr(e, "x")), y: high + number(t, attr(e, "y"))})
				into = &p.texts[len(p.texts)-1].text
			case "path":
				p.paths = append(p.paths, parsePath(t, attr(e, "d"), attr(e, "style"), high))
			case "g", "style":
			default:
				t.Errorf("unexpected element %q", e.Name.Local)
			}
		case xml.EndElement:
			into = nil
		case xml.CharData:
			if into != nil {
				*into += string(e)
			}
		}
	}
	return p
}

func attr(e xml.StartElement, name string) string {
	for _, a := range e.Attr {
		if a.Name.Local == name {
			return a.Value
		}
	}
	return ""
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func fontSize(t *testing.T, style string) float64 {
	t.Helper()
	_, rest, ok := strings.Cut(style, "font-size:")
	size, _, ok2 := strings.Cut(rest, "px")
	if !ok || !ok2 {
		t.Fatalf("no font size in %q", style)
	}
	return number(t, size)
}

var vertex = regexp.MustCompile(`[ML](-?[\d.e+-]+),(-?[\d.e+-]+)`)

func parsePath(t *testing.T, d, style string, high float64) svgPath {
	t.Helper()
	p := svgPath{style: style, d: d}
	for _, m := range vertex.FindAllStringSubmatch(d, -1) {
		p.points = append(p.points, pt{number(t, m[1]), high - number(t, m[2])})
	}
	return p
}

// hex is how a colour stands in the document.
func hex(c interface{ RGBA() (r, g, b, a uint32) }) string {
	r, g, b, _ := c.RGBA()
	return fmt.Sprintf("#%02X%02X%02X", r>>8, g>>8, b>>8)
}

// arrows returns the direction of each straight arrow of the document: the
// tip less the middle of the foot. An arrow is a filled shape of seven corners
// that begins at its tip.
func (p picture) arrows() []pt {
	var out []pt
	for _, q := range p.paths {
		if strings.Contains(q.style, "fill:"+hex(work)) && !strings.Contains(q.style, "stroke") && len(q.points) == 7 {
			foot := pt{(q.points[3].x + q.points[4].x) / 2, (q.points[3].y + q.points[4].y) / 2}
			out = append(out, pt{q.points[0].x - foot.x, q.points[0].y - foot.y})
		}
	}
	return out
}

// words returns all texts as one, in the order drawn.
func (p picture) words() string {
	var all []string
	for _, t := range p.texts {
		all = append(all, t.text)
	}
	return strings.Join(all, " ")
}

// find returns the text that begins so.
func (p picture) find(t *testing.T, begin string) svgText {
	t.Helper()
	for _, x := range p.texts {
		if strings.HasPrefix(x.text, begin) {
			return x
		}
	}
	t.Fatalf("no text begins with %q in %q", begin, p.words())
	return svgText{}
}

// close reports whether two directions are equal within a degree.
func closeTo(a, b pt) bool {
	return math.Abs(math.Atan2(a.x*b.y-a.y*b.x, a.x*b.x+a.y*b.y)) < math.Pi/180
}
