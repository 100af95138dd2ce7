package draw

import (
	"bytes"
	"encoding/xml"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"shimwright/dialog"
)

var chartWords = dialog.ChartWords{Found: "found", Left: "left", Tolerance: "tolerance", Line: "drift", Next: "next check", Unit: "mm"}

// visited is a record of a check some days after 2 March 2026.
func visited(day int, found, left, u float64, low, high *float64) dialog.Record {
	at := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC).AddDate(0, 0, day)
	return dialog.Record{ID: at.Format(time.DateOnly), Saw: "saw-1", Characteristic: "slider.toe", At: at, Unit: "mm", Low: low, High: high,
		AsFound: &dialog.Measured{Value: found, Uncertainty: u, At: at}, AsLeft: &dialog.Measured{Value: left, Uncertainty: u, At: at},
		Adjusted: found != left, Decision: "within"}
}

func charted(title string, next int, unit string, records ...dialog.Record) dialog.Drawing {
	due := time.Time{}
	if next > 0 {
		due = records[0].At.AddDate(0, 0, next)
	}
	c := dialog.ChartOf(records, due)
	c.Words = chartWords
	c.Words.Unit = unit
	return dialog.Drawing{Kind: KindChart, Title: title, Alt: title + ": last +0.03 mm on 2 March 2026.", Words: english, Chart: c}
}

// charts are samples of every shape of history.
func charts() map[string]dialog.Drawing {
	zero, toe, runout := 0.0, 0.05, 0.1
	tilt := 0.05 * math.Pi / 180
	low := -tilt
	degrees := func(r dialog.Record) dialog.Record {
		r.Unit, r.Low, r.High = "rad", &low, &tilt
		for _, m := range []*dialog.Measured{r.AsFound, r.AsLeft} {
			m.Value, m.Uncertainty = m.Value*math.Pi/180, m.Uncertainty*math.Pi/180
		}
		return r
	}
	german := charted("Parallelität des Schiebetischs zum Sägeblatt, Formatkreissäge in der hinteren Werkstatt", 500, "mm",
		visited(0, 0.09, 0.02, 0.012, &zero, &toe), visited(95, 0.03, 0.03, 0.012, &zero, &toe),
		visited(190, 0.041, 0.041, 0.012, &zero, &toe), visited(280, 0.047, 0.025, 0.012, &zero, &toe))
	german.Chart.Words = dialog.ChartWords{Found: "vorgefunden", Left: "hinterlassen", Tolerance: "zulässiger Bereich",
		Line: "Veränderung mit Vorhersage", Next: "nächste Prüfung", Unit: "mm", Point: ","}
	return map[string]dialog.Drawing{
		"chart-drift": charted("Slider toe, Old Blue", 460, "mm",
			visited(0, 0.02, 0.02, 0.008, &zero, &toe), visited(95, 0.024, 0.024, 0.008, &zero, &toe),
			visited(190, 0.033, 0.033, 0.008, &zero, &toe), visited(280, 0.036, 0.036, 0.008, &zero, &toe)),
		"chart-adjusted": charted("Slider toe, Old Blue", 640, "mm",
			visited(0, 0.11, 0.02, 0.008, &zero, &toe), visited(95, 0.033, 0.033, 0.008, &zero, &toe), visited(190, 0.055, 0.021, 0.008, &zero, &toe),
			visited(320, 0.036, 0.036, 0.008, &zero, &toe), visited(450, 0.049, 0.022, 0.008, &zero, &toe)),
		"chart-inch": charted("Slider toe, Old Blue", 460, "in",
			visited(0, 0.02, 0.02, 0.008, &zero, &toe), visited(95, 0.024, 0.024, 0.008, &zero, &toe),
			visited(190, 0.033, 0.033, 0.008, &zero, &toe), visited(280, 0.036, 0.036, 0.008, &zero, &toe)),
		"chart-single": charted("Slider toe, Old Blue", 91, "mm", visited(0, -0.19, 0.02, 0.03, &zero, &toe)),
		"chart-alone":  charted("Slider toe, Old Blue", 0, "mm", visited(0, 0.02, 0.02, 0.03, &zero, &toe)),
		"chart-runout": charted("Runout of the blade", 400, "mm", visited(0, 0.04, 0.04, 0.01, nil, &runout), visited(200, 0.05, 0.05, 0.01, nil, &runout)),
		"chart-tilt": charted("45 degree stop, Old Blue", 300, "deg", degrees(visited(0, 0.12, 0.01, 0.02, nil, nil)),
			degrees(visited(91, 0.03, 0.03, 0.02, nil, nil)), degrees(visited(180, 0.02, 0.02, 0.02, nil, nil))),
		"chart-years": charted("Slider toe, Old Blue", 2600, "mm",
			visited(0, 0.02, 0.02, 0.008, &zero, &toe), visited(800, 0.028, 0.028, 0.008, &zero, &toe),
			visited(1600, 0.025, 0.025, 0.008, &zero, &toe), visited(2300, 0.036, 0.036, 0.008, &zero, &toe)),
		"chart-weeks": charted("Slider toe, Old Blue", 40, "mm",
			visited(0, 0.02, 0.02, 0.008, &zero, &toe), visited(3, 0.031, 0.031, 0.008, &zero, &toe), visited(9, 0.025, 0.025, 0.008, &zero, &toe)),
		"chart-german": german,
	}
}

