package dialog

import (
	"slices"
	"strings"
	"time"

	"shimwright/dialog/guard"
	"shimwright/dialog/reading"
	"shimwright/dialog/wording"
)

// Step handles one input and returns all that follows from it. It never
// fails: a person's slip is answered with a sentence, a programmer's panics.
func Step(v View, s State, in Input, now time.Time) (res Result) {
	defer func() {
		switch r := recover().(type) {
		case nil:
		case needHistory:
			res = Result{State: s, NeedHistory: r.saw}
		default:
			panic(r)
		}
	}()
	v.Saws, v.Last = slices.Clone(v.Saws), slices.Clone(v.Last)
	v.People.Persons = slices.Clone(v.People.Persons)
	st := &step{v: v, s: s, now: now, sent: now}
	st.s.Schema = 1
	switch in := in.(type) {
	case Message:
		st.id = in.ID
		if !in.SentAt.IsZero() && in.SentAt.Before(now) {
			st.sent = in.SentAt
		}
		st.message(in.Text)
	case Due:
		st.id = in.ID
		st.due(in)
	}
	return st.result()
}

// step is one call of Step at work.
type step struct {
	v      View
	s      State
	id     string
	now    time.Time
	sent   time.Time // when the message was sent, or now when that is earlier
	person *Person   // in v.People
	voice  *wording.Voice
	typed  reading.Typed // the message
	called string        // the word that names the job in it

	changed map[string]bool // saws to be stored, by id
	people  bool            // the people are to be stored
	lead    []wording.Text  // said before the question
	echo    []echo          // readings to be said back, before that
	fresh   bool            // an answer was accepted: the fold's effects count
	passed  bool            // the question to put a saw right was answered with something else
	known   known
	aside   *State // the pending question that is another's, who speaks here too
	res     Result
}

func (st *step) result() Result {
	for i := range st.v.Saws {
		if st.changed[st.v.Saws[i].ID] {
			st.res.Saws = append(st.res.Saws, st.v.Saws[i])
		}
	}
	if st.people {
		p := st.v.People
		st.res.People = &p
	}
	if st.aside != nil && st.s.Pending == "" {
		st.s.Pending, st.s.Args = st.aside.Pending, st.aside.Args
	}
	st.res.State = st.s
	return st.res
}

// touch marks a saw as changed and returns it.
func (st *step) touch(saw *Saw) *Saw {
	if st.changed == nil {
		st.changed = map[string]bool{}
	}
	st.changed[saw.ID] = true
	return saw
}

// say adds a sentence before the question.
func (st *step) say(id string, args ...any) { st.lead = append(st.lead, wording.T(id, args...)) }

// unit returns the person's unit of length, the default before they chose.
func (p *Person) unit() reading.Unit {
	if p != nil && p.Unit == "in" {
		return reading.Inch
	}
	return reading.MM
}

// speak sets who is spoken with.
func (st *step) speak(id string) bool {
	st.person = st.v.People.find(id)
	lang := ""
	if st.person != nil {
		lang = st.person.Lang
	}
	st.voice = wording.NewVoice(lang, st.person.unit())
	return st.person != nil && !st.person.Removed
}

// message handles what a person said.
func (st *step) message(text string) {
	if !st.speak(st.v.Person) {
		st.say("unknown.person")
		st.turn(Reply{}, PromptView{Kind: KindIdle})
		return
	}
	st.guessLanguage()
	st.typed = reading.Type(text)
	for i := range st.v.Saws {
		st.heard(&st.v.Saws[i])
	}
	if st.v.Came != "" {
		st.came()
		return
	}
	if st.unasked(text) || st.network(text) || st.language(text) {
		return
	}
	if hash, ok := Code(text); ok && (st.v.Held || st.v.People.opens(hash, st.now)) {
		st.code(hash)
		return
	}
	if st.powerOn() {
		st.show()
		return
	}
	st.setAside()
	if st.s.Pending != "" && st.pending(text) {
		return
	}
	saw := st.active()
	if saw == nil {
		if !st.command(text, nil) && !st.commandOn(text, nil) {
			switch {
			case strings.TrimSpace(text) == "": // a picture, a recording, data
				st.say("input.empty", "Example", wording.Raw("level"))
			case len(st.usable()) > 0:
				st.say("idle.unclear")
			}
			st.idle()
		}
		return
	}
	o := st.current(saw)
	if st.acknowledge(saw, o.prompt, text) {
		return
	}
	if st.twice(saw, text) {
		st.say("input.twice")
		st.show()
		return
	}
	job := saw.Running
	if !st.command(text, &o) && !st.commandOn(text, &o) {
		st.answer(saw, o, text)
	}
	st.underWay(saw, job, text)
}

