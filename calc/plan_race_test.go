package calc

import (
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"testing"
)

// A race between the planner and two rules of thumb on saws with physics of
// their own (see table), counted in a person's minutes: 20 s a reading, 45 s a
// nut.

// bench describes a kind of saw for the race.
type bench struct {
	name               string
	stations, rows     int
	stiffLow, stiffTop float64 // EI/(k·ℓ³), drawn evenly in the logarithm
	error              float64 // mm: how far each nut is off at first, 1 sigma
}

// draw makes one saw.
func (b bench) draw(r *rand.Rand) *table {
	pitches := []Length{1.25, 1.5, 1.75, 2, Inch / 16, Inch / 13}
	pitch := pitches[r.IntN(len(pitches))]
	width := 120 + 120*r.Float64()
	var at []Support
	x := 0.0
	for range b.stations {
		for row := range b.rows {
			at = append(at, Support{X: Length(x), Y: Length(200 + width*float64(row)), Pitch: pitch})
		}
		x += 350 + 300*r.Float64()
	}
	span := float64(at[len(at)-1].X) / float64(b.stations-1)
	k := 2e4
	ei := k * span * span * span * b.stiffLow * math.Pow(b.stiffTop/b.stiffLow, r.Float64())
	gj := ei * 0.05 * math.Pow(20, r.Float64()) // open section … closed box
	t := newTable(r, at, ei, gj, k, 0.1)
	t.jitter, t.settle, t.noise, t.digit = 0.006, 0.004, 0.008, 0.01
	feet := make([]float64, len(at))
	heave, pitchErr, roll := 0.1*r.NormFloat64(), 0.1*r.NormFloat64(), 0.05*r.NormFloat64()
	for i, s := range at {
		feet[i] = b.error*r.NormFloat64() + heave + pitchErr*(float64(s.X)/x-0.5) + roll*(float64(s.Y)-200)/width
		t.h[i] = 0.05 + 0.012*r.NormFloat64() // a shape of its own
	}
	t.raise(feet)
	return t
}

// clone gives every contestant the same saw.
func (t *table) clone(seed uint64) *table {
	c := *t
	c.h = slices.Clone(t.h)
	c.gain = slices.Clone(t.gain)
	c.r = rand.New(rand.NewPCG(seed, 7))
	return &c
}

type result struct {
	minutes       float64
	moves, rounds int
	ended, good   bool // it stopped; the truth was in the window then
}

const (
	readSeconds = 20
	moveSeconds = 45
)

type window struct {
	low, high, guard Length
	turn             float64 // most turns at once
}

func (w window) holds(h Length) bool { return h >= w.low+w.guard-1e-9 && h <= w.high-w.guard+1e-9 }
func (w window) truth(t *table) bool {
	for _, h := range t.h {
		if h < float64(w.low) || h > float64(w.high) {
			return false
		}
	}
	return true
}

const mostRounds = 15

// oneAtATime: go round; where a reading is out, turn that nut, watching it,
// until the reading is in the middle; round again until a round needs nothing.
func oneAtATime(t *table, w window) result {
	var res result
	for range mostRounds {
		touched := false
		for i := range t.h {
			res.minutes += readSeconds
			if w.holds(t.read(i)) {
				continue
			}
			touched = true
			res.moves++
			res.minutes += moveSeconds
			need := float64(w.low+w.high)/2 - float64(t.read(i))
			feet := make([]float64, len(t.h))
			feet[i] = need / t.m[i][i]
			most := w.turn * float64(t.at[i].Pitch)
			feet[i] = max(-most, min(most, feet[i])) + t.settle*t.r.NormFloat64()
			t.raise(feet)
		}
		if !touched {
			res.ended = true
			break
		}
		res.rounds++
	}
	res.minutes /= 60
	res.good = w.truth(t)
	return res
}

// byOwnReading: read all, turn every nut that is out by its own reading, read
// all again.
func byOwnReading(t *table, w window) result {
	var res result
	for range mostRounds {
		h := t.readAll()
		res.minutes += readSeconds * float64(len(h))
		turns := make([]float64, len(h))
		done := true
		for i := range h {
			if w.holds(h[i]) {
				continue
			}
			done = false
			res.moves++
			res.minutes += moveSeconds
			turns[i] = float64(((w.low+w.high)/2 - h[i]) / t.at[i].Pitch)
			turns[i] = max(-w.turn, min(w.turn, turns[i]))
		}
		if done {
			res.ended = true
			break
		}
		t.turn(turns)
		res.rounds++
	}
	res.minutes /= 60
	res.good = w.truth(t)
	return res
}

