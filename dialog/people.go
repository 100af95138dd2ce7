package dialog

import (
	"crypto/sha256"
	"encoding/hex"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"

	"shimwright/dialog/guard"
	"shimwright/dialog/reading"
	"shimwright/dialog/wording"
)

// A shop may have several people. An owner invites and removes them and says
// who may set up and who may measure.

// joinFor is how long an invitation is open.
const joinFor = 7 * 24 * time.Hour

// JoinHash is how a join code is kept, and what its address is made of: the
// code itself is only ever shown. Case, spaces and dashes do not matter.
func JoinHash(code string) string {
	plain := strings.ToUpper(strings.Map(func(r rune) rune {
		if r == ' ' || r == '-' {
			return -1
		}
		return r
	}, code))
	sum := sha256.Sum256([]byte("join:" + plain))
	return hex.EncodeToString(sum[:])
}

// peopleCommands are commands about people, saws and intervals whose words the
// catalogue lists; what follows the words is their argument.
var peopleCommands = [...]string{"invite", "people", "lostphone", "remove", "handto", "interval", "forget", "forgetshop", "duemonth",
	"link", "join", "unlink",
	"callme", "endreport", "report", "noreminders", "remindme", "zone", "rolesetter", "rolemeasure", "roleowner"}

// peopleCommand handles a message that is such a command.
func (st *step) peopleCommand(text string) bool {
	said := strings.Fields(bare(text))
	folded := strings.Fields(reading.Fold(strings.Join(said, " ")))
	edges := languages()[st.voice.Lang()].people
	if n := len(folded); n == 0 || !edges[folded[0]] && !edges[folded[n-1]] {
		return false
	}
	for _, c := range peopleCommands {
		if _, n := st.voice.Starts("words."+c, folded); n > 0 {
			st.people1(c, strings.Join(said[n:], " "))
			return true
		}
		if _, n := st.voice.Ends("words."+c, folded); n > 1 && strings.HasPrefix(c, "role") {
			st.people1(c, strings.Join(said[:len(said)-n], " ")) // "kim may measure"
			return true
		}
	}
	return false
}

// bare is a message without the marks around it.
func bare(text string) string { return strings.Trim(text, ".?!¿¡ ") }

// peoplePhrase reports whether a message is a command about people and nothing
// else, whatever other command it begins with: "qué toca este mes" asks for no why.
func (st *step) peoplePhrase(text string) bool {
	text = bare(text)
	return slices.ContainsFunc(peopleCommands[:], func(c string) bool { return st.voice.Is("words."+c, text) >= 0 })
}

// people1 carries a command about people out.
func (st *step) people1(c, rest string) {
	owner := st.person.Role == Owner
	switch {
	case c == "people":
		st.listPeople()
	case c == "duemonth":
		st.dueMonth()
	case c == "handto":
		st.handTo(rest)
	case c == "remindme":
		st.remindMe(rest)
	case c == "noreminders":
		st.noReminders()
	case c == "zone":
		st.setZone(rest)
	case c == "report" || c == "endreport":
		st.report(c == "report", rest)
	case c == "lostphone":
		st.lostPhone(rest)
	case c == "callme":
		st.callMe(rest)
	case c == "link":
		st.link(rest)
	case c == "join":
		st.join(rest)
	case c == "unlink":
		st.unlink(rest)
	case !owner:
		st.say("role.denied")
		st.show()
	case c == "invite":
		st.invite(rest)
	case c == "remove":
		st.removePerson(rest)
	case c == "interval":
		st.interval(rest)
	case c == "forget":
		st.forgetSaw(rest)
	case c == "forgetshop":
		st.forgetShop()
	default:
		st.setRole(map[string]Role{"rolesetter": Setter, "rolemeasure": Measure, "roleowner": Owner}[c], rest)
	}
}

