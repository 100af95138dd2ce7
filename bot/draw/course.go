package draw

import (
	"math"
	"strconv"
	"strings"
	"time"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"

	"shimwright/dialog"
)

// course is a chart's data in days after its first visit and in the unit shown.
type course struct {
	start           time.Time
	from, to        float64 // days shown
	low, high       float64 // values shown
	scale           scale
	tolLow, tolHigh *float64
	found, left     marks
	anyFound        bool
	middle          plotter.XYs // the fitted line
	lower, upper    plotter.XYs // its prediction
	next            float64     // days, NaN for none
	words           dialog.ChartWords
}

// scale is how a stored value is shown.
type scale struct {
	factor float64
	name   string
}

// scaleOf chooses the scale: small inches are shown in thousandths.
func scaleOf(c *dialog.DrawChart) scale {
	switch {
	case c.Words.Unit == "deg" || c.Unit == "rad":
		return scale{180 / math.Pi, "deg"}
	case c.Words.Unit == "in" && largest(c) < 0.2*25.4:
		return scale{1000 / 25.4, "1/1000 in"}
	case c.Words.Unit == "in":
		return scale{1 / 25.4, "in"}
	}
	return scale{1, "mm"}
}

// largest is the largest magnitude that a chart has to show.
func largest(c *dialog.DrawChart) float64 {
	m := 0.0
	for _, v := range chartNumbers(c) {
		m = math.Max(m, math.Abs(v))
	}
	return m
}

// chartNumbers are all values of a chart, without those of its band.
func chartNumbers(c *dialog.DrawChart) []float64 {
	var out []float64
	for _, v := range []*float64{c.Low, c.High} {
		if v != nil {
			out = append(out, *v)
		}
	}
	for _, p := range c.Points {
		for _, m := range []*dialog.Measured{p.Found, p.Left} {
			if m != nil {
				out = append(out, m.Value-m.Uncertainty, m.Value+m.Uncertainty)
			}
		}
	}
	return out
}

// pxWide is about how many px the days of a chart are wide.
const pxWide = 590.0

// newCourse lays a chart out. Its range shows every value with its
// uncertainty, the tolerance, and of the band as much as makes the rest no
// smaller than half.
func newCourse(d *dialog.DrawChart) *course {
	c := &course{start: d.Points[0].At, scale: scaleOf(d), next: math.NaN(), words: d.Words}
	c.found.ring = true
	last := d.Points[len(d.Points)-1].At
	if d.Next.After(last) {
		c.next = c.day(d.Next)
		last = d.Next
	}
	span := math.Max(c.day(last), 20)
	c.from, c.to = -0.05*span, c.day(last)+0.05*span
	c.tolLow, c.tolHigh = c.limit(d.Low), c.limit(d.High)

	c.low, c.high = math.Inf(1), math.Inf(-1)
	for _, v := range chartNumbers(d) {
		c.low, c.high = math.Min(c.low, v*c.scale.factor), math.Max(c.high, v*c.scale.factor)
	}
	if c.low == c.high {
		c.low, c.high = c.low-1, c.high+1
	}
	c.predict(d)
	least, most := c.low-0.4*(c.high-c.low), c.high+0.4*(c.high-c.low)
	for i := range c.middle {
		c.low = math.Min(c.low, math.Max(c.lower[i].Y, least))
		c.high = math.Max(c.high, math.Min(c.upper[i].Y, most))
	}
	room := 0.1 * (c.high - c.low)
	c.low, c.high = c.low-room, c.high+room

	aside := 11 * (c.to - c.from) / pxWide
	for i, p := range d.Points {
		both := p.Found != nil && p.Left != nil && (p.Adjusted || p.Found.Value != p.Left.Value)
		shift := 0.0
		if both {
			shift = aside
		}
		if p.Found != nil && (both || p.Left == nil) {
			c.found.at = append(c.found.at, c.mark(p.At, p.Found, -shift, i))
		}
		if p.Left != nil {
			m := c.mark(p.At, p.Left, shift, i)
			m.both = p.Found != nil && !both
			c.left.at = append(c.left.at, m)
		}
		c.anyFound = c.anyFound || p.Found != nil
	}
	return c
}

