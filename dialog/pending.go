package dialog

import (
	"strconv"
	"strings"

	"shimwright/dialog/guard"
	"shimwright/dialog/reading"
	"shimwright/dialog/wording"
)

// A pending question is one about a job, a saw or a person, outside of any
// procedure. Its kind and arguments are stored with the conversation.

// ask puts a pending question.
func (st *step) ask(kind string, args map[string]string) {
	if args == nil {
		args = map[string]string{}
	}
	args["saw"], args["asked"] = st.s.Saw, st.person.ID
	st.s.Pending, st.s.Args = kind, args
	st.renderPrompt(st.saw(st.s.Saw), st.s.Args["job"], guard.Plain(st.pendingAsk()))
}

// setAside lets a pending question wait that was put to somebody else: in a room of
// several, another's yes is no answer to it. It stands again after this message, unless
// something else was asked.
func (st *step) setAside() {
	asked := st.s.Args["asked"]
	if st.s.Pending == "" || asked == "" || st.v.People.Self(asked) == st.person.ID {
		return
	}
	waits := st.s
	st.aside, st.s.Pending, st.s.Args = &waits, "", nil
}

// pendingAsk words the pending question.
func (st *step) pendingAsk() guard.Ask {
	kind, args := st.s.Pending, st.s.Args
	a := guard.Ask{Key: Key{Name: "ask." + kind}, Form: guard.Pick, NoSkip: true, Choices: choices("yes", "no")}
	saw := st.saw(st.s.Saw)
	name, profile := nameOf(saw), Profile{}
	if saw != nil {
		profile = saw.Profile
	}
	switch kind {
	case "takeover":
		a.Text = wording.T("takeover.ask", "Person", st.v.People.called(saw.Running.Person),
			"Job", titleOf(saw.Running.Procedure, profile), "Saw", name)
		a.Choices = choices("leave", "takeover")
	case "resume":
		a.Text = wording.T("resume.ask", "Job", titleOf(args["job"], profile), "Saw", name)
		a.Choices = choices("resume", "afresh")
	case "which":
		a.Text = wording.T("which.ask")
		a.Choices = nil
		for _, s := range st.usable() {
			a.Choices = append(a.Choices, guard.Choice{Value: s.ID, Text: wording.Raw(s.Profile.Name)})
		}
	case "doubt":
		a.Text = wording.T("doubt." + args["slip"])
		a.Choices = st.doubtChoices()
	case "turnedback":
		a.Text = wording.T("turnedback.ask")
	case "consent":
		a.Text = wording.T("consent.ask", "Saw", name)
	case "name":
		a.Text, a.Form, a.Choices = wording.T("name.ask"), guard.Words, nil
	case "zone":
		a.Text, a.Choices = wording.T("zone.ask"), st.zoneChoices()
		if len(a.Choices) == 0 {
			a.Text, a.Form = wording.T("zone.where"), guard.Words
		}
	case "remove":
		a.Text = wording.T("people.remove", "Name", wording.Raw(st.v.People.name(args["person"])))
		a.Choices = choices("no", "yes")
	case "link":
		a.Text = wording.T("link.ask", "Name", wording.Raw(""))
		if q := st.v.People.linking(args["code"], st.now); q != nil {
			a.Text = wording.T("link.ask", "Name", wording.Raw(q.Name))
		}
		a.Choices = choices("no", "yes")
	case "forgetshop":
		a.Text = wording.T("forgetshop.ask", "Saws", len(st.usable()))
		a.Choices = choices("no", "forgetall")
	case "forget":
		a.Text = wording.T("forget.ask", "Saw", name)
		a.Choices = choices("no", "forget")
	case "retire":
		a.Text = wording.T("retire.ask", "Saw", name)
		a.Choices = choices("no", "yes")
	case "due":
		// By name where it is one: networks may bring this before what it rests on.
		which := wording.Text{}
		if saws := st.dueSaws(args); len(saws) == 1 {
			which = nameOf(saws[0])
		}
		a.Text = wording.T("due.ask", "Saw", which)
		a.Choices = choices("check", "later", "done", "notthis")
		a.Choices[1].Also, a.Choices[3].Also = "words.later", "words.notthis"
	case "drop":
		a.Text = wording.T("which.ask")
		a.Choices = nil
		for _, s := range st.dueSaws(args) {
			a.Choices = append(a.Choices, guard.Choice{Value: s.ID, Text: wording.Raw(s.Profile.Name)})
		}
	}
	return a
}

func choices(values ...string) []guard.Choice {
	out := make([]guard.Choice, len(values))
	for i, v := range values {
		out[i] = guard.Choice{Value: v, Text: wording.T("choice." + v)}
	}
	return out
}