// sign is a ring or a disc of a chart.
type sign struct {
	c pt
	r float64
}

var circled = regexp.MustCompile(`^M(-?[\d.e+-]+),(-?[\d.e+-]+)A([\d.]+),`)

// signs returns the circles of a style, with their centres from the top left.
func (p picture) signs(t *testing.T, high float64, style string) []sign {
	var out []sign
	for _, q := range p.paths {
		if m := circled.FindStringSubmatch(q.d); m != nil && strings.Contains(q.style, style) {
			r := number(t, m[3])
			out = append(out, sign{pt{number(t, m[1]) - r, high - number(t, m[2])}, r})
		}
	}
	return out
}

// axisOf reads the scale of the vertical axis off its labels: value = a + b·y.
func (p picture) axisOf(t *testing.T) func(y float64) float64 {
	t.Helper()
	var ys, values []float64
	for _, x := range p.texts {
		if v, err := strconv.ParseFloat(strings.Replace(x.text, "−", "-", 1), 64); err == nil && x.x < 100 {
			ys, values = append(ys, x.y), append(values, v)
		}
	}
	if len(ys) < 2 {
		t.Fatalf("the vertical axis has %d numbers", len(ys))
	}
	b := (values[len(values)-1] - values[0]) / (ys[len(ys)-1] - ys[0])
	// A label's baseline is a third of its capitals below its tick.
	return func(y float64) float64 { return values[0] + b*(y-ys[0]+small*0.36) }
}

// TestChartTrue reads a chart's values off its picture, as a person does with a
// ruler: every mark, bar and limit stands where the axis says.
func TestChartTrue(t *testing.T) {
	for unit, factor := range map[string]float64{"mm": 1, "in": 1000 / 25.4} {
		d := charts()["chart-adjusted"]
		d.Chart.Words.Unit = unit
		p := read(t, d)
		s, err := compose(d)
		if err != nil {
			t.Fatal(err)
		}
		value := p.axisOf(t)
		tol := 0.0015 * factor
		near := func(what string, got, want float64) {
			t.Helper()
			if math.Abs(got-want*factor) > tol {
				t.Errorf("%s: %s reads %.4f, want %.4f", unit, what, got, want*factor)
			}
		}
		left := p.signs(t, s.h, "fill:"+hex(ink))
		found := p.signs(t, s.h, "stroke:"+hex(ink))
		points := d.Chart.Points
		if len(left) != len(points)+1 || len(found) != len(points)+1 { // and one each in the legend
			t.Fatalf("%d discs and %d rings for %d visits", len(left), len(found), len(points))
		}
		for i, q := range points {
			near("left", value(left[i].c.y), q.Left.Value)
			if i > 0 && left[i].c.x <= left[i-1].c.x {
				t.Error("a later visit stands to the left")
			}
			if q.Adjusted == (left[i].r < 6) {
				t.Errorf("visit %d: adjusted %v, radius %g", i, q.Adjusted, left[i].r)
			}
		}
		var limits []float64
		for _, q := range p.paths {
			switch {
			case len(q.points) == 2 && strings.Contains(q.style, "stroke:"+hex(work)) && q.points[1].x-q.points[0].x > 300:
				limits = append(limits, value(q.points[0].y))
			case len(q.points) == 2 && q.points[0].x == q.points[1].x && math.Abs(q.points[0].x-left[4].c.x) < 0.1 && strings.Contains(q.style, "stroke-width:2.5"):
				near("lower end", value(math.Max(q.points[0].y, q.points[1].y)), points[4].Left.Value-points[4].Left.Uncertainty)
				near("upper end", value(math.Min(q.points[0].y, q.points[1].y)), points[4].Left.Value+points[4].Left.Uncertainty)
				limits = append(limits, math.NaN())
			}
		}
		if len(limits) != 3 {
			t.Fatalf("%d limits and bars, want 3", len(limits))
		}
		near("low", limits[0], 0)
		near("high", limits[1], 0.05)
	}
}