// planned: the package.
func planned(tb testing.TB, t *table, w window, o PlanOptions) (result, []Finding) {
	var res result
	fresh, err := NewModel(t.at)
	if err != nil {
		tb.Fatal(err)
	}
	var passes []Pass
	var found []Finding
	before := t.readAll()
	h := slices.Clone(before)
	res.minutes += readSeconds * float64(len(h))
	for range mostRounds {
		m, f, err := fresh.Learn(passes, o.U)
		if err != nil {
			tb.Fatal(err)
		}
		found = f
		if len(passes) > 0 {
			est, err := m.Heights(passes, f, o.U, 0)
			if err != nil {
				tb.Fatal(err)
			}
			o.Us = make([]Length, len(h))
			for i, e := range est {
				h[i], o.Us[i] = Length(e.Value), Length(e.U)
			}
		}
		p, err := m.Plan(h, nil, o)
		if err != nil {
			tb.Fatal(err)
		}
		if p.Done {
			res.ended = true
			break
		}
		if len(p.Blocked) > 0 && p.Passes == 0 {
			break
		}
		for _, v := range p.Turns {
			if v != 0 {
				res.moves++
				res.minutes += moveSeconds
			}
		}
		t.turn(p.Turns)
		after := t.readAll()
		res.minutes += readSeconds * float64(len(h))
		passes = append(passes, Pass{Turns: p.Turns, Before: before, After: after})
		before = after
		h = slices.Clone(after)
		res.rounds++
	}
	res.minutes /= 60
	res.good = w.truth(t)
	return res, found
}

func quantile(v []float64, q float64) float64 {
	v = slices.Clone(v)
	slices.Sort(v)
	return v[min(len(v)-1, int(q*float64(len(v))))]
}

// summary of a contestant over many saws.
type summary struct {
	minutes, moves, rounds []float64
	stalled, wrong         int
}

func (s *summary) add(r result) {
	s.minutes = append(s.minutes, r.minutes)
	s.moves = append(s.moves, float64(r.moves))
	s.rounds = append(s.rounds, float64(r.rounds))
	if !r.ended {
		s.stalled++
	} else if !r.good {
		s.wrong++
	}
}

func (s *summary) log(t testing.TB, name string) {
	t.Logf("  %-12s minutes %5.1f (95 %% %5.1f)  moves %4.0f (%3.0f)  rounds %2.0f (%2.0f)  stalled %d  wrong %.1f %%", name,
		quantile(s.minutes, .5), quantile(s.minutes, .95), quantile(s.moves, .5), quantile(s.moves, .95),
		quantile(s.rounds, .5), quantile(s.rounds, .95), s.stalled, 100*float64(s.wrong)/float64(len(s.minutes)))
}

func raceSize(normal int) int {
	if v, err := strconv.Atoi(os.Getenv("SHIMWRIGHT_SAWS")); err == nil && v > 0 {
		return v
	}
	return normal
}

func raceTurn() float64 {
	if v, err := strconv.ParseFloat(os.Getenv("SHIMWRIGHT_TURN"), 64); err == nil && v > 0 {
		return v
	}
	return 1.0 / 8
}

func TestRaceAgainstTheRulesOfThumb(t *testing.T) {
	n := raceSize(150)
	for _, guard := range []Length{0.02, 0} {
		w := window{0, 0.10, guard, raceTurn()}
		o := DefaultPlanOptions()
		o.Guard = float64(guard / o.U)
		o.MaxTurn = raceTurn()
		for _, b := range []bench{
			{"six, stiff", 3, 2, 10, 100, 0.15},
			{"six, middle", 3, 2, 0.1, 1, 0.15},
			{"six, soft", 3, 2, 0.001, 0.01, 0.15},
			{"three, stiff", 3, 1, 10, 100, 0.15},
			{"ten, stiff", 5, 2, 10, 100, 0.15},
			{"ten, soft", 5, 2, 0.001, 0.01, 0.15},
			{"eight in line, soft", 8, 1, 0.001, 0.01, 0.15},
			{"eight in line, stiff", 8, 1, 100, 1000, 0.15},
			{"six, stiff, far", 3, 2, 10, 100, 0.5},
		} {
			r := rand.New(rand.NewPCG(2024, uint64(len(b.name))))
			var one, own, ours summary
			for i := range n {
				saw := b.draw(r)
				one.add(oneAtATime(saw.clone(uint64(i)), w))
				own.add(byOwnReading(saw.clone(uint64(i)), w))
				res, _ := planned(t, saw.clone(uint64(i)), w, o)
				ours.add(res)
			}
			t.Logf("%s, guard %.2f", b.name, guard)
			one.log(t, "one nut")
			own.log(t, "own reading")
			ours.log(t, "planned")
		}
	}
}
