package draw

import (
	"bytes"
	"flag"
	"fmt"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"pgregory.net/rapid"

	"shimwright/calc"
	"shimwright/dialog"
)

var look = flag.String("look", "", "directory to write the sample pictures to, for a person to look at")

// TestSamples renders every sample twice, at the same time: the bytes are the
// same, the image is as wide as promised, the document says everything.
func TestSamples(t *testing.T) {
	for name, d := range samples() {
		t.Run(name, func(t *testing.T) {
			var first, second []byte
			var wait sync.WaitGroup
			for _, into := range []*[]byte{&first, &second} {
				wait.Go(func() {
					b, err := PNG(d)
					if err != nil {
						t.Error(err)
					}
					*into = b
				})
			}
			wait.Wait()
			if !bytes.Equal(first, second) {
				t.Error("two renderings of one description differ")
			}
			img, err := png.Decode(bytes.NewReader(first))
			if err != nil {
				t.Fatal(err)
			}
			if got := img.Bounds().Dx(); got != 720 {
				t.Errorf("the image is %d px wide, want 720", got)
			}
			p := read(t, d)
			if p.title != d.Title || p.desc != d.Alt {
				t.Errorf("title %q and description %q, want %q and %q", p.title, p.desc, d.Title, d.Alt)
			}
			words := strings.ReplaceAll(p.words(), "- ", "-")
			words = strings.ReplaceAll(words, "Achtelumdr-ehung", "Achtelumdrehung")
			for _, want := range said(d) {
				if !strings.Contains(words, want) {
					t.Errorf("%q is missing in %q", want, words)
				}
			}
			for _, x := range p.texts {
				if x.size < 24 {
					t.Errorf("%q is %g px high, less than 24", x.text, x.size)
				}
			}
			if *look != "" {
				write(t, name+".png", first)
				s, err := SVG(d)
				if err != nil {
					t.Fatal(err)
				}
				write(t, name+".svg", s)
			}
		})
	}
}

func write(t *testing.T, name string, b []byte) {
	t.Helper()
	if err := os.WriteFile(filepath.Join(*look, name), b, 0o644); err != nil {
		t.Fatal(err)
	}
}

// said lists what a drawing has to say in words.
func said(d dialog.Drawing) []string {
	out := []string{d.Title}
	for _, p := range d.Points {
		out = append(out, p.Label, p.Reading, p.Move)
	}
	if f := d.Fence; f != nil {
		out = append(out, f.LeanText, f.MoveText, f.Pivot, f.Adjust)
	}
	if f := d.Tilt; f != nil {
		out = append(out, f.Text, f.Move)
	}
	if c := d.Chart; c != nil {
		out = append(out, c.Words.Found, c.Words.Left, c.Words.Tolerance)
		if c.Line != nil {
			out = append(out, c.Words.Line)
		}
		if !c.Next.IsZero() {
			out = append(out, c.Words.Next)
		}
	}
	return out
}

// TestNothingCollides lays out drawings of every kind with random words and
// checks that no text leaves the picture or touches another.
func TestNothingCollides(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := randomDrawing(t)
		s, err := compose(d)
		if err != nil {
			t.Fatal(err)
		}
		for i, a := range s.texts {
			if a.x < 0 || a.x+a.w > s.w+0.5 || a.y < 0 || a.y+a.h > s.h+0.5 {
				t.Fatalf("%q leaves the picture: %+v of %g × %g", a.text, a, s.w, s.h)
			}
			for _, b := range s.texts[:i] {
				if a.x < b.x+b.w && b.x < a.x+a.w && a.y < b.y+b.h && b.y < a.y+a.h {
					t.Fatalf("%q and %q touch: %+v %+v", a.text, b.text, a, b)
				}
			}
		}
	})
}

