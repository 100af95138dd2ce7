package calc

import (
	"math"
	"testing"
	"time"
)

// Aim for each: under 50 µs on one core.
func BenchmarkNumbers(b *testing.B) {
	twelve := make([]Length, 24)
	for i := range twelve {
		twelve[i] = Length(0.05*math.Sin(float64(i)) + 0.01*math.Sin(7*float64(i)))
	}
	round, _ := FitRunout(twelve)
	places := make([]float64, len(twelve))
	for i := range places {
		places[i] = float64(i) / float64(len(places))
	}
	leaves, _ := FeelerSet(20)
	resolution, repeat := Rectangular(0.005), Normal(0.003, 9)
	start := time.Date(2025, 1, 15, 9, 0, 0, 0, time.UTC)
	h := History{Name: "toe", Window: Window{High: 0.1}}
	for i := range 12 {
		h.Visits = append(h.Visits, Visit{At: start.AddDate(0, 3*i, 0),
			Found: Estimate{Value: 0.05 + 0.002*math.Sin(float64(i)), U: 0.01, DoF: ManyDoF},
			Left:  Estimate{Value: 0.05, U: 0.01, DoF: ManyDoF}})
	}
	grid := make([]Point, 0, 25)
	for i := range 25 {
		grid = append(grid, Point{Length(100 * (i % 5)), Length(80 * (i / 5)), twelve[i%24]})
	}
	at := bare(twelve)
	for i := range at {
		at[i] = float64(50 * i)
	}
	undecided := Estimate{Value: 0.002, U: 0.02, DoF: 4}
	window := Window{High: 0.05}
	for _, bench := range []struct {
		name string
		f    func()
	}{
		{"Combine/1", func() { Combine(resolution) }},
		{"Combine/4", func() { Combine(resolution, resolution, repeat, repeat) }},
		{"Combine/16", func() {
			Combine(resolution, resolution, resolution, resolution, resolution, resolution, resolution, resolution,
				repeat, repeat, repeat, repeat, repeat, repeat, repeat, repeat)
		}},
		{"Propagate/3", func() {
			_, _ = Propagate(func(x []float64) float64 { return (x[0] - x[1]) / (4 * x[2]) },
				[]float64{20.1, 20, 400}, []Component{resolution, resolution, Rectangular(0.5)})
		}},
		{"FitLine/24", func() { _, _ = FitLine(at, bare(twelve)) }},
		{"FitPlane/25", func() { _, _ = FitPlane(grid) }},
		{"Straightness/24", func() { _, _ = Straightness(twelve, twelve) }},
		{"FitRunout/24", func() { _, _ = FitRunout(twelve) }},
		{"SweepRunout/24", func() { _, _ = SweepRunout(places, twelve) }},
		{"Runout.Estimate/24", func() { round.Estimate(resolution, repeat) }},
		{"Decide", func() { _, _ = Decide(undecided, window) }},
		{"Conformance", func() { _, _ = Conformance(undecided, window) }},
		{"FurtherReadings", func() { FurtherReadings(undecided, 5, 0, window) }},
		{"ThreadByName", func() { _, _ = ThreadByName("3/4-16 UNF") }},
		{"Nearest", func() { threads[0].Nearest(0.237, 0.001) }},
		{"FeelerStack/20", func() { _, _ = FeelerStack(leaves, 3.333, 0.001, 4) }},
		{"Next/12", func() { _, _ = h.Next() }},
	} {
		b.Run(bench.name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				bench.f()
			}
		})
	}
}
