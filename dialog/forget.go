package dialog

// forgetSaw asks before a saw, the one named or the one spoken of, and all that
// is known of it is deleted.
func (st *step) forgetSaw(name string) {
	saw := st.focus()
	if name != "" {
		saw = st.named(name)
	}
	if saw == nil {
		st.sawList()
		return
	}
	st.s.Saw = saw.ID
	if saw.Running != nil && saw.Running.Person != st.person.ID {
		st.ask("takeover", map[string]string{"job": saw.Running.Procedure})
		return
	}
	if saw.Running != nil && !st.leave(saw, "", nil) {
		return
	}
	st.ask("forget", nil)
}

// forgotten deletes a saw: the caller erases its document and its records.
func (st *step) forgotten(saw *Saw) {
	st.res.EraseSaw = saw.ID
	if saw.Report != "" {
		st.res.ReportEnd = ReportHash(saw.Report)
	}
	st.res.Silence = true // what waits may speak of it
	for _, d := range st.v.Due {
		if d.Saw == saw.ID {
			st.res.Forget = append(st.res.Forget, d.ID)
		}
	}
	st.say("forget.done", "Saw", nameOf(saw))
	saw.Retired, saw.Running, saw.Parked = true, nil, nil
	st.s.Saw = ""
	st.idle()
}

// forgetShop asks before a whole shop and all that is known in it is deleted.
// While somebody is in the middle of something, that is put right first.
func (st *step) forgetShop() {
	for i := range st.v.Saws {
		saw := &st.v.Saws[i]
		switch r := saw.Running; {
		case r != nil && r.Person != st.person.ID:
			st.say("forgetshop.busy", "Person", st.v.People.called(r.Person), "Saw", nameOf(saw))
			st.show()
			return
		case r != nil && !st.leave(saw, "", nil):
			return
		case saw.Power.Open():
			st.askPutRight(saw)
			return
		}
	}
	st.ask("forgetshop", nil)
}

// shopForgotten deletes the shop: the caller erases all of it.
func (st *step) shopForgotten() {
	st.res.EraseShop = true
	st.say("forgetshop.done")
	st.turn(Reply{}, PromptView{Kind: KindIdle})
}