// TestChartDates holds the labels of the time axis: at most five, of one form,
// in order, where they say.
func TestChartDates(t *testing.T) {
	start := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	for span := 2.0; span < 20000; span *= 1.17 {
		ticks := dates{start}.Ticks(-0.05*span, 1.05*span)
		if len(ticks) == 0 || len(ticks) > 6 || len(ticks) > 5 && span >= 75 {
			t.Errorf("%.0f days: %d dates", span, len(ticks))
		}
		for i, k := range ticks {
			at := start.Add(days(k.Value))
			layout := map[int]string{4: "2006", 7: "2006-01", 10: "2006-01-02"}[len(k.Label)]
			if at.Round(time.Second).Format(layout) != k.Label || len(k.Label) != len(ticks[0].Label) || i > 0 && k.Value <= ticks[i-1].Value {
				t.Errorf("%.0f days: date %d is %q at %v", span, i, k.Label, at)
			}
		}
	}
}

// TestInline checks the form that stands in a page: no style attribute, ids of
// its own, the same elements as the document.
func TestInline(t *testing.T) {
	d := charts()["chart-drift"]
	d.Title = `</svg><script>"'&`
	b, err := Inline(d, "c3")
	if err != nil {
		t.Fatal(err)
	}
	whole, err := SVG(d)
	if err != nil {
		t.Fatal(err)
	}
	for _, tag := range []string{"<path", "<text", "<g "} {
		if got, want := bytes.Count(b, []byte(tag)), bytes.Count(whole, []byte(tag)); got != want || got == 0 {
			t.Errorf("%d %s, want %d", got, tag, want)
		}
	}
	for _, bad := range []string{" style=", "<script", "width=\"720\"", ` id="t"`} {
		if bytes.Contains(b, []byte(bad)) {
			t.Errorf("it holds %s", bad)
		}
	}
	for _, want := range []string{`id="c3-t"`, `stroke="#0A556E"`, `font-size="24px"`, `fill="#FBF9F4"`} {
		if !bytes.Contains(b, []byte(want)) {
			t.Errorf("it lacks %s", want)
		}
	}
	if err := xml.Unmarshal(b, new(struct{})); err != nil {
		t.Error(err)
	}
}

// TestChartRefuses checks what cannot be drawn.
func TestChartRefuses(t *testing.T) {
	for want, change := range map[string]func(*dialog.DrawChart){
		"needs points":  func(c *dialog.DrawChart) { c.Points = nil },
		"is not finite": func(c *dialog.DrawChart) { c.Points[0].Left.Value = math.NaN() },
		"not finite":    func(c *dialog.DrawChart) { c.Band[3].High = math.Inf(1) },
	} {
		d := charts()["chart-drift"]
		change(d.Chart)
		if _, err := PNG(d); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v", want, err)
		}
	}
}

// TestChartAnything draws random histories: nothing fails, the words stay in
// the picture and apart.
func TestChartAnything(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 12).Draw(t, "visits")
		value := rapid.Float64Range(-3, 3)
		low, high := rapid.Float64Range(-0.2, 0).Draw(t, "low"), rapid.Float64Range(0.01, 0.2).Draw(t, "high")
		var list []dialog.Record
		day := 0
		for range n {
			r := visited(day, value.Draw(t, "found"), value.Draw(t, "left"), rapid.Float64Range(0, 1).Draw(t, "u"), &low, &high)
			if rapid.Bool().Draw(t, "alike") {
				r.AsFound, r.Adjusted = nil, false
			}
			list = append(list, r)
			day += rapid.IntRange(1, 900).Draw(t, "days")
		}
		d := charted("Slider toe", day+rapid.IntRange(0, 400).Draw(t, "next"), rapid.SampledFrom([]string{"mm", "in"}).Draw(t, "unit"), list...)
		s, err := compose(d)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := SVG(d); err != nil {
			t.Fatal(err)
		}
		for i, a := range s.texts {
			if a.x+a.w > s.w || a.y+a.h > s.h {
				t.Fatalf("%q leaves the picture", a.text)
			}
			for _, b := range s.texts[:i] {
				if a.x < b.x+b.w && b.x < a.x+a.w && a.y < b.y+b.h && b.y < a.y+a.h {
					t.Fatalf("%q and %q touch", a.text, b.text)
				}
			}
		}
	})
}

// The figures beside a chart have the decimal mark of its language: the comma in
// German and Spanish (DIN 1333; from memory).
func TestChartDecimalMark(t *testing.T) {
	zero, toe := 0.0, 0.05
	for _, c := range []struct{ point, want, other string }{{"", ">0.02<", ">0,02<"}, {",", ">0,02<", ">0.02<"}} {
		d := charted("Slider toe", 200, "mm", visited(0, 0.02, 0.02, 0.008, &zero, &toe), visited(95, 0.03, 0.03, 0.008, &zero, &toe))
		d.Chart.Words.Point = c.point
		svg, err := SVG(d)
		if err != nil {
			t.Fatal(err)
		}
		if s := string(svg); !strings.Contains(s, c.want) || strings.Contains(s, c.other) {
			t.Errorf("mark %q: no %s in the chart", c.point, c.want)
		}
	}
}
