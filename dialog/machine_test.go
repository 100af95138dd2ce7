package dialog_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"

	"shimwright/dialog"
)

// machine is a saw as it truly is, and somebody who measures it and does what is
// said. Its physics is worked out anew here and shares nothing with calc: places
// are points of the plane, a fence is a line, a board a polygon that is cut.
// Right-handed, as the machine's axes: x forward along the feed, y to the left.
type machine struct {
	saw   saw
	noise *rand.Rand // nil: every reading is exact

	heights []float64 // of the supports, slider over table
	travel  float64   // direction of the slider or slot: its angle from the feed, anticlockwise from above
	blade   float64   // direction of the blade, likewise
	arbor   [2]float64
	stops   map[float64]float64 // of each stop: further over than nominal, rad
	screw   map[float64]float64 // what a turn clockwise of its screw adds to that
	fence   float64             // of the crosscut fence: how far its far end leans to the rear, rad
	mitres  map[float64]float64 // of each position: turned further than nominal, rad
	rip     float64             // direction of the rip fence, anticlockwise from above
	knife   float64             // of the riving knife from the middle of the kerf, to the left
	score   [2]float64          // what the scored line stands over the kerf, left and right
	play    float64

	cut     board
	through bool    // the rip fence is measured to the slider or slot
	turning float64 // of the blade on the arbor
	stop    float64 // where the tilt stands
}

// saw is what is known of a machine and told in set-up.
type saw struct {
	name              string
	cabinet           bool
	right             bool // slider or slot right of the blade
	trunnion          bool
	stations          []float64
	near, far         float64 // far 0: one support at a station
	cw                bool    // clockwise from above raises
	fenceRear         bool
	pivot, reach      float64
	tiltRight         bool
	scoring           bool
	inch              bool
	bevels, mitres    []float64
	ripAtRail         bool
	tiltBy            int     // tilt by square and feelers, by cuts, by level
	ripBy             int     // the rip fence is measured by indicator, by caliper to a tooth, to the slider or slot
	blade, pitch, end float64 // end: from the rip fence's head to its rear end
}

// side is +1 where the slider is on the left.
func (s saw) side() float64 {
	if s.right {
		return -1
	}
	return 1
}

// supports are the places of the supports: x and distance from the blade.
func (s saw) supports() [][2]float64 {
	var out [][2]float64
	for _, x := range s.stations {
		out = append(out, [2]float64{x, s.near})
		if s.far > 0 {
			out = append(out, [2]float64{x, s.far})
		}
	}
	return out
}

// newMachine is a saw that is true, each window met in its middle.
func newMachine(s saw) *machine {
	m := &machine{saw: s, stops: map[float64]float64{90: 0}, screw: map[float64]float64{90: 0.011}, mitres: map[float64]float64{}}
	for range s.supports() {
		m.heights = append(m.heights, 0.05)
	}
	m.setToe(0.025)
	m.setRip(0.025)
	for i, b := range s.bevels {
		m.stops[b], m.screw[b] = 0, []float64{-0.009, 0.014, 0.012}[i%3]
	}
	for _, p := range s.mitres {
		m.mitres[p] = 0
	}
	m.score = [2]float64{0.08, 0.08}
	return m
}

// The toe is how much farther the blade's rear is from the slider, or from the
// rip fence, over its diameter.
func (m *machine) toe() float64 { return m.saw.side() * (m.travel - m.blade) * m.saw.blade }
func (m *machine) ripToe() float64 {
	return -m.saw.side() * (m.rip - m.blade) * m.saw.blade
}
func (m *machine) setToe(v float64) { m.travel = m.blade + m.saw.side()*v/m.saw.blade }
func (m *machine) setRip(v float64) { m.rip = m.blade - m.saw.side()*v/m.saw.blade }

// read adds what a hand and a scale do to a length: sd of the hand, step of the
// scale.
func (m *machine) read(v, sd, step float64) float64 {
	if m.noise != nil {
		v += m.noise.NormFloat64() * sd
	}
	return math.Round(v/step) * step
}

