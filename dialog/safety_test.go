package dialog_test

import (
	"flag"
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"shimwright/dialog"
)

// -conversations 100000 is the long form of the property test.
var conversations = flag.Int("conversations", 600, "random conversations of the safety property test")

// -first goes on where another run stopped, or plays one conversation again.
var first = flag.Int("first", 0, "seed of the first of them")

// watch is a second account of who may be asked for what, kept from the
// messages alone: it shares no code with the guard.
type watch struct {
	holder  string    // who has the saw unplugged
	since   time.Time // when that was acknowledged
	heard   time.Time // the holder's last message
	ready   string    // who has acknowledged that it is ready to cut
	readyAt time.Time
	offered bool
	knife   bool
	opened  string // who opened the saw up, until somebody says that it is whole
}

// hear takes one message into account before it is answered. here says that
// the open question is about this saw.
func (w *watch) hear(person, text string, asked dialog.PromptView, here bool, sent, now time.Time) {
	if sent.After(now) || sent.IsZero() {
		sent = now
	}
	expire := func(who *string, at time.Time) {
		if *who == "" {
			return
		}
		if now.Sub(at) > 2*time.Hour {
			*who = ""
			return
		}
		if *who == person {
			if sent.Sub(w.heard) > 30*time.Minute {
				*who = ""
				return
			}
			if sent.After(w.heard) {
				w.heard = sent
			}
		}
		if now.Sub(w.heard) > 30*time.Minute {
			*who = ""
		}
	}
	expire(&w.holder, w.since)
	expire(&w.ready, w.readyAt)
	word := strings.ToLower(strings.TrimSuffix(strings.TrimSpace(text), "."))
	switch {
	case here && asked.Name == "safety.unplugged" && word == "unplugged":
		w.holder, w.since, w.heard, w.ready, w.offered, w.opened = person, sent, sent, "", false, person
		if now.Sub(sent) > 30*time.Minute {
			w.holder = ""
		}
	case here && asked.Name == "safety.guarded" && asked.Job == "" && w.opened == "":
		// Somebody else has put it right since this person was asked.
	case here && asked.Name == "safety.guarded" && word == "guarded":
		w.holder, w.offered, w.opened = "", false, ""
		// One that was sent before another person's, and arrives after it, is
		// overtaken: it takes nothing from the newer one.
		if w.ready == "" || w.ready == person || !sent.Before(w.readyAt) {
			w.ready, w.readyAt, w.heard = person, sent, sent
		}
	case word == "power is on", word == "plugged in":
		if here || w.holder == person || w.ready == person {
			w.holder, w.ready = "", ""
		}
	}
}

// handsOn reports whether a prompt of this name brings a hand near the saw, by
// the list of the contract, the supports' heights included.
func handsOn(name string) bool {
	for _, p := range []string{"slider.", "blade.", "tilt.", "ripfence.", "knife.", "score.", "fence.", "arbor.", "table.", "slot."} {
		if strings.HasPrefix(name, p) {
			return true
		}
	}
	return false
}

func powered(name string) bool {
	return strings.HasPrefix(name, "cut.") || strings.HasSuffix(name, ".cut")
}

// telling are words that only a hands-on message uses.
var telling = []string{"turn the height nut", "how high is the slider", "stop block", "rock it across", "from above (",
	"what does the indicator read", "turn the same spot", "wipe the ways", "at its adjuster:", "gauge's fence:", "ease the head's screws", "bolts but one at the front",
	"by the scoring blade's own screws", "ease the clamp of the knife", "tilt off the stop", "bar to the rear", "tooth and block"}

