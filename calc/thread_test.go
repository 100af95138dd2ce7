package calc

import (
	"math"
	"math/cmplx"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// ISO 261 coarse and fine pitches in mm; ASME B1.1 UNC and UNF in threads per
// inch: each seen in the hole tables of a public CAD program and checked
// against several other public tables there.
func TestThreadTables(t *testing.T) {
	metric := map[string]float64{"M5": 0.8, "M6": 1, "M8": 1.25, "M10": 1.5, "M12": 1.75, "M14": 2, "M16": 2, "M18": 2.5,
		"M20": 2.5, "M6x0.75": 0.75, "M8x1": 1, "M8x0.75": 0.75, "M10x1.25": 1.25, "M10x1": 1, "M10x0.75": 0.75,
		"M12x1.5": 1.5, "M12x1.25": 1.25, "M12x1": 1, "M14x1.5": 1.5, "M16x1.5": 1.5, "M16x1": 1, "M20x2": 2, "M20x1.5": 1.5}
	inch := map[string][2]float64{ // pitch in mm and advance per flat in mm, as printed
		"1/4-20": {1.2700, 0.2117}, "5/16-18": {1.4111, 0.2352}, "3/8-16": {1.5875, 0.2646}, "7/16-14": {1.8143, 0.3024},
		"1/2-13": {1.9538, 0.3256}, "9/16-12": {2.1167, 0.3528}, "5/8-11": {2.3091, 0.3848}, "3/4-10": {2.5400, 0.4233},
		"1/4-28": {0.9071, 0.1512}, "5/16-24": {1.0583, 0.1764}, "3/8-24": {1.0583, 0.1764}, "7/16-20": {1.2700, 0.2117},
		"1/2-20": {1.2700, 0.2117}, "9/16-18": {1.4111, 0.2352}, "5/8-18": {1.4111, 0.2352}, "3/4-16": {1.5875, 0.2646}}
	table := Threads()
	if len(table) != len(metric)+len(inch) {
		t.Errorf("%d threads, want %d", len(table), len(metric)+len(inch))
	}
	for name, pitch := range metric {
		th, err := ThreadByName(name)
		sane(t, err)
		within(t, name, float64(th.Pitch), pitch, 0)
		if th.Inch || th.Name != name {
			t.Errorf("%s found %+v", name, th)
		}
		// A flat of the hexagon is a sixth of a turn, 60°.
		flat := th.Turns(th.Pitch/6, 6)
		within(t, name+" per flat", float64(flat.Advance), pitch/6, 1e-12)
		within(t, name+" a flat", flat.Flats, 1, 1e-12)
		within(t, name+" a flat in degrees", flat.Degrees, 60, 1e-9)
		within(t, name+" a flat in ticks", flat.Ticks, 2, 1e-12)
	}
	for name, want := range inch {
		th, err := ThreadByName(name)
		sane(t, err)
		within(t, name, float64(th.Pitch), want[0], 0.00005)
		within(t, name+" per flat", float64(th.Turns(th.Pitch/6, 6).Advance), want[1], 0.00005)
		if !th.Inch || th.Name != name {
			t.Errorf("%s found %+v", name, th)
		}
	}
	// In order: metric first, each size coarse before fine; the table is a copy.
	for i := 1; i < len(table); i++ {
		a, b := table[i-1], table[i]
		sameSize := strings.FieldsFunc(a.Name, cut)[0] == strings.FieldsFunc(b.Name, cut)[0]
		if a.Inch && !b.Inch || sameSize && b.Pitch >= a.Pitch {
			t.Errorf("%s stands before %s", a.Name, b.Name)
		}
	}
	table[0].Pitch = 99
	within(t, "the table after a caller changed a copy", float64(Threads()[0].Pitch), 0.8, 0)
}

func cut(r rune) bool { return r == 'x' || r == '-' }

// Designations as ISO 261 and ASME B1.1 write them, and as people do; M10 alone is
// the coarse thread.
func TestThreadByName(t *testing.T) {
	for spelling, want := range map[string]string{
		"M10": "M10", " m10 ": "M10", "M10x1.5": "M10", "M10 × 1,25": "M10x1.25", "m10*1.25": "M10x1.25", "M10X1.0": "M10x1",
		"3/8-16": "3/8-16", "3/8-16 UNC": "3/8-16", `3/8"-16`: "3/8-16", "3/8 UNC": "3/8-16", "3/8 unf": "3/8-24", "3/8–24": "3/8-24",
		"1/4\u00a0-\u00a028": "1/4-28",
	} {
		th, err := ThreadByName(spelling)
		if err != nil || th.Name != want {
			t.Errorf("%q found %q, %v; want %q", spelling, th.Name, err, want)
		}
	}
	for _, spelling := range []string{"", "M", "M7", "M10x", "M10xfine", "M10x1.1", "3/8", "3/8-17", "3/8-16UNF", "3/8-24UNC", "x", "UNC",
		"1/3-20", "-", "M10x1.25x2", "M10x1e999"} {
		th, err := ThreadByName(spelling)
		refused(t, err, "thread")
		if th != (Thread{}) {
			t.Errorf("%q found %+v", spelling, th)
		}
	}
}

// M10 has a pitch of 1.5 mm (ISO 261); the fractions are by hand.
func TestTurns(t *testing.T) {
	m10, err := ThreadByName("M10")
	sane(t, err)
	for _, c := range []struct {
		travel    Length
		den       int
		num, den2 int
		advance   Length
	}{
		{0.1875, 8, 1, 8, 0.1875}, {0.22, 8, 1, 8, 0.1875}, {0.22, 16, 1, 8, 0.1875}, {0.24, 16, 3, 16, 0.28125},
		{-0.375, 8, -1, 4, -0.375}, {0.75, 8, 1, 2, 0.75}, {3, 8, 2, 1, 3}, {0.01, 8, 0, 1, 0}, {0, 8, 0, 1, 0},
		{0.09375, 8, 1, 8, 0.1875}, {-0.09375, 8, -1, 8, -0.1875}, // halves away from zero
	} {
		turn := m10.Turns(c.travel, c.den)
		if turn.Num != c.num || turn.Den != c.den2 {
			t.Errorf("%v in 1/%d: %d/%d, want %d/%d", c.travel, c.den, turn.Num, turn.Den, c.num, c.den2)
		}
		within(t, "advance", float64(turn.Advance), float64(c.advance), 1e-12)
		within(t, "fraction", turn.Fraction, float64(c.num)/float64(c.den2), 1e-12)
		within(t, "degrees", turn.Degrees, 360*turn.Fraction, 1e-9)
	}
	for _, bad := range []Turn{m10.Turns(Length(math.NaN()), 8), m10.Turns(Length(math.Inf(1)), 8), m10.Turns(1, 0), m10.Turns(1, -8),
		m10.Turns(1e9, 8), Thread{}.Turns(1, 8), Thread{Pitch: -1}.Turns(1, 8), Thread{Pitch: Length(math.NaN())}.Turns(1, 8),
		Thread{Pitch: Length(math.Inf(1))}.Turns(1, 8), m10.Nearest(Length(math.NaN()), 1)} {
		if bad != (Turn{}) {
			t.Errorf("a turn that cannot be is %+v", bad)
		}
	}
	// 0.225 mm is 0.15 turn: 1/8 and 2/16 miss it by 0.0375 mm, 5/32 by 0.0094
	// mm, and 10/64 is 5/32 again. 0.3 mm is 0.2 turn: 13/64 misses by 0.0047 mm.
	for _, c := range []struct {
		travel, tol Length
		num, den    int
	}{
		{0.225, 0.04, 1, 8}, {0.225, 0.03, 5, 32}, {-0.225, 0.01, -5, 32}, {0.225, 0.0001, 5, 32},
		{0.3, 0.02, 3, 16}, {0.3, 0.008, 13, 64}, {0.3, 0.12, 1, 4},
	} {
		if turn := m10.Nearest(c.travel, c.tol); turn.Num != c.num || turn.Den != c.den {
			t.Errorf("%v ± %v is %d/%d, want %d/%d", c.travel, c.tol, turn.Num, turn.Den, c.num, c.den)
		}
	}
}

// The end of the spanner, walked round in small steps, covers the arc.
func TestSwing(t *testing.T) {
	m10, err := ThreadByName("M10")
	sane(t, err)
	turn := m10.Turns(-0.1875, 8)
	var arc float64
	at := complex(180, 0)
	for range 1000 {
		next := at * cmplx.Rect(1, 2*math.Pi*turn.Fraction/1000)
		arc += cmplx.Abs(next - at)
		at = next
	}
	within(t, "swing", float64(turn.Swing(180)), arc, 1e-4)
	within(t, "an eighth of a turn of a 180 mm spanner", float64(turn.Swing(180)), 141.37, 0.005)
	for _, l := range append(unusable, 0, -1) {
		within(t, "swing of no spanner", float64(turn.Swing(Length(l))), 0, 0)
		within(t, "smallest of no spanner", float64(m10.Smallest(Length(l), 5)), 0, 0)
	}
	// What moves the end of a 180 mm spanner by 5 mm, turned back into a swing.
	least := m10.Smallest(180, 5)
	within(t, "smallest", float64(least), 1.5*5/(2*math.Pi*180), 1e-12)
	within(t, "no thread", float64(Thread{}.Smallest(180, 5)), 0, 0)
	within(t, "swing of the smallest", float64(m10.Turns(least, 100000).Swing(180)), 5, 0.01)
}

func TestTurnProperties(t *testing.T) {
	table := Threads()
	rapid.Check(t, func(t *rapid.T) {
		th := rapid.SampledFrom(table).Draw(t, "thread")
		den := rapid.IntRange(1, 64).Draw(t, "den")
		travel := Length(rapid.Float64Range(-20, 20).Draw(t, "travel"))
		turn := th.Turns(travel, den)
		if miss := (turn.Advance - travel).Abs(); miss > th.Pitch/Length(2*den)*(1+1e-9) {
			t.Errorf("%v comes out as %v", travel, turn.Advance)
		}
		back := th.Turns(-travel, den)
		if back.Num != -turn.Num || back.Den != turn.Den {
			t.Errorf("the other way is %d/%d after %d/%d", back.Num, back.Den, turn.Num, turn.Den)
		}
		inInch := Thread{Name: th.Name, Pitch: th.Pitch / 25.4}
		if u := inInch.Turns(travel/25.4, den); math.Abs(u.Fraction-turn.Fraction) > 1/float64(den)+1e-9 ||
			(math.Abs(math.Mod(math.Abs(float64(travel/th.Pitch))*float64(den), 1)-0.5) > 1e-9 && u.Num != turn.Num) {
			t.Errorf("in another unit it is %d/%d after %d/%d", u.Num, u.Den, turn.Num, turn.Den)
		}
		if g := gcd(turn.Num, turn.Den); g != 1 && turn.Num != 0 {
			t.Errorf("%d/%d is not in lowest terms", turn.Num, turn.Den)
		}
	})
}

func FuzzThread(f *testing.F) {
	f.Add("M10 x 1.25", 0.22, 16, 180.0)
	f.Add("3/8-16 UNC", math.Inf(-1), 0, -1.0)
	f.Fuzz(func(t *testing.T, name string, travel float64, den int, spanner float64) {
		th, err := ThreadByName(name)
		sane(t, err, float64(th.Pitch))
		if err != nil {
			th = Thread{Pitch: Length(spanner)}
		}
		turn := th.Turns(Length(travel), den)
		sane(t, nil, turn.Fraction, turn.Degrees, turn.Flats, turn.Ticks, float64(turn.Advance),
			float64(th.Nearest(Length(travel), 0.001).Advance), float64(th.Smallest(Length(spanner), Length(travel))))
		if turn.Den < 0 || math.IsNaN(float64(turn.Swing(Length(spanner)))) {
			t.Errorf("%+v", turn)
		}
	})
}
