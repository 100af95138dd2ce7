package dialog

import (
	"slices"
	"strconv"
	"strings"
	"time"

	"shimwright/calc"
	"shimwright/dialog/guard"
	"shimwright/dialog/wording"
)

// nameOf is what a saw is called, before it has a name too.
func nameOf(s *Saw) wording.Text {
	switch {
	case s == nil:
		return wording.Raw("")
	case s.Profile.Name == "":
		return wording.T("saw.new")
	}
	return wording.Raw(s.Profile.Name)
}

// usable returns the saws that are not retired and set up.
func (st *step) usable() []*Saw {
	var out []*Saw
	for i := range st.v.Saws {
		if s := &st.v.Saws[i]; !s.Retired && s.Profile.Name != "" {
			out = append(out, s)
		}
	}
	return out
}

// focus returns the saw that is spoken of: the last one named, or the only one.
func (st *step) focus() *Saw {
	if s := st.saw(st.s.Saw); s != nil && !s.Retired && s.Profile.Name != "" {
		return s
	}
	if u := st.usable(); len(u) == 1 {
		return u[0]
	}
	return nil
}

// idle ends a turn in which nothing is asked.
func (st *step) idle() {
	if st.asks() {
		return
	}
	switch saw := st.focus(); {
	case len(st.usable()) == 0:
		st.say("menu.first")
	case saw != nil && saw.Profile.Kind == Cabinet:
		st.say("idle.hint.cabinet")
	default:
		st.say("idle.hint")
	}
	st.turn(Reply{}, PromptView{Kind: KindIdle})
}

// asks puts a question that waits outside of any job. It reports whether there
// is one.
func (st *step) asks() bool {
	if st.s.Pending != "" && st.moot() {
		st.s.Pending, st.s.Args = "", nil
	}
	if st.s.Pending != "" && st.s.Pending != "putright" {
		saw := st.saw(st.s.Saw)
		st.renderPrompt(saw, st.s.Args["job"], guard.Plain(st.pendingAsk()))
		return true
	}
	if saw := st.focus(); saw != nil && saw.Running == nil && saw.Power.Open() {
		st.askPutRight(saw)
		return true
	}
	return false
}

// menu lists what may be done and how each characteristic stands.
func (st *step) menu() {
	if saw := st.active(); saw != nil {
		st.say("menu.running", "Job", titleOf(saw.Running.Procedure, saw.Profile), "Saw", nameOf(saw))
		st.standings(saw)
		st.show()
		return
	}
	if len(st.usable()) == 0 {
		st.say("menu.first")
		st.turn(Reply{}, PromptView{Kind: KindIdle})
		return
	}
	saw := st.focus()
	if saw == nil {
		st.sawList()
		return
	}
	st.say("menu.saw", "Saw", nameOf(saw))
	if r := saw.Running; r != nil {
		st.say("menu.theirs", "Person", st.v.People.called(r.Person), "Saw", nameOf(saw), "Job", titleOf(r.Procedure, saw.Profile))
	}
	st.standings(saw)
	for _, j := range saw.Parked {
		st.say("menu.parked", "Job", titleOf(j.Procedure, saw.Profile))
	}
	switch {
	case st.v.Limits.Segment == 0:
		st.idle()
	case !st.asks(): // the message is for what stands, without the hint
		st.turn(Reply{}, PromptView{Kind: KindIdle})
	}
}

// standings says how each characteristic stands: one a line with its last value
// and date, and those that were never measured in one line together. For a text
// message those of one day stand together.
func (st *step) standings(saw *Saw) {
	st.past(saw.ID)
	var all []standing
	var never wording.List
	for _, p := range procedures {
		if !applies(p, saw.Profile) {
			continue
		}
		for _, c := range gives(p, saw.Profile) {
			s := st.standing(saw, c)
			if s.State == NeverMeasured {
				never = append(never, whatOf(c))
				continue
			}
			all = append(all, s)
		}
	}
	if st.v.Limits.Segment > 0 {
		st.sayByDay(all)
	} else {
		for _, s := range all {
			st.sayStanding(s)
		}
	}
	if len(never) > 0 {
		st.say("standing.never", "List", never)
	}
}

// sayByDay says how characteristics stand: what is not fresh first, and those of
// one day together, the tools that were checked as one.
func (st *step) sayByDay(all []standing) {
	for _, state := range []Freshness{StaleNow, DueNow, Fresh} {
		var days []string
		tools := map[string]bool{}
		lists := map[string]wording.List{}
		for _, s := range all {
			if s.State != state {
				continue
			}
			day := st.voice.Say(st.date(s.Last.At))
			if lists[day] == nil {
				days = append(days, day)
			}
			item := wording.T("standing.item", "What", whatOf(s.Characteristic), "Value", recordValue(s.Last))
			if state == Fresh && strings.HasPrefix(s.Characteristic, toolPrefix) {
				if tools[day] {
					continue
				}
				item, tools[day] = wording.T("standing.tools"), true
			}
			lists[day] = append(lists[day], item)
		}
		for _, day := range days {
			st.say("standing.day."+state.String(), "Date", wording.Raw(day), "List", lists[day])
		}
	}
}

