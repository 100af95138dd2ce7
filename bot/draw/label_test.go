package draw

import (
	"bytes"
	"encoding/xml"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"io"
	"strings"
	"testing"

	"github.com/makiuchi-d/gozxing"
	"github.com/makiuchi-d/gozxing/qrcode"
)

// labels are samples of every kind of address.
func labels() map[string]Label {
	words := Label{Name: "Old Blue", Scan: "Scan to check this saw.", Caution: "Pull the plug before a hand goes near the blade."}
	out := map[string]Label{}
	for name, address := range map[string]string{
		"label-page":   "https://saw.example.org/?saw=Old%20Blue",
		"label-local":  "http://192.168.178.100:8080/?saw=Old%20Blue",
		"label-sms":    "sms:+4915550000001?body=Old%20Blue",
		"label-matrix": "matrix:u/shimwright:saw.example.org?action=chat",
	} {
		l := words
		l.Address = address
		out[name] = l
	}
	long := words
	long.Name, long.Address = "Formatkreissäge in der hinteren Werkstatt am großen Tor", "https://werkzeugverwaltung.tischlerei.example.org/saege/?saw="+strings.Repeat("Formatkreiss%C3%A4ge%20", 5)
	out["label-long"] = long
	return out
}

// scan decodes a QR code in a picture, with a decoder that shares nothing with
// the encoder.
func scan(t *testing.T, m image.Image) string {
	t.Helper()
	bits, err := gozxing.NewBinaryBitmapFromImage(m)
	if err != nil {
		t.Fatal(err)
	}
	r, err := qrcode.NewQRCodeReader().Decode(bits, nil)
	if err != nil {
		t.Fatal(err)
	}
	return r.GetText()
}

func TestLabel(t *testing.T) {
	for name, l := range labels() {
		t.Run(name, func(t *testing.T) {
			b, err := LabelPNG(l)
			if err != nil {
				t.Fatal(err)
			}
			again, err := LabelPNG(l)
			if err != nil || !bytes.Equal(b, again) {
				t.Errorf("two labels of one saw differ: %v", err)
			}
			m, err := png.Decode(bytes.NewReader(b))
			if err != nil {
				t.Fatal(err)
			}
			if got := scan(t, m); got != l.Address || m.Bounds().Dx() != 1440 {
				t.Errorf("the PNG image, %d px wide, reads %q", m.Bounds().Dx(), got)
			}
			svg, err := LabelSVG(l)
			if err != nil {
				t.Fatal(err)
			}
			picture, words := rastered(t, svg)
			if got := scan(t, picture); got != l.Address {
				t.Errorf("the SVG document reads %q", got)
			}
			if !strings.Contains(words, strings.Fields(l.Name)[0]) || !strings.Contains(words, "plug") {
				t.Errorf("the words are %q", words)
			}
			if *look != "" {
				write(t, name+".png", b)
				write(t, name+".svg", svg)
			}
		})
	}
}

// A label that has seen a workshop: a stain over the code's middle, a tenth of
// its area, is mended by level Q.
func TestDirtyLabel(t *testing.T) {
	l := labels()["label-page"]
	b, err := LabelPNG(l)
	if err != nil {
		t.Fatal(err)
	}
	m, err := png.Decode(bytes.NewReader(b))
	if err != nil {
		t.Fatal(err)
	}
	dirty := image.NewRGBA(m.Bounds())
	draw.Draw(dirty, m.Bounds(), m, image.Point{}, draw.Src)
	stain := image.Rect(720, 620, 1060, 860)
	draw.Draw(dirty, stain, image.NewUniform(color.RGBA{0x80, 0x60, 0x40, 0xff}), image.Point{}, draw.Src)
	if got := scan(t, dirty); got != l.Address {
		t.Errorf("reads %q", got)
	}
}

func TestLabelTooLong(t *testing.T) {
	if _, err := LabelPNG(Label{Address: strings.Repeat("x", 4000)}); err == nil || !strings.Contains(err.Error(), "too many for the QR code") {
		t.Error(err)
	}
}

// rastered draws the dark rectangles of an SVG document of a label, and returns
// its words. It knows just the paths that a code is made of.
func rastered(t *testing.T, svg []byte) (image.Image, string) {
	t.Helper()
	var m *image.Gray
	var words strings.Builder
	high := 0.0
	for dec := xml.NewDecoder(bytes.NewReader(svg)); ; {
		tok, err := dec.Token()
		if err == io.EOF {
			return m, words.String()
		}
		if err != nil {
			t.Fatal(err)
		}
		switch e := tok.(type) {
		case xml.CharData:
			words.Write(e)
		case xml.StartElement:
			if e.Name.Local == "svg" {
				high = number(t, attr(e, "height"))
				m = image.NewGray(image.Rect(0, 0, int(number(t, attr(e, "width"))), int(high)))
				draw.Draw(m, m.Bounds(), image.White, image.Point{}, draw.Src)
			}
			if e.Name.Local != "path" || !strings.Contains(attr(e, "style"), "fill:#000000") && strings.Contains(attr(e, "style"), "fill:") {
				continue
			}
			for part := range strings.SplitSeq(attr(e, "d"), "Z") {
				p := parsePath(t, part, "", high).points
				if len(p) == 4 {
					r := image.Rect(int(p[0].x), int(p[0].y), int(p[2].x), int(p[2].y))
					draw.Draw(m, r, image.Black, image.Point{}, draw.Src)
				}
			}
		}
	}
}
