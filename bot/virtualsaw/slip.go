package virtualsaw

import (
	"fmt"
	"math"
	"strings"
)

// SlipKind is something that goes wrong with a person or their saw during
// levelling.
type SlipKind string

// The slips.
const (
	WrongSign     SlipKind = "sign wrong"               // one height with its sign exchanged
	WrongUnit     SlipKind = "unit wrong"               // one height in the other unit
	SwappedPoints SlipKind = "points swapped"           // two heights of one round exchanged
	WrongWay      SlipKind = "nut the wrong way"        // one nut turned the wrong way, once
	StuckNut      SlipKind = "nut stuck"                // one seat has seized
	WrongThread   SlipKind = "thread not as said"       // the nuts have another pitch than was said
	WrongRaise    SlipKind = "way to raise not as said" // the nuts raise the other way than was said
	BeforeLocking SlipKind = "read before locking"      // one round read with the lock nuts still loose
	BadRepeat     SlipKind = "stand moved in a round"   // the indicator's stand is knocked in the middle of a round
)

// SlipKinds lists them all.
var SlipKinds = [...]SlipKind{WrongSign, WrongUnit, SwappedPoints, WrongWay, StuckNut, WrongThread, WrongRaise, BeforeLocking, BadRepeat}

// Slip is one slip that happens once in a conversation.
type Slip struct {
	Kind       SlipKind
	Happened   bool
	Questioned bool // the service doubted a reading
	Named      bool // the service said what it was
	Heard      []string

	support int // where
	wait    int // readings or moves until it happens
	partner float64
	offset  float64
	other   thread
}

// NewSlip prepares a slip for a person at a saw, who is changed where the slip
// is one of the saw. It is nil where the saw does not allow it: a thread that
// no other can be taken for.
func NewSlip(kind SlipKind, p *Person) *Slip {
	n := len(p.Saw.Slider.Supports)
	s := &Slip{Kind: kind, support: p.r.IntN(n), wait: p.r.IntN(2 * n)}
	switch kind {
	case StuckNut:
		// one that will be turned: the farthest from the middle of the window
		worst := 0.0
		for i, h := range p.Saw.Slider.Heights() {
			if d := math.Abs(h - 0.05); d > worst {
				s.support, worst = i, d
			}
		}
		p.Saw.Slider.Supports[s.support].Stuck, s.Happened = true, true
	case WrongThread:
		for _, t := range threads {
			if t.name == p.Saw.Thread {
				other, ok := t.mistaken()
				if !ok {
					return nil
				}
				s.other, s.Happened = other, true
			}
		}
	case WrongRaise:
		s.Happened = true
	case SwappedPoints:
		s.wait = p.r.IntN(3)
	case WrongWay, BeforeLocking:
		s.wait = p.r.IntN(2)
	case BadRepeat:
		s.offset = math.Copysign(uniform(p.r, 0.05, 0.12), p.r.Float64()-0.5)
		s.wait = p.r.IntN(n)
	}
	return s
}

// threadSaid is what the person says that the nuts are.
func (p *Person) threadSaid() string {
	if p.Slip != nil && p.Slip.Kind == WrongThread {
		return p.Slip.other.name
	}
	return p.Saw.Thread
}

// raisesSaid is which way the person says that the nuts raise.
func (p *Person) raisesSaid() bool {
	return p.Saw.RaisesCCW != (p.Slip != nil && p.Slip.Kind == WrongRaise)
}

// Least that a height is out of itself, or two heights of each other, for an
// exchange to be one.
const (
	worthSign = 0.03
	worthSwap = 0.04
)

// slipHeight returns what is really under the indicator when support i is
// asked for.
func (p *Person) slipHeight(q Prompt, i int, v float64) float64 {
	s := p.Slip
	if s == nil || q.N > 2 {
		return v
	}
	h := p.Saw.Slider.Heights()
	switch s.Kind {
	case SwappedPoints:
		switch {
		case s.Happened && s.partner == float64(i) && s.offset == 0:
			s.offset = 1 // the other half of the exchange
			return h[i-1]
		case !s.Happened && q.N == 1 && i+1 < len(h) && s.due() && math.Abs(h[i]-h[i+1]) > worthSwap:
			s.Happened, s.support, s.partner = true, i, float64(i+1)
			return h[i+1]
		}
	case BadRepeat:
		if i == 0 && q.N == 1 {
			if s.Happened {
				s.offset = 0 // zeroed anew
			}
			return v
		}
		if !s.Happened && q.N == 1 && s.due() {
			s.Happened = true
		}
		if s.Happened {
			return v + s.offset
		}
	}
	return v
}

// due counts down to the slip.
func (s *Slip) due() bool {
	s.wait--
	return s.wait < 0
}

// slipText returns what the person types for a reading.
func (p *Person) slipText(q Prompt, text string) string {
	s := p.Slip
	if s == nil || s.Happened || q.Name != "slider.height" || q.N != 1 || s.Kind != WrongSign && s.Kind != WrongUnit || !s.due() {
		return text
	}
	i := p.support(q.At)
	v := p.Tools.indicator(p.Saw.Slider.Heights()[i])
	if math.Abs(v) < worthSign {
		return text
	}
	s.Happened, s.support = true, i
	switch {
	case s.Kind == WrongSign:
		return p.signed(-v, p.Tools.Indicator, q.Unit, "high", "low")
	case q.Unit == "in": // millimetres, taken for inches
		return plain(v, 0.01)
	}
	return plain(v/inch, 0.0005) // inches, taken for millimetres
}

// slipTurn returns how the nut of support i is really turned, clockwise
// positive.
func (p *Person) slipTurn(i int, clockwise float64) float64 {
	s := p.Slip
	if s == nil || s.Kind != WrongWay || s.Happened || !s.due() {
		return clockwise
	}
	s.Happened, s.support = true, i
	return -clockwise
}

// forgets reports whether the lock nuts stay loose after this pass.
func (p *Person) forgets() bool {
	s := p.Slip
	if s == nil || s.Kind != BeforeLocking || s.Happened || !s.due() {
		return false
	}
	s.Happened = true
	return true
}

// remarks are what the service says about slips, by a few words of each.
var remarks = [...]struct{ name, words string }{
	{"stuck", "has not answered to its nut"},
	{"reversed", "moved the other way"},
	{"pitch", "moves by another pitch"},
	{"odd", "fits nothing"},
	{"moved", "something moved"},
	{"contradiction", "does not answer like one piece"},
}

// heard notes what the service says about the slip.
func (s *Slip) heard(a Answer) {
	text := a.Text()
	for _, r := range remarks {
		for _, line := range strings.Split(text, "\n") {
			if !strings.Contains(line, r.words) {
				continue
			}
			s.Heard = append(s.Heard, r.name)
			s.Named = s.Named || s.Happened && s.means(r.name, line)
		}
	}
}

// means reports whether a remark names the slip.
func (s *Slip) means(remark, line string) bool {
	here := strings.Contains(strings.ToLower(line), fmt.Sprintf("support %d", s.support+1))
	switch s.Kind {
	case WrongSign, WrongUnit, SwappedPoints:
		return remark == "odd"
	case WrongWay:
		return remark == "reversed" && here
	case StuckNut:
		return remark == "stuck" && here
	case WrongThread:
		return remark == "pitch"
	case WrongRaise:
		return remark == "reversed"
	case BadRepeat:
		return remark == "moved"
	}
	return false
}

// Noticed reports whether the service showed that something was amiss.
func (s *Slip) Noticed() bool { return s.Questioned || s.Named || len(s.Heard) > 0 }