// invite makes a join code. Whoever sends it joins this shop, to measure and
// set up, or only to measure.
func (st *step) invite(rest string) {
	if len(st.v.Token) < codePlaces {
		st.say("invite.later")
		st.show()
		return
	}
	code := codeOf(st.v.Token)
	role := Setter
	for w := range strings.FieldsSeq(rest) {
		if st.voice.Is("words.onlymeasure", w) >= 0 {
			role = Measure
		}
	}
	open := slices.DeleteFunc(slices.Clone(st.v.People.Joins), func(j Join) bool { return st.now.After(j.Expires) })
	st.v.People.Joins = append(open, Join{Hash: JoinHash(code), Role: role, Expires: st.now.Add(joinFor), By: st.person.ID})
	st.people, st.res.Join = true, JoinHash(code)
	st.say("invite.done", "Code", wording.Raw(code), "Measures", role == Measure)
	st.show()
}

// Language is that in which somebody new to a shop is spoken to: of whoever
// invites them with a code, otherwise of the first owner. It is "" where that
// person has chosen none.
func (p People) Language(code string) string {
	for _, j := range p.Joins {
		if by := p.find(p.Self(j.By)); j.Hash == code && by != nil {
			return by.Lang
		}
	}
	for _, q := range p.Persons {
		if q.Role == Owner && !q.Removed {
			return q.Lang
		}
	}
	return ""
}

// callMe gives the person who speaks a name, or asks for one.
func (st *step) callMe(rest string) {
	name := clean(titledName(rest), 30)
	switch other := st.byName(name); {
	case name == "":
		st.ask("name", nil)
		return
	case other != nil && other.ID != st.person.ID:
		st.say("name.taken", "Name", wording.Raw(name))
		st.ask("name", nil)
		return
	}
	st.person.Name, st.people = name, true
	st.say("name.set", "Name", wording.Raw(name))
	st.show()
}

// titledName gives each word of a name a capital: people type in lower case.
func titledName(s string) string {
	words := strings.Fields(s)
	for i, w := range words {
		r := []rune(w)
		r[0] = unicode.ToUpper(r[0])
		words[i] = string(r)
	}
	return strings.Join(words, " ")
}

// byName finds a person of the shop by name or id.
func (st *step) byName(name string) *Person {
	for i := range st.v.People.Persons {
		p := &st.v.People.Persons[i]
		if !p.Removed && (strings.EqualFold(p.Name, name) || strings.EqualFold(p.ID, name)) {
			return p
		}
	}
	return nil
}

// someone finds a person, or says that nobody has that name.
func (st *step) someone(name string) *Person {
	p := st.byName(name)
	if p == nil {
		st.say("people.nobody", "Name", wording.Raw(clean(name, 30)))
		st.show()
	}
	return p
}

func (st *step) listPeople() {
	for i := range st.v.People.Persons {
		if p := &st.v.People.Persons[i]; !p.Removed {
			st.say("people.line", "Name", wording.Raw(st.v.People.name(p.ID)), "Role", wording.T("role."+string(p.Role)))
		}
	}
	st.show()
}

// removePerson takes a person out of the shop: their devices and addresses no
// longer count, what they ran waits for somebody else.
func (st *step) removePerson(name string) {
	p := st.someone(name)
	if p == nil {
		return
	}
	if p.ID == st.person.ID {
		st.say("people.self")
		st.show()
		return
	}
	st.ask("remove", map[string]string{"person": p.ID})
}

func (st *step) removed(id string) {
	p := st.v.People.find(id)
	if p == nil {
		st.idle()
		return
	}
	// Their addresses stay, so that whoever writes from one is known to be out.
	p.Removed, p.Consent = true, nil
	st.revoke(p)
	for _, d := range st.v.Due {
		if d.Person == id {
			st.res.Forget = append(st.res.Forget, d.ID)
		}
	}
	st.say("people.removed", "Name", wording.Raw(st.v.People.name(id)))
	for i := range st.v.Saws {
		saw := &st.v.Saws[i]
		if saw.Running != nil && saw.Running.Person == id {
			st.event(saw, guard.Handed, st.now)
			st.park(saw)
			if saw.Power.Open() {
				st.say("people.leftopen", "Saw", nameOf(saw))
			}
		}
	}
	st.show()
}