// heard brings a saw's power history up to this message.
func (st *step) heard(saw *Saw) {
	p := saw.Power.Heard(st.person.ID, st.v.Conversation, st.sent, st.now)
	if len(p.Events) != len(saw.Power.Events) || !p.Seen.Equal(saw.Power.Seen) {
		st.touch(saw).Power = p
	}
}

// event adds to a saw's power history.
func (st *step) event(saw *Saw, k guard.EventKind, at time.Time) {
	st.touch(saw).Power = saw.Power.With(guard.Event{Kind: k, Person: st.person.ID, Conversation: st.v.Conversation, At: at})
}

// acked adds an acknowledgement, as of when it was sent. One that arrives too
// late to count is void at once, and for good.
func (st *step) acked(saw *Saw, k guard.EventKind) {
	st.event(saw, k, st.sent)
	st.heard(saw)
}

// active returns the saw whose running job this person holds, or nil.
func (st *step) active() *Saw {
	if saw := st.saw(st.s.Saw); saw != nil && saw.Running != nil && saw.Running.Person == st.person.ID {
		return saw
	}
	for i := range st.v.Saws {
		if r := st.v.Saws[i].Running; r != nil && r.Person == st.person.ID && !st.v.Saws[i].Retired {
			st.s.Saw = st.v.Saws[i].ID
			return &st.v.Saws[i]
		}
	}
	return nil
}

// saw returns the saw with an id, or nil.
func (st *step) saw(id string) *Saw {
	for i := range st.v.Saws {
		if st.v.Saws[i].ID == id && id != "" {
			return &st.v.Saws[i]
		}
	}
	return nil
}

// current folds the running job of a saw to its open question. Moves that were told
// and that the job no longer comes to, since the saw was moved, hit or given another
// blade, are not forgotten: what became of them is asked before anything else. A job
// that is through still asks that everything is put right, when the saw is open.
func (st *step) current(saw *Saw) outcome {
	o := fold(procedureNamed(saw.Running.Procedure), &st.v, saw, *st.person, st.now, &st.known)
	if told := saw.Running.Told; told != nil && (told.Edit || !o.told) {
		o.done, o.first, o.prompt = false, "", st.becameOf(told)
		return o
	}
	if o.done && saw.Power.Open() && !st.goesOn(saw) {
		o.done, o.prompt = false, st.putRight(saw)
	}
	return o
}

// acknowledge handles a message at a safety question. Only the asked word as
// the whole message is an acknowledgement; anything else that is no command is
// told so.
func (st *step) acknowledge(saw *Saw, p guard.Prompt, text string) bool {
	a := p.Ask()
	word := a.Word
	if a.Instead != "" {
		word = a.Instead
	}
	if asked := askedName(saw, p); asked == "" || st.s.Asked != asked || !reading.Exact(text, st.voice.Say(wording.T(word))) {
		return false
	}
	switch {
	case a.Instead != "":
		st.accept(saw, Answer{Key: Key{Name: a.Instead}, Text: "said"})
	case p.Class() == guard.Unplug:
		st.acked(saw, guard.Unplugged)
		if _, ok := saw.Power.Isolated(st.person.ID, st.now); !ok {
			st.say("safety.late")
		}
	case p.Class() == guard.MakeSafe:
		st.acked(saw, guard.Ready)
	}
	st.show()
	return true
}

// askedName names a safety question of a saw: an acknowledgement counts only
// as the answer to it. It is "" for any other question.
func askedName(saw *Saw, p guard.Prompt) string {
	if saw == nil || !safetyWord(p) && p.Ask().Instead == "" {
		return ""
	}
	return saw.ID + "/" + p.Ask().Key.Name
}

