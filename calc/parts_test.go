package calc

import (
	"fmt"
	"math"
	"slices"
	"testing"
)

// The knife moved by the shift stands in the middle: its clearances are equal.
func TestKnifeShiftCentres(t *testing.T) {
	for _, c := range [][2]Length{{0.3, 0.3}, {0.5, 0.1}, {0, 0.4}, {-0.1, 0.5}} {
		e, err := KnifeShift(c[0], c[1], Rectangular(0.025))
		if err != nil {
			t.Fatal(err)
		}
		// moved to the left, it closes the left clearance and opens the right
		within(t, fmt.Sprintf("clearances of %v", c), float64(c[0])-e.Value, float64(c[1])+e.Value, 1e-12)
	}
	e, _ := KnifeShift(0.3, 0.3, Rectangular(0.025))
	within(t, "nothing when equal", e.Value, 0, 0)
}

// The scoring line moved by the shift stands over evenly.
func TestScoreShiftCentres(t *testing.T) {
	for _, c := range [][2]Length{{0.1, 0.1}, {0.25, 0.05}, {0, 0.2}, {-0.05, 0.15}} {
		e, err := ScoreShift(c[0], c[1], Rectangular(0.025))
		if err != nil {
			t.Fatal(err)
		}
		// moved to the left, it stands over more there and less on the right
		within(t, fmt.Sprintf("overhang of %v", c), float64(c[0])+e.Value, float64(c[1])-e.Value, 1e-12)
	}
	if e, _ := ScoreShift(0.2, 0.1, Rectangular(0.01)); e.Value >= 0 {
		t.Errorf("more on the left is moved by %g, want to the right", e.Value)
	}
}

// Wider by what was missing, the line stands over by what is wanted; a conical
// blade does so by going deeper, drawn as a cone.
func TestScoreWidth(t *testing.T) {
	widen, err := ScoreWiden(0.08, 0.04, 0.1)
	if err != nil {
		t.Fatal(err)
	}
	within(t, "wider by", float64(widen), 0.08, 1e-12)
	const flank = 7.5 * Degree
	deeper, err := ConicalDepth(widen, flank)
	if err != nil {
		t.Fatal(err)
	}
	cone := func(depth float64) float64 { return 2.8 + 2*depth*math.Tan(7.5*math.Pi/180) }
	within(t, "width at the surface", cone(1.5+float64(deeper)), cone(1.5)+0.08, 1e-12)
	if w := ScoreDepth(); w.Low != 1 || w.High != 2 {
		t.Errorf("depth window %v", w)
	}
}

func TestPartsRefuseWhatTheyCannotUse(t *testing.T) {
	for _, v := range unusable {
		l := Length(v)
		_, err := KnifeShift(l, 0, Rectangular(0.01))
		refused(t, err, "left")
		_, err = ScoreShift(0, l, Rectangular(0.01))
		refused(t, err, "right")
		_, err = ScoreWiden(l, 0, 0.1)
		refused(t, err, "left")
		_, err = ScoreWiden(0, l, 0.1)
		refused(t, err, "right")
		_, err = ScoreWiden(0, 0, l)
		refused(t, err, "want")
		_, err = ConicalDepth(l, 7*Degree)
		refused(t, err, "widen")
		_, err = ConicalDepth(0.1, Angle(v))
		refused(t, err, "flank")
	}
	_, err := KnifeShift(1e308, -1e308, Rectangular(0.01))
	refused(t, err, "left")
	_, err = KnifeShift(0.1, 0.1)
	refused(t, err, "reading")
	_, err = ScoreWiden(0, 0, -0.1)
	refused(t, err, "want")
	_, err = ScoreWiden(1e308, 1e308, 0.1)
	refused(t, err, "left")
	_, err = ConicalDepth(0.1, 0)
	refused(t, err, "flank")
	_, err = ConicalDepth(1.7e308, Degree)
	refused(t, err, "widen")
}

