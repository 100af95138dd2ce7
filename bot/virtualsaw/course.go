package virtualsaw

import (
	"context"
	"fmt"
	"io"
	"math"
	"strings"
	"time"
)

// Course is what became of one job on one saw, as the saw itself knows it.
type Course struct {
	Job      string
	Seed     uint64
	Kind     string // of the saw
	Supports int
	Unit     string
	Method   string

	Messages int  // of the job, set-up not counted
	SetUp    int  // messages of the set-up before it
	Ended    bool // the service came to an end by itself
	Stopped  bool // it said that it cannot go on
	Readings int
	Moves    int
	Passes   int     // adjustments
	Minutes  float64 // of readings and moves
	Bare     float64 // the same without the checks that the rules of thumb do not make
	Claims   []Claim
	Heights  []HeightClaim
	Advised  []Advised
	Slip     *Slip
	Remarks  []string // what the service said that the moves showed

}

// Claim is a verdict of the service beside the truth at that moment.
type Claim struct {
	Name       string
	Value, U   float64
	Low, High  float64
	Decision   string
	Truth      float64
	First      bool // the first of its name in this job
	Last       bool
	TruthAtEnd float64 // when the job had ended
}

// Holds reports whether the true value is inside the window that was stated.
func (c Claim) Holds() bool { return c.TruthAtEnd >= c.Low && c.TruthAtEnd <= c.High }

// Covers reports whether the stated uncertainty reaches the truth.
func (c Claim) Covers() bool { return math.Abs(c.Value-c.Truth) <= c.U*(1+1e-9) }

// HeightClaim is one height as it was read, beside the truth, and the
// uncertainty that the service states for it.
type HeightClaim struct{ Error, U float64 }

// Advised is one adjustment as the service advises it: where it would bring the
// truth if it were carried out exactly.
type Advised struct {
	Name          string
	Before, After float64 // how far outside the window
	Noise         float64 // what the stated uncertainty explains
	Trial         bool    // a first turn of a screw of unknown effect
	Aim           float64 // for a toe: what the service reckons it leads to
	True          float64 // for a toe: what it would truly lead to
	Toe           bool
}

// Worsens reports whether the advice leads away from the window.
func (a Advised) Worsens() bool { return !a.Trial && a.After > a.Before+1e-9 }

// WorsensBeyondNoise reports whether it does by more than the uncertainty of
// what it rests on.
func (a Advised) WorsensBeyondNoise() bool { return a.Worsens() && a.After > a.Before+a.Noise }

// mostMessages is where a conversation counts as one that never ends.
const mostMessages = 900

// Talk is one conversation of a person with the service.
type Talk struct {
	Client       *Client
	Conversation string
	Sender       string
	Person       *Person
	Pass         func(time.Duration)         // lets the clock of the service go on, may be nil
	Heard        func(text string, a Answer) // each exchange, may be nil
	sent         int
}

func (t *Talk) say(ctx context.Context, text string) (Answer, error) {
	t.sent++
	before := t.Person.Spent
	a, err := t.Client.say(ctx, message{ID: fmt.Sprint("m-", t.sent), Conversation: t.Conversation, Sender: t.Sender, Text: text})
	if err == nil && t.Heard != nil {
		t.Heard(text, a)
	}
	if t.Pass != nil {
		t.Pass(max(time.Second, t.Person.Spent-before))
	}
	return a, err
}

// Do starts a job and stays with it to its end, set-up included where the saw
// is new to the service.
func (t *Talk) Do(ctx context.Context, job string) (*Course, error) {
	p := t.Person
	c := &Course{Job: job, Seed: p.Saw.Seed, Kind: p.Saw.Kind, Supports: len(p.Saw.Slider.Supports), Unit: p.Unit, Slip: p.Slip}
	readings, moves, checked := p.Readings, p.Moves, p.Checked
	text := job
	for {
		spent := p.Spent
		a, err := t.say(ctx, text)
		if err != nil {
			return c, err
		}
		if strings.HasPrefix(a.Prompt.Name, "setup.") {
			c.SetUp++
		} else {
			c.Messages++
		}
		c.take(p, a)
		if text, err = p.reply(a); err != nil {
			return c, err
		}
		if t.Pass != nil {
			t.Pass(p.Spent - spent)
		}
		if text == "" || c.Messages > mostMessages {
			c.Ended = text == ""
			break
		}
	}
	c.Method = p.methodOf(job)
	c.Readings, c.Moves = p.Readings-readings, p.Moves-moves
	c.Minutes = (float64(c.Readings)*ReadingTime.Minutes() + float64(c.Moves)*MoveTime.Minutes())
	c.Bare = c.Minutes - float64(p.Checked-checked)*ReadingTime.Minutes()
	for i := range c.Claims {
		c.Claims[i].TruthAtEnd = p.truth(c.Claims[i].Name, c.Claims[i].Low, c.Claims[i].High)
	}
	return c, nil
}