// revoke shuts every device, address and open link of a person out, but for
// the address that they speak from themselves.
func (st *step) revoke(p *Person) {
	p.Links, p.Devices, p.Addresses = nil, slices.Clone(p.Devices), slices.Clone(p.Addresses)
	for i := range p.Devices {
		p.Devices[i].Revoked = true
	}
	for i, a := range p.Addresses {
		if p.ID == st.person.ID && a.Channel == st.v.Channel && a.Conversation == st.v.Conversation {
			continue
		}
		p.Addresses[i].Out = slices.Contains(st.v.Networks, a.Channel)
	}
	st.people = true
}

// lostPhone shuts the devices and numbers of a person out, who stays in the
// shop and pairs or links another: an owner for anybody, anybody for themselves.
func (st *step) lostPhone(name string) {
	p := st.person
	if name != "" {
		if p = st.someone(name); p == nil {
			return
		}
	}
	if p.ID != st.person.ID && st.person.Role != Owner {
		st.say("role.denied")
		st.show()
		return
	}
	st.revoke(p)
	st.say("people.revoked", "Name", wording.Raw(st.v.People.name(p.ID)))
	st.show()
}

func (st *step) setRole(role Role, name string) {
	p := st.someone(name)
	if p == nil {
		return
	}
	if p.ID == st.person.ID && role != Owner {
		st.say("people.self")
		st.show()
		return
	}
	p.Role = role
	st.people = true
	st.say("people.line", "Name", wording.Raw(st.v.People.name(p.ID)), "Role", wording.T("role."+string(role)))
	st.show()
}

// handTo gives the running job to another person, who is told. What was
// acknowledged is void.
func (st *step) handTo(name string) {
	saw := st.active()
	if saw == nil {
		st.say("park.nothing")
		st.idle()
		return
	}
	p := st.someone(name)
	if p == nil {
		return
	}
	if p.ID == st.person.ID {
		st.show()
		return
	}
	st.touch(saw).Running = saw.Running.edit()
	saw.Running.Person = p.ID
	st.event(saw, guard.Handed, st.now)
	st.tell(p, "hand.told", "Person", st.v.People.called(st.person.ID), "Job", titleOf(saw.Running.Procedure, saw.Profile), "Saw", nameOf(saw))
	id := "hand.done"
	if saw.Power.Open() {
		id = "hand.open"
	}
	st.say(id, "Person", st.v.People.called(p.ID), "Job", titleOf(saw.Running.Procedure, saw.Profile), "Saw", nameOf(saw))
	st.say("idle.hint")
	st.turn(Reply{}, PromptView{Kind: KindIdle})
}

// tell sends a person a message that they did not ask for, worded for them.
func (st *step) tell(p *Person, id string, args ...any) {
	voice := wording.NewVoice(p.Lang, p.unit())
	st.res.Send = append(st.res.Send, Send{Person: p.ID, Reply: Reply{Text: sentences(voice.Say(wording.T(id, args...)))}})
}

// interval sets a fixed interval for the saw that is spoken of, in months; 0
// leaves it to the records again.
func (st *step) interval(rest string) {
	saw := st.focus()
	if saw == nil {
		st.sawList()
		return
	}
	months, ok := st.months(rest)
	if !ok || months < 0 || months > 24 {
		st.say("interval.unclear")
		st.show()
		return
	}
	st.touch(saw).Events = append(slices.Clone(saw.Events), Event{Kind: "interval", What: strconv.Itoa(months), Person: st.person.ID, At: st.now})
	if months == 0 {
		st.say("interval.free", "Saw", nameOf(saw))
	} else {
		st.say("interval.set", "Saw", nameOf(saw), "Count", months)
	}
	if c := st.person.Consent; c != nil && c.Given {
		if next, ok := st.nextDate(saw); ok {
			st.set(saw, st.person, next.Due, false)
		}
	}
	st.show()
}

// dueMonth lists everything that is due within a month, for every saw.
func (st *step) dueMonth() {
	st.past("*")
	until := st.now.AddDate(0, 1, 0)
	none := true
	for _, saw := range st.usable() {
		next, ok := st.nextDate(saw)
		switch {
		case !ok:
			st.say("duemonth.never", "Saw", nameOf(saw))
		case next.Due.Before(until):
			st.say("duemonth.line", "Saw", nameOf(saw), "Date", st.date(next.Due), "Reason", reason(next))
		default:
			continue
		}
		none = false
	}
	if none {
		st.say("due.none")
	}
	st.show()
}
