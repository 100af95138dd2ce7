package dialog

import (
	"math"
	"slices"

	"shimwright/calc"
	"shimwright/dialog/guard"
	"shimwright/dialog/wording"
)

// level levels the slider with the main table on its support nuts.
type level struct{}

// Limits of the levelling job (practice, no published source).
const (
	levelRounds  = 8                 // rounds of readings after which it says what remains
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

// heights is one round of readings.
type heights struct {
	value   []calc.Length
	u       []float64 // expanded, of each
	missing []bool
	raw     []int // the answers; 0 where none was
	round   int
}

func (l *levelling) newHeights(round int) heights {
	n := len(l.supports)
	return heights{value: make([]calc.Length, n), u: make([]float64, n), missing: make([]bool, n), raw: make([]int, n), round: round}
}

func (level) Run(t *Script) {
	l := newLevelling(t)
	t.Confirm(question(Key{Name: "slider.clean"}, "level.clean"), wording.T("caution.hands"))
	l.play()
	for n := 1; ; n++ {
		round := t.firstRound() + n
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
		l.left, l.leftWorst = &h, worst
		if decision != calc.Outside && l.loose(round, h) {
			continue
		}
		l.say(decision, worst)
		if decision != calc.Outside || n >= levelRounds {
			l.record(decision, n >= levelRounds)
			return
		}
		if !l.adjust(round, h) {
			l.record(calc.Outside, true)
			return
		}
	}
}

// levelling is the job's working state, derived from its answers.
type levelling struct {
	t        *Script
	p        Profile
	tool     Tool
	supports []support
	window   calc.Window
	passes   []calc.Pass
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

// read takes one round of heights, the first point again last: when it has
// changed by more than the tool explains, the stand has moved and the round is
// read again.
func (l *levelling) read(round int) heights {
	for try := 0; ; try++ {
		h := l.newHeights(round)
		first := -1
		for i := range l.supports {
			v := l.height(round, try, i, 1, &h)
			if v.Skipped {
				h.missing[i] = true
				continue
			}
			if first < 0 {
				first = i
			}
			l.take(&h, i, v)
		}
		if first < 0 {
			l.t.Say("level.none")
			continue
		}
		again := l.height(round, try, first, 2, nil)
		if again.Skipped || math.Abs(again.Mid()-float64(h.value[first])) <= l.allowed || try == 2 {
			return h
		}
		l.t.Say("level.moved", "Change", l.tool.size((calc.Length(again.Mid()) - h.value[first]).Abs()), "Part", l.supports[first].label())
	}
}

// expected is where the height at support i should be: where the last round
// left it, or among its neighbours of this round. Nil: nothing is known.
func (l *levelling) expected(i int, h *heights) *float64 {
	if h == nil {
		return nil
	}
	if l.left != nil && !l.left.missing[i] {
		v := float64(l.left.value[i])
		return &v
	}
	var read []float64
	for j := range i {
		if !h.missing[j] {
			read = append(read, float64(h.value[j]))
		}
	}
	if len(read) == 0 {
		return nil
	}
	m := mean(read)
	return &m
}

// take puts a reading into its round. Every plain reading of a tool has the
// same uncertainty: it is worked out once, in newLevelling.
func (l *levelling) take(h *heights, i int, v Value) {
	h.raw[i] = v.answer
	if v.Low == v.High {
		h.value[i], h.u[i] = calc.Length(v.Low)+l.tool.Correction, l.plainU
		return
	}
	r := v.Reading(l.tool.measuring())
	h.value[i], h.u[i] = r.Value(), r.Estimate().U
}

// readings returns a round as a record keeps it.
func (l *levelling) readings(h *heights) []RecordReading {
	var out []RecordReading
	for i, n := range h.raw {
		if a := &l.t.job.Answers[n]; !h.missing[i] {
			out = append(out, RecordReading{Name: "slider.height", Label: itoa(i + 1), Round: h.round, Low: a.Low, High: a.High, At: a.At})
		}
	}
	return out
}

// height reads the height at support i; h is what was read in this round, nil
// where that does not count.
func (l *levelling) height(round, try, i, n int, h *heights) Value {
	return l.t.ReadAt(l.key(round, try, i, n), wording.T("caution.hands"), func() guard.Ask {
		return l.question(round, try, i, n, h)
	})
}

// question asks for the height at support i; n counts how often it was asked
// in this round.
func (l *levelling) question(round, try, i, n int, h *heights) guard.Ask {
	s := &l.supports[i]
	id := "level.next"
	switch {
	case n > 1:
		id = "level.again"
	case i == 0 && round%anewRounds == 1:
		id = "level.height"
	}
	a := question(l.key(round, try, i, n), id, "Part", s.label(), "Tool", l.toolText())
	a.Expect = signed(heightMost, l.tool)
	if n == 1 {
		a.Expect.Near, a.Expect.Spread = l.expected(i, h), float64(heightSpread)
	}
	a.Signs = [3]string{"height.high", "height.low", "height.level"}
	a.Quantity, a.Tool, a.Label, a.At, a.N = "height", l.tool.Kind, s.label(), &s.at, n
	if n == 1 {
		a.Supports = guard.Group{Size: len(l.supports), Key: func(j int) Key { return l.key(round, try, j, 1) }}
	}
	return a
}

func (l *levelling) key(round, try, i, n int) Key {
	return Key{Name: "slider.height", Round: round*10 + try, Index: (n-1)*100 + i}
}

func (l *levelling) toolText() wording.Text { return wording.T("tool." + l.tool.Kind) }

// judge decides on a round: the support farthest out stands for all.
func (l *levelling) judge(h heights) (calc.Decision, calc.Estimate) {
	decision, worst, most := calc.Within, calc.Estimate{}, math.Inf(-1)
	for i := range h.value {
		if h.missing[i] {
			continue
		}
		e := calc.Estimate{Value: float64(h.value[i]), U: h.u[i], DoF: calc.ManyDoF}
		d := must(calc.Decide(e, l.window))
		if d == calc.Outside || d == calc.Undecided && decision == calc.Within {
			decision = d
		}
		if out := math.Max(l.window.Low-e.Value, e.Value-l.window.High); out > most {
			most, worst = out, e
		}
	}
	return decision, worst
}

// settle asks for the readings that would settle an undecided round, at most
// three of a support.
func (l *levelling) settle(round int, h *heights) (calc.Decision, calc.Estimate) {
	for i := range h.value {
		tool, values := l.tool.measuring(), []float64{float64(h.value[i])}
		for k := range levelRepeats {
			e := calc.Estimate{Value: float64(h.value[i]), U: h.u[i], DoF: calc.ManyDoF}
			if h.missing[i] || must(calc.Decide(e, l.window)) != calc.Undecided {
				break
			}
			v := l.height(round, 0, i, 3+k, nil)
			if v.Skipped {
				break
			}
			r := v.Reading(tool)
			values = append(values, float64(r.Value()))
			h.value[i], h.u[i] = calc.Length(mean(values)), calc.Combine(averaged(r.Components(), values)...).U
		}
	}
	return l.judge(*h)
}

// loose asks, where a height stands so low that a lock nut that is still loose may
// be all that keeps it in, whether one was. The round is then read again, for what
// the last pass did.
func (l *levelling) loose(round int, h heights) bool {
	if len(l.passes) == 0 {
		return false
	}
	low := -1
	for i, v := range h.value {
		if !h.missing[i] && (low < 0 || v < h.value[low]) {
			low = i
		}
	}
	if low < 0 || float64(h.value[low]-looseLift)-h.u[low] >= l.window.Low {
		return false
	}
	a := question(Key{Name: "slider.locked", Round: round}, "level.locked", "Part", l.supports[low].label())
	a.Choices = choices("no", "yes")
	if l.t.Pick(a, wording.T("caution.nuts")) != "yes" {
		return false
	}
	l.lesson = lesson{}
	return true
}

// say words what a round showed.
func (l *levelling) say(d calc.Decision, worst calc.Estimate) {
	l.t.SayLazily(func() wording.Text {
		w := l.t.work()
		edge := calc.Length(worst.Value) * w.Thick / w.Width // how much an edge leans on a piece that lies across
		args := append(w.effect(), "Edge", wording.Size{Value: edge.Abs(), Resolution: 0.001}, "Value", l.tool.size(calc.Length(worst.Value)), "U", l.tool.doubt(worst.U),
			"Window", l.tool.span(l.p.Tol.LevelLow, l.p.Tol.LevelHigh))
		id := "level." + d.String()
		if d == calc.Outside && worst.Value < l.window.Low {
			id = "level.low"
		}
		return wording.T(id, args...)
	})
	l.t.Judge(verdict("slider.height", worst, l.window, d.String()))
}

// learn adds the round to the pass that led to it.
func (l *levelling) learn(h heights) {
	p := &l.passes[len(l.passes)-1]
	p.After = h.value
	for i := range h.missing {
		p.Missing[i] = p.Missing[i] || h.missing[i]
	}
}

// recheck reads supports again whose readings fit nothing that the last pass
// can have done: exchanged, or an odd one. It reports whether any was.
func (l *levelling) recheck(round int, h *heights) bool {
	if len(l.passes) == 0 {
		return false
	}
	live, again := l.open(round), l.t.hasFrom(l.key(round, 0, 0, anew))
	var doubtful map[int]bool
	any := false
	for i := range l.supports {
		if !live && !again {
			break
		}
		k := l.key(round, 0, i, anew)
		if !l.t.has(k) {
			if live && len(doubtful) == 0 {
				doubtful = l.doubtful(*h)
			}
			if !doubtful[i] || h.missing[i] {
				continue
			}
			l.t.Say("level.doubtful", "Part", l.supports[i].label())
		}
		if v := l.height(round, 0, i, anew, nil); !v.Skipped {
			was := h.value[i]
			l.take(h, i, v)
			any, l.lesson = true, lesson{}
			if (h.value[i] - was).Abs() <= calc.Length(l.allowed) {
				p := &l.passes[len(l.passes)-1]
				if p.Confirmed == nil {
					p.Confirmed = make([]bool, len(l.supports))
				}
				p.Confirmed[i] = true
			}
		}
	}
	u := l.typicalU(*h)
	l.t.Later(func() { l.sayFindings(u) })
	return any
}

// open reports whether the moves after a round have not been told yet: only
// then is anything worked out from its readings.
func (l *levelling) open(round int) bool {
	k := Key{Name: "slider.moves", Round: round}
	return !l.t.has(k) && (l.t.job.Told == nil || l.t.job.Told.Key != k)
}

// anew counts a reading that is taken anew because it fits nothing.
const anew = 50

// doubtful lists the supports whose last readings fit nothing.
func (l *levelling) doubtful(h heights) map[int]bool {
	out := map[int]bool{}
	_, findings := l.learned(l.typicalU(h))
	for _, f := range findings {
		if f.Pass != len(l.passes)-1 || f.Kind != calc.Swapped && f.Kind != calc.OddReading {
			continue
		}
		out[f.Support] = true
		if f.Other >= 0 {
			out[f.Other] = true
		}
	}
	return out
}

// lesson is what a number of passes has taught.
type lesson struct {
	model    calc.Model
	findings []calc.Finding
	passes   int
}

// learned returns what the whole history of passes teaches about the table.
func (l *levelling) learned(u float64) (calc.Model, []calc.Finding) {
	if l.lesson.model.Supports != nil && l.lesson.passes == len(l.passes) {
		return l.lesson.model, l.lesson.findings
	}
	m := must(calc.NewModel(l.points()))
	var findings []calc.Finding
	if len(l.passes) > 0 {
		if learned, found, err := m.Learn(l.passes, calc.Length(u)); err == nil {
			m, findings = learned, found
		}
	}
	l.lesson = lesson{m, findings, len(l.passes)}
	return m, findings
}

// sayFindings names what the latest pass showed: a stuck or reversed nut,
// another thread, a reading that fits nothing.
func (l *levelling) sayFindings(u float64) {
	_, findings := l.learned(u)
	for _, f := range findings {
		if f.Kind == calc.Swapped || f.Kind == calc.OddReading {
			continue // read again already, see recheck
		}
		args := []any{"Part", wording.T("support.all"), "Other", wording.T("support.all")}
		if f.Support >= 0 {
			args[1] = l.supports[f.Support].label()
		}
		if f.Other >= 0 {
			args[3] = l.supports[f.Other].label()
		}
		l.t.Say("level.finding."+f.Kind.String(), args...)
	}
}

func (l *levelling) points() []calc.Support {
	out := make([]calc.Support, len(l.supports))
	for i, s := range l.supports {
		out[i] = s.Support
	}
	return out
}

func (l *levelling) typicalU(h heights) float64 {
	u := 0.0
	for _, v := range h.u {
		u = math.Max(u, v)
	}
	return u
}

// adjust plans one pass over the nuts and takes what became of it. It returns
// false when no move would help.
func (l *levelling) adjust(round int, h heights) bool {
	l.free(round, h)
	if l.open(round) {
		if _, ok := l.plan(h); !ok {
			l.t.Say("level.nomove")
			return false
		}
	}
	made := l.t.Adjust(Key{Name: "slider.moves", Round: round}, wording.T("caution.nuts"), func() guard.Adjustment {
		a, _ := l.plan(h)
		return a
	})
	pass := calc.Pass{Turns: make([]float64, len(l.supports)), Before: h.value, Missing: append([]bool(nil), h.missing...)}
	for _, m := range made {
		pass.Turns[m.Index] = turnsOf(m)
	}
	l.passes = append(l.passes, pass)
	return true
}

// free asks for a nut to be freed whose height no other nut can bring in. From
// then on its answer is learned anew.
func (l *levelling) free(round int, h heights) {
	k := Key{Name: "slider.freed", Round: round}
	if !l.t.has(k) {
		if !l.open(round) {
			return
		}
		plan, err := l.planned(h)
		if err != nil || plan.Done {
			return
		}
		l.next = &plan
		_, findings := l.learned(l.typicalU(h))
		var list wording.List
		for _, i := range plan.Blocked {
			if slices.ContainsFunc(findings, func(f calc.Finding) bool { return f.Kind == calc.Stuck && f.Support == i }) {
				list = append(list, l.supports[i].label())
			}
		}
		if len(list) == 0 {
			return
		}
		l.t.Confirm(question(k, "level.freed", "Part", list), wording.T("caution.nuts"))
	}
	l.t.Confirm(question(k, "level.freed"), wording.T("caution.nuts"))
	l.passes, l.next = nil, nil
}

// planned returns the next pass from all that was read and learned: a support
// whose nut was left alone has been read several times.
func (l *levelling) planned(h heights) (calc.Plan, error) {
	u := l.typicalU(h)
	model, findings := l.learned(u)
	o := calc.DefaultPlanOptions()
	o.Low, o.High, o.U = l.p.Tol.LevelLow, l.p.Tol.LevelHigh, calc.Length(u)
	if len(l.passes) > 0 {
		if best, err := model.Heights(l.passes, findings, calc.Length(u), l.tool.Resolution/2); err == nil {
			all, us := make([]calc.Length, len(best)), make([]calc.Length, len(best))
			for i, e := range best {
				all[i], us[i] = calc.Length(e.Value), calc.Length(e.U)
			}
			from := o
			from.Us = us
			if plan, err := model.Plan(all, h.missing, from); err == nil && !plan.Done {
				return plan, nil
			}
		}
	}
	return model.Plan(h.value, h.missing, o)
}

// plan words the next pass.
func (l *levelling) plan(h heights) (guard.Adjustment, bool) {
	if l.next == nil {
		plan, err := l.planned(h)
		if err != nil || plan.Done {
			return guard.Adjustment{}, false
		}
		l.next = &plan
	}
	plan := *l.next
	a := guard.Adjustment{Text: wording.T("level.moves", "Passes", plan.Passes), Why: wording.T("level.moves.why"),
		After: wording.T("level.after")}
	sketch := &guard.Sketch{Kind: "slider", Title: wording.T("level.sketch.title")}
	var alt wording.List
	for i := range l.supports {
		s := &l.supports[i]
		pt := guard.SketchPoint{Label: wording.Raw(itoa(i + 1)), X: s.at[0], Y: s.at[1], Reading: wording.T("draw.missing")}
		if !h.missing[i] {
			pt.Reading = wording.T("size", "Value", wording.Size{Value: h.value[i], Resolution: l.tool.Resolution, Signed: true})
			pt.Sign = sideOf(float64(h.value[i]), l.window)
		}
		if turns := plan.Turns[i]; turns != 0 {
			m := l.move(i, turns, plan.Watch[i])
			a.Moves = append(a.Moves, m)
			pt.Move = wording.T("draw."+m.Verb, "Turn", wording.Raw(turnOf(turns)))
			pt.Dir, pt.Turns, pt.Clock = sign(turns), turns, clock(m.Clockwise)
			alt = append(alt, wording.T("level.sketch.part", "Part", s.label(), "Move", pt.Move))
		}
		sketch.Points = append(sketch.Points, pt)
	}
	sketch.Alt = wording.T("level.sketch.alt", "List", alt)
	a.Drawing = sketch
	return a, len(a.Moves) > 0
}

// move is one nut's part of a pass; change is what its indicator shows.
func (l *levelling) move(i int, turns float64, change calc.Length) guard.Move {
	s := &l.supports[i]
	th := calc.Thread{Pitch: s.Pitch}
	verb := "raise"
	if turns < 0 {
		verb = "lower"
	}
	turn := th.Turns(calc.Length(turns)*s.Pitch, 64)
	return guard.Move{Part: s.label(), At: &s.at, Verb: verb, Turns: turns, Clockwise: (turns > 0) != l.p.RaiseCCW,
		Travel: change, Index: i, Swing: turn.Swing(l.p.Spanner), Thread: l.p.Thread}
}

func sideOf(v float64, w calc.Window) int {
	switch {
	case v < w.Low:
		return -1
	case v > w.High:
		return 1
	}
	return 0
}

func sign(v float64) int {
	if v < 0 {
		return -1
	}
	return 1
}

func clock(clockwise bool) int {
	if clockwise {
		return 1
	}
	return -1
}

// record keeps what was found and left.
func (l *levelling) record(d calc.Decision, gaveUp bool) {
	if gaveUp && d == calc.Outside {
		l.t.Say("level.remains")
	}
	r := Record{Characteristic: "slider.level", Unit: "mm", Low: bound(l.window.Low), High: bound(l.window.High),
		AsFound: l.t.measured(l.foundWorst), AsLeft: l.t.measured(l.leftWorst), Decision: d.String(),
		Adjusted: len(l.passes) > 0, Tool: l.tool.Kind, Resolution: float64(l.tool.Resolution), Readings: l.readings(l.found)}
	if l.left != l.found {
		r.Readings = append(r.Readings, l.readings(l.left)...)
	}
	l.t.Record(r)
}