// safetyWord reports whether a prompt asks for a safety acknowledgement.
func safetyWord(p guard.Prompt) bool {
	return p.Class() == guard.Unplug || p.Class() == guard.MakeSafe
}

// powerOn handles a person saying that power is on: whatever conversation it
// is said in, every acknowledgement on that saw is void. Where it is not plain
// which saw is meant, it is all that may be.
func (st *step) powerOn() bool {
	if _, _, ok := st.typed.Command(st.voice.Lang(), languages()[st.voice.Lang()].powerOn); !ok {
		return false
	}
	focus := st.focus()
	for i := range st.v.Saws {
		saw := &st.v.Saws[i]
		if n := len(saw.Power.Events); focus == nil || focus == saw || n > 0 && saw.Power.Events[n-1].Person == st.person.ID {
			st.event(saw, guard.PowerOn, st.now)
		}
	}
	st.say("safety.poweron")
	return true
}

// phrases returns the alternatives that a catalogue entry lists.
func (st *step) phrases(id string) []string { return st.voice.Phrases(id) }

// show folds the running job again and words where it stands. A saw that is to be put
// right first is asked for again, whatever runs on another.
func (st *step) show() {
	if open := st.saw(st.s.Saw); st.s.Pending == "putright" && open != nil && open.Power.Open() && open.Running == nil {
		then := st.s.Args
		st.askPutRight(open)
		st.s.Args = then
		return
	}
	saw := st.active()
	if saw == nil {
		st.idle()
		return
	}
	o := st.current(saw)
	st.echoes(saw, o)
	if st.fresh {
		st.effects(saw, o)
		if len(o.records) > 0 || len(o.events) > 0 || o.setUser != nil || o.setSaw != nil {
			o = st.current(saw)
		}
	}
	if o.first != "" {
		st.follow(o)
		if saw.Running.Procedure == (fullRun{}).Name() {
			st.say("full.next", "Job", titleOf(o.first, saw.Profile))
		} else {
			st.say("before.ask", "First", titleOf(o.first, saw.Profile), "Job", titleOf(saw.Running.Procedure, saw.Profile))
		}
		st.interrupt(saw, procedureNamed(o.first))
		return
	}
	if o.done {
		st.finish(saw, o)
		return
	}
	if o.prompt.Class() == guard.Adjusts && saw.Running.Told == nil {
		st.touch(saw).Running = saw.Running.edit()
		saw.Running.Told = &Told{Key: o.prompt.Ask().Key, At: st.now, Moves: st.label(o.prompt.Adjustment().Moves)}
	}
	if o.prompt.Class() == guard.Runs {
		if n := len(saw.Power.Events); n == 0 || saw.Power.Events[n-1].Kind != guard.Offered {
			st.event(saw, guard.Offered, st.now)
		}
	}
	st.render(saw, o)
}

// effects carries out what the newest answer led to.
func (st *step) effects(saw *Saw, o outcome) {
	for _, r := range o.records {
		st.record(saw, r)
	}
	for _, kind := range o.events {
		st.touch(saw).Events = append(slices.Clone(saw.Events), Event{Kind: kind, Person: st.person.ID, At: st.now})
	}
	if o.setSaw != nil {
		st.touch(saw).Profile = *o.setSaw
	}
	if o.setUser != nil {
		o.setUser(st.person)
		st.people = true
		st.speak(st.person.ID)
	}
}

// record adds a record, with an id that tells a correction from the first.
func (st *step) record(saw *Saw, r Record) {
	if !r.remark.Empty() {
		r.Remarks, r.remark = st.voice.Say(r.remark), wording.Text{}
	}
	r.ID = recordID(saw.Running, r.Characteristic, 0)
	for n := 1; slices.Contains(saw.Running.Wrote, r.ID); n++ {
		r.Corrects = r.ID
		r.ID = recordID(saw.Running, r.Characteristic, n)
	}
	st.touch(saw).Running = saw.Running.edit()
	saw.Running.Wrote = append(saw.Running.Wrote, r.ID)
	st.res.Records = append(st.res.Records, r)
	st.v.Last = slices.DeleteFunc(st.v.Last, func(o Record) bool {
		return o.Saw == r.Saw && o.Characteristic == r.Characteristic
	})
	st.v.Last = append(st.v.Last, r)
}
