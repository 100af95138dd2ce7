package virtualsaw

import (
	"image/color"
	"maps"
	"math"
	"slices"
	"strconv"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// Figure is one plot of the report.
type Figure struct {
	Name string // of its file, without the ending
	Alt  string
	Plot *plot.Plot
}

// Size of a figure.
const (
	figureWidth  = 18 * vg.Centimeter
	figureHeight = 10 * vg.Centimeter
)

// Save writes the figure as its file's ending says.
func (f Figure) Save(path string) error { return f.Plot.Save(figureWidth, figureHeight, path) }

// Figures draws what was counted.
func (s *Study) Figures() ([]Figure, error) {
	var out []Figure
	for _, draw := range []func() (*Figure, error){s.minutesFigure, s.coverageFigure, s.slipFigure} {
		f, err := draw()
		if err != nil {
			return nil, err
		}
		if f != nil {
			out = append(out, *f)
		}
	}
	return out, nil
}

// newPlot returns an empty plot with room below its title and short numbers on
// its axes.
func newPlot() *plot.Plot {
	p := plot.New()
	p.Title.Padding = vg.Points(10)
	short := plot.TickerFunc(func(low, high float64) []plot.Tick {
		ticks := plot.DefaultTicks{}.Ticks(low, high)
		for i, t := range ticks {
			if t.Label != "" {
				ticks[i].Label = strconv.FormatFloat(t.Value, 'g', 4, 64)
			}
		}
		return ticks
	})
	p.X.Tick.Marker, p.Y.Tick.Marker = short, short
	return p
}

// Colours that stay apart in grey and for eyes that mix red and green.
var (
	dark  = color.RGBA{0x1f, 0x3a, 0x5f, 0xff}
	light = color.RGBA{0xd9, 0x8e, 0x2b, 0xff}
	grey  = color.RGBA{0x8a, 0x8a, 0x8a, 0xff}
)

// minutesFigure shows which part of the saws is level after how many minutes.
func (s *Study) minutesFigure() (*Figure, error) {
	r := s.Race["all"]
	if r == nil {
		return nil, nil
	}
	p := newPlot()
	p.Title.Text = "Levelled after so many minutes of readings and moves"
	p.X.Label.Text, p.Y.Label.Text = "minutes", "part of the saws"
	for i, x := range []struct {
		name string
		r    Runner
		c    color.Color
	}{{"the service", r.Service, dark}, {"one nut at a time, 1/8 turn at most", r.OneCapped, light}, {"every nut by its own reading, 1/8 turn at most", r.OwnCapped, grey}} {
		v := slices.Clone(x.r.Minutes)
		slices.Sort(v)
		line := make(plotter.XYs, 0, len(v))
		for k, m := range v {
			line = append(line, plotter.XY{X: m, Y: float64(k+1) / float64(len(v))})
		}
		l, err := plotter.NewLine(line)
		if err != nil {
			return nil, err
		}
		l.Color, l.Width = x.c, vg.Points(2)
		l.Dashes = [][]vg.Length{nil, {vg.Points(6), vg.Points(3)}, {vg.Points(2), vg.Points(3)}}[i]
		p.Add(l)
		p.Legend.Add(x.name, l)
	}
	p.Add(plotter.NewGrid())
	p.X.Min, p.X.Max, p.Y.Min, p.Y.Max = 0, Quantile(r.Service.Minutes, 0.99), 0, 1
	return &Figure{"minutes", "Part of the saws that are level after so many minutes, for the service and for two rules of thumb.", p}, nil
}

// coverageFigure shows how often the stated uncertainty reaches the truth, with
// its bounds, and the band in which it should be.
func (s *Study) coverageFigure() (*Figure, error) {
	var names []string
	var points plotter.XYs
	var bounds plotter.YErrors
	for _, k := range slices.Sorted(maps.Keys(s.Claims)) {
		c := s.Claims[k]
		if c.CoverFirst.All == 0 || math.IsNaN(c.CoverFirst.Rate()) {
			continue
		}
		low, high := c.CoverFirst.Interval(confidence)
		rate := c.CoverFirst.Rate()
		points = append(points, plotter.XY{X: float64(len(names)), Y: 100 * rate})
		bounds = append(bounds, struct{ Low, High float64 }{100 * (rate - low), 100 * (high - rate)})
		names = append(names, k)
	}
	if len(names) == 0 {
		return nil, nil
	}
	p := newPlot()
	p.Title.Text = "First verdicts whose stated 95 % uncertainty reaches the truth"
	p.Y.Label.Text = "per cent"
	band, err := plotter.NewPolygon(plotter.XYs{{X: -1, Y: 93}, {X: float64(len(names)), Y: 93}, {X: float64(len(names)), Y: 97.5}, {X: -1, Y: 97.5}})
	if err != nil {
		return nil, err
	}
	band.Color, band.LineStyle.Width = color.RGBA{0xe2, 0xe8, 0xf0, 0xff}, 0
	dots, err := plotter.NewScatter(points)
	if err != nil {
		return nil, err
	}
	dots.GlyphStyle = draw.GlyphStyle{Color: dark, Radius: vg.Points(3), Shape: draw.CircleGlyph{}}
	bars, err := plotter.NewYErrorBars(struct {
		plotter.XYer
		plotter.YErrorer
	}{points, bounds})
	if err != nil {
		return nil, err
	}
	bars.Color = dark
	p.Add(band, bars, dots)
	p.NominalX(names...)
	p.X.Tick.Label.Rotation = math.Pi / 3
	p.X.Tick.Label.XAlign, p.X.Tick.Label.YAlign = draw.XRight, draw.YCenter
	p.Y.Max = 100
	return &Figure{"coverage", "Share of first verdicts whose uncertainty reaches the truth, for each characteristic, with the band from 93 to 97.5 per cent.", p}, nil
}

// slipFigure shows what came of each slip.
func (s *Study) slipFigure() (*Figure, error) {
	var names []string
	var named, good, wrong plotter.Values
	for _, k := range SlipKinds {
		c := s.Slips[k]
		if c == nil || c.Named.All == 0 {
			continue
		}
		names = append(names, string(k))
		named = append(named, 100*c.Named.Rate())
		good = append(good, 100*c.EndedTrue.Rate())
		wrong = append(wrong, 100*c.EndedWrongly.Rate())
	}
	if len(names) == 0 {
		return nil, nil
	}
	p := newPlot()
	p.Title.Text = "Slips"
	p.Y.Label.Text = "per cent of the conversations"
	width := vg.Points(9)
	for i, x := range []struct {
		name string
		v    plotter.Values
		c    color.Color
	}{{"named or questioned", named, grey}, {"ended truly within", good, dark}, {"ended wrongly as within", wrong, light}} {
		b, err := plotter.NewBarChart(x.v, width)
		if err != nil {
			return nil, err
		}
		b.Color, b.LineStyle.Width, b.Offset = x.c, 0, width*vg.Length(i-1)
		p.Add(b)
		p.Legend.Add(x.name, b)
	}
	p.NominalX(names...)
	p.X.Tick.Label.Rotation = math.Pi / 6
	p.X.Tick.Label.XAlign, p.X.Tick.Label.YAlign = draw.XRight, draw.YCenter
	p.Y.Min, p.Y.Max = 0, 130
	p.Legend.Top, p.Legend.Left = true, true
	return &Figure{"slips", "For each slip: the share that was named or questioned, that ended truly within, and that ended wrongly as within.", p}, nil
}
