package calc

import (
	"math"
	"strconv"
	"strings"
)

// Thread is a single-start screw thread: a right-hand nut or screw advances by
// Pitch, away from whoever looks at it, for one turn clockwise.
type Thread struct {
	Name  string // "M10" (coarse), "M10x1.25" (fine), "3/8-16" (UNC or UNF)
	Pitch Length // advance per turn
	Inch  bool   // of the inch series
}

// threads holds what is found on table saws: ISO 261, coarse first, then fine;
// ASME B1.1, UNC first, then UNF.
var threads = []Thread{
	{"M5", 0.8, false},
	{"M6", 1, false}, {"M6x0.75", 0.75, false},
	{"M8", 1.25, false}, {"M8x1", 1, false}, {"M8x0.75", 0.75, false},
	{"M10", 1.5, false}, {"M10x1.25", 1.25, false}, {"M10x1", 1, false}, {"M10x0.75", 0.75, false},
	{"M12", 1.75, false}, {"M12x1.5", 1.5, false}, {"M12x1.25", 1.25, false}, {"M12x1", 1, false},
	{"M14", 2, false}, {"M14x1.5", 1.5, false},
	{"M16", 2, false}, {"M16x1.5", 1.5, false}, {"M16x1", 1, false},
	{"M18", 2.5, false},
	{"M20", 2.5, false}, {"M20x2", 2, false}, {"M20x1.5", 1.5, false},
	{"1/4-20", Inch / 20, true}, {"1/4-28", Inch / 28, true},
	{"5/16-18", Inch / 18, true}, {"5/16-24", Inch / 24, true},
	{"3/8-16", Inch / 16, true}, {"3/8-24", Inch / 24, true},
	{"7/16-14", Inch / 14, true}, {"7/16-20", Inch / 20, true},
	{"1/2-13", Inch / 13, true}, {"1/2-20", Inch / 20, true},
	{"9/16-12", Inch / 12, true}, {"9/16-18", Inch / 18, true},
	{"5/8-11", Inch / 11, true}, {"5/8-18", Inch / 18, true},
	{"3/4-10", Inch / 10, true}, {"3/4-16", Inch / 16, true},
}

// Threads returns the table, metric by size and then inch by size, coarse
// before fine.
func Threads() []Thread { return append([]Thread(nil), threads...) }

// ThreadByName finds a thread however its name is usually written: "M10",
// "m10 x 1.25", "M10×1,25", "3/8-16", "3/8-16 UNC", `3/8"-16`, "3/8 UNF". A
// metric size alone is the coarse thread. An unmarked screw may well be fine:
// measure it rather than assume.
func ThreadByName(name string) (Thread, error) {
	key := threadSpelling.Replace(strings.ToUpper(name))
	if strings.HasPrefix(key, "M") {
		return metricThread(key)
	}
	return inchThread(key)
}

var threadSpelling = strings.NewReplacer(" ", "", "\u00a0", "", "\"", "", "″", "", "”", "",
	"×", "X", "*", "X", ",", ".", "–", "-", "−", "-")

func metricThread(key string) (Thread, error) {
	size, pitch, fine := strings.Cut(key, "X")
	want, err := strconv.ParseFloat(pitch, 64)
	if fine && err != nil {
		return Thread{}, bad("thread", "has a pitch that is not a number")
	}
	for _, t := range threads {
		s, _, _ := strings.Cut(t.Name, "x")
		if !t.Inch && s == size && (!fine || float64(t.Pitch) == want) {
			return t, nil
		}
	}
	return Thread{}, bad("thread", "is not in the table")
}

func inchThread(key string) (Thread, error) {
	series := 0 // of a size: 1 coarse, 2 fine, 0 not said
	if s, ok := strings.CutSuffix(key, "UNC"); ok {
		key, series = s, 1
	} else if s, ok := strings.CutSuffix(key, "UNF"); ok {
		key, series = s, 2
	}
	key = strings.TrimSuffix(key, "-")
	size, _, full := strings.Cut(key, "-")
	nth := 0
	for _, t := range threads {
		s, _, _ := strings.Cut(t.Name, "-")
		if !t.Inch || s != size {
			continue
		}
		nth++
		if (full && t.Name == key && (series == 0 || series == nth)) || (!full && series == nth) {
			return t, nil
		}
	}
	if nth > 0 && !full && series == 0 {
		return Thread{}, bad("thread", "names an inch size without its threads per inch")
	}
	return Thread{}, bad("thread", "is not in the table")
}

// Turn is a rotation of a nut or screw that a person can carry out. It is
// positive for clockwise, the direction that advances a right-hand thread.
type Turn struct {
	Fraction float64 // signed turns, after rounding
	Num, Den int     // the same as a fraction in lowest terms; Num carries the sign
	Degrees  float64 // 360 to a turn
	Flats    float64 // sixths of a turn, the flats of a hexagon
	Ticks    float64 // twelfths of a turn, the clicks of a twelve-point ring spanner
	Advance  Length  // what the turn moves, not what was wanted
}

// mostTurns is more than any adjustment: beyond it a number is a mistake.
const mostTurns = 1e6

// Turns returns the turn that advances the thread by travel, rounded to the
// nearest 1/den turn, halves away from zero. A travel that is not finite or
// out of all proportion, a thread without pitch or a den below one gives the
// zero Turn, whose Den is 0: nothing is to be turned.
func (t Thread) Turns(travel Length, den int) Turn {
	exact := float64(travel / t.Pitch)
	if !(t.Pitch > 0) || math.IsInf(float64(t.Pitch), 1) || den < 1 || den > mostTurns ||
		!(math.Abs(exact) <= mostTurns) {
		return Turn{}
	}
	return t.turn(int(math.Round(exact*float64(den))), den)
}

func (t Thread) turn(num, den int) Turn {
	f := float64(num) / float64(den)
	for g := gcd(num, den); g > 1; g = gcd(num, den) {
		num, den = num/g, den/g
	}
	return Turn{Fraction: f, Num: num, Den: den, Degrees: 360 * f, Flats: 6 * f, Ticks: 12 * f,
		Advance: Length(f) * t.Pitch}
}

func gcd(a, b int) int {
	for b != 0 {
		a, b = b, a%b
	}
	if a < 0 {
		return -a
	}
	return a
}

// Nearest returns the coarsest of 1/8, 1/16, 1/32 and 1/64 turn that brings the
// travel to within tol, and the nearest 1/64 where none does.
func (t Thread) Nearest(travel, tol Length) Turn {
	var turn Turn
	for _, den := range []int{8, 16, 32, 64} {
		turn = t.Turns(travel, den)
		if (turn.Advance - travel).Abs() <= tol {
			break
		}
	}
	return turn
}

// Swing returns how far the end of a spanner of that length moves along its
// arc, never negative; 0 for a length that is not a length.
func (t Turn) Swing(spanner Length) Length {
	if !(spanner > 0) || math.IsInf(float64(spanner), 1) {
		return 0
	}
	return Length(2*math.Pi*math.Abs(t.Fraction)) * spanner
}

// Smallest returns the least advance that a person can set by moving the end
// of a spanner by step: what is smaller is not worth asking for. It is 0 where
// an input is not a positive length.
func (t Thread) Smallest(spanner, step Length) Length {
	s := t.Pitch * step / (2 * math.Pi * spanner)
	if !(t.Pitch > 0 && spanner > 0 && step > 0) || finite("s", float64(s)) != nil {
		return 0
	}
	return s
}
