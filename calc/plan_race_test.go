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

// result is how one contestant fared on one saw.
type result struct {
	minutes       float64
	moves, rounds int
	ended, good   bool // it stopped; the truth was in the window then
}

const (
	readSeconds = 20
	moveSeconds = 45
)

// window is what all three want to reach.
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

// person levels a table as the planner says: reads all, learns, plans, turns
// and reads all again, and reads once more what fits nothing.
type person struct {
	t       *table
	o       PlanOptions
	fresh   Model
	passes  []Pass
	before  []Length
	found   []Finding // of the last learning
	named   []Finding // everything ever found
	blocked []int
	read    func(round int) []Length
	spoiled Length // largest slip in a reading
	result
}

func newPerson(tb testing.TB, t *table, o PlanOptions) *person {
	p := &person{t: t, o: o, fresh: model(tb, t.at)}
	p.read = func(int) []Length { return t.readAll() }
	return p
}

// level goes on until the plan is done or blocked.
func (p *person) level(tb testing.TB) {
	p.before = p.readAll(0)
	for range mostRounds {
		m := p.learn(tb)
		if p.ask() {
			m = p.learn(tb)
		}
		plan, err := m.Plan(p.heights(tb, m), nil, p.o)
		if err != nil {
			tb.Fatal(err)
		}
		if plan.Done {
			p.ended = true
			break
		}
		if p.blocked = plan.Blocked; plan.Passes == 0 && !p.free(m) {
			break
		}
		if plan.Passes == 0 {
			continue
		}
		for _, v := range plan.Turns {
			p.moves += b2i(v != 0)
		}
		p.t.turn(plan.Turns)
		p.rounds++
		after := p.readAll(p.rounds)
		p.passes = append(p.passes, Pass{Turns: plan.Turns, Before: p.before, After: after})
		p.before = after
	}
	p.minutes = (p.minutes + moveSeconds*float64(p.moves)) / 60
}

func (p *person) readAll(round int) []Length {
	p.minutes += readSeconds * float64(len(p.t.at))
	return p.read(round)
}

func (p *person) learn(tb testing.TB) Model {
	m, found, err := p.fresh.Learn(p.passes, p.o.U)
	if err != nil {
		tb.Fatal(err)
	}
	p.found = found
	for _, f := range found {
		if !slices.ContainsFunc(p.named, func(g Finding) bool { return f.Kind == g.Kind && f.Support == g.Support && f.Other == g.Other }) {
			p.named = append(p.named, f)
		}
	}
	return m
}

// ask reads again what the last readings are doubted of.
func (p *person) ask() bool {
	asked := false
	for _, f := range p.found {
		if f.Kind != OddReading && f.Kind != Swapped || f.Pass != len(p.passes)-1 || f.Pass < 0 {
			continue
		}
		q := &p.passes[f.Pass]
		if q.Confirmed == nil {
			q.Confirmed = make([]bool, len(q.Turns))
		}
		for _, i := range []int{f.Support, f.Other} {
			if i < 0 {
				continue
			}
			p.minutes += readSeconds
			if v := p.t.read(i); (v - q.After[i]).Abs() > p.o.U {
				q.After[i] = v
			}
			q.Confirmed[i], asked = true, true
		}
	}
	return asked
}

// heights are the estimates to plan with.
func (p *person) heights(tb testing.TB, m Model) []Length {
	h := slices.Clone(p.before)
	p.o.Us = nil
	if len(p.passes) == 0 {
		return h
	}
	estimates, err := m.Heights(p.passes, p.found, p.o.U, 0)
	if err != nil {
		tb.Fatal(err)
	}
	for i, e := range estimates {
		h[i] = Length(e.Value)
		p.o.Us = append(p.o.Us, Length(e.U))
	}
	return h
}

// free loosens the stuck nuts that block, and begins a new history.
func (p *person) free(m Model) bool {
	freed := false
	for _, i := range p.blocked {
		if p.t.gain[i] == 0 {
			p.t.gain[i], m.Gain[i], freed = 1, 1, true
		}
	}
	if freed {
		p.fresh, p.passes = m, nil
		p.before = p.readAll(-1)
	}
	return freed
}

func planned(tb testing.TB, t *table, w window, o PlanOptions) result {
	p := newPerson(tb, t, o)
	p.level(tb)
	p.good = w.truth(t)
	return p.result
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

// raceSize is the number of saws of a race, more for a report than for a test.
func raceSize(normal int) int {
	if v, err := strconv.Atoi(os.Getenv("SHIMWRIGHT_SAWS")); err == nil && v > 0 {
		return v
	}
	return normal
}

// All three keep to 1/8 turn at once and stop by the same rule: every reading (or
// estimate) within the window by its uncertainty. A stiff table must take fewer
// minutes than the better of the two rules in the median, a limp one no more;
// none may end without an answer; 95 % must need at most three rounds.
func TestRaceAgainstTheRulesOfThumb(t *testing.T) {
	n := raceSize(120)
	w := window{0, 0.10, 0.02, 1. / 8}
	for _, b := range []bench{
		{"six supports, stiff", 3, 2, 10, 100, 0.15},
		{"six supports, between", 3, 2, 0.1, 1, 0.15},
		{"six supports, limp", 3, 2, 0.001, 0.01, 0.15},
		{"ten supports, stiff", 5, 2, 10, 100, 0.15},
		{"eight in line, stiff", 8, 1, 100, 1000, 0.15},
	} {
		r := rand.New(rand.NewPCG(2024, uint64(len(b.name))))
		var one, own, ours summary
		for i := range n {
			saw := b.draw(r)
			one.add(oneAtATime(saw.clone(uint64(i)), w))
			own.add(byOwnReading(saw.clone(uint64(i)), w))
			ours.add(planned(t, saw.clone(uint64(i)), w, DefaultPlanOptions()))
		}
		t.Logf("%s, %d saws", b.name, n)
		one.log(t, "one nut")
		own.log(t, "own reading")
		ours.log(t, "planned")
		best := math.Min(quantile(one.minutes, 0.5), quantile(own.minutes, 0.5))
		got := quantile(ours.minutes, 0.5)
		if stiff := b.stiffLow >= 10; got > best || stiff && got == best {
			t.Errorf("%s: median %.1f minutes, the better rule %.1f", b.name, got, best)
		}
		if ours.stalled > 0 {
			t.Errorf("%s: %d of %d did not end in the window", b.name, ours.stalled, n)
		}
		if q := quantile(ours.rounds, 0.95); q > 3 {
			t.Errorf("%s: 95 %% of saws in %g rounds, want at most 3", b.name, q)
		}
		if wrong := float64(ours.wrong) / float64(n); wrong > 0.02 {
			t.Errorf("%s: %.1f %% ended as within and were not", b.name, 100*wrong)
		}
	}
}