func randomDrawing(t *rapid.T) dialog.Drawing {
	phrase := rapid.Custom(func(t *rapid.T) string {
		words := rapid.SliceOfN(rapid.StringMatching(`[a-zäöüßáñ0-9,/°+−]{1,14}`), 0, 7).Draw(t, "words")
		return strings.Join(words, " ")
	})
	word := rapid.StringMatching(`[A-Za-zäöü]{1,16}( [a-z]{1,12})?`)
	hand := rapid.SampledFrom([]calc.Hand{calc.Left, calc.Right}).Draw(t, "hand")
	d := dialog.Drawing{
		Kind:  rapid.SampledFrom([]string{KindSlider, KindParallel, KindFence, KindRail, KindRipFence, KindTilt}).Draw(t, "kind"),
		Title: phrase.Draw(t, "title"), Hand: hand,
		Words: dialog.DrawWords{Blade: word.Draw(t, "blade"), Front: word.Draw(t, "front"), Rear: word.Draw(t, "rear"),
			Slider: word.Draw(t, "slider"), Table: word.Draw(t, "table"), Operator: word.Draw(t, "operator")},
	}
	stations := rapid.IntRange(1, 8).Draw(t, "stations")
	for s := range stations {
		for k := range rapid.IntRange(1, 2).Draw(t, "supports") {
			d.Points = append(d.Points, dialog.DrawPoint{
				Label: phrase.Draw(t, "label"), Reading: phrase.Draw(t, "reading"), Move: phrase.Draw(t, "move"),
				X: float64(s)*rapid.Float64Range(30, 900).Draw(t, "pitch") + float64(k), Y: float64(hand.Mirror(calc.Length(100 + 200*k + s))),
				Sign: rapid.IntRange(-1, 1).Draw(t, "sign"), Dir: rapid.IntRange(-1, 1).Draw(t, "dir"),
				Turns: rapid.Float64Range(-1, 1).Draw(t, "turns"), Clock: rapid.IntRange(-1, 1).Draw(t, "clock"),
			})
		}
	}
	if d.Kind == KindRipFence {
		d.Points = d.Points[:1]
	}
	length := rapid.Float64Range(-3000, 3000)
	d.Fence = &dialog.DrawFence{PivotY: length.Draw(t, "pivot"), AdjustY: length.Draw(t, "adjust"), EndY: length.Draw(t, "end"),
		AtRear: rapid.Bool().Draw(t, "rear"), Lean: rapid.Float64Range(-0.01, 0.01).Draw(t, "lean"), LeanText: phrase.Draw(t, "leans"),
		Move: rapid.Float64Range(-2, 2).Draw(t, "shift"), MoveText: phrase.Draw(t, "moved"), Pivot: phrase.Draw(t, "at"), Adjust: phrase.Draw(t, "by")}
	d.Tilt = &dialog.DrawTilt{Nominal: rapid.Float64Range(0, math.Pi/4).Draw(t, "nominal"), Error: rapid.Float64Range(-0.01, 0.01).Draw(t, "error"),
		Left: rapid.Bool().Draw(t, "left"), Text: phrase.Draw(t, "text"), Move: phrase.Draw(t, "turn")}
	return d
}

// TestHostileWords checks that words are text in the document whatever they
// hold, and that the picture still comes.
func TestHostileWords(t *testing.T) {
	for _, bad := range []string{
		`</text><script>alert(1)</script>`, `"&'<>]]>`, "a\x00b\x1b[31m", "\xff\xfe", "שולחן הזזה", "🪚🪚", strings.Repeat("w", 10_000),
		strings.Repeat("long words ", 1000), `style="font-family:Liberation Sans;`, "\u202egnipyt",
	} {
		d := level(calc.Left, 2, 2)
		d.Title, d.Alt, d.Words.Table, d.Words.Operator = bad, bad, bad, bad
		d.Points[0].Label, d.Points[0].Move, d.Points[1].Reading = bad, bad, bad
		p := read(t, d) // fails on an element that a drawing does not have
		if strings.Contains(bad, "script") && (p.title != bad || p.desc != bad) {
			t.Errorf("title %q, description %q, want %q", p.title, p.desc, bad)
		}
		if _, err := PNG(d); err != nil {
			t.Error(err)
		}
	}
}

