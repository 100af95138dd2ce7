package dialog

import (
	"slices"
	"strings"

	"shimwright/dialog/guard"
	"shimwright/dialog/reading"
)

// A shop may have several saws. A saw is spoken of by its name; a profile can
// be changed, copied and retired. A retired saw keeps its records.

// named returns the saw that a word names, or nil.
func (st *step) named(word string) *Saw {
	for _, s := range st.usable() {
		if same(word, s.Profile.Name) {
			return s
		}
	}
	return nil
}

// commandOn handles a command with a saw's name behind it, as "level Old Blue" or
// "history of Old Blue": the saw is then spoken of. o is the open question of the
// running job; while there is one, only another job leads to another saw.
func (st *step) commandOn(text string, o *outcome) bool {
	if o != nil && o.prompt.Ask().Form == guard.Words {
		return false
	}
	said := strings.Fields(bare(text))
	for i := 1; i < len(said); i++ {
		saw := st.named(strings.Join(said[i:], " "))
		if saw == nil {
			continue
		}
		head := said[:i]
		for len(head) > 1 && st.voice.Is("words.onsaw", reading.Fold(head[len(head)-1])) >= 0 {
			head = head[:len(head)-1]
		}
		command := strings.Join(head, " ")
		typed := reading.Type(command)
		word, _, ok := typed.Whole(st.voice.Lang(), st.vocabulary()...)
		if !ok || st.named(command) != nil {
			return false
		}
		if running := st.active(); running != nil && running != saw {
			if o = nil; st.procedure(word) == nil {
				return false
			}
		}
		st.s.Saw, st.typed = saw.ID, typed
		return st.command(command, o)
	}
	return false
}

// speakOf turns to a saw. A job that this person runs on another one waits
// parked, after the warning that parking gives.
func (st *step) speakOf(saw *Saw) {
	if !st.free(saw) {
		st.then("", saw)
		return
	}
	st.s.Saw = saw.ID
	st.menu()
}

// manage changes, copies or retires the saw that is spoken of.
func (st *step) manage(what string) {
	saw := st.focus()
	if now := st.active(); what == "edit" && now != nil && now.Profile.Name == "" {
		saw = now // the saw that is being set up
	}
	if saw != nil {
		st.s.Saw = saw.ID
	}
	switch {
	case saw == nil:
		st.sawList()
	case st.person.Role == Measure:
		st.say("role.setup")
		st.show()
	case what == "edit":
		st.edit(saw)
	case what == "copy":
		if !st.setUp("") {
			if st.s.Pending == "putright" {
				st.then("copy", saw)
			}
			return
		}
		copied := &st.v.Saws[len(st.v.Saws)-1]
		copied.Running = copied.Running.edit()
		profile := saw.Profile
		profile.Name = ""
		profile.Stations = slices.Clone(profile.Stations)
		copied.Profile, copied.Running.Answers[0].Profile = profile, &profile
		st.res.Turn = Turn{}
		st.say("copy.from", "Saw", nameOf(saw))
		st.show()
	case what == "retire" && saw.Running != nil && saw.Running.Person != st.person.ID:
		st.ask("takeover", map[string]string{"job": saw.Running.Procedure})
	case what == "retire" && saw.Running != nil && !st.leave(saw, "retire", saw):
	case what == "retire" && saw.Power.Open(): // left open before
		st.askPutRight(saw)
		st.then("retire", saw)
	case what == "retire":
		st.ask("retire", nil)
	}
}

// addSaw sets a new saw up, where the person may.
func (st *step) addSaw(then string) {
	if st.person.Role == Measure {
		st.say("role.setup")
		st.show()
		return
	}
	st.setUp(then)
}

// edit goes through the profile of a saw again. In the middle of a job, that
// job goes on afterwards with the profile as corrected.
func (st *step) edit(saw *Saw) {
	switch r := saw.Running; {
	case r != nil && r.Person != st.person.ID:
		st.ask("takeover", map[string]string{"job": "setup"})
	case r != nil && r.Told != nil:
		st.touch(saw).Running = r.edit()
		saw.Running.Told.Edit = true
		st.show()
	case r != nil && r.Procedure != "setup":
		st.interrupt(saw, setup{})
		saw.Running.Edits = true
	case r != nil:
		st.show()
	default:
		st.begin(saw, setup{})
	}
}

// retire takes a saw out of use. Its records stay.
func (st *step) retire(saw *Saw) {
	if saw.Running != nil || saw.Power.Open() { // since it was asked
		st.s.Saw = saw.ID
		st.manage("retire")
		return
	}
	st.touch(saw).Retired = true
	for _, d := range st.v.Due {
		if d.Saw == saw.ID {
			st.res.Forget = append(st.res.Forget, d.ID)
		}
	}
	st.s.Saw = ""
	st.say("retire.done", "Saw", nameOf(saw))
	st.idle()
}
