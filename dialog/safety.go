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
		Text:    wording.T("held.ask", "Person", t.view.People.called(h), "Saw", wording.Raw(t.profile.Name)),
		Why:     wording.T("held.why"),
		Choices: []guard.Choice{{Value: "leave", Text: wording.T("choice.leave")}, {Value: "takeover", Text: wording.T("choice.takeover")}}}))
}

// unasked handles a safety word at a moment that does not ask for it. It is no
// acknowledgement, but the one that stands on a saw is void where it says otherwise:
// who holds the plug takes the saw for closed up, the check that they answer having
// been overtaken perhaps by a new blade that somebody else reported, and may plug in
// at any moment; or somebody has a hand, it may be, in a saw that another has made
// ready for a cut. It reports whether the person's own was.
func (st *step) unasked(text string) (void bool) {
	guarded := reading.Exact(text, st.voice.Say(wording.T("word.guarded")))
	if !guarded && !reading.Exact(text, st.voice.Say(wording.T("word.unplugged"))) || guarded && st.checked() {
		return false
	}
	for i := range st.v.Saws {
		saw := &st.v.Saws[i]
		switch ready := saw.Power.Readier(st.now); {
		case guarded && saw.Power.Holder(st.now) == st.person.ID:
			void = true
		case guarded || saw != st.focus() || ready == "" || ready == st.person.ID:
			continue
		}
		st.event(saw, guard.Lapsed, st.now)
	}
	if void {
		st.say("safety.again")
		st.show()
	}
	return void
}

// checked reports whether the open question of this conversation is still the one
// that was put last: whether a saw is ready or put right.
func (st *step) checked() bool {
	saw := st.saw(st.s.Saw)
	if st.s.Pending == "putright" {
		return saw != nil && st.s.Asked == askedName(saw, st.putRight(saw))
	}
	o := st.open()
	return st.s.Pending == "" && o != nil && o.prompt.Class() == guard.MakeSafe && st.s.Asked == askedName(st.active(), o.prompt)
}

// putRight returns the question that is asked at the end of a job, or when it
// is left, while the saw may be open: nothing loose, guard and knife back. Where
// there are several saws it says which.
func (st *step) putRight(saw *Saw) guard.Prompt {
	which := wording.Text{}
	if len(st.usable()) > 1 {
		which = nameOf(saw)
	}
	return guard.AskPutRight(wording.T("safety.putright.ask", "Saw", which), wording.T("safety.putright.why"))
}

// sayOpen says which saws this person has opened up and left so. The question to put
// one right is never passed by on that saw itself: whatever is said of it ends in the
// question again. Another saw may be worked at meanwhile, since the one may have to
// wait for a part; but that it must not be run is said when it is left, and again
// whenever nothing is asked, until somebody has put it right.
func (st *step) sayOpen(asked string) {
	for i := range st.v.Saws {
		saw := &st.v.Saws[i]
		if saw.ID != asked && saw.Running == nil && !saw.Retired && st.v.People.Self(saw.Power.Opened()) == st.person.ID {
			st.lead = append([]wording.Text{wording.T("safety.leftopen", "Saw", nameOf(saw))}, st.lead...)
		}
	}
}

// called is what one person is called to another: the marks of somebody who has not
// said a name yet mean nothing to anybody.
func (p *People) called(id string) wording.Text {
	if q := p.find(p.Self(id)); q != nil && q.Name != "" {
		return wording.Raw(q.Name)
	}
	return wording.T("people.somebody")
}

// name returns what a person is called, for somebody without a name their id: by that
// an owner can take them out.
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
