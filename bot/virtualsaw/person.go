package virtualsaw

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"time"
)

// How long things take a person, as the comparison with the rules of thumb
// counts them.
const (
	ReadingTime = 20 * time.Second
	MoveTime    = 45 * time.Second
	cutTime     = 3 * time.Minute
	otherTime   = 8 * time.Second
)

// Person stands at a saw with tools and answers what the service asks. They
// know the saw's profile, read their tools as well as people do, and carry out
// advice with a hand that is not a machine's.
type Person struct {
	Saw    *Saw
	Tools  Tools
	Unit   string // mm or in
	Method Method // how they measure where there is a choice
	Checks bool   // they check their tools first
	Slip   *Slip  // what goes wrong with them, nil: nothing

	turnRepeat float64 // turns: how exactly a nut is turned, one standard deviation
	turnScale  float64 // relative: how large the person's eighth of a turn is, always
	moveRepeat float64 // mm: how exactly something is moved against an indicator

	r        *rand.Rand
	parts    []string // of set-up, still to be gone through
	count    map[string]int
	told     string     // the number given last
	asked    string     // what it was asked for
	read     []*float64 // heights of the round, as they were told
	strip    *strip
	stop     float64 // degrees of the stop in hand
	pair     float64 // thickness of the piece in hand
	taper    float64 // of the ripped piece: width at the end cut first less that at the other
	rip      string  // how the rip fence is measured in this job
	tilt     string  // and the tilt
	twice    map[string]bool
	coarse   bool
	Spent    time.Duration // at the saw
	Readings int
	Checked  int // of them: the carriage's play, and first points read again at the end of a round
	Moves    int
	Guessed  map[string]int // questions that the person took the default of, not knowing them
}

// Method is how a person measures where the service leaves the choice.
type Method struct {
	Tilt   string // gap, pair or level
	Rip    string // indicator, tooth or edge
	Right  bool   // the square stands on the right of the blade
	Yields bool   // they take the better method when they are told that theirs is too coarse
}

// NewPerson draws the person who stands at a saw.
func NewPerson(s *Saw, seed uint64) *Person {
	r := rand.New(rand.NewPCG(seed, 3))
	inches := chance(r, 0.35)
	p := &Person{Saw: s, Unit: "mm", r: r, Tools: drawTools(r, inches), count: map[string]int{}, twice: map[string]bool{}, Guessed: map[string]int{},
		turnRepeat: uniform(r, 0.003, 0.010), turnScale: 1 + 0.03*r.NormFloat64(), moveRepeat: uniform(r, 0.004, 0.012),
		parts: []string{"supports", "nuts", "blade", "fence", "tools"}, Checks: chance(r, 0.5),
		Method: Method{Tilt: pick(r, []string{"gap", "pair", "level"}), Rip: pick(r, []string{"indicator", "tooth", "edge"}), Right: chance(r, 0.5), Yields: chance(r, 0.5)}}
	if inches {
		p.Unit = "in"
	}
	p.read = make([]*float64, len(s.Slider.Supports))
	return p
}

// spend lets time pass.
func (p *Person) spend(d time.Duration) { p.Spent += d }

// errLost: the person does not know what is wanted of them.
type errLost struct {
	prompt Prompt
	text   string
}

func (e errLost) Error() string {
	return fmt.Sprintf("the person does not know what to answer to %s %q of %s: %s", e.prompt.Kind, e.prompt.Name, e.prompt.Job, e.text)
}

// reply is what the person types next; "" when nothing is asked.
func (p *Person) reply(a Answer) (string, error) {
	p.notice(a)
	p.spend(otherTime)
	q := a.Prompt
	if q.Stop != nil {
		p.stop = *q.Stop
	}
	switch q.Kind {
	case "idle":
		return "", nil
	case "reading":
		if f, ok := readings[q.Name]; ok {
			p.spend(ReadingTime - otherTime)
			p.Readings++
			if q.Name == "slider.play" || q.Name == "slider.height" && q.N == 2 {
				p.Checked++
			}
			p.told, p.asked = p.slipText(q, f(p, q)), q.Name+" "+q.Label
			return p.told, nil
		}
		if f, ok := dimensions[q.Name]; ok {
			v, step := f(p, q)
			p.told, p.asked = p.dimension(v, step, q), q.Name
			return p.told, nil
		}
	case "choice":
		if f, ok := choosing[q.Name]; ok {
			return f(p, q), nil
		}
		if len(q.Choices) > 0 { // what is offered first is what is usual
			p.Guessed[q.Name]++
			return q.Choices[0], nil
		}
	case "confirm":
		p.act(a)
		return q.Acknowledge, nil
	case "text":
		if f, ok := naming[q.Name]; ok {
			return f(p, q), nil
		}
		p.Guessed[q.Name]++
		return "ok", nil
	}
	return "", errLost{q, a.Text()}
}

// dimension writes a length that a ruler or a label gives, or a count.
func (p *Person) dimension(v, step float64, q Prompt) string {
	if q.Quantity == "count" {
		return fmt.Sprint(int(math.Round(v)))
	}
	return number(v, step, q.Unit)
}

// notice listens for what the service says about a slip.
func (p *Person) notice(a Answer) {
	if p.Slip != nil {
		p.Slip.heard(a)
	}
}