// check looks at one answer. It returns what is wrong, or "".
func (w *watch) check(person string, r dialog.Result, now time.Time) string {
	t := r.Turn
	hands := handsOn(t.Prompt.Name) || len(t.Advice) > 0
	for i, reply := range t.Replies {
		low := strings.ToLower(reply.Text)
		for _, s := range telling {
			if strings.Contains(low, s) {
				hands = true
				if !reply.Caution {
					return fmt.Sprintf("hands-on words without a caution: %q", reply.Text)
				}
			}
		}
		if reply.Drawing != nil && reply.Drawing.Kind != "chart" && !reply.Caution {
			return "a drawing without a caution"
		}
		if last := i == len(t.Replies)-1; last && (handsOn(t.Prompt.Name) || powered(t.Prompt.Name)) {
			if !reply.Caution || !(strings.HasPrefix(low, "unplugged") || strings.HasPrefix(low, "blade running")) {
				return fmt.Sprintf("the caution does not stand first: %q", reply.Text)
			}
			if reply.Expires.IsZero() || reply.Expires.After(w.heard.Add(30*time.Minute)) {
				return "no expiry, or one too late"
			}
		}
	}
	if hands && w.holder != person {
		return fmt.Sprintf("hands-on prompt %s for %s, but unplugged by %q", t.Prompt.Name, person, w.holder)
	}
	if powered(t.Prompt.Name) {
		if w.ready != person {
			return fmt.Sprintf("powered prompt %s for %s, but ready by %q", t.Prompt.Name, person, w.ready)
		}
		if w.holder != "" {
			return "powered prompt while somebody holds the plug"
		}
		if !w.knife {
			return "powered prompt with a stale riving knife"
		}
		w.offered = true
	}
	return ""
}

// left looks at an answer to whoever opened a saw up on which no job runs any more.
// Where nothing is asked, and where its own question whether it is put right was
// passed by, the answer says that it must not be run. It returns what is wrong, or "".
func (w *watch) left(person, saw string, was, is dialog.PromptView, r dialog.Result) string {
	passed := was.Name == "safety.guarded" && was.Saw == saw && is.Saw != saw
	if w.opened != person || is.Kind != dialog.KindIdle && !passed {
		return ""
	}
	for _, reply := range r.Turn.Replies {
		if strings.Contains(strings.ToLower(reply.Text), "do not run") {
			return ""
		}
	}
	return fmt.Sprintf("%s stands open, and %s is not told", saw, person)
}

// tamper is what people say instead of what is asked.
var tamper = []string{"ok", "yes", "done", "👍", "not unplugged", "unplugged?", "un plugged", "Unplugged!", "I unplugged it", "unpluged",
	"guarded?", "not guarded", "guard is off", "back", "back", "fix 1", "fix 3", "fix 99", "where", "why", "how far?", "skip", "park", "resume",
	"menu", "units mm", "units inch", "history", "due", "moved", "bumped", "new blade", "level", "parallel", "crosscut", "power is on",
	"plugged in", "STOP", "START", "HELP", "", "   ", "0.03", "-0.12", "3 in", "banana", "1: 0.02, 2: 0.03", "99999", "take over", "leave it",
	"Old Blue", "Birch", "Fir", "no", "3 stuck", "1 the wrong way", "unplugged", "guarded", "fits", "full", "tilt", "rip", "edit", "retire", "quick", "go on", "start afresh", "saws", "\u202e3", "yes it fits", "read again"}

// player is how one random conversation goes.
type player struct {
	*rand.Rand
	wild int // one message in so many is not what was asked
	job  string
}

// jobNames start every job there is.
var jobNames = []string{"level", "parallel", "crosscut", "mitre", "tilt", "rip", "proof", "full run", "trouble", "check", "runout",
	"references", "scoring", "riving knife"}

// reply invents an answer to a prompt: mostly a fitting one, so that a
// conversation gets to the end of its job, with readings that scatter far enough
// for something to be moved.
func (r player) reply(p dialog.PromptView) string {
	if r.IntN(r.wild) == 0 {
		return tamper[r.IntN(len(tamper))]
	}
	switch p.Kind {
	case dialog.KindConfirm:
		return p.Acknowledge
	case dialog.KindChoice:
		return p.Choices[r.IntN(len(p.Choices))]
	case dialog.KindText:
		return []string{"Old Blue", "M10", "ok", "Parker", "45", "22.5 and 45", "none"}[r.IntN(7)]
	case dialog.KindReading:
		return r.reading(p)
	}
	if r.IntN(3) > 0 {
		return r.job
	}
	return append([]string{"resume", "menu"}, jobNames...)[r.IntN(2+len(jobNames))]
}

