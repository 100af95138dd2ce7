package dialog_test

import (
	"math/rand/v2"
	"slices"
	"testing"

	"shimwright/dialog"
)

// TestFullRunMessages goes through a full run on saws that are true, slightly
// off and bad, and reports how many messages that takes, readings scattering as
// hands and tools do. A true saw is asked no more readings than its jobs together
// say that they need; where the scatter of readings makes a true one look
// doubtful, the few that settle it, and no move.
func TestFullRunMessages(t *testing.T) {
	const seeds = 12
	for _, s := range []saw{saws[0], saws[5]} {
		s = s.complete()
		s.mitres = nil
		m := newMachine(s)
		if sum, least, _ := fullRun(t, m); sum > least {
			t.Errorf("%s: a true saw, read exactly, was asked %d readings, %d are the minimum", s.name, sum, least)
		}
		for _, state := range []struct {
			name string
			off  float64 // of what outOfTrue does
		}{{"true", 0}, {"slightly off", 0.25}, {"bad", 1}} {
			var messages, readings []int
			doubtful := 0
			for seed := range seeds {
				m := newMachine(s)
				if state.off > 0 {
					m.outOfTrue(state.off)
				}
				m.noise = rand.New(rand.NewPCG(uint64(seed), 3))
				sum, least, r := fullRun(t, m)
				messages, readings = append(messages, r.messages), append(readings, sum)
				if state.off > 0 {
					m.mustBeTrue(t)
					continue
				}
				if sum > least {
					doubtful++
				}
				if len(r.adjusted) > 0 {
					t.Errorf("%s, seed %d: something of a true saw was moved: %v", s.name, seed, r.adjusted)
				}
			}
			slices.Sort(messages)
			slices.Sort(readings)
			t.Logf("%s, %s: a full run takes %d to %d messages, half of them at most %d; readings %d to %d, half at most %d",
				s.name, state.name, messages[0], messages[seeds-1], messages[seeds/2], readings[0], readings[seeds-1], readings[seeds/2])
			if state.off == 0 {
				t.Logf("    %d of %d took more readings than the minimum", doubtful, seeds)
				if doubtful > seeds/3 {
					t.Errorf("%s: %d of %d true saws looked doubtful", s.name, doubtful, seeds)
				}
			}
		}
	}
}

// fullRun sets a saw up and runs everything. It returns the readings asked, and
// the sum of what the jobs that ran state as their minimum.
func fullRun(t *testing.T, m *machine) (sum, least int, r *rig) {
	t.Helper()
	r = newRig(m)
	r.setUp(t)
	r.messages = 0
	r.run(t, "full run")
	for _, p := range dialog.Procedures() {
		if n := r.readings[p.Name()]; n > 0 {
			sum, least = sum+n, least+p.Minimum(r.view.Saws[0].Profile)
		}
	}
	m.noise = nil
	return sum, least, r
}
