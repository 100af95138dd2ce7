package dialog

import (
	"math"

	"shimwright/calc"
	"shimwright/dialog/wording"
)

// level levels the slider with the main table on its support nuts.
type level struct{}

// Limits of the levelling job (practice, no published source).
const (
	levelRounds  = 8                 // rounds of readings after which it says what remains; more where a pass cannot turn enough
	levelRepeats = 3                 // extra readings of one support that is undecided
	playLimit    = calc.Length(0.03) // carriage play at which the rollers come first
	heightMost   = calc.Length(2)    // a height beyond this is questioned
	heightSpread = calc.Length(0.5)  // and one farther than this from its neighbours or its last value
	looseLift    = calc.Length(0.02) // how far a seat may spring up while its lock nut is loose
)

func (level) Name() string          { return "slider-level" }
func (level) Gives() []string       { return []string{"slider.level"} }
func (level) Needs() []string       { return nil }
func (level) Minimum(p Profile) int { return len(p.supports()) + 2 }

// support is one support with its place and its number.
type support struct {
	calc.Support
	at     [2]calc.Length // in the machine's axes
	number int            // from 1
	side   string         // id of its words
}

// label says which support it is.
func (s *support) label() wording.Text { return wording.T(s.side, "Number", s.number) }

// supports lists the supports along the slider, at each station the one near
// the blade first, in the frame of calc.
func (p Profile) supports() []support {
	th := must(calc.ThreadByName(p.Thread))
	out := make([]support, 0, 2*len(p.Stations))
	for _, s := range p.Stations {
		for i, y := range s.Ys {
			side := "support.only"
			if len(s.Ys) > 1 {
				side = [...]string{"support.near", "support.far"}[i]
			}
			out = append(out, support{calc.Support{X: s.X, Y: y, Pitch: th.Pitch},
				[2]calc.Length{s.X, p.Hand.Mirror(y)}, len(out) + 1, side})
		}
	}
	return out
}

func (level) Run(t *Script) {
	l := newLevelling(t)
	t.Confirm(question(Key{Name: "slider.clean"}, "level.clean"), wording.T("caution.hands"))
	l.play()
	for n := 1; ; n++ {
		round := t.firstRound() + n
		last := n >= l.rounds()
		l.whole = l.whole || last
		h := l.read(round)
		decision, worst := l.judge(h)
		if l.found == nil {
			l.found, l.foundWorst = &h, worst
		} else {
			l.learn(h)
		}
		switch decision {
		case calc.Undecided:
			decision, worst = l.settle(round, &h)
		case calc.Outside:
			if l.recheck(round, &h) {
				decision, worst = l.judge(h)
			}
		}
		if h.short && decision != calc.Outside {
			l.whole = true
			continue // what was out was misread: now the others count too
		}
		l.left, l.leftWorst = &h, worst
		if decision != calc.Outside && l.loose(round, h) {
			continue
		}
		l.say(decision, worst)
		if decision != calc.Outside || last {
			l.record(decision, last)
			return
		}
		moved := l.adjust(round, h)
		if l.whole = !moved && h.short; !moved && !l.whole {
			t.Say("level.nomove")
			l.record(calc.Outside, true)
			return
		}
	}
}

// rounds returns after how many rounds it says what remains: a support that is
// farther out than one pass turns its nut needs as many passes before the rest counts.
func (l *levelling) rounds() int {
	if l.found == nil {
		return levelRounds
	}
	out := math.Max(l.window.Low-l.foundWorst.Value, l.foundWorst.Value-l.window.High)
	pass := calc.DefaultPlanOptions().MaxTurn * float64(l.supports[0].Pitch)
	return levelRounds + int(math.Max(0, out/pass))
}

// levelling is the job's working state, derived from its answers.
type levelling struct {
	t        *Script
	p        Profile
	tool     Tool
	supports []support
	first    int // index of the support that is read first
	window   calc.Window
	passes   []calc.Pass
	whole    bool // the next round is of all supports
	lesson   lesson
	next     *calc.Plan // the next pass, once it is known
	plainU   float64    // expanded uncertainty of a plain reading
	allowed  float64    // how far two readings of one spot may differ by the tool alone

	found, left           *heights
	foundWorst, leftWorst calc.Estimate
}

func newLevelling(t *Script) *levelling {
	p := t.Profile()
	l := &levelling{t: t, p: p, tool: t.Tool(Indicator), supports: p.supports(),
		window: calc.Window{Low: float64(p.Tol.LevelLow), High: float64(p.Tol.LevelHigh)}}
	l.plainU = t.plainU(l.tool.measuring())
	l.allowed = math.Max(math.Sqrt2*l.plainU, 2*float64(l.tool.Resolution))
	return l
}

// play asks for the carriage's play, which no nut mends.
func (l *levelling) play() {
	a := question(Key{Name: "slider.play"}, "level.play")
	a.Expect, a.Quantity, a.Tool = dims(0, 1), "gap", Indicator
	a.Expect.Resolution = float64(l.tool.Resolution)
	v := l.t.Read(a, wording.T("caution.hands"))
	if v.Skipped || v.Length() < playLimit {
		return
	}
	pick := question(Key{Name: "rollers"}, "level.rollers", "Play", l.tool.size(v.Length()), "Limit", l.tool.size(playLimit))
	pick.Choices = choices("rollers", "goon")
	if l.t.Pick(pick, wording.Text{}) == "rollers" {
		l.t.Say("level.rollers.first")
		l.t.suspendParked()
	}
}

// record keeps what was found and left.
func (l *levelling) record(d calc.Decision, gaveUp bool) {
	if gaveUp && d == calc.Outside {
		l.t.Say("level.remains")
	}
	r := Record{Characteristic: "slider.level", Unit: "mm", Low: bound(l.window.Low), High: bound(l.window.High),
		AsFound: l.t.measured(l.foundWorst), AsLeft: l.t.measured(l.leftWorst), Decision: d.String(),
		Adjusted: l.t.turned("slider.moves", 0), Tool: l.tool.Kind, Resolution: float64(l.tool.Resolution), Readings: l.readings(l.found)}
	if l.left != l.found {
		r.Readings = append(r.Readings, l.readings(l.left)...)
	}
	l.t.Record(r)
}