// The rules of thickness, gap and height. HSE, circular saw bench page: a knife
// thicker than the plate, thinner than the kerf, within 8 mm of the blade; its top
// at most 25 mm below the blade's, from memory of WIS16; 3 mm is practice.
func TestKnifeCheck(t *testing.T) {
	good := Knife{Thickness: 2.5, Plate: 2.2, Kerf: 3.2, Gaps: []Length{5, 6, 7}, Top: -3}
	for _, c := range []struct {
		name   string
		change func(k *Knife)
		want   []KnifeFault
	}{
		{"as it should be", func(*Knife) {}, nil},
		{"as thin as the plate", func(k *Knife) { k.Thickness = 2.2 }, []KnifeFault{KnifeTooThin}},
		{"as thick as the kerf", func(k *Knife) { k.Thickness = 3.2 }, []KnifeFault{KnifeTooThick}},
		{"8 mm is within", func(k *Knife) { k.Gaps[2] = 8 }, nil},
		{"more is not", func(k *Knife) { k.Gaps[2] = 8.1 }, []KnifeFault{KnifeTooFar}},
		{"3 mm is not under", func(k *Knife) { k.Gaps[0] = 3 }, nil},
		{"2.9 is", func(k *Knife) { k.Gaps[0] = 2.9 }, []KnifeFault{KnifeTooNear}},
		{"not along the arc", func(k *Knife) { k.Gaps = []Length{2, 9} }, []KnifeFault{KnifeTooNear, KnifeTooFar}},
		{"level with the teeth", func(k *Knife) { k.Top = 0 }, nil},
		{"above the teeth", func(k *Knife) { k.Top = 1 }, []KnifeFault{KnifeTooHigh}},
		{"above, with the hood on it", func(k *Knife) { k.Top, k.CarriesHood = 60, true }, nil},
		{"25 mm below", func(k *Knife) { k.Top = -25 }, nil},
		{"26 mm below", func(k *Knife) { k.Top = -26 }, []KnifeFault{KnifeTooLow}},
		{"of another blade", func(k *Knife) { k.Plate, k.Kerf = 2.8, 4 }, []KnifeFault{KnifeTooThin}},
	} {
		k := good
		k.Gaps = slices.Clone(good.Gaps)
		c.change(&k)
		got, err := k.Check(DefaultKnifeRules())
		if err != nil || !slices.Equal(got, c.want) {
			t.Errorf("%s: %v, %v, want %v", c.name, got, err, c.want)
		}
	}
	nan := Length(math.NaN())
	for _, c := range []struct {
		input  string
		change func(k *Knife, r *KnifeRules)
	}{
		{"Thickness", func(k *Knife, _ *KnifeRules) { k.Thickness = 0 }},
		{"Plate", func(k *Knife, _ *KnifeRules) { k.Plate = nan }},
		{"Kerf", func(k *Knife, _ *KnifeRules) { k.Kerf = -1 }},
		{"Kerf", func(k *Knife, _ *KnifeRules) { k.Kerf = 2.2 }},
		{"Gaps", func(k *Knife, _ *KnifeRules) { k.Gaps = nil }},
		{"Gaps", func(k *Knife, _ *KnifeRules) { k.Gaps = []Length{5, nan} }},
		{"Gaps", func(k *Knife, _ *KnifeRules) { k.Gaps = []Length{-1} }},
		{"Top", func(k *Knife, _ *KnifeRules) { k.Top = nan }},
		{"GapMin", func(_ *Knife, r *KnifeRules) { r.GapMin = 0 }},
		{"GapMax", func(_ *Knife, r *KnifeRules) { r.GapMax = nan }},
		{"GapMax", func(_ *Knife, r *KnifeRules) { r.GapMax = 3 }},
		{"Below", func(_ *Knife, r *KnifeRules) { r.Below = -1 }},
	} {
		k, r := good, DefaultKnifeRules()
		c.change(&k, &r)
		_, err := k.Check(r)
		refused(t, err, c.input)
	}
	seen := map[string]bool{}
	for f := KnifeFault(0); f <= KnifeTooLow; f++ {
		seen[f.String()] = true
	}
	if len(seen) != 7 || KnifeFault(50).String() != "unknown" || KnifeFault(-2).String() != "unknown" {
		t.Errorf("names %v", seen)
	}
}
