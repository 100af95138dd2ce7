package dialog_test

import (
	"fmt"
	"math"
	"math/cmplx"
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
	case "ask.consent":
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

// board is a strip as it was cut off, seen from above.
type board struct {
	widths [2]float64 // at the end that the blade met first, and last
	long   float64
}

func (b board) width(i int) float64 { return b.widths[i] }

// fiveCuts cuts a board four times round and a strip off it, each time turned so
// that the fresh edge lies on the fence. Points are complex numbers: x forward,
// y the distance from the blade on the slider's side.
func (m *machine) fiveCuts() board {
	along := cmplx.Rect(1, math.Pi/2-m.fence) // the fence, outwards: its far end leans to the rear
	poly := []complex128{0, 420, complex(420, 420), complex(0, 420)}
	fresh := 3 // the edge from poly[3] to poly[0] lies on the fence first
	var strip board
	for n := range 5 {
		poly = m.lay(poly, fresh, along)
		trim := 5.0
		if n == 4 {
			trim = 20
		}
		// Push the board along the fence until the blade takes trim off it.
		low := math.Inf(1)
		for _, p := range poly {
			low = math.Min(low, imag(p))
		}
		shift := along * complex((-trim-low)/imag(along), 0)
		for i := range poly {
			poly[i] += shift
		}
		keep, off := split(poly)
		if n == 4 {
			strip = measured(off)
		}
		poly = keep
		fresh = freshEdge(poly)
	}
	return strip
}

// lay moves a polygon so that one edge lies on the fence, the board on its side:
// before the fence where it stands at the front, behind it where at the rear.
func (m *machine) lay(poly []complex128, edge int, along complex128) []complex128 {
	n := len(poly)
	a, b := poly[edge], poly[(edge+1)%n]
	var inside complex128
	for _, p := range poly {
		inside += p / complex(float64(n), 0)
	}
	to := along
	turn := to / ((b - a) / complex(cmplx.Abs(b-a), 0))
	turn /= complex(cmplx.Abs(turn), 0)
	// The board has to lie towards +x of a fence at the front.
	at := (inside - a) * turn
	ahead := real(at)*imag(to)-imag(at)*real(to) > 0 // right of the fence's direction is +x
	if ahead == m.saw.fenceRear {
		turn = -turn
		a = b
	}
	out := make([]complex128, n)
	for i, p := range poly {
		out[i] = (p - a) * turn
	}
	return out
}

// split cuts a polygon at the blade, y = 0.
func split(poly []complex128) (keep, off []complex128) {
	n := len(poly)
	for i, p := range poly {
		q := poly[(i+1)%n]
		if imag(p) >= 0 {
			keep = append(keep, p)
		}
		if imag(p) <= 0 {
			off = append(off, p)
		}
		if imag(p)*imag(q) < 0 {
			c := p + (q-p)*complex(imag(p)/(imag(p)-imag(q)), 0)
			keep, off = append(keep, c), append(off, c)
		}
	}
	return keep, off
}

// freshEdge is the edge that the blade has just cut.
func freshEdge(poly []complex128) int {
	for i, p := range poly {
		if q := poly[(i+1)%len(poly)]; math.Abs(imag(p)) < 1e-9 && math.Abs(imag(q)) < 1e-9 {
			return i
		}
	}
	panic("the blade has cut nothing")
}

// measured takes a strip's widths ten millimetres from either end. The blade
// meets the end that lies farther forward first.
func measured(off []complex128) board {
	front, rear := math.Inf(1), math.Inf(-1)
	for _, p := range off {
		if math.Abs(imag(p)) < 1e-9 {
			front, rear = math.Min(front, real(p)), math.Max(rear, real(p))
		}
	}
	width := func(x float64) float64 {
		deep := 0.0
		n := len(off)
		for i, p := range off {
			q := off[(i+1)%n]
			if (real(p)-x)*(real(q)-x) < 0 {
				y := imag(p) + (imag(q)-imag(p))*(x-real(p))/(real(q)-real(p))
				deep = math.Max(deep, -y)
			}
		}
		return deep
	}
	return board{[2]float64{width(rear - 10), width(front + 10)}, rear - front - 20}
}

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
	case "rear":
		x = mm
	case "front":
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