// reading invents a reading: one in two as on a true saw.
func (r player) reading(p dialog.PromptView) string {
	off := 0.0
	if r.IntN(2) == 0 {
		off = r.Float64()*0.3 - 0.1
	}
	mm := func(v float64) string { return fmt.Sprintf("%.2f mm", v) }
	switch p.Name {
	case "strip.first", "strip.last":
		return mm(20 + 4*off)
	case "strip.length", "ripcut.length":
		return "400 mm"
	case "tilt.gap", "flip.gap":
		return mm(max(off, 0)) + " at the top"
	case "tilt.angle":
		return fmt.Sprintf("%.1f", 90*float64(r.IntN(2))+off)
	case "ripfence.distance", "ripcut.width", "flip.thickness", "tilt.height":
		return mm(60 + off)
	case "slider.travel", "slot.travel", "ripfence.travel":
		return "250 mm"
	case "knife.thickness":
		return []string{"fits", "2.8 mm", "2.8 mm", "3.4 mm"}[r.IntN(4)]
	case "knife.offset":
		return []string{"0.2 mm", "0.2 mm", "0.05 mm", "0.35 mm"}[r.IntN(4)]
	case "knife.plate", "knife.kerf", "knife.gap", "knife.top":
		return map[string]string{"knife.plate": "2.2 mm", "knife.kerf": "3.2 mm", "knife.gap": "5 mm", "knife.top": "3 mm below"}[p.Name]
	case "score.left", "score.right":
		return mm(0.08 + off)
	case "score.depth":
		return "1.5 mm"
	case "mitre.gap", "pair.gap":
		return mm(3 * max(off, 0))
	case "ripfence.reach", "ripfence.near", "ripfence.far", "arbor.plunger", "arbor.flange", "runout.steps", "square.length", "scoring.flank":
		return []string{"ok", "8"}[r.IntN(2)]
	}
	return mm(off)
}

// starts are the saws that conversations begin with: none yet, a common one, one
// with all that a saw may have, and one without a slider.
var starts = [][]string{
	nil,
	{"set up", "mm", "Old Blue", "left", "ok"},
	{"set up", "mm", "Birch", "right", "blade", "ok", "ok", "yes", "bevel stops", "22.5 and 45", "ok"},
	{"set up", "mm", "Fir", "no slider", "left", "bolts", "trunnion", "ok", "ok", "ok"},
	{"set up", "mm", "Gum", "no slider", "right", "ok"},
	{"set up", "mm", "Old Blue", "left", "ok", "set up", "Birch", "right", "ok", "Old Blue"},
}

// TestSafety holds random conversations of two people on one saw and finds no
// hands-on prompt, advice or powered step without its acknowledgement and
// caution. -conversations sets how many.
func TestSafety(t *testing.T) {
	counts := map[string]*tally{}
	count := func(job string) *tally {
		if counts[job] == nil {
			counts[job] = &tally{}
		}
		return counts[job]
	}
	messages := 0
	for seed := *first; seed < *first+*conversations; seed++ {
		r := player{Rand: rand.New(rand.NewPCG(uint64(seed), 7)), wild: []int{3, 5, 12, 30}[seed%4], job: jobNames[seed%len(jobNames)]}
		sh := newShop()
		sh.says(starts[seed/4%len(starts)]...)
		ws := map[string]*watch{}
		at := func(id string) *watch {
			if ws[id] == nil {
				ws[id] = &watch{}
			}
			return ws[id]
		}
		asked := map[string]dialog.PromptView{}
		var log []string
		for range 30 + r.IntN(70) {
			if r.IntN(12) == 0 {
				p := []string{"owner", "kim"}[r.IntN(2)]
				sh.stage(p)
			}
			switch r.IntN(25) {
			case 0:
				sh.now = sh.now.Add(time.Duration(20+r.IntN(25)) * time.Minute)
			case 1:
				sh.now = sh.now.Add(time.Duration(r.IntN(180)) * time.Minute)
			}
			who := sh.view.Person
			text := r.reply(asked[who])
			sent := time.Time{}
			if r.IntN(15) == 0 {
				sent = sh.now.Add(-time.Duration(r.IntN(60)) * time.Minute)
			}
			was := asked[who]
			before := map[string]int{}
			for _, saw := range sh.view.Saws {
				before[saw.ID] = len(saw.Power.Events)
				// The plug is asked for within a job: where that is gone or another's,
				// nobody is asked any more.
				here := was.Saw == saw.ID && (saw.Running == nil && was.Name != "safety.unplugged" || saw.Running != nil && saw.Running.Person == who)
				at(saw.ID).hear(who, text, was, here, sent, sh.now.Add(20*time.Second))
			}
			res := sh.sayAt(text, sent)
			messages++
			for _, saw := range sh.view.Saws {
				w := at(saw.ID)
				for _, e := range saw.Power.Events[before[saw.ID]:] {
					switch e.Kind {
					case "handed", "resumed":
						w.holder, w.ready = "", ""
					case "cut":
						w.ready = ""
					}
				}
				w.knife = knifeFresh(sh, saw)
			}
			asked[who] = res.Turn.Prompt
			log = append(log, fmt.Sprintf("%s %s > %q (sent %s before)\n  %s %+v", sh.now.Format("15:04:05"), who, text, sh.now.Sub(sent), res.Turn.Prompt.Name, res.Turn.Replies))
			if wrong := at(res.Turn.Prompt.Saw).check(who, res, sh.now); wrong != "" {
				t.Fatalf("seed %d: %s\n%s", seed, wrong, strings.Join(log[max(0, len(log)-12):], "\n"))
			}
			for _, saw := range sh.view.Saws {
				if wrong := at(saw.ID).left(who, saw.ID, was, res.Turn.Prompt, res); wrong != "" && saw.Running == nil && !saw.Retired {
					t.Fatalf("seed %d: %s\n%s", seed, wrong, strings.Join(log[max(0, len(log)-12):], "\n"))
				}
			}
			n := count(res.Turn.Prompt.Job)
			switch {
			case len(res.Turn.Advice) > 0:
				n.adjusted++
			case handsOn(res.Turn.Prompt.Name):
				n.hands++
			case powered(res.Turn.Prompt.Name):
				n.cuts++
			}
			for _, rec := range res.Records {
				count(rec.Procedure).records++
			}
		}
	}
	t.Logf("%d conversations, %d messages", *conversations, messages)
	for _, p := range dialog.Procedures() {
		n, want := count(p.Name()), reached[p.Name()]
		t.Logf("%-16s %6d hands-on questions, %5d adjustments, %5d powered steps, %5d records", p.Name(), n.hands, n.adjusted, n.cuts, n.records)
		if *conversations >= 600 && ((n.hands > 0) != want.hands || (n.adjusted > 0) != want.adjusted || (n.cuts > 0) != want.cuts || (n.records > 0) != want.records) {
			t.Errorf("%s: the conversations came to %+v, it has %+v", p.Name(), *n, want)
		}
	}
}

