package calc

import (
	"math/rand/v2"
	"slices"
	"testing"
)

// Aims on one idle core: a plan for 6 supports in 0.5 ms and for 16 in 2 ms;
// everything else in 50 µs. Learn keeps to it with 6 supports (about 30 µs, but 60
// where there is a slip to find) and not with 16 (about 0.2 and 0.35 ms): it
// weighs some fifty guesses of stiffness and torsion, each of which needs what
// every nut that was turned does to every height, and that alone is 16·16
// products a nut. Fewer guesses would change the answers.
func BenchmarkGeometry(b *testing.B) {
	r := Rectangular(0.005)
	screw := []ScrewMove{{0.125, 0.004, 0.005}, {-0.5, 0.005, 0.001}}
	knife := Knife{Thickness: 2.5, Plate: 2.2, Kerf: 3.2, Gaps: []Length{5, 6, 7}, Top: -3}
	rail := []Length{-100, -400, -1100}
	spots := []Travel{{0.50, 0.46}, {0.71, 0.66}, {0.33, 0.30}}
	slider := Estimate{Value: 0.02, U: 0.02, DoF: ManyDoF}
	six, sixteen := benchSaw(b, 3, 2), benchSaw(b, 8, 2)
	for _, bench := range []struct {
		name string
		f    func()
	}{
		{"Plan/6", six.plan}, {"Plan/16", sixteen.plan},
		{"PlanFirst/6", six.first}, {"PlanFirst/16", sixteen.first},
		{"Learn/6", six.learn}, {"Learn/16", sixteen.learn},
		{"LearnSlip/6", six.slip}, {"LearnSlip/16", sixteen.slip},
		{"Heights/6", six.heights}, {"Heights/16", sixteen.heights},
		{"Influence/6", six.influence},
		{"SliderToe", func() { SliderToe(0.06, 0.02, 250, 315, r) }},
		{"SliderToeMean", func() { SliderToeMean(spots, 250, 315, r) }},
		{"ShiftAt", func() { ShiftAt(0.1, 0.025, 315, 1800, 200) }},
		{"FiveCut", func() { FiveCut(25.6, 25.2, 400, r) }},
		{"FenceMove", func() { FenceMove(1e-3, 900, 60) }},
		{"TiltByGap", func() { TiltByGap(0.1, 80, AwaySide, r) }},
		{"FenceToeThroughSlider", func() { FenceToeThroughSlider(600, 600.1, 800, 315, slider, r) }},
		{"RailMoves", func() { RailMoves(0.1, 0.025, 315, rail, -400) }},
		{"KnifeCheck", func() { knife.Check(DefaultKnifeRules()) }},
		{"NextScrew", func() { NextScrew(screw, 0.001, DefaultScrewOptions(0, 1e-4)) }},
	} {
		b.Run(bench.name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				bench.f()
			}
		})
	}
}

// benched is a table with one pass behind it.
type benched struct {
	plan, first, learn, slip, heights, influence func()
}

func benchSaw(b *testing.B, stations, rows int) benched {
	r := rand.New(rand.NewPCG(1, uint64(stations)))
	saw := bench{"", stations, rows, 0.1, 1, 0.15}.draw(r)
	o := DefaultPlanOptions()
	fresh := model(b, saw.at)
	h := saw.readAll()
	p := plan(b, fresh, h, nil, o)
	saw.turn(p.Turns)
	passes := []Pass{{Turns: p.Turns, Before: h, After: saw.readAll()}}
	after := slices.Clone(passes[0].After)
	after[0] -= 0.1 // so that there is something to do
	odd := []Pass{{Turns: p.Turns, Before: h, After: after}}
	m, found := learn(b, fresh, odd, o.U)
	return benched{
		plan:      func() { m.Plan(after, nil, o) },
		first:     func() { fresh.Plan(h, nil, o) },
		learn:     func() { fresh.Learn(passes, o.U) },
		slip:      func() { fresh.Learn(odd, o.U) },
		heights:   func() { m.Heights(odd, found, o.U, 0) },
		influence: func() { m.Influence() },
	}
}
