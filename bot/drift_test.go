package main

import (
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"shimwright/dialog"
	"shimwright/store"
)

// The whole path of a drift: records as a CSV file, imported by the command's
// own code, the history asked for over HTTP, the numbers of the chart that comes
// with it. Two published examples stand in for a saw; a day is a unit of x, a mm
// one of y.

// chartOf imports pairs (day, mm) as what was found and left on a slider, and
// returns the chart that the word history brings.
func chartOf(t *testing.T, points [][2]float64) *dialog.DrawChart {
	t.Helper()
	s := newService(t)
	saw := demoShop()
	saw.Records = nil
	if _, err := bringIn(t.Context(), s.store, importing{Shop: homeShop, Copy: saw}, s.clock.now()); err != nil {
		t.Fatal(err)
	}
	var file strings.Builder
	file.WriteString(strings.Join(recordColumns(), ",") + "\r\n")
	last := 0.0
	for i, p := range points {
		last = math.Max(last, p[0])
		at := origin().Add(time.Duration(math.Round(p[0]*24*3600*1000)) * time.Millisecond).Format(time.RFC3339Nano)
		fmt.Fprintf(&file, "r-%d,saw-1,slider-level,slider.level,%s,owner,mm,%g,0,%s,%g,0,%s,-2000,2000,within,false,indicator,0.01,,,,,,\r\n",
			i, at, p[1], at, p[1], at)
	}
	copied, err := readCopy(strings.NewReader(file.String()), func() (shopCopy, error) { return saw, nil })
	if err != nil {
		t.Fatal(err)
	}
	if sum, err := bringIn(t.Context(), s.store, importing{Shop: homeShop, Copy: copied}, s.clock.now()); err != nil || sum.Records != len(points) {
		t.Fatalf("%+v %v", sum, err)
	}
	s.clock.set(origin().Add(time.Duration(last*24+1) * time.Hour))
	a := s.sayHome("history")
	if len(a.Replies[0].Media) == 0 {
		t.Fatalf("no chart: %+v", a.Replies)
	}
	shop, id, _ := strings.Cut(strings.TrimPrefix(a.Replies[0].Media[0].URL, mediaPath), ".")
	d, err := s.store.Get(t.Context(), shop, store.KindDrawing, id)
	if err != nil {
		t.Fatal(err)
	}
	var spec dialog.Drawing
	if err := json.Unmarshal(d.Body, &spec); err != nil || spec.Chart == nil || spec.Chart.Line == nil {
		t.Fatalf("%v: %+v", err, spec)
	}
	if spec.Chart.Line.From.IsZero() || len(spec.Chart.Points) != len(points) {
		t.Fatalf("the chart has %d points of %d", len(spec.Chart.Points), len(points))
	}
	return spec.Chart
}

func origin() time.Time { return time.Date(2027, 1, 1, 0, 0, 0, 0, time.UTC) }

// lineAt carries a chart's line, whose day 0 is its first visit, to another
// origin: the intercept there and its standard uncertainty, from the published
// relation of a line's variances (JCGM 100:2008, equation H.15), with the
// covariance -x̄·s²(B) of equation H.13.
func lineAt(c *dialog.DrawChart, origin time.Time) (a, sa float64) {
	x0 := origin.Sub(c.Line.From).Hours() / 24
	mean := 0.0
	for _, p := range c.Points {
		mean += p.At.Sub(c.Line.From).Hours() / 24 / float64(len(c.Points))
	}
	cov := -mean * c.Line.SB * c.Line.SB
	return c.Line.A + c.Line.B*x0, math.Sqrt(c.Line.SA*c.Line.SA + x0*x0*c.Line.SB*c.Line.SB + 2*x0*cov)
}

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: %.12g, want %.12g", what, got, want)
	}
}

// JCGM 100:2008 (GUM), example H.3: a thermometer's corrections b against its
// temperature t, in days after day 20. Published: y1 = -0.1712 with u = 0.0029,
// y2 = 0.00218 with u = 0.00067, s = 0.0035, b(30) = -0.1494 with u = 0.0041 and
// nine degrees of freedom; t₉₅(9) = 2.26 (table G.2).
func TestDriftOfGUMH3(t *testing.T) {
	var points [][2]float64
	b := []float64{-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160}
	for i, x := range []float64{21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511} {
		points = append(points, [2]float64{x - 20, b[i]})
	}
	c := chartOf(t, points)
	a, sa := lineAt(c, origin())
	near(t, "y1", a, -0.1712, 0.00005)
	near(t, "u(y1)", sa, 0.0029, 0.00005)
	near(t, "y2", c.Line.B, 0.00218, 0.000005)
	near(t, "u(y2)", c.Line.SB, 0.00067, 0.000005)
	near(t, "s", c.Line.S, 0.0035, 0.00005)
	near(t, "degrees of freedom", c.Line.DoF, 9, 0)
	at30, u30 := lineAt(c, origin().AddDate(0, 0, 10))
	near(t, "b(30)", at30, -0.1494, 0.00005)
	near(t, "u(b(30))", u30, 0.0041, 0.00005)
	// The band of one further visit adds its own scatter s to the line's: on day
	// 30 that is 2.26·√(0.0041² + 0.0035²).
	for _, band := range c.Band {
		mid, u := lineAt(c, band.At)
		near(t, "the band's middle", band.Value, mid, 1e-12)
		near(t, "the band's width", band.High-band.Value, 2.26*math.Hypot(u, c.Line.S), 0.001*(band.High-band.Value))
		near(t, "below as above", band.Value-band.Low, band.High-band.Value, 1e-12)
	}
}

// NIST StRD, linear regression, Norris (36 points): certified intercept
// -0.262323073774029 (sd 0.232818234301152), slope 1.00211681802045
// (sd 0.000429796848199937), residual sd 0.884796396144373.
func TestDriftOfNorris(t *testing.T) {
	c := chartOf(t, norris())
	a, sa := lineAt(c, origin())
	near(t, "intercept", a, -0.262323073774029, 1e-9)
	near(t, "its sd", sa, 0.232818234301152, 1e-9)
	near(t, "slope", c.Line.B, 1.00211681802045, 1e-12)
	near(t, "its sd", c.Line.SB, 0.000429796848199937, 1e-12)
	near(t, "residual sd", c.Line.S, 0.884796396144373, 1e-10)
	near(t, "degrees of freedom", c.Line.DoF, 34, 0)
}

// norris is that data set, as pairs (x, y).
func norris() [][2]float64 {
	return [][2]float64{{0.2, 0.1}, {337.4, 338.8}, {118.2, 118.1}, {884.6, 888.0}, {10.1, 9.2}, {226.5, 228.1}, {666.3, 668.5}, {996.3, 998.5},
		{448.6, 449.1}, {777.0, 778.9}, {558.2, 559.2}, {0.4, 0.3}, {0.6, 0.1}, {775.5, 778.1}, {666.9, 668.8}, {338.0, 339.3}, {447.5, 448.9},
		{11.6, 10.8}, {556.0, 557.7}, {228.1, 228.3}, {995.8, 998.0}, {887.6, 888.8}, {120.2, 119.6}, {0.3, 0.3}, {0.3, 0.6}, {556.8, 557.6},
		{339.1, 339.3}, {887.2, 888.0}, {999.0, 998.5}, {779.0, 778.9}, {11.1, 10.2}, {118.3, 117.6}, {229.2, 228.9}, {669.1, 668.4},
		{448.9, 449.2}, {0.5, 0.2}}
}