// Describe writes how the course went, and each verdict beside the truth.
func (c *Course) Describe(w io.Writer) {
	fmt.Fprintf(w, "%s on saw %d (%s, %d supports): %d messages, %d readings, %d adjustments of %d moves, ended %v\n",
		c.Job, c.Seed, c.Kind, c.Supports, c.Messages, c.Readings, c.Passes, c.Moves, c.Ended)
	for _, n := range c.Claims {
		fmt.Fprintf(w, "  %s: %s, %.4g give or take %.2g; then truly %.4g, at the end %.4g\n", n.Name, n.Decision, n.Value, n.U, n.Truth, n.TruthAtEnd)
	}
	for _, a := range c.Advised {
		if a.Worsens() {
			fmt.Fprintf(w, "  %s leads away: from %.3g to %.3g outside\n", a.Name, a.Before, a.After)
		}
	}
	if s := c.Slip; s != nil {
		fmt.Fprintf(w, "  slip: %s, happened %v at support %d, questioned %v, named %v, heard %q\n", s.Kind, s.Happened, s.support+1, s.Questioned, s.Named, s.Heard)
	}
	fmt.Fprintln(w)
}

// ClaimsHead names the columns of Claims.
const ClaimsHead = "saw,kind,slip,job,unit,method,name,decision,value,u,truth,truth at end,first,last\n"

// Claims writes every verdict of a trial, one a line, as CSV.
func (t Trial) Claims(w io.Writer) {
	for _, c := range t.Courses {
		slip := ""
		if c.Slip != nil {
			slip = string(c.Slip.Kind)
		}
		for _, n := range c.Claims {
			fmt.Fprintf(w, "%d,%s,%s,%s,%s,%s,%s,%s,%g,%g,%g,%g,%v,%v\n", c.Seed, c.Kind, slip, c.Job, c.Unit, c.Method, n.Name, n.Decision,
				n.Value, n.U, n.Truth, n.TruthAtEnd, n.First, n.Last)
		}
	}
}

// methodOf names how a person measures for a job.
func (p *Person) methodOf(job string) string {
	switch job {
	case "tilt-stops":
		return p.tilt
	case "rip-fence":
		return p.rip
	}
	return ""
}

// take notes what an answer claims and advises.
func (c *Course) take(p *Person, a Answer) {
	if a.Prompt.Name == "stopped" || a.Prompt.Name == "impossible" {
		c.Stopped = true
	}
	for _, r := range remarks {
		if strings.Contains(a.Text(), r.words) {
			c.Remarks = append(c.Remarks, r.name)
		}
	}
	if v := a.Verdict; v != nil {
		c.claim(p, *v)
	}
	if len(a.Advice) > 0 {
		c.Passes++
		c.Advised = append(c.Advised, c.weigh(p, a))
	}
}

func (c *Course) claim(p *Person, v Verdict) {
	n := Claim{Name: v.Name, Value: v.Value, U: v.Uncertainty, Decision: v.Decision, Low: math.Inf(-1), High: math.Inf(1), First: true, Last: true}
	if v.Low != nil {
		n.Low = *v.Low
	}
	if v.High != nil {
		n.High = *v.High
	}
	for i := range c.Claims {
		if c.Claims[i].Name == v.Name {
			c.Claims[i].Last, n.First = false, false
		}
	}
	n.Truth = p.truth(v.Name, n.Low, n.High)
	if strings.HasPrefix(v.Name, "tilt:") {
		n.Truth = p.Saw.Stop(p.stop).at // as it stood locked when it was measured
	}
	c.Claims = append(c.Claims, n)
	if v.Name == "slider.height" {
		h := p.Saw.Slider.Heights()
		for i, r := range p.read {
			if r != nil {
				c.Heights = append(c.Heights, HeightClaim{*r - h[i], v.Uncertainty})
			}
		}
	}
}

