package virtualsaw

import (
	"context"
	"fmt"
	"math"
	"strings"
	"time"
)

// Jobs are the jobs of a saw that is gone through once, in this order.
// The tools are checked first by half of the people.
var Jobs = [...]string{"references", "runout", "riving-knife", "slider-level", "slider-parallel", "tilt-stops", "crosscut-fence", "rip-fence", "scoring", "proof"}

// Trial is one saw that is gone through: the jobs with the service, and the
// rules of thumb for the levelling.
type Trial struct {
	Seed           uint64
	Courses        []*Course
	One, OneCapped Thumb // one nut at a time; the same with at most 1/8 turn at once
	Own, OwnCapped Thumb // every nut by its own reading; the same with at most 1/8 turn
	Fault          string
	Guessed        map[string]int // questions that the person did not know, by name
}

// Bench is what a study needs of the service.
type Bench interface {
	Client() *Client
	Pass(time.Duration) // lets the service's clock go on
}

// NewTalk returns the conversation of the person of a seed about the saw of that
// seed. slip is what goes wrong in it, "" for nothing. It is nil where the saw
// does not allow that slip.
func NewTalk(b Bench, seed uint64, slip SlipKind) *Talk {
	p := NewPerson(Draw(seed), seed)
	name := fmt.Sprintf("saw-%d", seed)
	if slip != "" {
		if p.Slip = NewSlip(slip, p); p.Slip == nil {
			return nil
		}
		name += "-" + strings.ReplaceAll(string(slip), " ", "-")
	}
	return &Talk{Client: b.Client(), Conversation: name, Sender: "kim", Person: p, Pass: b.Pass}
}

// Try goes through one saw with the service, and levels it by the rules of
// thumb where levelling is among the jobs and nothing goes wrong.
func Try(ctx context.Context, b Bench, seed uint64, jobs []string, slip SlipKind) Trial {
	out := Trial{Seed: seed}
	t := NewTalk(b, seed, slip)
	if t == nil {
		return out
	}
	p := t.Person
	start := p.twin(seed)
	for _, job := range jobs {
		if job == "references" && !p.Checks || job == "scoring" && p.Saw.Scoring == nil {
			continue
		}
		if job == "slider-level" {
			start = p.twin(seed)
		}
		c, err := t.Do(ctx, job)
		out.Courses = append(out.Courses, c)
		if err != nil {
			out.Fault = err.Error()
			break
		}
	}
	if slip == "" {
		out.race(start, seed)
	}
	out.Guessed = p.Guessed
	return out
}

// race sets the rules of thumb to the same saw, with the guard that the service
// kept.
func (t *Trial) race(start *Person, seed uint64) {
	for _, c := range t.Courses {
		if c.Job != "slider-level" || len(c.Claims) == 0 {
			continue
		}
		w := Bar{Low: c.Claims[0].Low, High: c.Claims[0].High, Guard: c.Claims[0].U, Most: 10}
		t.One, t.Own = OneAtATime(start.twin(seed), w), ByOwnReading(start.twin(seed), w)
		w.Most = 1.0 / 8
		t.OneCapped, t.OwnCapped = OneAtATime(start.twin(seed), w), ByOwnReading(start.twin(seed), w)
	}
}

// JobTally is what a study counts of one job.
type JobTally struct {
	Job string

	Ended, Stopped Share // came to an end; said that it cannot go on
	Judged         Share // came to a verdict
	Worsens        Share // of the adjustments: leads away from the window
	WorsensMore    Share // by more than noise explains
	ToeIn          Share // of the adjustments of a toe: the service reckons with toe-in
	TrueToeIn      Share // of them: it would truly lead to toe-in
	Remarked       Share // of the jobs: something was said to be amiss

	Messages, SetUp, Readings, Moves, Passes, Minutes []float64
}

