package calc

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// A slip is one thing that a person or a saw gets wrong, at a support and with
// another one.
type slip struct {
	name  string
	do    func(p *person, at, other int, r *rand.Rand)
	named func(f Finding, at, other int) bool
	share float64 // least share named of the saws where it did anything
}

var slips = []slip{
	{"nothing", func(*person, int, int, *rand.Rand) {}, func(Finding, int, int) bool { return false }, 0},
	{"stuck nut", func(p *person, at, _ int, _ *rand.Rand) { p.t.gain[at] = 0 },
		func(f Finding, at, _ int) bool { return f.Kind == Stuck && f.Support == at }, 0.9},
	{"reversed nut", func(p *person, at, _ int, _ *rand.Rand) { p.t.gain[at] = -1 },
		func(f Finding, at, _ int) bool { return f.Kind == Reversed && f.Support == at }, 0.9},
	{"one wrong thread", func(p *person, at, _ int, r *rand.Rand) { p.t.gain[at] = []float64{0.5, 2}[r.IntN(2)] },
		func(f Finding, at, _ int) bool { return f.Kind == WrongPitch && f.Support == at }, 0.45},
	{"all wrong threads", func(p *person, _, _ int, r *rand.Rand) {
		g := []float64{0.5, 2}[r.IntN(2)]
		for j := range p.t.gain {
			p.t.gain[j] = g
		}
	}, func(f Finding, _, _ int) bool { return f.Kind == WrongPitch && f.Support == AllSupports }, 0.85},
	{"all reversed", func(p *person, _, _ int, _ *rand.Rand) {
		for j := range p.t.gain {
			p.t.gain[j] = -1
		}
	}, func(f Finding, _, _ int) bool { return f.Kind == Reversed && f.Support == AllSupports }, 0.95},
	{"points exchanged", func(p *person, at, other int, r *rand.Rand) {
		p.slipIn(r.IntN(2), func(h []Length) { swap(h, at, other) })
	}, func(f Finding, at, other int) bool {
		pair := f.Kind == Swapped && (f.Support == at && f.Other == other || f.Support == other && f.Other == at)
		return pair || f.Kind == OddReading && (f.Support == at || f.Support == other)
	}, 0.85},
	{"sign wrong", func(p *person, at, _ int, r *rand.Rand) {
		p.slipIn(r.IntN(2), func(h []Length) { h[at] = -h[at] })
	}, func(f Finding, at, _ int) bool { return f.Kind == OddReading && f.Support == at }, 0.8},
}

// slipIn spoils the readings of one round.
func (p *person) slipIn(round int, spoil func(h []Length)) {
	p.read = func(r int) []Length {
		h := p.t.readAll()
		if r == round {
			was := slices.Clone(h)
			spoil(h)
			for i := range h {
				p.spoiled = max(p.spoiled, (h[i] - was[i]).Abs())
			}
		}
		return h
	}
}

// Whatever goes wrong, the job ends, nearly always rightly, and names what it
// was where it did anything that shows. False alarms are rare.
func TestSlips(t *testing.T) {
	n := raceSize(60)
	w := window{low: 0, high: 0.10}
	wrong, all := 0, 0
	for _, s := range slips {
		for _, b := range []bench{
			{"stiff", 3, 2, 10, 100, 0.15}, {"between", 3, 2, 0.1, 1, 0.15}, {"limp", 3, 2, 0.001, 0.01, 0.15},
			{"four in line", 4, 1, 0.05, 1, 0.15},
		} {
			r := rand.New(rand.NewPCG(77, uint64(len(b.name))))
			var sum summary
			named, wrongly, felt, blocked := 0, 0, 0, 0
			for i := range n {
				p := newPerson(t, b.draw(r).clone(uint64(i)), DefaultPlanOptions())
				at := r.IntN(len(p.t.at))
				other := (at + 1 + r.IntN(len(p.t.at)-1)) % len(p.t.at)
				s.do(p, at, other, r)
				p.level(t)
				p.good = w.truth(p.t)
				sum.add(p.result)
				right := slices.ContainsFunc(p.named, func(f Finding) bool { return s.named(f, at, other) })
				named += b2i(right && s.felt(p, at))
				felt += b2i(s.felt(p, at))
				blocked += b2i(!p.ended && p.blocked != nil)
				wrongly += b2i(slices.ContainsFunc(p.named, func(f Finding) bool {
					ofAll := s.named(Finding{Kind: f.Kind, Support: AllSupports}, at, other) // true of each nut
					return f.Kind != OddReading && f.Kind != Swapped && !s.named(f, at, other) && !ofAll
				}))
			}
			name := fmt.Sprintf("%s, %s", s.name, b.name)
			t.Logf("%s: named in %d of %d saws where it was felt, another nut named in %d of %d", name, named, felt, wrongly, n)
			sum.log(t, "planned")
			if float64(named) < s.share*float64(felt) {
				t.Errorf("%s: named in %d of %d saws where it was felt, want %.0f %%", name, named, felt, 100*s.share)
			}
			if wrongly > max(2, n/15) {
				t.Errorf("%s: another nut named in %d of %d", name, wrongly, n)
			}
			if sum.stalled > blocked {
				t.Errorf("%s: %d of %d never ended", name, sum.stalled-blocked, n)
			}
			if blocked > max(1, n/50) {
				t.Errorf("%s: %d of %d ended as blocked", name, blocked, n)
			}
			if sum.wrong > max(2, n/100) {
				t.Errorf("%s: %d of %d ended as within and were not", name, sum.wrong, n)
			}
			wrong += sum.wrong
			all += n
		}
	}
	t.Logf("%d of %d ended as within and were not", wrong, all)
	if wrong > all/100 {
		t.Errorf("%d of %d ended as within and were not", wrong, all)
	}
}

// felt says whether a slip did anything that could be seen: its nut was turned
// by a sixteenth at least, or a reading before the last move was off by 0.08 mm.
func (s slip) felt(p *person, at int) bool {
	switch s.name {
	case "nothing":
		return false
	case "points exchanged", "sign wrong":
		return p.spoiled >= 0.08 && p.rounds > 0
	}
	turned := 0.0
	for _, pass := range p.passes {
		turned = math.Max(turned, math.Abs(pass.Turns[at]))
	}
	return turned >= 1.0/16
}