// truth is the true value of what a verdict is about. For the heights of the
// slider it is the one that is farthest out, as the verdict has it.
func (p *Person) truth(name string, low, high float64) float64 {
	s := p.Saw
	switch name {
	case "slider.height":
		worst, most := 0.0, math.Inf(-1)
		for _, h := range s.Slider.Heights() {
			if out := math.Max(low-h, h-high); out > most {
				worst, most = h, out
			}
		}
		return worst
	case "slider.toe":
		return s.Toe()
	case "crosscut:90":
		return s.Crosscut.Lean
	case "riving-knife":
		return -s.Knife.Off
	case "ripfence.toe":
		return s.Rip.Toe
	case "runout.blade":
		return s.Blade.TIR(s.Blade.spotOn())
	case "runout.flange":
		return 2 * s.Blade.Flange * s.Blade.Flangeseat
	case "tilt:90", "tilt:45":
		return s.Stop(map[string]float64{"tilt:90": 90, "tilt:45": 45}[name]).Error
	case "score.shift":
		return (s.Scoring.Right - s.Scoring.Left) / 2
	case "tool.square":
		return p.Tools.SquareError
	case "proof.rip":
		return p.taper
	}
	return math.NaN()
}

// miss returns how far v is outside a window.
func miss(v, low, high float64) float64 { return math.Max(0, math.Max(low-v, v-high)) }

// weigh works out where an adjustment would bring the truth.
func (c *Course) weigh(p *Person, a Answer) Advised {
	s := p.Saw
	out := Advised{Name: a.Prompt.Name}
	last := Claim{Low: math.Inf(-1), High: math.Inf(1), U: math.NaN()}
	if len(c.Claims) > 0 {
		last = c.Claims[len(c.Claims)-1]
	}
	out.Noise = last.U
	change := func(now, by float64) {
		out.Before, out.After = miss(now, last.Low, last.High), miss(now+by, last.Low, last.High)
	}
	toe := func(now, by float64) {
		change(now, by)
		out.Toe, out.True, out.Aim = true, now+by, last.Value+by
	}
	m := a.Advice[0]
	d := s.Profile.Blade
	switch a.Prompt.Name {
	case "slider.moves":
		out.Before, out.After = p.levelMiss(a.Advice, last.Low, last.High)
		out.Noise *= 2
	case "slider.shift":
		toe(s.Toe(), s.side()*m.Change.Y*d/(m.At.X-s.Slider.Supports[0].X))
	case "ripfence.move":
		by := -s.side() * m.Change.Y * d / s.Rip.Reach
		for _, m := range a.Advice {
			by += -m.Change.X * d / (s.Rip.Far - s.Rip.Near)
		}
		toe(s.Rip.Toe, by)
	case "fence.move":
		change(s.Crosscut.Lean, m.Change.X/(s.Crosscut.Adjust-s.Crosscut.Pivot))
	case "tilt.screw":
		st := s.Stop(p.stop)
		turns := m.Amount
		if strings.HasPrefix(m.Direction, "anticlockwise") {
			turns = -turns
		}
		change(st.Error, st.Rate*turns)
		out.Trial = strings.Contains(a.Text(), "to learn what the screw does")
	case "score.moves":
		by := 0.0
		for _, m := range a.Advice {
			by += m.Change.Y
		}
		change((s.Scoring.Right-s.Scoring.Left)/2, -by)
	case "knife.moves":
		by := 0.0
		for _, m := range a.Advice {
			by -= m.Change.Y
		}
		change(-s.Knife.Off, by)
	}
	return out
}

// levelMiss returns the largest true miss of the heights before and after a
// pass that is carried out exactly.
func (p *Person) levelMiss(moves []Advice, low, high float64) (before, after float64) {
	s := p.Saw.Slider
	h := s.Heights()
	n := len(h)
	by := make([]float64, n)
	influence := s.Influence()
	for _, m := range moves {
		j := p.support(m.At)
		t := s.Supports[j]
		rise := m.Amount * t.Pitch
		if strings.HasPrefix(m.Direction, "anticlockwise") != t.RaisesCCW {
			rise = -rise
		}
		if t.Stuck {
			rise = 0
		}
		for i := range n {
			by[i] += influence.At(i, j) * rise
		}
	}
	for i := range n {
		before = math.Max(before, miss(h[i], low, high))
		after = math.Max(after, miss(h[i]+by[i], low, high))
	}
	return before, after
}
