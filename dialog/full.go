package dialog

import "shimwright/dialog/wording"

// fullRun strings together what this saw needs, in the order of the trade. It
// asks nothing itself: what is fresh is passed over, and what a later step
// made stale is done again, the level and the travel at most twice.
type fullRun struct{}

// fullTwice is how often one procedure may come up in a full run.
const fullTwice = 2

func (fullRun) Name() string        { return "full-run" }
func (fullRun) Gives() []string     { return nil }
func (fullRun) Needs() []string     { return nil }
func (fullRun) Minimum(Profile) int { return 0 }

func (fullRun) Run(t *Script) {
	ran := map[string]int{}
	for _, a := range t.job.Answers {
		if a.Key.Name == "ran" {
			ran[a.Text]++
		}
	}
	for _, p := range procedures {
		if len(p.Gives()) == 0 || !applies(p, t.profile) || ran[p.Name()] >= fullTwice || p.Name() == "references" && ran[p.Name()] > 0 {
			continue
		}
		if c := t.wanting(p); c != "" {
			t.before(p.Name())
		}
	}
	t.Say("full.done", "Saw", wording.Raw(t.profile.Name))
	for _, p := range procedures {
		if c := t.wanting(p); c != "" && applies(p, t.profile) {
			t.Say("full.remains", "What", whatOf(c))
		}
	}
}

// wanting returns a characteristic of a procedure that is not fresh, or "".
func (t *Script) wanting(p Procedure) string {
	for _, c := range gives(p, t.profile) {
		if t.fresh(c) != Fresh {
			return c
		}
	}
	return ""
}
