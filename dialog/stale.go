package dialog

import (
	"strings"
	"time"
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
// fence, riving knife, scoring.
var spoils = map[string][]string{
	"slider.level": {"slider.toe", "crosscut:", "tilt:"},
	"slider.toe":   {"slider.level", "crosscut:", "ripfence.toe"},
	"tilt:90":      {"slider.toe", "ripfence.toe", "riving-knife", "score.shift"},
	"event.blade":  {"runout.blade", "runout.flange", "riving-knife", "score.shift"},
	"event.moved":  {"*"},
	"event.bumped": {"*"},
	"event.arbor":  {"tilt:", "ripfence.toe", "riving-knife", "score.shift"},
}

// spoiled reports whether cause makes the characteristic stale.
func spoiled(cause, characteristic string) bool {
	for _, s := range spoils[cause] {
		if s == "*" || s == characteristic || strings.HasSuffix(s, ":") && strings.HasPrefix(characteristic, s) {
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
		if e.At.After(s.Last.At) && spoiled("event."+e.Kind, characteristic) {
			s.State, s.Cause = StaleNow, "event."+e.Kind
		}
	}
	for i := range v.Last {
		r := &v.Last[i]
		if r.Saw == saw.ID && r.Adjusted && r.At.After(s.Last.At) && spoiled(r.Characteristic, characteristic) {
			s.State, s.Cause = StaleNow, r.Characteristic
		}
	}
	if s.State == Fresh && s.Last.Decision == "stale" {
		s.State = StaleNow
	}
	return s
}

// fresh returns the freshness of a characteristic of this job's saw.
func (t *Script) fresh(characteristic string) Freshness {
	return standingOf(t.view, t.saw, characteristic, t.now).State
}