// say writes a length as its person reads it off.
func (m *machine) say(v, sd, step float64) string {
	if m.saw.inch {
		step = map[float64]float64{0.01: 0.0127, 0.02: 0.0254, 0.05: 0.0254, 0.5: 25.4 / 64}[step]
		return fmt.Sprintf("%.4f in", m.read(v, sd, step)/25.4)
	}
	return fmt.Sprintf("%.2f mm", m.read(v, sd, step))
}

// answer is what the person says to a prompt.
func (m *machine) answer(t *testing.T, p dialog.PromptView) string {
	t.Helper()
	switch p.Kind {
	case dialog.KindChoice:
		return m.choose(t, p)
	case dialog.KindConfirm:
		m.confirmed(p)
		return p.Acknowledge
	case dialog.KindReading:
		return m.measure(t, p)
	case dialog.KindText:
		return m.name(t, p)
	}
	t.Fatalf("nothing is asked: %+v", p)
	return ""
}

// name answers a question for words.
func (m *machine) name(t *testing.T, p dialog.PromptView) string {
	list := func(v []float64) string {
		if len(v) == 0 {
			return "none"
		}
		var s []string
		for _, d := range v {
			s = append(s, strconv.FormatFloat(d, 'g', -1, 64))
		}
		return strings.Join(s, " and ")
	}
	switch p.Name {
	case "setup.name":
		return m.saw.name
	case "setup.stops":
		return list(m.saw.bevels)
	case "mitre.which":
		return list(m.saw.mitres)
	case "setup.fencescrew":
		return "none"
	case "setup.thread":
		return "ok"
	}
	t.Fatalf("%s: no answer to %q", m.saw.name, p.Name)
	return ""
}

// choose answers a choice.
func (m *machine) choose(t *testing.T, p dialog.PromptView) string {
	pick := func(b bool, yes, no string) string {
		if b {
			return yes
		}
		return no
	}
	switch p.Name {
	case "setup.units":
		return pick(m.saw.inch, "inch", "mm")
	case "setup.hand":
		return pick(m.saw.cabinet, "no slider", pick(m.saw.right, "right", "left"))
	case "setup.slot":
		return pick(m.saw.right, "right", "left")
	case "setup.bolts":
		return pick(m.saw.trunnion, "trunnion", "table")
	case "setup.raises":
		return pick(m.saw.cw, "clockwise", "anticlockwise")
	case "setup.tilt":
		return pick(m.saw.tiltRight, "right", "left")
	case "setup.scoring":
		return pick(m.saw.scoring, "yes", "no")
	case "setup.fenceplace":
		return pick(m.saw.fenceRear, "rear", "front")
	case "large":
		return "right" // this machine is really that far out
	case "place":
		return pick(m.saw.ripAtRail, "rail", "head")
	case "mitre.lean":
		return "rear"
	case "mitre.open":
		return corner(m.mitres[m.stop])
	case "pair.open":
		return corner(m.stops[m.stop])
	case "level.shows":
		return pick(m.saw.cabinet, "0", "90")
	case "leans":
		return pick((m.stops[90] > 0) == m.saw.tiltRight, "right", "left")
	case "ask.consent", "slider.locked":
		return "no"
	case "method":
		if p.Job != "rip-fence" {
			return p.Choices[m.saw.tiltBy]
		}
		by := min(m.saw.ripBy, len(p.Choices)-1)
		m.through = by == 2
		return p.Choices[by]
	case "side", "references.which", "hood", "square.side":
		return p.Choices[0]
	case "tilted":
		return pick(m.saw.inch, "yes", "leave it out")
	case "proof.look":
		return "clean"
	case "scoring.kind":
		return "split"
	}
	t.Fatalf("%s: no answer to %q of %v", m.saw.name, p.Name, p.Choices)
	return ""
}

// confirmed does what a prompt asks to be done.
func (m *machine) confirmed(p dialog.PromptView) {
	switch p.Name {
	case "cut.five":
		m.cut = m.fiveCuts()
	case "tilt.set":
		m.stop = *p.Stop
	case "cut.mitre", "flip.cut":
		m.stop = *p.Stop
	case "ripfence.lock":
		if m.noise != nil {
			m.play = m.noise.NormFloat64() * 0.002
		}
	}
}
