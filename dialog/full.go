package dialog

import (
	"slices"

	"shimwright/calc"
	"shimwright/dialog/wording"
)

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
		if ran[p.Name()] >= fullTwice || p.Name() == "references" && ran[p.Name()] > 0 {
			continue
		}
		if t.wanting(p) {
			t.before(p.Name())
		}
	}
	var remains, outside wording.List
	for _, p := range procedures {
		if !applies(p, t.profile) {
			continue
		}
		for _, c := range gives(p, t.profile) {
			switch s := standingOf(t.view, t.saw, c, t.now); {
			case s.State != Fresh:
				remains = append(remains, whatOf(c))
			case s.Last.Decision == calc.Outside.String():
				outside = append(outside, whatOf(c))
			}
		}
	}
	if len(remains)+len(outside) == 0 {
		t.Say("full.true", "Saw", wording.Raw(t.profile.Name))
		return
	}
	t.Say("full.done", "Saw", wording.Raw(t.profile.Name))
	if len(outside) > 0 {
		t.Say("full.outside", "List", outside)
	}
	if len(remains) > 0 {
		t.Say("full.remains", "List", remains)
	}
}

// wanting reports whether a characteristic of a procedure is not fresh.
func (t *Script) wanting(p Procedure) bool {
	return applies(p, t.profile) && slices.ContainsFunc(gives(p, t.profile), func(c string) bool { return t.fresh(c) != Fresh })
}
