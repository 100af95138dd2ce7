package calc_test

import (
	"fmt"
	"math"
	"time"

	"shimwright/calc"
)

// Toe of a slider from two indicator readings, each good to 0.01 mm, and a
// repeatability of 0.006 mm known from five readings of one spot.
func ExampleCombine() {
	resolution, repeat := calc.Rectangular(0.005), calc.Normal(0.006, 4)
	parts := append(resolution.Across(1, -1), repeat.Across(1, -1)...)
	toe := calc.Combine(parts...)
	toe.Value = 0.06 - 0.02
	fmt.Printf("%.3f ± %.3f mm, %v degrees of freedom\n", toe.Value, toe.U, toe.DoF)
	// Output: 0.040 ± 0.023 mm, 6 degrees of freedom
}

// The error of a crosscut fence by five cuts, with the uncertainty of everything
// that goes into it.
func ExamplePropagate() {
	fence, err := calc.Propagate(
		func(x []float64) float64 { return (x[0] - x[1]) / (4 * x[2]) },
		[]float64{25.60, 25.20, 400}, // caliper at both ends, length between, mm
		[]calc.Component{calc.Rectangular(0.005), calc.Rectangular(0.005), calc.Rectangular(0.5)})
	fmt.Printf("%.3f ± %.3f mm over a metre %v\n", 1000*fence.Value, 1000*fence.U, err)
	// Output: 0.250 ± 0.005 mm over a metre <nil>
}

// At a toe-in limit undecided counts as outside.
func ExampleDecide() {
	toe := calc.Estimate{Value: 0.015, U: 0.02, DoF: 7}
	height, _ := calc.Decide(toe, calc.Window{Low: 0, High: 0.1})
	slider, _ := calc.Decide(toe, calc.Window{Low: 0, High: 0.1, ToeIn: true})
	aim, _ := calc.Aim(toe.U, calc.Window{Low: 0, High: 0.03, ToeIn: true})
	fmt.Println(height, slider, aim)
	// Output: undecided outside 0.02
}

func ExampleFurtherReadings() {
	// Four readings with a scatter of 0.05 mm in a window of 0 … 0.1 mm.
	_, mean, _ := calc.TypeA([]float64{0.05 - 0.058, 0.05 - 0.03, 0.05 + 0.03, 0.05 + 0.058})
	e := calc.Combine(mean)
	e.Value = 0.05
	window := calc.Window{High: 0.1}
	more, ok := calc.FurtherReadings(e, 4, 0, window)
	fmt.Println(more, ok)
	_, ok = calc.FurtherReadings(e, 4, 0.06, window) // a tool that is no better than 0.06
	fmt.Println(ok)
	// Output:
	// 3 true
	// false
}

// A gap that a 0.10 mm leaf enters and a 0.15 mm leaf does not.
func ExampleFeelerReading() {
	gap, err := calc.FeelerReading(0.10, 0.15)
	e := gap.Estimate()
	fmt.Printf("%.3f ± %.3f mm %v\n", e.Value, e.U, err)
	// Output: 0.125 ± 0.024 mm <nil>
}

func ExampleTool_Read() {
	caliper := calc.Tool{Resolution: 0.02}
	first, _ := caliper.Read(25.60)
	last, _ := caliper.Read(25.20)
	taper := calc.Difference(first, last)
	again, _ := caliper.Read(25.64)
	fmt.Printf("%.2f ± %.3f mm; the first place reads the same: %v\n", taper.Value, taper.U, calc.Agree(first, again))
	// Output: 0.40 ± 0.016 mm; the first place reads the same: false
}

// A support that must rise by 0.22 mm on an M10 nut.
func ExampleThread_Nearest() {
	nut, _ := calc.ThreadByName("M10")
	turn := nut.Nearest(0.22, 0.02)
	fmt.Printf("%d/%d turn, %.0f°, %.0f mm at the end of a 180 mm spanner, raises %.3f mm\n",
		turn.Num, turn.Den, turn.Degrees, turn.Swing(180), turn.Advance)
	// Output: 5/32 turn, 56°, 177 mm at the end of a 180 mm spanner, raises 0.234 mm
}

func ExampleThread_Turns() {
	screw, _ := calc.ThreadByName("3/8-16")
	turn := screw.Turns(-8*calc.Thou, 8)
	fmt.Printf("%d/%d turn, %.2f flats, %.1f thou\n", turn.Num, turn.Den, turn.Flats, turn.Advance.Thousandths())
	// Output: -1/8 turn, -0.75 flats, -7.8 thou
}

func ExampleFeelerStack() {
	set, _ := calc.FeelerSet(13)
	stack, err := calc.FeelerStack(set, 0.37, 0.02, 3)
	fmt.Println(stack, err)
	stack, err = calc.FeelerStack(set, 0.37, 0.01, 3)
	fmt.Println(stack, err)
	// Output:
	// [0.3 0.05] <nil>
	// [0.3 0.05] calc: want cannot be made from these leaves within the tolerance
}