func TestRefused(t *testing.T) {
	good := level(calc.Left, 2, 1)
	for want, change := range map[string]func(*dialog.Drawing){
		"no drawing of kind": func(d *dialog.Drawing) { d.Kind = "runout" },
		"needs points":       func(d *dialog.Drawing) { d.Points = nil },
		"at one point":       func(d *dialog.Drawing) { d.Kind = KindRipFence },
		"at most 32":         func(d *dialog.Drawing) { d.Points = make([]dialog.DrawPoint, 33) },
		"not finite":         func(d *dialog.Drawing) { d.Points = []dialog.DrawPoint{{X: math.NaN()}} },
		"needs its fence":    func(d *dialog.Drawing) { d.Kind = KindFence },
		"needs its tilt":     func(d *dialog.Drawing) { d.Kind = KindTilt },
		"from upright":       func(d *dialog.Drawing) { *d = tilt(math.Pi/2, 0, true) },
	} {
		d := good
		change(&d)
		for _, render := range []func(dialog.Drawing) ([]byte, error){PNG, SVG} {
			if b, err := render(d); err == nil || b != nil || !strings.Contains(err.Error(), want) {
				t.Errorf("got %d bytes and %v, want an error with %q", len(b), err, want)
			}
		}
	}
}

// TestContrast holds the inks to WCAG 2.2, 1.4.3 (text, 4.5:1; the formula is
// that of its definitions of contrast ratio and relative luminance) and 1.4.11
// (parts of graphics, 3:1).
func TestContrast(t *testing.T) {
	if got := contrast([3]uint8{0, 0, 0}, [3]uint8{255, 255, 255}); math.Abs(got-21) > 1e-9 {
		t.Fatalf("black on white is %g, want 21 (WCAG 2.2, definition of contrast ratio)", got)
	}
	for name, c := range map[string]struct{ got, want float64 }{
		"ink on paper":   {ratio(ink, paper), 4.5},
		"ink on steel":   {ratio(ink, steel), 4.5},
		"ink on iron":    {ratio(ink, iron), 4.5},
		"quiet on paper": {ratio(quiet, paper), 4.5},
		"quiet on steel": {ratio(quiet, steel), 4.5},
		"quiet on iron":  {ratio(quiet, iron), 4.5},
		"work on paper":  {ratio(work, paper), 4.5},
		"work on steel":  {ratio(work, steel), 3},
		"amiss on paper": {ratio(amiss, paper), 3},
		"paper on ink":   {ratio(paper, ink), 4.5},
	} {
		if c.got < c.want {
			t.Errorf("%s: %.2f:1, want %.1f:1", name, c.got, c.want)
		}
	}
}

type rgba interface{ RGBA() (r, g, b, a uint32) }

func ratio(a, b rgba) float64 {
	c := func(x rgba) [3]uint8 {
		r, g, b, _ := x.RGBA()
		return [3]uint8{uint8(r >> 8), uint8(g >> 8), uint8(b >> 8)}
	}
	return contrast(c(a), c(b))
}

func contrast(a, b [3]uint8) float64 {
	luminance := func(c [3]uint8) float64 {
		var l float64
		for i, weight := range [3]float64{0.2126, 0.7152, 0.0722} {
			v := float64(c[i]) / 255
			if v <= 0.04045 {
				v /= 12.92
			} else {
				v = math.Pow((v+0.055)/1.055, 2.4)
			}
			l += weight * v
		}
		return l
	}
	x, y := luminance(a), luminance(b)
	return (math.Max(x, y) + 0.05) / (math.Min(x, y) + 0.05)
}

func BenchmarkPNG(b *testing.B) {
	all := samples()
	for _, name := range []string{"level-6-left", "level-16-left", "fence-left"} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				if _, err := PNG(all[name]); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func BenchmarkSVG(b *testing.B) {
	d := samples()["level-6-left"]
	for b.Loop() {
		if _, err := SVG(d); err != nil {
			b.Fatal(err)
		}
	}
}

func ExampleSVG() {
	d := dialog.Drawing{Kind: KindSlider, Title: "Slider level", Alt: "Raise the front support by 1/8 turn, anticlockwise.",
		Words: dialog.DrawWords{Front: "front", Rear: "rear", Blade: "blade", Slider: "slider", Table: "main table", Operator: "operator"},
		Points: []dialog.DrawPoint{
			{Label: "front", X: 0, Y: 250, Reading: "−0.19 mm", Sign: -1, Move: "raise 1/8 turn", Dir: 1, Turns: 0.125, Clock: -1},
			{Label: "rear", X: 1800, Y: 250, Reading: "+0.05 mm"},
		}}
	b, err := SVG(d)
	fmt.Println(err, bytes.Contains(b, []byte("raise 1/8 turn")))
	// Output: <nil> true
}
