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
	a.Choices = choices("burn", "pinch", "ridge", "notstraight", "afterlock", "norepeat")
	diagnose(t, t.Pick(a, wording.Text{}))
}

// blame is where a symptom leads: the reason is said as trouble.<reason>.
type blame struct{ reason, procedure string }

// fork is a question on the way, and where each answer leads.
type fork struct {
	ask     string
	answers []string
	to      map[string]any // of each answer: a blame or a *fork
}

// symptoms states every path from a symptom to a cause, in one place. The
// causes are common practice of the trade, with no published source.
var symptoms = map[string]any{
	"burn": &fork{"side", []string{"fenceside", "farside", "both"}, map[string]any{
		"fenceside": blame{"fencetoein", "rip-fence"},
		"farside": &fork{"how", []string{"onslider", "onfence"}, map[string]any{
			"onslider": blame{"slidertoein", "slider-parallel"},
			"onfence":  blame{"knifeoff", "riving-knife"},
		}},
		"both": blame{"wobble", "runout"},
	}},
	"pinch": &fork{"how", []string{"onslider", "onfence"}, map[string]any{
		"onslider": blame{"slidertoein", "slider-parallel"},
		"onfence": &fork{"knife", []string{"fits", "notsure"}, map[string]any{
			"fits":    blame{"fencetoein", "rip-fence"},
			"notsure": blame{"knifeoff", "riving-knife"},
		}},
	}},
	"ridge": &fork{"ridge", []string{"bottom", "regular", "atend"}, map[string]any{
		"bottom":  blame{"scoringoff", "scoring"},
		"regular": blame{"wobble", "runout"},
		"atend":   blame{"slidertoein", "slider-parallel"},
	}},
	"notstraight": &fork{"shape", []string{"curved", "angled", "slanted"}, map[string]any{
		"curved":  blame{"notlevel", "slider-level"},
		"angled":  blame{"notsquare", "crosscut-fence"},
		"slanted": blame{"tiltoff", "tilt-stops"},
	}},
	"afterlock": &fork{"locked", []string{"fencelock", "tiltlock", "nuts"}, map[string]any{
		"fencelock": blame{"fenceplay", "rip-fence"},
		"tiltlock":  blame{"tiltplay", "tilt-stops"},
		"nuts":      blame{"nutsmove", "slider-level"},
	}},
	"norepeat": &fork{"which", []string{"samespot", "samecut"}, map[string]any{
		"samespot": blame{"toolplay", "references"},
		"samecut":  blame{"notlevel", "slider-level"},
	}},
}

// diagnose asks on from a symptom, says the reason in one sentence and leads to
// the procedure.
func diagnose(t *Script, symptom string) {
	at := symptoms[symptom]
	for n := 0; ; n++ {
		switch x := at.(type) {
		case *fork:
			a := guard.Ask{Key: Key{Name: "trouble", Index: n}, Text: wording.T("trouble.ask." + x.ask), Why: wording.T("trouble.why")}
			a.Choices = choices(x.answers...)
			at = x.to[t.Pick(a, wording.Text{})]
		case blame:
			if p := procedureNamed(x.procedure); p == nil || !applies(p, t.profile) {
				x = blame{"wobble", "runout"}
			}
			t.Say("trouble."+x.reason, "Job", titleOf(x.procedure, t.profile))
			t.Lead(x.procedure)
			return
		default:
			return
		}
	}
}