func ExampleFitLine() {
	x := []float64{0, 150, 300, 450, 600}        // mm along the slider
	y := []float64{0.02, 0.05, 0.06, 0.10, 0.11} // mm of height
	line, err := calc.FitLine(x, y)
	ahead, _ := line.Predict(750)
	fmt.Printf("%.3f mm per metre; at 750 mm %.3f ± %.3f mm %v\n", 1000*line.B, ahead.Value, ahead.U, err)
	// Output: 0.153 mm per metre; at 750 mm 0.137 ± 0.037 mm <nil>
}

func ExampleFlatness() {
	flat, plane, err := calc.Flatness([]calc.Point{
		{X: 0, Y: 0, Z: 0.00}, {X: 600, Y: 0, Z: 0.06}, {X: 0, Y: 400, Z: 0.02}, {X: 600, Y: 400, Z: 0.12}})
	fmt.Printf("flat within %.2f mm, rises %.3f mm per metre to the rear %v\n", flat, 1000*plane.SlopeX, err)
	// Output: flat within 0.02 mm, rises 0.133 mm per metre to the rear <nil>
}

func ExampleFitPlane() {
	plane, err := calc.FitPlane([]calc.Point{
		{X: 0, Y: 0, Z: 0.10}, {X: 1000, Y: 0, Z: 0.16}, {X: 0, Y: 500, Z: 0.08}, {X: 1000, Y: 500, Z: 0.14}})
	fmt.Printf("rises %.2f mm per metre to the rear and %.2f to the left; %.2f mm in the middle %v\n",
		1000*plane.SlopeX, 1000*plane.SlopeY, plane.At(500, 250), err)
	// Output: rises 0.06 mm per metre to the rear and -0.04 to the left; 0.12 mm in the middle <nil>
}

func ExampleStraightness() {
	s, err := calc.Straightness(
		[]calc.Length{0, 200, 400, 600, 800, 1000}, []calc.Length{0, 0.03, 0.05, 0.04, 0.02, -0.01})
	fmt.Printf("%.4f mm by least squares, %.4f mm minimum zone %v\n", s.LeastSquares, s.MinimumZone, err)
	// Output: 0.0551 mm by least squares, 0.0540 mm minimum zone <nil>
}

// Two rounds of eight readings on a blade at a radius of 120 mm, the second
// after turning the blade half a turn on the arbor.
func ExampleReverse() {
	round := func(flange, blade float64) []calc.Length {
		r := make([]calc.Length, 8)
		for i := range r {
			turn := 2 * math.Pi * float64(i) / 8
			r[i] = calc.Length(0.5 + flange*math.Cos(turn) + blade*math.Cos(turn-math.Pi/2))
		}
		return r
	}
	first, _ := calc.FitRunout(round(0.03, 0.05))
	second, _ := calc.FitRunout(round(0.03, -0.05))
	both, err := calc.Reverse(first, second)
	atFlange, _ := both.Flange.Scale(120, 30)
	fmt.Printf("blade %.2f mm, high at %.0f°; flange %.3f mm at its own radius %v\n",
		both.Blade.TIR(), both.Blade.Phase().Degrees(), atFlange.TIR(), err)
	// Output: blade 0.10 mm, high at 90°; flange 0.015 mm at its own radius <nil>
}

// An indicator that leans up to 10° shows up to 1.5 % too much.
func ExampleUnknownTilt() {
	correction, rest, err := calc.UnknownTilt(2, 10*calc.Degree)
	fmt.Printf("%.4f mm, u = %.4f mm %v\n", correction, rest.Standard(), err)
	// Output: -0.0101 mm, u = 0.0091 mm <nil>
}

func ExampleNextDate() {
	spring := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	visit := func(months int, found, left float64) calc.Visit {
		return calc.Visit{At: spring.AddDate(0, months, 0),
			Found: calc.Estimate{Value: found, U: 0.01, DoF: 9}, Left: calc.Estimate{Value: left, U: 0.01, DoF: 9}}
	}
	next, err := calc.NextDate([]calc.History{
		{Name: "height", Window: calc.Window{High: 0.1}, Visits: []calc.Visit{visit(0, -0.05, 0.05), visit(3, 0.06, 0.06)}},
		{Name: "toe", Window: calc.Window{High: 0.05, ToeIn: true}, Visits: []calc.Visit{visit(0, 0.09, 0.025), visit(3, 0.004, 0.025)}},
	})
	fmt.Println(next.Due.Format(time.DateOnly), next.Reason.Characteristic, next.Reason.Rule == calc.RuleShorter, err)
	// Output: 2026-08-02 toe true <nil>
}

// A plate that wobbles and is bent a little like a saddle, read at eight places:
// the highest and the lowest spot lie between readings.
func ExampleSweepRunout() {
	turns := []float64{0, 1. / 8, 2. / 8, 3. / 8, 4. / 8, 5. / 8, 6. / 8, 7. / 8}
	s, err := calc.SweepRunout(turns, []calc.Length{0, 0.02, 0.05, 0.06, 0.06, 0.04, 0.01, 0})
	if err != nil {
		fmt.Println(err)
		return
	}
	e := s.Estimate(calc.Rectangular(0.005), calc.Normal(0.003, 20)) // a dial of 0.01 mm and a steady hand
	fmt.Printf("%.3f mm, give or take %.3f mm\n", e.Value, e.U)
	// Output:
	// 0.068 mm, give or take 0.008 mm
}