// sayStanding says how one characteristic stands, unless it was never measured.
func (st *step) sayStanding(s standing) {
	if s.State != NeverMeasured {
		st.say("standing."+s.State.String(), "What", whatOf(s.Characteristic), "Date", st.date(s.Last.At), "Value", recordValue(s.Last))
	}
}

// standing says how far a characteristic can be relied on, its date included.
func (st *step) standing(saw *Saw, c string) standing {
	s := standingOf(&st.v, saw, c, st.now)
	if s.State == Fresh && st.v.HasHistory {
		if h, ok := historyOf(st.records(saw.ID, c)); ok {
			if next, err := h.Next(); err == nil && !next.Due.After(st.now) {
				s.State = DueNow
			}
		}
	}
	return s
}

// recordValue words the last value of a record.
func recordValue(r *Record) wording.Text {
	m := r.AsLeft
	if strings.HasPrefix(r.Characteristic, toolPrefix) && r.AsFound != nil {
		m = r.AsFound // what is allowed for, not what that leaves
	}
	if m == nil {
		m = r.AsFound
	}
	switch {
	case m == nil:
		return wording.T("value.none")
	case r.Unit == "rad":
		return wording.T("value.angle", "Value", wording.Tilt{Value: calc.Angle(m.Value), Decimals: 3, Signed: true})
	}
	return wording.T("value.length", "Value", wording.Size{Value: calc.Length(m.Value), Signed: true})
}

// date words a day in the person's zone.
func (st *step) date(t time.Time) wording.Text {
	t = t.In(st.place(st.person))
	return wording.T("date", "Day", t.Day(), "Month", wording.T("month."+strconv.Itoa(int(t.Month()))), "Year", strconv.Itoa(t.Year()))
}

// sawList lists the saws of the shop.
func (st *step) sawList() {
	u := st.usable()
	if len(u) == 0 {
		st.say("menu.first")
		st.turn(Reply{}, PromptView{Kind: KindIdle})
		return
	}
	if len(u) == 1 {
		st.s.Saw = u[0].ID
		st.say("saws.one", "Saw", wording.Raw(u[0].Profile.Name))
		st.show()
		return
	}
	st.ask("which", map[string]string{})
}

// dueList says when each saw of the shop is to be checked: the day of the
// person's reminder, or what the records say to somebody who wants none.
func (st *step) dueList() {
	st.past("*")
	said := false
	for _, saw := range st.usable() {
		next, ok := st.nextDate(saw)
		at := next.Due
		for _, d := range st.v.Due {
			if d.Saw == saw.ID && d.Person == st.person.ID {
				at, ok = d.Due, true
			}
		}
		if ok {
			said = true
			st.say("due.line", "Saw", nameOf(saw), "Date", st.date(at))
		}
	}
	if !said {
		st.say("due.none")
	}
	st.show()
}

// happened notes that a saw was moved or bumped, or got a new blade: what
// depends on it is stale from now on.
func (st *step) happened(kind string) {
	saw := st.focus()
	if saw == nil {
		st.sawList()
		return
	}
	st.touch(saw).Events = append(slices.Clone(saw.Events), Event{Kind: kind, Person: st.person.ID, At: st.now})
	st.say("happened."+kind, "Saw", nameOf(saw), "Scoring", saw.Profile.Scoring)
	st.bringForward(saw)
	st.show()
}

// soFar is the profile of a saw that is being set up, as far as its kind shows: in
// what was answered, or in what the job that is to follow was called.
func (st *step) soFar(saw *Saw) Profile {
	slot := st.voice.Is("words.slot", st.called) >= 0
	for _, a := range saw.Running.Answers {
		if a.Key.Name == "setup.hand" {
			slot = a.Text == "none"
		}
	}
	if slot {
		return saw.Profile.asCabinet()
	}
	return saw.Profile
}

// setUp starts the set-up of a new saw, and what is to follow it. It reports
// whether it could begin.
func (st *step) setUp(then string) bool {
	for i := range st.v.Saws {
		if s := &st.v.Saws[i]; s.Profile.Name == "" && s.Running != nil && s.Running.Person == st.person.ID {
			st.s.Saw = s.ID
			if p := procedureNamed(then); p != nil {
				st.touch(s).Running = s.Running.edit()
				s.Running.Then = then
				st.say("before.ask", "First", titleOf(s.Running.Procedure, s.Profile), "Job", titleOf(then, st.soFar(s)))
			}
			st.show()
			return false
		}
		if s := &st.v.Saws[i]; s.Profile.Name == "" && !s.Retired && s.Running == nil && len(s.Parked) > 0 && st.free(nil) {
			st.unpark(s, "setup")
			if s.Running != nil {
				s.Running = s.Running.edit()
				s.Running.Then = then
			}
			st.say("resume.done", "Job", titleOf("setup", s.Profile), "Saw", nameOf(s))
			st.show()
			return false
		}
	}
	if !st.free(nil) {
		return false
	}
	n := 1
	for st.saw("saw-"+strconv.Itoa(n)) != nil {
		n++
	}
	st.v.Saws = append(st.v.Saws, Saw{ID: "saw-" + strconv.Itoa(n), Schema: 1, Profile: DefaultProfile()})
	st.begin(&st.v.Saws[len(st.v.Saws)-1], setup{})
	st.v.Saws[len(st.v.Saws)-1].Running.Then = then
	return true
}
