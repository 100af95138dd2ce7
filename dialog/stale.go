package dialog

import (
	"slices"
	"strings"
	"time"

	"shimwright/calc"
)

// Freshness is how far a characteristic's last record can be relied on.
type Freshness int

// The kinds of freshness.
const (
	NeverMeasured Freshness = iota // never measured
	StaleNow                       // something that it depends on was changed since
	DueNow                         // its date has come
	Fresh
)

// String returns the word that the catalogue's ids use.
func (f Freshness) String() string { return [...]string{"never", "stale", "due", "fresh"}[f] }

// spoils says what an adjustment makes stale, and what an event does. It is
// the one place where dependencies are stated. A key ending in ":" stands for
// all characteristics that begin with it.
//
// Level → parallel, crosscut, tilt. Parallel → level, crosscut, rip fence.
// Blade change → runout, riving knife, scoring. Trunnion or arbor → tilt, rip
// fence, riving knife, scoring. A tool's correction → whatever was read with
// that tool: see spoiled. "*" is all that belongs to the saw.
var spoils = map[string][]string{
	"slider.level": {"slider.toe", bevelToe, "crosscut:", "tilt:"},
	"slider.toe":   {"slider.level", bevelToe, "crosscut:", "ripfence.toe"},
	"slot.toe":     {bevelToe, "crosscut:", "ripfence.toe"},
	"tool.caliper": {"riving-knife"}, // its thickness, beside the feelers
	"event.blade":  {"runout.blade", "runout.flange", "riving-knife", "score.shift"},
	"event.moved":  {"*"},
	"event.bumped": {"*"},
	"event.arbor":  {"tilt:", "ripfence.toe", "riving-knife", "score.shift"},
}

// toolPrefix begins the characteristics of the measuring tools: "tool.square".
const toolPrefix = "tool."

// reread is the cause of a record that rests on a reading which was taken back.
const reread = "event.reread"

// spoils reports whether what happened makes the last record of a characteristic
// stale.
func (e *Event) spoils(last *Record) bool {
	if !e.At.After(last.At) {
		return false
	}
	cause := "event." + e.Kind
	return cause == reread && e.What == last.Characteristic || spoiled(cause, last)
}

// spoiled reports whether cause makes the last record of a characteristic
// stale.
func spoiled(cause string, last *Record) bool {
	characteristic := last.Characteristic
	if tool, ok := strings.CutPrefix(cause, toolPrefix); ok && tool == last.Tool {
		return true
	}
	for _, s := range spoils[cause] {
		if s == "*" && !strings.HasPrefix(characteristic, toolPrefix) || s == characteristic || strings.HasSuffix(s, ":") && strings.HasPrefix(characteristic, s) {
			return true
		}
	}
	return false
}

// standing is a characteristic's last record and how far it can be relied on.
type standing struct {
	Characteristic string
	Last           *Record
	State          Freshness
	Cause          string // what made it stale
	Since          time.Time
}

// standingOf derives the standing of one characteristic of a saw from its
// records, its events and the time.
func standingOf(v *View, saw *Saw, characteristic string, now time.Time) standing {
	s := standing{Characteristic: characteristic}
	for i := range v.Last {
		if v.Last[i].Saw == saw.ID && v.Last[i].Characteristic == characteristic {
			s.Last = &v.Last[i]
		}
	}
	if s.Last == nil {
		return s
	}
	s.State = Fresh
	for _, e := range saw.Events {
		if e.spoils(s.Last) {
			s.State, s.Cause, s.Since = StaleNow, "event."+e.Kind, e.At
		}
	}
	for i := range v.Last {
		r := &v.Last[i]
		if r.Saw == saw.ID && r.Adjusted && r.At.After(s.Last.At) && spoiled(r.Characteristic, s.Last) {
			s.State, s.Cause, s.Since = StaleNow, r.Characteristic, r.At
		}
	}
	if s.State == Fresh && s.Last.Decision == "stale" {
		s.State = StaleNow
	}
	return s
}

