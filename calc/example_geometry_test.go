package calc_test

import (
	"fmt"

	"shimwright/calc"
)

// A slider on three stations of two studs, read at each: what to turn next, what
// the pass showed, and how high the table is now.
func Example_levelling() {
	var supports []calc.Support
	for _, x := range []calc.Length{150, 700, 1250} {
		for _, y := range []calc.Length{260, 430} {
			supports = append(supports, calc.Support{X: x, Y: y, Pitch: 1.5})
		}
	}
	m, _ := calc.NewModel(supports)
	before := []calc.Length{-0.06, -0.05, 0.03, 0.04, 0.05, 0.06}
	p, _ := m.Plan(before, nil, calc.DefaultPlanOptions())
	for i, turns := range p.Turns {
		if turns != 0 {
			fmt.Printf("nut %d: %+.3f turn, watch it go %+.2f mm\n", i+1, turns, p.Watch[i])
		}
	}

	after := []calc.Length{0.05, 0.05, 0.05, 0.04, 0.05, 0.06}
	passes := []calc.Pass{{Turns: p.Turns, Before: before, After: after}}
	m, findings, _ := m.Learn(passes, 0.02)
	heights, _ := m.Heights(passes, findings, 0.02, 0.01)
	fmt.Printf("findings: %v\nheight at the last: %.3f ± %.3f mm\n", findings, heights[5].Value, heights[5].U)
	p, _ = m.Plan(after, nil, calc.DefaultPlanOptions())
	fmt.Println("done:", p.Done)
	// Output:
	// nut 1: +0.078 turn, watch it go +0.11 mm
	// nut 2: +0.062 turn, watch it go +0.08 mm
	// findings: []
	// height at the last: 0.056 ± 0.016 mm
	// done: true
}

// The influence of three nuts in line under a beam that is neither stiff nor
// limp: raising the middle one lifts the ends.
func ExampleModel_Influence() {
	m, _ := calc.NewModel([]calc.Support{{X: 0, Pitch: 1.5}, {X: 500, Pitch: 1.5}, {X: 1000, Pitch: 1.5}})
	m.Stiffness = 0.2
	influence, _ := m.Influence()
	for i := range 3 {
		fmt.Printf("%+.3f\n", influence.RawRowView(i))
	}
	// Output:
	// [+0.893 +0.214 -0.107]
	// [+0.214 +0.571 +0.214]
	// [-0.107 +0.214 +0.893]
}

// The indicator reads 0.06 mm at the front and 0.02 mm at the rear, 250 mm apart,
// on a 315 mm blade; the rear end of the slider turns about the front one.
func ExampleSliderToe() {
	toe, _ := calc.SliderToe(0.06, 0.02, 250, 315, calc.Rectangular(0.005))
	shift, _ := calc.ShiftAt(calc.Length(toe.Value), 0.025, 315, 1800, 200)
	fmt.Printf("toe-out %.3f ± %.3f mm over the blade, rear end %.2f mm to the left\n", toe.Value, toe.U, shift)
	// Output: toe-out 0.050 ± 0.010 mm over the blade, rear end -0.13 mm to the left
}

// A strip 18.40 mm wide at the end cut first and 18.00 mm at the end cut last,
// 500 mm between: the fence's far end leans to the rear and is taken forward.
func ExampleFiveCut() {
	eps, _ := calc.FiveCut(18.40, 18.00, 500, calc.Rectangular(0.01))
	s, _ := calc.Express(calc.Angle(eps.Value), 300)
	move, _ := calc.FenceMove(calc.Angle(eps.Value), 1000, 80)
	fmt.Printf("%.3f mm over 300 mm, %.4f°, move the adjuster %+.3f mm\n", s.Over, s.Angle.Degrees(), move)
	// Output: 0.060 mm over 300 mm, 0.0115°, move the adjuster -0.184 mm
}

// A gap of 0.12 mm at the top of a square, over 85 mm.
func ExampleTiltByGap() {
	tilt, _ := calc.TiltByGap(0.12, 85, calc.AwaySide, calc.Rectangular(0.01))
	fmt.Printf("%.3f° ± %.3f°\n", calc.Angle(tilt.Value).Degrees(), calc.Angle(tilt.U).Degrees())
	// Output: 0.081° ± 0.006°
}

// Knife lines 0.30 mm apart at 300 mm from their foot.
func ExampleSquareFlip() {
	square, _ := calc.SquareFlip(0.30, 300, calc.Rectangular(0.05))
	fmt.Printf("%.4f°\n", calc.Angle(square.Value).Degrees())
	// Output: 0.0286°
}

// A fence that looks parallel to a slider which itself is toed out by 0.08 mm.
func ExampleFenceToeThroughSlider() {
	slider := calc.Estimate{Value: 0.08, U: 0.02, DoF: calc.ManyDoF}
	toe, _ := calc.FenceToeThroughSlider(600, 600, 800, 315, slider, calc.Rectangular(0.025))
	target, _ := calc.ToeTarget(0.03, calc.Window{Low: 0, High: 0.05, ToeIn: true})
	moves, _ := calc.RailMoves(calc.Length(toe.Value), target, 315, []calc.Length{-150, -950}, -150)
	fmt.Printf("toe %.2f mm, outer fixing %+.2f mm\n", toe.Value, moves[1])
	// Output: toe -0.08 mm, outer fixing -0.28 mm
}

// A knife that stands 0.5 mm clear of the kerf on the left and 0.1 mm on the right.
func ExampleKnifeShift() {
	shift, _ := calc.KnifeShift(0.5, 0.1, calc.Rectangular(0.025))
	knife := calc.Knife{Thickness: 2.2, Plate: 2.2, Kerf: 3.2, Gaps: []calc.Length{5, 9}, Top: -2}
	faults, _ := knife.Check(calc.DefaultKnifeRules())
	fmt.Printf("%.2f mm to the left, %v\n", shift.Value, faults)
	// Output: 0.20 mm to the left, [too thin too far]
}

// A scoring line that stands over more on the left.
func ExampleScoreShift() {
	shift, _ := calc.ScoreShift(0.15, 0.05, calc.Rectangular(0.025))
	fmt.Printf("%+.2f mm\n", shift.Value)
	// Output: -0.05 mm
}

// A stop screw: a trial of an eighth, then the secant, every move ending
// clockwise.
func ExampleNextScrew() {
	o := calc.DefaultScrewOptions(0, 0.0002)
	first, _, _ := calc.NextScrew(nil, 0.0040, o)
	moves := []calc.ScrewMove{{Turns: first.Turns, Before: 0.0040, After: 0.0050}}
	next, screw, _ := calc.NextScrew(moves, 0.0050, o)
	fmt.Printf("try %+.3f; it does %.3f rad a turn, so %+.3f, past it by %.2f first\n",
		first.Turns, screw.Rate, next.Turns, next.Past)
	// Output: try +0.125; it does 0.008 rad a turn, so -0.625, past it by 0.25 first
}
