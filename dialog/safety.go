package dialog

import (
	"slices"

	"shimwright/dialog/guard"
	"shimwright/dialog/reading"
	"shimwright/dialog/wording"
)

// isolated returns the proof that the person has the saw unplugged, or ends
// the replay with the question for it.
func (t *Script) isolated() guard.Isolated {
	if iso, ok := t.saw.Power.Isolated(t.person.ID, t.now); ok {
		return iso
	}
	t.refuseWhileHeld()
	t.suspend(guard.AskUnplugged(wording.T("safety.unplugged.ask"), wording.T("safety.unplugged.why")))
	return guard.Isolated{}
}

// gauged are the jobs whose cuts carry the board on a mitre gauge, where there is
// no slider.
var gauged = [...]string{"crosscut-fence", "mitre-positions"}

// ready returns the proof that the saw is ready for one cut, or ends the
// replay with what is missing for it: a riving knife that fits the mounted
// blade, for which its own procedure comes first; the plug; the checks.
func (t *Script) ready() guard.Guarded {
	if !knifeFits(t.view, t.saw, t.now) {
		t.before("riving-knife")
	}
	if g, ok := t.saw.Power.Guarded(t.person.ID, t.now); ok {
		return g
	}
	iso := t.isolated()
	sweep, bolts := wording.T("safety.guarded.slider"), wording.T("safety.bolts.slider")
	if t.profile.Kind == Cabinet {
		sweep, bolts = wording.Text{}, wording.T("safety.bolts.table")
		if t.profile.Trunnion {
			bolts = wording.T("safety.bolts.trunnion")
		}
		if slices.Contains(gauged[:], t.job.Procedure) {
			sweep = wording.T("safety.guarded.gauge")
		}
	}
	scoring := wording.Text{}
	if t.profile.Scoring {
		scoring = wording.T("safety.guarded.scoring")
	}
	t.suspend(guard.AskGuarded(iso,
		wording.T("safety.guarded.ask", "Bolts", bolts, "Sweep", sweep, "Scoring", scoring),
		wording.T("safety.guarded.why")))
	return guard.Guarded{}
}

// refuseWhileHeld ends the replay when somebody else has the saw unplugged:
// they hold the plug, and nobody else is led to a powered step meanwhile.
func (t *Script) refuseWhileHeld() {
	h := t.saw.Power.Holder(t.now)
	if h == "" || h == t.person.ID {
		return
	}
	t.suspend(guard.Plain(guard.Ask{Key: Key{Name: "held"}, Form: guard.Pick, NoSkip: true,
		Text:    wording.T("held.ask", "Person", wording.Raw(t.view.People.name(h)), "Saw", wording.Raw(t.profile.Name)),
		Why:     wording.T("held.why"),
		Choices: []guard.Choice{{Value: "leave", Text: wording.T("choice.leave")}, {Value: "takeover", Text: wording.T("choice.takeover")}}}))
}

// closing handles a person saying that the saw is ready to cut at a moment that
// does not ask for it, while they hold it unplugged: the check that they answer may
// have been overtaken, by a new blade that somebody else reported. They take the
// saw for closed up, and the plug may be in at any moment: what they acknowledged
// is void.
func (st *step) closing(text string) bool {
	if !reading.Exact(text, st.voice.Say(wording.T("word.guarded"))) {
		return false
	}
	void := false
	for i := range st.v.Saws {
		saw := &st.v.Saws[i]
		if saw.Power.Holder(st.now) == st.person.ID && st.s.Asked != st.checked(saw) {
			st.event(saw, guard.Lapsed, st.now)
			void = true
		}
	}
	if void {
		st.say("safety.again")
		st.show()
	}
	return void
}

// opened handles a person saying that a saw is unplugged at a moment that does not
// ask them, while another has it ready for a cut: they may have a hand in it. It is
// no acknowledgement, but the other one's is void until the saw is checked again.
func (st *step) opened(text string) {
	saw := st.focus()
	if saw == nil || len(saw.Power.Events) == 0 {
		return
	}
	last := saw.Power.Events[len(saw.Power.Events)-1]
	if last.Kind == guard.Ready && last.Person != st.person.ID && reading.Exact(text, st.voice.Say(wording.T("word.unplugged"))) {
		st.event(saw, guard.Lapsed, st.now)
	}
}

// checked names the open question of this conversation whether a saw is ready or
// put right, "-" when there is none.
func (st *step) checked(saw *Saw) string {
	p := putRight()
	if st.s.Pending == "" && saw.Running != nil && saw == st.active() {
		p = st.current(saw).prompt
	}
	if p.Class() != guard.MakeSafe || st.s.Pending != "" && st.s.Pending != "putright" {
		return "-"
	}
	return askedName(saw, p)
}

// putRight returns the question that is asked at the end of a job, or when it
// is left, while the saw may be open: nothing loose, guard and knife back.
func putRight() guard.Prompt {
	return guard.AskPutRight(wording.T("safety.putright.ask"), wording.T("safety.putright.why"))
}

// name returns what a person is called.
func (p *People) name(id string) string {
	if q := p.find(p.Self(id)); q != nil && q.Name != "" {
		return q.Name
	}
	return id
}

// find returns the person with an id, or nil.
func (p *People) find(id string) *Person {
	for i := range p.Persons {
		if p.Persons[i].ID == id {
			return &p.Persons[i]
		}
	}
	return nil
}