// pending handles a message at a pending question. It returns false when the
// message is something else and the question is dropped for it.
func (st *step) pending(text string) bool {
	if st.s.Pending == "putright" {
		return st.pendingPutRight(text)
	}
	st.s.Saw = st.s.Args["saw"]
	if st.moot() {
		st.s.Pending, st.s.Args = "", nil
		return false
	}
	if st.s.Pending == "zone" && st.zoneAnswered(text) {
		return true
	}
	if st.s.Pending == "name" {
		st.s.Pending, st.s.Args = "", nil
		said := strings.Fields(text)
		folded := strings.Fields(reading.Fold(strings.Join(said, " ")))
		_, n := st.voice.Starts("words.callme", folded)
		if _, _, command := reading.Whole(text, st.voice.Lang(), st.vocabulary()...); command && n == 0 {
			return false // nobody is called menu
		}
		st.callMe(strings.Join(said[n:], " "))
		return true
	}
	a := st.pendingAsk()
	v, ok := "", false
	if st.s.Pending == "doubt" {
		var unclear bool
		if v, unclear = st.doubtAnswered(a.Choices, text); unclear {
			st.say("choice.unclear", "Choices", choiceList(a.Choices))
			st.ask(st.s.Pending, st.s.Args)
			return true
		}
		ok = v != ""
	} else if len(a.Choices) > 0 {
		v, ok = st.choose(a.Choices, text)
	}
	if v == "forgetall" && !same(strings.TrimRight(text, ".! "), st.voice.Say(wording.T("choice.forgetall"))) {
		ok = false // nothing that is half said deletes a shop
	}
	if day, named := st.when(text); !ok && named && st.s.Pending == "due" {
		saws := st.dueSaws(st.s.Args)
		st.s.Pending, st.s.Args = "", nil
		st.later(saws, day)
		return true
	}
	if !ok {
		kind, args := st.s.Pending, st.s.Args
		st.s.Pending, st.s.Args = "", nil
		if o := st.open(); st.command(text, o) || st.commandOn(text, o) {
			return true
		}
		if kind == "doubt" || kind == "due" && st.active() != nil {
			return false // a fresh reading, or the answer to the job's own question
		}
		st.s.Saw = args["saw"]
		if kind == "zone" {
			st.say("zone.unknown", "Name", wording.Raw(clean(text, 30)))
		} else {
			st.say("choice.unclear", "Choices", choiceList(a.Choices))
		}
		st.ask(kind, args)
		return true
	}
	kind, args := st.s.Pending, st.s.Args
	st.s.Pending, st.s.Args = "", nil
	st.decide(kind, args, v)
	return true
}

// moot reports whether what the pending question was about is gone.
func (st *step) moot() bool {
	saw := st.saw(st.s.Saw)
	switch st.s.Pending {
	case "takeover":
		return saw == nil || saw.Running == nil || saw.Running.Person == st.person.ID
	case "doubt", "turnedback":
		return saw == nil || saw.Running == nil || saw.Running.Person != st.person.ID
	case "due", "drop":
		return len(st.dueSaws(st.s.Args)) == 0
	case "link":
		return st.v.People.linking(st.s.Args["code"], st.now) == nil
	case "resume", "consent", "retire", "forget":
		return saw == nil || saw.Retired
	}
	return false
}

// open returns where the running job stands, or nil when none runs.
func (st *step) open() *outcome {
	saw := st.active()
	if saw == nil {
		return nil
	}
	o := st.current(saw)
	return &o
}

// decide carries out the answer to a pending question.
func (st *step) decide(kind string, args map[string]string, v string) {
	saw := st.saw(st.s.Saw)
	switch kind + "/" + v {
	case "takeover/takeover":
		st.takeOver(saw)
		return
	case "takeover/leave":
		st.say("takeover.left")
		st.idle()
		return
	case "resume/resume":
		st.unpark(saw, args["job"])
		st.say("resume.done", "Job", titleOf(args["job"], saw.Profile), "Saw", nameOf(saw))
	case "resume/afresh":
		st.drop(saw, args["job"])
		st.begin(saw, procedureNamed(args["job"]))
		return
	case "remove/yes":
		st.removed(args["person"])
		return
	case "forget/forget":
		st.forgotten(saw)
		return
	case "link/yes":
		st.linked(args["code"])
		return
	case "link/no":
		st.say("link.no")
	case "forgetshop/forgetall":
		st.shopForgotten()
		return
	case "forget/no", "remove/no", "forgetshop/no":
		st.show()
		return
	case "retire/yes":
		st.retire(saw)
		return
	case "retire/no":
		st.idle()
		return
	case "turnedback/yes":
		if i, err := strconv.Atoi(args["i"]); err == nil && saw.Running != nil && i < len(saw.Running.Answers) {
			st.take(saw, i)
			st.say("turnedback.yes")
		}
	case "turnedback/no":
		st.say("turnedback.no")
	case "consent/yes", "consent/no":
		st.person.Consent = &Consent{Given: v == "yes", At: st.now}
		st.people = true
		if v == "yes" {
			st.remind(saw)
			return
		}
		st.say("consent.no")
		st.idle()
		return
	default:
		switch kind {
		case "which":
			st.s.Saw = v
			if p := procedureNamed(args["job"]); p != nil {
				st.start(st.saw(v), p)
				return
			}
			st.say("saws.now", "Saw", nameOf(st.saw(v)))
		case "doubt":
			st.doubted(saw, args, v)
			return
		case "due":
			st.dueAnswered(args, v)
			return
		case "drop":
			st.dropped(st.saw(v))
			return
		}
	}
	st.show()
}