// predict takes over the fitted line from the last adjustment on: what was
// moved by hand before it is no drift.
func (c *course) predict(d *dialog.DrawChart) {
	if d.Line == nil {
		return
	}
	from := d.Points[0].At
	for _, p := range d.Points {
		if p.Adjusted {
			from = p.At
		}
	}
	for i, b := range d.Band {
		if b.At.Before(from) {
			if i+1 == len(d.Band) || !d.Band[i+1].At.After(from) {
				continue
			}
			b = between(b, d.Band[i+1], from)
		}
		x := c.day(b.At)
		c.middle = append(c.middle, plotter.XY{X: x, Y: b.Value * c.scale.factor})
		c.lower = append(c.lower, plotter.XY{X: x, Y: b.Low * c.scale.factor})
		c.upper = append(c.upper, plotter.XY{X: x, Y: b.High * c.scale.factor})
	}
}

// between returns the band at a time between two of its points.
func between(a, b dialog.ChartBand, at time.Time) dialog.ChartBand {
	f := float64(at.Sub(a.At)) / float64(b.At.Sub(a.At))
	mix := func(x, y float64) float64 { return x + f*(y-x) }
	return dialog.ChartBand{At: at, Value: mix(a.Value, b.Value), Low: mix(a.Low, b.Low), High: mix(a.High, b.High)}
}

func (c *course) day(t time.Time) float64 { return t.Sub(c.start).Hours() / 24 }

func (c *course) limit(v *float64) *float64 {
	if v == nil {
		return nil
	}
	shown := *v * c.scale.factor
	return &shown
}

func (c *course) mark(at time.Time, m *dialog.Measured, aside float64, visit int) mark {
	return mark{XY: plotter.XY{X: c.day(at) + aside, Y: m.Value * c.scale.factor}, u: m.Uncertainty * c.scale.factor, visit: visit}
}

// steps puts ticks at round values, written with the language's decimal mark.
type steps struct{ point string }

// Ticks implements plot.Ticker.
func (s steps) Ticks(low, high float64) []plot.Tick {
	step := roundStep((high - low) / 5)
	decimals := int(math.Max(0, math.Ceil(-math.Log10(step)-1e-9)))
	var out []plot.Tick
	for i := math.Ceil(low / step); i*step <= high; i++ {
		label := strconv.FormatFloat(i*step, 'f', decimals, 64)
		if i == 0 {
			label = "0"
		}
		out = append(out, plot.Tick{Value: i * step, Label: strings.NewReplacer("-", "−", ".", s.point).Replace(label)})
	}
	return out
}

// roundStep is the smallest of 1, 2, 5 times a power of ten that is not below v.
func roundStep(v float64) float64 {
	power := math.Pow(10, math.Floor(math.Log10(v)))
	for _, m := range []float64{1, 2, 5} {
		if m*power >= v {
			return m * power
		}
	}
	return 10 * power
}

// dates puts ticks at days, months or years, as ISO 8601 writes them, which
// reads the same in every language.
type dates struct{ start time.Time }

// Ticks implements plot.Ticker; the range is days after the start.
func (d dates) Ticks(from, to float64) []plot.Tick {
	first, last := d.start.Add(days(from)), d.start.Add(days(to))
	tick := func(t time.Time, layout string) plot.Tick {
		return plot.Tick{Value: t.Sub(d.start).Hours() / 24, Label: t.Format(layout)}
	}
	if to-from < 75 {
		step := max(1, int(math.Ceil((to-from)/4)))
		var out []plot.Tick
		for t := midnight(first).AddDate(0, 0, 1+step/2); t.Before(last); t = t.AddDate(0, 0, step) {
			out = append(out, tick(t, time.DateOnly))
		}
		return out
	}
	for _, months := range []int{1, 2, 3, 6, 12, 24, 60, 120, 600} {
		layout := "2006-01"
		if months >= 12 {
			layout = "2006"
		}
		var out []plot.Tick
		begin := time.Date(first.Year()-first.Year()%max(1, months/12), 1, 1, 0, 0, 0, 0, time.UTC)
		for t := begin; t.Before(last); t = t.AddDate(0, months, 0) {
			if !t.Before(first) {
				out = append(out, tick(t, layout))
			}
		}
		if len(out) <= 5 {
			return out
		}
	}
	return nil
}

func midnight(t time.Time) time.Time {
	t = t.UTC()
	return time.Date(t.Year(), t.Month(), t.Day(), 0, 0, 0, 0, time.UTC)
}

func days(n float64) time.Duration { return time.Duration(n * 24 * float64(time.Hour)) }

// bandNumbers are the values of a chart's band.
func bandNumbers(c *dialog.DrawChart) []float64 {
	var out []float64
	for _, b := range c.Band {
		out = append(out, b.Value, b.Low, b.High)
	}
	return out
}
