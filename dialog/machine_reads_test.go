package dialog_test

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"

	"shimwright/dialog"
)

// measure reads what a prompt asks for.
func (m *machine) measure(t *testing.T, p dialog.PromptView) string {
	t.Helper()
	if s, ok := m.setUp(p); ok {
		return s
	}
	const hand, caliper = 0.003, 0.008 // standard deviation of one reading, mm
	switch p.Name {
	case "slider.play", "arbor.play":
		return m.say(0.005, 0, 0.01)
	case "slider.height":
		return m.say(m.heights[m.nearest(t, p)], hand, 0.01)
	case "slider.travel", "slot.travel", "ripfence.travel", "tilt.height", "ripfence.near", "ripfence.far", "ripcut.length",
		"square.length", "arbor.plunger", "arbor.flange", "runout.steps":
		return "ok"
	case "ripfence.reach":
		return m.say(m.saw.end, 0, 0.5)
	case "slider.indicator", "slot.indicator":
		// The plunger is pushed in by as much as slider and blade stand nearer.
		off := m.saw.side()*(m.travel-m.blade)*p.At.X + 0.02*math.Cos(float64(p.Tooth))
		return m.say(1-off, hand, 0.01)
	case "blade.face":
		return m.say(0.3+m.arbor[0]*math.Cos(2*math.Pi*(*p.Turn-m.arbor[1])), hand, 0.01)
	case "strip.first":
		return m.say(m.cut.width(0), caliper, 0.01)
	case "strip.last":
		return m.say(m.cut.width(1), caliper, 0.01)
	case "strip.length":
		return m.say(m.cut.long, 0.3, 0.5)
	case "tilt.gap":
		return m.gap(p)
	case "mitre.gap":
		return m.say(math.Abs(2*m.mitres[m.stop])*100, 0.005, 0.05)
	case "pair.gap":
		return m.say(math.Abs(2*m.stops[m.stop])*100, 0.005, 0.05)
	case "flip.thickness":
		return m.say(50, 0, 0.01)
	case "flip.gap":
		// Where the blade leans to the left the left part is longer at its lower
		// edge; so is the other, rolled over: they meet there and open at the top.
		lean := m.stops[90]
		if m.saw.tiltRight {
			lean = -lean
		}
		return m.open(2 * 50 * math.Tan(lean))
	case "tilt.angle":
		return m.level(p)
	case "ripfence.distance":
		to := m.blade
		if m.through {
			to = m.travel
		}
		off := -m.saw.side() * (m.rip - to + m.play/m.saw.blade) * p.At.X
		return m.say(100+off, caliper, 0.01)
	case "ripfence.indicator":
		off := -m.saw.side() * (m.rip - m.blade + m.play/m.saw.blade) * p.At.X
		return m.say(2-off, hand, 0.01)
	case "ripcut.width":
		return m.say(120, caliper, 0.01)
	}
	return m.sizes(t, p)
}

// sizes reads blade, knife, scored line and the checks of the tools.
func (m *machine) sizes(t *testing.T, p dialog.PromptView) string {
	v, ok := map[string]float64{"knife.thickness": 2.8, "knife.plate": 2.2, "knife.kerf": 3.2, "knife.top": -3, "score.depth": 1.5,
		"score.left": m.score[0], "score.right": m.score[1], "square.gap": 0, "caliper.zero": 0, "repeat": 0.5}[p.Name]
	switch {
	case p.Name == "knife.gap" && p.Side == "narrowest":
		v, ok = 4, true
	case p.Name == "knife.gap":
		v, ok = 6, true
	case p.Name == "knife.offset":
		v, ok = 0.2-m.knife, true
		if p.Side == "right" {
			v = 0.2 + m.knife
		}
		return m.say(v, 0.005, 0.05)
	}
	if !ok {
		t.Fatalf("%s: no reading for %+v", m.saw.name, p)
	}
	return m.say(v, 0, 0.01)
}

// setUp answers a dimension or a count of set-up.
func (m *machine) setUp(p dialog.PromptView) (string, bool) {
	if !strings.HasPrefix(p.Name, "setup.") {
		return "", false
	}
	s := m.saw
	each := 1
	if s.far > 0 {
		each = 2
	}
	v, ok := map[string]float64{"setup.near": s.near, "setup.far": s.far, "setup.pivot": s.pivot, "setup.reach": s.reach,
		"setup.gaugepivot": s.pivot, "setup.gaugeend": s.reach, "setup.boltfront": s.at(0), "setup.boltrear": s.at(1), "setup.blade": s.blade}[p.Name]
	switch {
	case ok:
		return fmt.Sprintf("%g mm", v), true
	case p.Name == "setup.stations":
		return strconv.Itoa(len(s.stations)), true
	case p.Name == "setup.each":
		return strconv.Itoa(each), true
	case p.Name == "setup.station":
		m.turning++
		return fmt.Sprintf("%g mm", s.at(int(m.turning)-1)), true
	}
	return "ok", true
}

func (s saw) at(i int) float64 {
	if i < len(s.stations) {
		return s.stations[i]
	}
	return 0
}

// nearest is the support that a prompt is about.
func (m *machine) nearest(t *testing.T, p dialog.PromptView) int {
	for i, s := range m.saw.supports() {
		if math.Hypot(p.At.X-s[0], p.At.Y-m.saw.side()*s[1]) < 1 {
			return i
		}
	}
	t.Fatalf("%s: no support stands at %+v", m.saw.name, p.At)
	return 0
}

// gap is what a square shows against the plate at a stop. On the side that the
// blade leans away from it opens at the top when the blade leans too far.
func (m *machine) gap(p dialog.PromptView) string {
	lean := m.stops[*p.Stop] // to the tilt's own side
	if m.saw.tiltRight == (p.Side == "right") {
		lean = -lean
	}
	return m.open(150 * math.Tan(lean))
}

// level is what a level shows on the table, which is level, or on the plate.
func (m *machine) level(p dialog.PromptView) string {
	if p.Side == "table" {
		return "0"
	}
	nominal := *p.Stop
	if nominal == 90 {
		nominal = 0
	}
	lean := nominal + m.stops[*p.Stop]*180/math.Pi
	if !m.saw.cabinet {
		lean = 90 - math.Abs(lean)
	}
	return fmt.Sprintf("%.1f", m.read(lean, 0, 0.1))
}

// open is a gap that is read with feelers, positive at the top.
func (m *machine) open(v float64) string {
	step := 0.05
	if m.saw.inch {
		step = 0.0254
	}
	v = m.read(v, 0.004, step)
	word := " at the top"
	if v < 0 {
		word, v = " at the bottom", -v
	}
	if v == 0 {
		return "0"
	}
	if m.saw.inch {
		return fmt.Sprintf("%.3f in%s", v/25.4, word)
	}
	return fmt.Sprintf("%.2f mm%s", v, word)
}

// corner is how two pieces cut at a position or stop meet a true corner: one that was cut
// too far makes it sharp, and it opens at its heel.
func corner(e float64) string {
	switch {
	case math.Abs(2*e)*100 < 0.03:
		return "closed"
	case e > 0:
		return "heel"
	}
	return "toe"
}