// tally counts what random conversations came to in one job.
type tally struct{ hands, adjusted, cuts, records int }

// reached is what each job has, and what the conversations have to come to.
var reached = map[string]struct{ hands, adjusted, cuts, records bool }{
	"references":      {records: true},
	"runout":          {hands: true, records: true},
	"riving-knife":    {hands: true, adjusted: true, records: true},
	"slider-level":    {hands: true, adjusted: true, records: true},
	"slider-parallel": {hands: true, adjusted: true, records: true},
	"tilt-stops":      {hands: true, adjusted: true, cuts: true, records: true},
	"crosscut-fence":  {hands: true, adjusted: true, cuts: true, records: true},
	"mitre-positions": {hands: true, adjusted: true, cuts: true, records: true},
	"rip-fence":       {hands: true, adjusted: true, records: true},
	"scoring":         {hands: true, adjusted: true, cuts: true, records: true},
	"proof":           {cuts: true, records: true},
	"quick-check":     {hands: true, records: true},
}

// knifeFresh reports whether the knife was last found to fit, later than any
// change of blade, move or bump.
func knifeFresh(sh *shop, saw dialog.Saw) bool {
	var knife, spoilt time.Time
	fits := false
	for _, r := range sh.all {
		if r.Saw == saw.ID && r.Characteristic == "riving-knife" && r.At.After(knife) {
			knife, fits = r.At, r.Decision != "outside"
		}
	}
	for _, e := range saw.Events {
		other := e.Kind == "reread" && e.What != "riving-knife" // a reading of something else was taken back
		if e.At.After(spoilt) && !other {
			spoilt = e.At
		}
	}
	return fits && !spoilt.After(knife)
}

// TestHandsOnExpiresFromWhenItWasSent: what was long under way does not lengthen the
// half hour. A message that rests on it must not be sent, nor tried again, after the
// acknowledgement itself is void.
func TestHandsOnExpiresFromWhenItWasSent(t *testing.T) {
	for _, late := range []time.Duration{0, 5 * time.Minute, 25 * time.Minute} {
		sh := begin("level")
		sent := sh.now.Add(20*time.Second - late)
		res := sh.sayAt("unplugged", sent)
		r := res.Turn.Replies[len(res.Turn.Replies)-1]
		if want := sent.Add(30 * time.Minute); !r.Caution || !r.Expires.Equal(want) {
			t.Errorf("sent %v before it came: expires %v, want %v\n%s", late, r.Expires, want, sh.text())
		}
	}
}