// upset lists what a finished job made stale, in the order of a full run.
func upset(v *View, saw *Saw, job *Job, now time.Time) []string {
	var out []string
	for _, p := range procedures {
		if !applies(p, saw.Profile) {
			continue
		}
		for _, c := range gives(p, saw.Profile) {
			if s := standingOf(v, saw, c, now); s.State == StaleNow && s.Since.After(job.Started) && !s.Last.At.After(job.Started) && !fromOutside(s.Cause) {
				out = append(out, c)
			}
		}
	}
	return out
}

// fromOutside reports whether a cause lies outside of any job: the person said it,
// and knows.
func fromOutside(cause string) bool {
	return cause == "event.moved" || cause == "event.bumped" || cause == "event.blade"
}

// knifeFits reports whether the riving knife was found to fit the blade that is
// mounted, and nothing has changed since.
func knifeFits(v *View, saw *Saw, now time.Time) bool {
	s := standingOf(v, saw, knifeJob, now)
	if s.State == NeverMeasured || s.State == StaleNow {
		return false
	}
	return s.Last.Decision != calc.Outside.String() && s.Last.Blade == saw.Profile.BladeName
}

// overtaken names the answer that notes that a reading was corrected on which something
// had been moved, so that the moves are no longer part of the replay.
const overtaken = "overtaken"

// anewRounds parts the rounds that are read before and after an upset.
const anewRounds = 1000

// firstRound is the number before that of a job's first round. It is another one
// after the saw was upset: what was read before does not count.
func (t *Script) firstRound() int { return t.upsets() * anewRounds }

// upsets counts how often, since this job began, the blade was changed, the saw
// moved or hit, its profile corrected in what readings are counted by, or a reading
// corrected on which something was moved: what was read before that is to be read
// again.
func (t *Script) upsets() int {
	n := 0
	for _, e := range t.saw.Events {
		if e.At.After(t.job.Started) && (e.Kind == "blade" || e.Kind == "moved" || e.Kind == "bumped") {
			n++
		}
	}
	var before *Profile
	for i := range t.job.Answers {
		p := t.job.Answers[i].Profile
		if t.job.Answers[i].Key.Name == overtaken {
			n++
		}
		if p == nil {
			continue
		}
		if before != nil && !before.countsAs(p) {
			n++
		}
		before = p
	}
	return n
}

// countsAs reports whether what was read on one profile means the same on another:
// the same parts in the same places, and the same sides.
func (p *Profile) countsAs(q *Profile) bool {
	return p.Kind == q.Kind && p.Hand == q.Hand && p.TiltLeft == q.TiltLeft &&
		slices.Equal(p.Stops, q.Stops) && slices.Equal(p.Mitres, q.Mitres) &&
		slices.EqualFunc(p.Stations, q.Stations, func(a, b Station) bool { return a.X == b.X && slices.Equal(a.Ys, b.Ys) })
}

// lastOf returns a reading of the last record of a characteristic, where it was
// taken on the blade that is still mounted.
func (t *Script) lastOf(characteristic, name string) (float64, bool) {
	s := standingOf(t.view, t.saw, characteristic, t.now)
	changed := func(e Event) bool { return e.Kind == "blade" && e.At.After(s.Last.At) }
	if s.Last == nil || s.Last.Blade != t.saw.Profile.BladeName || slices.ContainsFunc(t.saw.Events, changed) {
		return 0, false
	}
	for i := len(s.Last.Readings) - 1; i >= 0; i-- {
		if r := s.Last.Readings[i]; r.Name == name {
			return r.Low + (r.High-r.Low)/2, true
		}
	}
	return 0, false
}

// fresh returns the freshness of a characteristic of this job's saw.
func (t *Script) fresh(characteristic string) Freshness {
	return standingOf(t.view, t.saw, characteristic, t.now).State
}
