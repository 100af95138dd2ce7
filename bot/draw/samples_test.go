package draw

import (
	"fmt"
	"maps"
	"math"

	"shimwright/calc"
	"shimwright/dialog"
)

var english = dialog.DrawWords{Blade: "blade", Front: "front", Rear: "rear",
	Slider: "slider", Table: "main table", Operator: "you stand here"}

var german = dialog.DrawWords{Blade: "Sägeblatt", Front: "vorn", Rear: "hinten",
	Slider: "Schiebetisch", Table: "Maschinentisch", Operator: "Sie stehen hier"}

// level returns a level drawing with that many stations, each with per
// supports, and moves of every kind.
func level(hand calc.Hand, stations, per int) dialog.Drawing {
	d := dialog.Drawing{Kind: KindSlider, Title: "Slider level: the panel saw, pass 1",
		Alt: "Seen from above. Raise support 1 by 1/8 turn.", Hand: hand, Words: english}
	sides := []string{"outer side", "blade side"}
	ys := []float64{390, 130}
	n := 0
	for s := range stations {
		for k := range per {
			n++
			p := dialog.DrawPoint{X: -400 + 2600*float64(s)/math.Max(1, float64(stations-1)),
				Y:     float64(hand.Mirror(calc.Length(ys[k]))),
				Label: fmt.Sprintf("support %d, %s", n, sides[k])}
			switch n % 4 {
			case 1:
				p.Reading, p.Sign, p.Dir = "−0.19 mm", -1, 1
				p.Move, p.Turns, p.Clock = "raise 1/8 turn", 0.125, -1
			case 2:
				p.Reading, p.Sign = "+0.04 mm", 0
			case 3:
				p.Reading, p.Sign, p.Dir = "+0.17 mm", 1, -1
				p.Move, p.Turns, p.Clock = "lower 1/16 turn", -0.0625, 1
			default:
				p.Reading, p.Sign, p.Dir = "−0.08 to −0.05 mm", -1, 1
				p.Move, p.Turns, p.Clock = "raise 1/12 turn", 1.0/12, -1
			}
			d.Points = append(d.Points, p)
		}
	}
	return d
}

func sideways(hand calc.Hand) dialog.Drawing {
	y := float64(hand.Mirror(260))
	return dialog.Drawing{Kind: KindParallel, Title: "Slider travel along the blade", Alt: "Move the rear end 0.12 mm to the left.",
		Hand: hand, Words: english, Points: []dialog.DrawPoint{
			{Label: "front end, station 1", X: -300, Y: y, Reading: "0.00 mm"},
			{Label: "rear end, station 3", X: 1900, Y: y, Reading: "0.11 mm toe-in over 315 mm", Sign: -1,
				Move: "left 0.12 mm, read on the second indicator", Dir: 1},
		}}
}

func fence(hand calc.Hand, rear bool, lean float64) dialog.Drawing {
	m := func(y float64) float64 { return float64(hand.Mirror(calc.Length(y))) }
	f := &dialog.DrawFence{PivotY: m(300), AdjustY: m(1500), EndY: m(1700), AtRear: rear, Lean: lean,
		LeanText: "leans 0.16 mm to the rear over 300 mm", Move: -lean * 1200,
		MoveText: "forward stop: 0.35 + 0.25 mm of feeler leaves to the front", Pivot: "pivot, 300 mm from the blade", Adjust: "adjuster, 1500 mm from the blade"}
	return dialog.Drawing{Kind: KindFence, Title: "Crosscut fence: square to the cut", Alt: "The far end leans to the rear.", Hand: hand, Words: english, Fence: f}
}

func rail(hand calc.Hand, n int) dialog.Drawing {
	d := dialog.Drawing{Kind: KindRail, Title: "Rip fence rail", Alt: "Move fixing 1 to the front.", Hand: hand, Words: english}
	for i := range n {
		p := dialog.DrawPoint{Label: fmt.Sprintf("fixing %d", i+1), Y: float64(hand.Mirror(calc.Length(-100 - 900*float64(i)/float64(n)))), Reading: "0.08 mm", Sign: 1}
		if i == 0 {
			p.Dir, p.Move = 1, "0.06 mm to the rear"
		}
		if i == n-1 {
			p.Dir, p.Move = -1, "0.06 mm to the front"
		}
		d.Points = append(d.Points, p)
	}
	return d
}

func ripFence(hand calc.Hand) dialog.Drawing {
	return dialog.Drawing{Kind: KindRipFence, Title: "Rip fence from above", Alt: "Rear end 0.12 mm away from the blade.", Hand: hand, Words: english,
		Points: []dialog.DrawPoint{{Label: "rear end of the rip fence", X: 900, Y: float64(hand.Mirror(-100)),
			Dir: int(hand.Mirror(-1)), Move: "0.12 mm away from the blade"}}}
}

func tilt(nominal, err float64, left bool) dialog.Drawing {
	return dialog.Drawing{Kind: KindTilt, Title: "Bevel stop 45°", Alt: "The blade leans 0.12° too far.", Words: english,
		Tilt: &dialog.DrawTilt{Nominal: nominal, Error: err, Left: left, Text: "0.12° over", Move: "stop screw: back 1/4 turn"}}
}

// samples are drawings of every kind, from the plainest to the fullest.
func samples() map[string]dialog.Drawing {
	long := level(calc.Left, 3, 2)
	long.Words = german
	long.Title = "Schiebetisch in der Höhe: die Formatkreissäge in der hinteren Werkstatt, Durchgang 2"
	for i := range long.Points {
		long.Points[i].Label = "Auflage " + fmt.Sprint(i+1) + ", Sägeblattseite außen"
		if long.Points[i].Move != "" {
			long.Points[i].Move = "eine Achtelumdrehung anheben"
		}
	}
	out := map[string]dialog.Drawing{"level-german": long}
	for _, h := range []calc.Hand{calc.Left, calc.Right} {
		n := []string{"left", "right"}[h]
		out["level-2-"+n] = level(h, 2, 1)
		out["level-4-"+n] = level(h, 4, 1)
		out["level-6-"+n] = level(h, 3, 2)
		out["level-16-"+n] = level(h, 8, 2)
		out["parallel-"+n] = sideways(h)
		out["fence-"+n] = fence(h, false, 0.0005)
		out["fence-rear-"+n] = fence(h, true, -0.0005)
		out["ripfence-"+n] = ripFence(h)
		out["rail-2-"+n] = rail(h, 2)
		out["rail-4-"+n] = rail(h, 4)
	}
	out["parallel-6"] = level(calc.Left, 3, 2)
	six := out["parallel-6"]
	six.Kind = KindParallel
	out["parallel-6"] = six
	out["tilt-45-left"] = tilt(math.Pi/4, 0.002, true)
	out["tilt-45-right"] = tilt(math.Pi/4, -0.002, false)
	out["tilt-90-left"] = tilt(0, 0.002, true)
	out["tilt-90-true"] = tilt(0, 0, true)
	maps.Copy(out, charts())
	return out
}
