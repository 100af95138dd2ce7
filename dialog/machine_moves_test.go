package dialog_test

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"shimwright/dialog"
)

// move does what one piece of advice says, by its words, and returns the motion
// in the machine's axes that those words mean.
func (m *machine) move(t *testing.T, prompt dialog.PromptView, a dialog.Advice) (x, y, z float64) {
	t.Helper()
	mm := a.Amount
	if a.Unit == "in" {
		mm *= 25.4
	}
	s := m.saw
	long := s.stations[len(s.stations)-1] - s.stations[0]
	switch a.Move {
	case "left":
		y = mm
	case "right":
		y = -mm
	case "forward":
		x = mm
	case "back":
		x = -mm
	}
	switch {
	case prompt.Name == "slider.moves":
		return 0, 0, m.nut(t, a)
	case prompt.Name == "slider.shift", prompt.Name == "slot.shift" && strings.Contains(a.Part, "table"):
		m.travel += y / long
	case prompt.Name == "slot.shift" && strings.Contains(a.Part, "trunnion"):
		m.blade += y / long
	case prompt.Name == "fence.move":
		m.fence += x / (s.reach - s.pivot)
	case prompt.Name == "fence.mitremove":
		m.mitres[m.stop] += x / (s.reach - s.pivot)
		tau := m.stop * math.Pi / 180
		x, y = x*math.Cos(tau), -s.side()*x*math.Sin(tau)
	case prompt.Name == "ripfence.move" && strings.Contains(a.Part, "rip fence"):
		m.rip += y / s.end
	case prompt.Name == "ripfence.move":
		// The rail runs across: its far fixing is 850 mm farther from the blade, on
		// the side away from the slider, and turns the fence with it.
		m.rip += s.side() * x / 850
	case prompt.Name == "knife.moves":
		m.knife += y
	case prompt.Name == "score.moves" && (a.Move == "left" || a.Move == "right"):
		m.score[0], m.score[1] = m.score[0]+y, m.score[1]-y
	case prompt.Name == "tilt.screw":
		turns := a.Amount
		if !strings.HasPrefix(a.Direction, "clockwise") {
			turns = -turns
		}
		m.stops[m.stop] += m.screw[m.stop] * turns
	default:
		t.Fatalf("%s: nobody knows how to move %+v at %s", s.name, a, prompt.Name)
	}
	return x, y, z
}

// nut turns one height nut: it raises its own support, and its neighbours a
// little. The words say which way, and whether that raises.
func (m *machine) nut(t *testing.T, a dialog.Advice) float64 {
	raise := a.Amount * m.saw.pitch
	if strings.HasPrefix(a.Direction, "clockwise") != m.saw.cw {
		raise = -raise
	}
	if (raise > 0) != (a.Move == "raise") {
		t.Errorf("%s: %s %s does not %s", m.saw.name, a.Part, a.Direction, a.Move)
	}
	i := m.nearest(t, dialog.PromptView{At: a.At})
	if !strings.Contains(a.Part, "support "+strconv.Itoa(i+1)) {
		t.Errorf("%s: %q stands at support %d", m.saw.name, a.Part, i+1)
	}
	here := m.saw.supports()[i]
	for j, s := range m.saw.supports() {
		d := math.Hypot(s[0]-here[0], s[1]-here[1])
		m.heights[j] += raise * math.Exp(-d/180)
	}
	return raise
}