// act does what a confirmation says is done.
func (p *Person) act(a Answer) {
	if len(a.Advice) > 0 {
		for _, m := range a.Advice {
			p.spend(MoveTime)
			p.Moves++
			p.move(a.Prompt, m)
		}
		if !p.forgets() {
			p.Saw.Slider.lock(p.Saw.random)
		}
		return
	}
	s := p.Saw
	switch a.Prompt.Name {
	case "safety.guarded":
		s.Slider.lock(s.random)
	case "tilt.set":
		s.Stop(p.stop).come(s.random)
	case "ripfence.lock":
		s.Rip.lock(s.random)
	case "fence.coarse":
		if !p.coarse { // a square leaves the last hundredths
			p.coarse = true
			s.Crosscut.Lean = p.Tools.SquareError + 0.0004*p.r.NormFloat64()
		}
	case "cut.five":
		p.spend(cutTime)
		c := s.Crosscut.fiveCuts(uniform(p.r, 350, 600), s.random)
		p.strip = &c
	case "flip.cut", "cut.flip", "cut.pair":
		p.spend(cutTime)
		p.pair = uniform(p.r, 30, 60)
	case "ripcut.cut":
		p.spend(cutTime)
		// A straight edge along a fence gives equal widths whatever the fence's
		// toe is: what differs is how the board was led.
		p.taper = 0.015 * p.r.NormFloat64()
		s.Rip.lock(s.random)
	case "knife.other":
		s.Knife.Thick = s.Knife.Plate + 0.5*(s.Knife.Kerf-s.Knife.Plate)
		s.Knife.Off = 0.15 * p.r.NormFloat64()
	case "arbor.clean": // some of what the flange and the hub show is dirt
		s.Blade.Hub *= 0.7
		s.Blade.Flange *= 0.7
	case "arbor.half":
		s.Blade.Mounted += math.Pi
	case "slider.freed":
		for i := range s.Slider.Supports {
			s.Slider.free(i)
		}
		p.spend(2 * MoveTime)
	}
}

// move carries out one piece of advice.
func (p *Person) move(q Prompt, m Advice) {
	s := p.Saw
	amount := m.Amount
	if m.Unit == "in" {
		amount *= inch
	}
	switch {
	case q.Job == "slider-level" && m.Unit == "turn":
		p.turnNut(m, amount)
	case q.Name == "tilt.screw":
		turns := p.turned(amount)
		if strings.HasPrefix(m.Direction, "anticlockwise") {
			turns = -turns
		}
		st := s.Stop(p.stop)
		if turns < 0 { // a little past and back, so that the screw ends clockwise
			st.turn(turns - 0.125)
			turns = 0.125
		}
		st.turn(turns)
	case q.Name == "slider.shift":
		s.shift(p.moved(m.Change.Y), m.At.X-s.Slider.Supports[0].X)
	case q.Name == "fence.move":
		s.Crosscut.move(p.moved(m.Change.X), s.random)
	case q.Name == "ripfence.move":
		p.moveRip(m)
	case q.Name == "knife.moves":
		k := &s.Knife
		k.Off += p.moved(m.Change.Y)
		if m.Change.X != 0 {
			dx := m.Change.X + 0.3*p.r.NormFloat64()
			k.Near, k.Far = k.Near+dx, k.Far+dx
		}
		if m.Change.Z != 0 {
			k.Top += m.Change.Z + 0.5*p.r.NormFloat64()
		}
	case q.Name == "score.moves":
		p.moveScoring(m, amount)
	}
}

// moved is a motion as the person makes it.
func (p *Person) moved(v float64) float64 {
	if v == 0 {
		return 0
	}
	return v*(1+0.02*p.r.NormFloat64()) + p.moveRepeat*p.r.NormFloat64()
}

// turned is a part of a turn as the person makes it.
func (p *Person) turned(turns float64) float64 {
	return math.Max(0, turns*p.turnScale+p.turnRepeat*p.r.NormFloat64())
}

// turnNut turns the nut of a support as the advice says.
func (p *Person) turnNut(m Advice, turns float64) {
	i := p.support(m.At)
	t := p.turned(turns)
	if strings.HasPrefix(m.Direction, "anticlockwise") {
		t = -t
	}
	p.Saw.Slider.turn(i, p.slipTurn(i, t))
}

// moveRip moves the rip fence at its rear end or a fixing of its rail.
func (p *Person) moveRip(m Advice) {
	f, d := &p.Saw.Rip, p.Saw.Profile.Blade
	if m.Change.X != 0 { // a fixing of the rail, the other one the pivot
		// Towards the front at the far fixing opens the rear.
		f.Toe += -p.moved(m.Change.X) / (f.Far - f.Near) * d
		return
	}
	away := -p.Saw.side() * p.moved(m.Change.Y)
	f.Toe += away / f.Reach * d
}

// moveScoring moves the scoring blade, or changes the spacers of a split one.
// Its line stands over on both sides by a scoring blade that is wider, and by a
// conical one that cuts deeper.
func (p *Person) moveScoring(m Advice, amount float64) {
	sc := p.Saw.Scoring
	wide := 0.0
	switch m.Move {
	case "left", "right":
		dy := p.moved(m.Change.Y)
		sc.Left, sc.Right = sc.Left+dy, sc.Right-dy
	case "wider":
		wide = round(amount, 0.02)
	case "narrower":
		wide = -round(amount, 0.02)
	case "raise", "lower":
		dz := m.Change.Z + 0.05*p.r.NormFloat64()
		sc.Depth += dz
		if sc.Flank > 0 {
			wide = 2 * dz * math.Tan(sc.Flank)
		}
	}
	sc.Left, sc.Right = sc.Left+wide/2, sc.Right+wide/2
}

// support returns the support at a place.
func (p *Person) support(at *Place) int {
	best, least := 0, math.Inf(1)
	for i, t := range p.Saw.Slider.Supports {
		if d := math.Hypot(t.X-at.X, t.Y-at.Y); d < least {
			best, least = i, d
		}
	}
	return best
}
