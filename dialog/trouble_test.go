package dialog_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"shimwright/dialog"
)

// TestTrouble goes down every path from a symptom, on a saw with a scoring
// blade, on one without, and on one without a slider. Each path ends after at most three
// questions, with its reason in one sentence, at a job that this saw has; and the
// job that a woodworker would look at is the one that is named (common practice,
// no source).
func TestTrouble(t *testing.T) {
	want := map[string]map[string]string{ // of each path, by saw: the job
		"Alder": {
			"burning, fence side": "rip-fence", "burning, far side, slider": "slider-parallel", "burning, far side, rip fence": "riving-knife",
			"burning, both sides": "runout", "pinching, slider": "slider-parallel", "pinching, rip fence, in line": "rip-fence",
			"pinching, rip fence, not sure": "riving-knife", "a ridge, at regular steps": "runout", "a ridge, at the end of the cut, slider": "slider-parallel",
			"a ridge, at the end of the cut, rip fence": "rip-fence", "not straight, curved": "slider-level", "not straight, out of square": "crosscut-fence",
			"not straight, slanted through the thickness": "tilt-stops", "changes after locking, rip fence": "rip-fence",
			"changes after locking, crosscut fence": "crosscut-fence", "changes after locking, tilt": "tilt-stops", "changes after locking, nuts": "slider-level",
			"does not repeat, readings of one spot": "references", "does not repeat, cuts": "slider-level",
		},
	}
	want["Birch"] = clone(want["Alder"], map[string]string{"a ridge, along the bottom edge": "scoring"})
	want["Fir"] = clone(want["Alder"], map[string]string{"not straight, curved": "", "changes after locking, nuts": "", "burning, far side, slider": "",
		"pinching, slider": "", "a ridge, at the end of the cut, slider": "", "burning, far side, mitre gauge": "slider-parallel",
		"pinching, mitre gauge": "slider-parallel", "a ridge, at the end of the cut, mitre gauge": "slider-parallel",
		"not straight, curved, mitre gauge": "slider-parallel", "not straight, curved, rip fence": "rip-fence",
		"changes after locking, table or trunnion bolts": "slider-parallel", "changes after locking, crosscut fence": "", "changes after locking, mitre gauge": "crosscut-fence", "does not repeat, cuts": "slider-parallel"})
	for _, s := range []saw{saws[0], saws[1], saws[5]} {
		r := newRig(newMachine(s.complete()))
		r.setUp(t)
		r.run(t, "riving-knife") // a cut for the scoring line comes after it
		r.tell("trouble")
		got := map[string]string{}
		r.follow(t, nil, got)
		for path, job := range want[s.name] {
			if got[path] != job {
				t.Errorf("%s: %s leads to %q, want %q", s.name, path, got[path], job)
			}
		}
		for path, job := range got {
			if want[s.name][path] == "" {
				t.Errorf("%s: %s leads to %q, and nobody expects that path", s.name, path, job)
			}
		}
		t.Logf("%s: %d paths", s.name, len(got))
	}
}

func clone(m, with map[string]string) map[string]string {
	out := map[string]string{}
	for k, v := range m {
		out[k] = v
	}
	for k, v := range with {
		if v == "" {
			delete(out, k)
			continue
		}
		out[k] = v
	}
	return out
}

// follow goes down every path from here on, each on a shop of its own.
func (r *rig) follow(t *testing.T, path []string, got map[string]string) {
	t.Helper()
	p := r.prompt()
	if p.Job != "trouble" {
		name := strings.Join(path, ", ")
		got[name] = p.Job
		if len(path) > 3 {
			t.Errorf("%s: %s takes %d questions", r.m.saw.name, name, len(path))
		}
		reason := r.result.Turn.Replies[0].Text
		if n := strings.Count(reason, "."); n != 1 || strings.Contains(reason, "\n") {
			t.Errorf("%s: %s: the reason is not one sentence: %q", r.m.saw.name, name, reason)
		}
		low := strings.ToLower(reason)
		if i := slices.IndexFunc(r.m.saw.never(), func(w string) bool { return strings.Contains(low, w) }); i >= 0 {
			t.Errorf("%s: %s: %q speaks of what it has not", r.m.saw.name, name, reason)
		}
		return
	}
	if p.Kind != dialog.KindChoice {
		t.Fatalf("%s: %v: %+v", r.m.saw.name, path, p)
	}
	for i, c := range p.Choices {
		here := *r
		shop := *r.shop
		here.shop = &shop
		here.states = map[string]dialog.State{}
		for k, v := range r.states {
			here.states[k] = v
		}
		here.told, here.heard = strings.Builder{}, strings.Builder{}
		if i%2 == 0 {
			here.tell(c)
		} else {
			here.tell(fmt.Sprint(i + 1))
		}
		here.follow(t, append(slices.Clone(path), c), got)
	}
}

// TestTroubleInOwnWords says what is seen as people do at the saw.
func TestTroubleInOwnWords(t *testing.T) {
	for said, ask := range map[string]string{
		"it burns": "On which side", "burn marks": "On which side", "Scorched.": "On which side", "kickback": "carried by the slider", "it binds": "carried by the slider",
		"saw marks": "Where is the ridge", "the cut is crooked": "not straight?", "bowed": "not straight?", "after locking": "Locking what",
		"different every time": "What does not repeat", "something else": "What do you see", "it does not burn": "What do you see",
	} {
		sh := begin("trouble")
		if sh.say(said); !strings.Contains(sh.text(), ask) {
			t.Errorf("%q: want %q:\n%s", said, ask, sh.text())
		}
	}
}
