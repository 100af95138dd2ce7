package dialog

import (
	"shimwright/dialog/guard"
	"shimwright/dialog/wording"
)

// trouble starts from what a person sees and leads, by at most three
// questions, to the procedure that is to blame.
type trouble struct{}

func (trouble) Name() string        { return "trouble" }
func (trouble) Gives() []string     { return nil }
func (trouble) Needs() []string     { return nil }
func (trouble) Minimum(Profile) int { return 0 }

func (trouble) Run(t *Script) {
	a := question(Key{Name: "symptom"}, "trouble")
	a.Choices = seen("burn", "pinch", "ridge", "notstraight", "afterlock", "norepeat")
	diagnose(t, t.Pick(a, wording.Text{}), nil)
}

// seen offers symptoms, which people also name in words of their own.
func seen(values ...string) []guard.Choice {
	out := choices(values...)
	for i, v := range values {
		out[i].Also = "words.seen." + v
	}
	return out
}

// blame is where a symptom leads: the reason is said as trouble.<reason>.
type blame struct{ reason, procedure string }

// fork is a question on the way, and where each answer leads.
type fork struct {
	ask string
	to  []branch
}

// branch is one answer and where it leads: a blame or a *fork.
type branch struct {
	answer string
	next   any
}

// symptoms states every path from a symptom to a cause on a saw, in one place.
// The causes are common practice of the trade, with no published source.
func symptoms(p Profile) map[string]*fork {
	fence := blame{"fencetoein", "rip-fence"}
	knife := blame{"knifeoff", knifeJob}
	wobble := blame{"wobble", "runout"}
	travel := blame{"slidertoein", "slider-parallel"}
	curved := any(blame{"notlevel", "slider-level"})
	loose := branch{"nuts", blame{"nutsmove", "slider-level"}}
	samecut := blame{"carriageplay", "slider-level"}
	crosscut := branch{"crosslock", blame{"crossplay", "crosscut-fence"}}
	how := func(carried, along any) *fork {
		return &fork{"how", []branch{{"onslider", carried}, {"onfence", along}}}
	}
	if p.Kind == Cabinet {
		travel = blame{"slottoein", "slider-parallel"}
		samecut = blame{"gaugeplay", "slider-parallel"}
		crosscut = branch{"ongauge", blame{"gaugeshift", "crosscut-fence"}}
		loose = branch{"tablebolts", blame{"boltsmove", "slider-parallel"}}
		how = func(carried, along any) *fork {
			return &fork{"howgauge", []branch{{"ongauge", carried}, {"onfence", along}}}
		}
		curved = how(samecut, blame{"fencecurved", "rip-fence"})
	}
	ridge := []branch{{"regular", wobble}, {"atend", how(travel, fence)}}
	if p.Scoring {
		ridge = append([]branch{{"bottom", blame{"scoringoff", "scoring"}}}, ridge...)
	}
	return map[string]*fork{
		"burn":  {"side", []branch{{"fenceside", fence}, {"farside", how(travel, knife)}, {"both", wobble}}},
		"pinch": how(travel, &fork{"knife", []branch{{"fits", fence}, {"notsure", knife}}}),
		"ridge": {"ridge", ridge},
		"notstraight": {"shape", []branch{{"curved", curved}, {"angled", blame{"notsquare", "crosscut-fence"}},
			{"slanted", blame{"tiltoff", "tilt-stops"}}}},
		"afterlock": {"locked", []branch{{"fencelock", blame{"fenceplay", "rip-fence"}}, crosscut,
			{"tiltlock", blame{"tiltplay", "tilt-stops"}}, loose}},
		"norepeat": {"which", []branch{{"samespot", blame{"toolplay", "references"}}, {"samecut", samecut}}},
	}
}

// diagnose asks on from a symptom, says the reason in one sentence and leads to
// the procedure. What is known already, by the question's name, is not asked.
func diagnose(t *Script, symptom string, known map[string]string) {
	at := any(symptoms(t.profile)[symptom])
	for n := 0; ; n++ {
		f, ok := at.(*fork)
		if !ok {
			break
		}
		answer, ok := known[f.ask]
		if !ok {
			a := guard.Ask{Key: Key{Name: "trouble", Index: n}, Text: wording.T("trouble.ask." + f.ask), Why: wording.T("trouble.why")}
			for _, b := range f.to {
				a.Choices = append(a.Choices, choices(b.answer)...)
			}
			answer = t.Pick(a, wording.Text{})
		}
		at = nil
		for _, b := range f.to {
			if b.answer == answer {
				at = b.next
			}
		}
	}
	b, ok := at.(blame)
	if !ok {
		return // an answer of an earlier version, or of a saw that was another then
	}
	t.Say("trouble."+b.reason, "Job", titleOf(b.procedure, t.profile))
	t.Lead(b.procedure)
}