// pendingPutRight handles a message while a saw that was left is still open.
func (st *step) pendingPutRight(text string) bool {
	saw := st.saw(st.s.Saw)
	if saw == nil || !saw.Power.Open() || saw.Running != nil { // somebody is at it again
		st.s.Pending, st.s.Args = "", nil
		return false
	}
	if st.s.Asked == askedName(saw, st.putRight(saw)) && reading.Exact(text, st.voice.Say(wording.T("word.guarded"))) {
		then, on := st.s.Args["then"], st.saw(st.s.Args["on"])
		st.s.Pending, st.s.Args = "", nil
		st.acked(saw, guard.Ready)
		st.say("putright.done")
		switch next := procedureNamed(then); {
		case on == nil:
			st.idle()
		case then == "retire" || then == "copy":
			st.s.Saw = on.ID
			st.manage(then)
		case next != nil:
			st.start(on, next)
		default:
			st.speakOf(on)
		}
		return true
	}
	args := st.s.Args
	st.s.Pending, st.s.Args = "", nil
	st.passed = true
	if st.command(text, nil) {
		return true
	}
	st.say("safety.exact", "Word", wording.T("word.guarded"))
	st.askPutRight(saw)
	st.s.Args = args // what was to follow
	return true
}

// doubtChoices words the readings between which a doubt asks.
func (st *step) doubtChoices() []guard.Choice {
	saw := st.active()
	if saw == nil {
		return choices("no")
	}
	a := st.current(saw).prompt.Ask()
	n, _ := strconv.Atoi(st.s.Args["n"])
	out := make([]guard.Choice, 0, n+1)
	for i := range n {
		lo, _ := strconv.ParseFloat(st.s.Args["lo"+strconv.Itoa(i)], 64)
		hi, _ := strconv.ParseFloat(st.s.Args["hi"+strconv.Itoa(i)], 64)
		out = append(out, guard.Choice{Value: strconv.Itoa(i), Text: st.value(a, reading.Value{Low: lo, High: hi})})
	}
	return append(out, guard.Choice{Value: "again", Text: wording.T("choice.again")})
}

// doubted takes the reading that was confirmed, or asks again.
func (st *step) doubted(saw *Saw, args map[string]string, v string) {
	if saw == nil || saw.Running == nil || v == "again" {
		st.show()
		return
	}
	lo, _ := strconv.ParseFloat(args["lo"+v], 64)
	hi, _ := strconv.ParseFloat(args["hi"+v], 64)
	a := st.current(saw).prompt.Ask()
	if a.Form != guard.Reading {
		st.show()
		return
	}
	st.accept(saw, Answer{Key: a.Key, Low: lo, High: hi, Tool: a.Tool})
	st.echo = append(st.echo, echo{a, reading.Value{Low: lo, High: hi}})
	st.show()
}

// takeOver passes the running job of a saw to this person. Whatever the other
// acknowledged is void: a fresh acknowledgement is asked before any hand.
func (st *step) takeOver(saw *Saw) {
	if saw == nil || saw.Running == nil {
		st.idle()
		return
	}
	was := saw.Running.Person
	st.touch(saw).Running = saw.Running.edit()
	saw.Running.Person = st.person.ID
	st.event(saw, guard.Handed, st.now)
	st.s.Saw = saw.ID
	st.say("takeover.done", "Job", titleOf(saw.Running.Procedure, saw.Profile), "Saw", nameOf(saw))
	if other := st.v.People.find(was); other != nil && was != st.person.ID {
		st.tell(other, "takeover.told", "Person", st.v.People.called(st.person.ID), "Saw", nameOf(saw))
	}
	st.show()
}

// explain answers a question about the open step, and asks it again.
func (st *step) explain(saw *Saw, o outcome, w reading.Word) {
	a := o.prompt.Ask()
	if w == reading.Where || saw == nil {
		given := len(o.path)
		if given > 0 {
			st.say("where.is", "Job", titleOf(saw.Running.Procedure, saw.Profile), "Saw", nameOf(saw), "Count", given)
		} else {
			st.say("where.begun", "Job", titleOf(saw.Running.Procedure, saw.Profile), "Saw", nameOf(saw))
		}
		for _, c := range gives(procedureNamed(saw.Running.Procedure), saw.Profile) {
			st.sayStanding(st.standing(saw, c))
		}
	}
	switch {
	case w == reading.HowFar && !a.How.Empty():
		st.lead = append(st.lead, a.How)
	default:
		st.lead = append(st.lead, o.prompt.Why())
	}
	st.show()
}