// Add counts a course.
func (t *JobTally) Add(c *Course) {
	t.Ended.add(c.Ended)
	t.Judged.add(len(c.Claims) > 0)
	t.Stopped.add(c.Stopped)
	t.Remarked.add(len(c.Remarks) > 0)
	t.Messages = append(t.Messages, float64(c.Messages))
	if c.SetUp > 0 {
		t.SetUp = append(t.SetUp, float64(c.SetUp))
	}
	t.Readings = append(t.Readings, float64(c.Readings))
	t.Moves = append(t.Moves, float64(c.Moves))
	t.Passes = append(t.Passes, float64(c.Passes))
	t.Minutes = append(t.Minutes, c.Minutes)
	for _, a := range c.Advised {
		if !a.Trial {
			t.Worsens.add(a.Worsens())
			t.WorsensMore.add(a.WorsensBeyondNoise())
		}
		if a.Toe {
			t.ToeIn.add(a.Aim < -1e-9)
			t.TrueToeIn.add(a.True < 0)
		}
	}
}

// ClaimTally is what a study counts of one characteristic, measured one way.
type ClaimTally struct {
	Name, Method string

	Within     Share // of the jobs: ended as within
	True       Share // of those ended as within: it is
	Open       Share // of the jobs: ended as open
	NotToedIn  Share // of those: it is not toed in
	Undecided  Share
	CoverFirst Share // of first verdicts: the uncertainty reaches the truth
	CoverLast  Share
	Narrower   Share // of first verdicts: five sixths of the uncertainty would have reached it

	stated, ratios []float64 // of first verdicts: U, and |error| over U
}

// aFifth is how much wider than needed an uncertainty may be.
const aFifth = 1.2

// Add counts the claims of a course that are about this characteristic.
func (t *ClaimTally) Add(c *Course) {
	if t.Name == HeightEach {
		for _, h := range c.Heights {
			t.CoverFirst.add(math.Abs(h.Error) <= h.U*(1+1e-9))
			t.stated = append(t.stated, h.U)
			t.ratios = append(t.ratios, math.Abs(h.Error)/h.U)
			t.Narrower.add(math.Abs(h.Error) <= h.U/aFifth)
		}
		return
	}
	for _, n := range c.Claims {
		if n.Name != t.Name {
			continue
		}
		if n.First {
			t.CoverFirst.add(n.Covers())
			t.stated = append(t.stated, n.U)
			t.ratios = append(t.ratios, math.Abs(n.Value-n.Truth)/n.U)
			t.Narrower.add(math.Abs(n.Value-n.Truth) <= n.U/aFifth)
		}
		if !n.Last {
			continue
		}
		t.CoverLast.add(n.Covers())
		t.Within.add(n.Decision == "within")
		t.Open.add(n.Decision == "open")
		t.Undecided.add(n.Decision == "undecided")
		switch n.Decision {
		case "within":
			t.True.add(n.Holds())
		case "open":
			t.NotToedIn.add(n.TruthAtEnd >= n.Low)
		}
	}
}

// HeightEach names every single height of levelling; "slider.height" is the one
// that stands for a round, the farthest out.
const HeightEach = "slider.height, each"

// Width returns the median of the stated uncertainties, and how wide they are
// against what would have been needed: one over the part of them that 95 of 100
// errors keep within.
func (t *ClaimTally) Width() (stated, width float64) {
	return Quantile(t.stated, 0.5), 1 / Quantile(t.ratios, 0.95)
}

// Study is everything that was counted over many saws.
type Study struct {
	Saws    int
	Faults  []string       // conversations that broke off
	Endless []string       // jobs that came to no end
	Guessed map[string]int // questions that the person did not know, by name
	Jobs    map[string]*JobTally
	Claims  map[string]*ClaimTally
	Race    map[string]*Race // by the kind of saw
	Slips   map[SlipKind]*SlipTally
}

// Race sets levelling with the service beside the rules of thumb, on saws of
// one kind.
type Race struct {
	Service, One, Own, OneCapped, OwnCapped Runner
}

// Runner is how one of them did.
type Runner struct {
	Minutes, Bare, Moves, Rounds []float64
	Ended, True                  Share // came to an end; of those: truly within
}

func (r *Runner) add(minutes, bare float64, moves, rounds int, ended, within bool) {
	r.Minutes = append(r.Minutes, minutes)
	r.Bare = append(r.Bare, bare)
	r.Moves = append(r.Moves, float64(moves))
	r.Rounds = append(r.Rounds, float64(rounds))
	r.Ended.add(ended)
	if ended {
		r.True.add(within)
	}
}

