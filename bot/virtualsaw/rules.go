package virtualsaw

import (
	"math"
	"math/rand/v2"
)

// Two rules of thumb by which sliders are levelled without arithmetic, carried
// out by the same person on the same saw with the same tool. A height is good
// enough for them when its reading is inside the window by the guard that the
// service keeps.

// Bar is what heights are set to by a rule of thumb: inside the window by a
// guard, with no nut turned by more than most turns at once.
type Bar struct{ Low, High, Guard, Most float64 }

func (w Bar) holds(h float64) bool {
	return h >= w.Low+w.Guard-1e-9 && h <= w.High-w.Guard+1e-9
}

func (w Bar) middle() float64 { return (w.Low + w.High) / 2 }

// Thumb is how a rule of thumb ended.
type Thumb struct {
	Rounds  int // rounds of readings after the first one
	Moves   int
	Minutes float64
	Ended   bool
	Within  bool // the truth, when it ended
}

// mostRounds is where a rule of thumb is given up.
const mostRounds = 20

// twin returns the same person at the same saw, who starts afresh.
func (p *Person) twin(seed uint64) *Person {
	c := *p
	c.Saw = p.Saw.clone(seed)
	c.r = rand.New(rand.NewPCG(seed, 12))
	c.Tools.r = c.r
	c.Slip = nil
	return &c
}

// readHeight is one reading of a height.
func (p *Person) readHeight(i int) float64 { return p.Tools.indicator(p.Saw.Slider.Heights()[i]) }

// raise turns a nut so that it would raise its support by v, as its thread
// says, but by no more than most turns.
func (p *Person) raise(i int, v, most float64) {
	t := p.Saw.Slider.Supports[i]
	cw := math.Copysign(p.turned(math.Min(most, math.Abs(v)/t.Pitch)), v)
	if t.RaisesCCW {
		cw = -cw
	}
	p.Saw.Slider.turn(i, cw)
}

// watch turns a nut until the indicator over it shows the middle of the
// window: a coarse turn, then small ones while looking.
func (p *Person) watch(i int, w Bar) {
	left := w.Most
	for range 8 {
		h := p.readHeight(i)
		if math.Abs(h-w.middle()) < 0.012 || left <= 0 {
			return
		}
		p.raise(i, w.middle()-h, left)
		left -= math.Abs(w.middle()-h) / p.Saw.Slider.Supports[i].Pitch
	}
}

// OneAtATime goes round the supports; where a reading is out, that nut is
// turned, watching the indicator, until its own reading is right; round again
// until a round needs nothing.
func OneAtATime(p *Person, w Bar) Thumb {
	var out Thumb
	seconds := 0.0
	for range mostRounds {
		touched := false
		for i := range p.Saw.Slider.Supports {
			seconds += ReadingTime.Seconds()
			if w.holds(p.readHeight(i)) {
				continue
			}
			touched = true
			out.Moves++
			seconds += MoveTime.Seconds()
			p.watch(i, w)
			p.Saw.Slider.lock(p.Saw.random)
		}
		if !touched {
			out.Ended = true
			break
		}
		out.Rounds++
	}
	return out.finish(p, w, seconds)
}

// ByOwnReading reads all supports, turns every nut that is out by its own
// reading, as its thread says, and reads all again.
func ByOwnReading(p *Person, w Bar) Thumb {
	var out Thumb
	seconds := 0.0
	for range mostRounds {
		var turn []int
		need := make([]float64, len(p.Saw.Slider.Supports))
		for i := range p.Saw.Slider.Supports {
			seconds += ReadingTime.Seconds()
			if h := p.readHeight(i); !w.holds(h) {
				turn, need[i] = append(turn, i), w.middle()-h
			}
		}
		if len(turn) == 0 {
			out.Ended = true
			break
		}
		for _, i := range turn {
			out.Moves++
			seconds += MoveTime.Seconds()
			p.raise(i, need[i], w.Most)
		}
		p.Saw.Slider.lock(p.Saw.random)
		out.Rounds++
	}
	return out.finish(p, w, seconds)
}

func (t Thumb) finish(p *Person, w Bar, seconds float64) Thumb {
	t.Minutes = seconds / 60
	t.Within = t.Ended
	for _, h := range p.Saw.Slider.Heights() {
		t.Within = t.Within && h >= w.Low && h <= w.High
	}
	return t
}