// SlipTally is what came of one slip.
type SlipTally struct {
	Kind           SlipKind
	Saws           int // conversations
	Happened       Share
	Noticed, Named Share // of those that happened
	EndedTrue      Share // ended as within, and it is
	EndedWrongly   Share // ended as within, and it is not
	NeverEnded     Share
}

// NewStudy returns an empty study.
func NewStudy() *Study {
	return &Study{Guessed: map[string]int{}, Jobs: map[string]*JobTally{}, Claims: map[string]*ClaimTally{}, Race: map[string]*Race{}, Slips: map[SlipKind]*SlipTally{}}
}

// Add counts a trial, with the slip that was prepared for it or "".
func (s *Study) Add(slip SlipKind, t Trial) {
	if slip != "" {
		s.addSlip(slip, t)
		return
	}
	s.Saws++
	if t.Fault != "" {
		s.Faults = append(s.Faults, fmt.Sprintf("saw %d: %s", t.Seed, t.Fault))
	}
	for name, n := range t.Guessed {
		s.Guessed[name] += n
	}
	for _, c := range t.Courses {
		j := s.Jobs[c.Job]
		if j == nil {
			j = &JobTally{Job: c.Job}
			s.Jobs[c.Job] = j
		}
		j.Add(c)
		if !c.Ended && t.Fault == "" {
			s.Endless = append(s.Endless, fmt.Sprintf("saw %d, %s", t.Seed, c.Job))
		}
		names := map[string]bool{}
		for _, n := range c.Claims {
			names[n.Name] = !math.IsNaN(n.Truth) // of some tools there is no one true value
		}
		names[HeightEach] = len(c.Heights) > 0
		for name, ok := range names {
			if ok {
				s.claim(name, c).Add(c)
			}
		}
		if c.Job == "slider-level" && t.One.Minutes > 0 {
			s.race(t, c)
		}
	}
}

func (s *Study) claim(name string, c *Course) *ClaimTally {
	method := ""
	if name != "riving-knife" {
		method = c.Method
	}
	key := name + " " + method
	if s.Claims[key] == nil {
		s.Claims[key] = &ClaimTally{Name: name, Method: method}
	}
	return s.Claims[key]
}

func (s *Study) race(t Trial, c *Course) {
	for _, kind := range []string{c.Kind, "all"} {
		r := s.Race[kind]
		if r == nil {
			r = &Race{}
			s.Race[kind] = r
		}
		within, holds := false, false
		for _, n := range c.Claims {
			if n.Last && n.Name == "slider.height" {
				within, holds = n.Decision != "outside", n.Holds()
			}
		}
		r.Service.add(c.Minutes, c.Bare, c.Moves, c.Passes, c.Ended && within, holds)
		for _, x := range []struct {
			r *Runner
			t Thumb
		}{{&r.One, t.One}, {&r.Own, t.Own}, {&r.OneCapped, t.OneCapped}, {&r.OwnCapped, t.OwnCapped}} {
			x.r.add(x.t.Minutes, x.t.Minutes, x.t.Moves, x.t.Rounds, x.t.Ended, x.t.Within)
		}
	}
}

// addSlip counts a trial with a slip.
func (s *Study) addSlip(kind SlipKind, t Trial) {
	if len(t.Courses) == 0 {
		return // the saw did not allow it
	}
	st := s.Slips[kind]
	if st == nil {
		st = &SlipTally{Kind: kind}
		s.Slips[kind] = st
	}
	if t.Fault != "" {
		s.Faults = append(s.Faults, fmt.Sprintf("saw %d, %s: %s", t.Seed, kind, t.Fault))
	}
	c := t.Courses[0]
	st.Saws++
	st.Happened.add(c.Slip.Happened)
	if !c.Slip.Happened {
		return
	}
	st.Noticed.add(c.Slip.Noticed())
	st.Named.add(c.Slip.Named || c.Slip.Questioned)
	within, holds := false, false
	for _, n := range c.Claims {
		if n.Last && n.Name == "slider.height" {
			within, holds = n.Decision == "within", n.Holds()
		}
	}
	st.EndedTrue.add(within && holds)
	st.EndedWrongly.add(within && !holds)
	st.NeverEnded.add(!c.Ended)
	if !c.Ended && t.Fault == "" {
		s.Endless = append(s.Endless, fmt.Sprintf("saw %d, %s", t.Seed, kind))
	}
}
