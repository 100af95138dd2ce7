package dialog

import (
	"slices"
	"strings"
	"time"

	"shimwright/dialog/guard"
	"shimwright/dialog/reading"
	"shimwright/dialog/wording"
)

// A person may write from several places: a page, a telephone number, a room.
// A short code, made in one and sent from the other, makes them one person; what
// belongs to the person (a running job, an acknowledgement, reminders) is then
// the same from either.

// linkFor is how long a code by which a person links another place is open.
const linkFor = 15 * time.Minute

// How somebody came to be known with the very message that is handled.
const (
	CameByJoin = "join" // by the code of an invitation
	CameByLink = "link" // by the code of somebody who is known already
)

// codePlaces is how many letters and digits a code has; maxCode bounds the
// message that brings it.
const (
	codePlaces = 8
	maxCode    = 60
)

// codeOf makes the code that people pass on of a fresh text.
func codeOf(token string) string { return strings.ToUpper(token[:4] + "-" + token[4:codePlaces]) }

// Code returns the hash of the code that a message brings: the word for joining
// or linking, in any language, with a code behind it; or the code alone.
func Code(text string) (hash string, ok bool) {
	if len(text) < codePlaces || len(text) > maxCode { // as nearly every message
		return "", false
	}
	said := strings.Fields(strings.Trim(strings.TrimSpace(text), ".?! "))
	n := wording.Begins("words.withcode", strings.Fields(reading.Fold(strings.Join(said, " "))))
	code := strings.ReplaceAll(strings.Join(said[min(n, len(said)):], ""), "-", "")
	if len(code) != codePlaces || strings.Trim(strings.ToUpper(code), "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789") != "" {
		return "", false
	}
	if n == 0 && (len(said) != 1 || len(said[0]) != codePlaces+1 || said[0][codePlaces/2] != '-') {
		return "", false // alone it counts only as it was written: ABCD-EFGH
	}
	return JoinHash(code), true
}

// Admit lets somebody in by a code: as a new person with the role of an
// invitation, or as one who is known already. It uses the code up; the people
// given are not changed. came is "" where the code opens nothing.
func (p People) Admit(hash, newID string, now time.Time) (admitted People, id, came string) {
	p.Persons = slices.Clone(p.Persons)
	for i, j := range p.Joins {
		if j.Hash == hash && now.Before(j.Expires) {
			p.Joins = slices.Delete(slices.Clone(p.Joins), i, i+1)
			p.Persons = append(p.Persons, Person{ID: newID, Role: j.Role})
			return p, newID, CameByJoin
		}
	}
	if q := p.linking(hash, now); q != nil {
		q.spend(hash)
		return p, q.ID, CameByLink
	}
	return p, "", ""
}

// linking returns the person whose open link code it is, or nil.
func (p *People) linking(hash string, now time.Time) *Person {
	for i := range p.Persons {
		q := &p.Persons[i]
		if !q.Removed && slices.ContainsFunc(q.Links, func(c LinkCode) bool { return c.Hash == hash && now.Before(c.Expires) }) {
			return q
		}
	}
	return nil
}

// opens reports whether a code is open in this shop.
func (p *People) opens(hash string, now time.Time) bool {
	return p.linking(hash, now) != nil || p.invites(hash, now)
}

func (p *People) invites(hash string, now time.Time) bool {
	return slices.ContainsFunc(p.Joins, func(j Join) bool { return j.Hash == hash && now.Before(j.Expires) })
}

// spend uses a code up.
func (p *Person) spend(hash string) {
	p.Links = slices.DeleteFunc(slices.Clone(p.Links), func(c LinkCode) bool { return c.Hash == hash })
}

// Self returns the id of the person that somebody turned out to be, their own
// where they are nobody else.
func (p *People) Self(id string) string {
	for range p.Persons {
		q := p.find(id)
		if q == nil || q.Into == "" {
			return id
		}
		id = q.Into
	}
	return id
}

// MayLeave reports whether a person can go to another shop: not in the middle
// of something, and not as the only owner of what would stay behind. alone is
// set where the whole conversation goes: then nobody and nothing may stay.
func MayLeave(p People, saws []Saw, id string, alone bool) bool {
	others, owners, kept := 0, 0, 0
	for _, q := range p.Persons {
		if q.ID != id && !q.Removed {
			others++
			if q.Role == Owner {
				owners++
			}
		}
	}
	for i := range saws {
		saw := &saws[i]
		if saw.Running != nil && saw.Running.Person == id || saw.Power.Opened() == id {
			return false
		}
		if !saw.Retired {
			kept++
		}
	}
	if alone {
		return others+kept == 0
	}
	me := p.find(id)
	return me == nil || me.Role != Owner || owners > 0 || others+kept == 0
}

// link makes a code for another place, or takes one that was made elsewhere.
func (st *step) link(rest string) {
	hash, ok := Code("join " + rest)
	switch {
	case rest == "":
		st.linkCode()
	case !ok:
		st.say("code.unclear")
		st.show()
	default:
		st.code(hash)
	}
}

// join takes a code; without one it says how to come by it.
func (st *step) join(rest string) {
	if rest == "" {
		st.say("code.unclear")
		st.show()
		return
	}
	st.link(rest)
}

// linkCode makes a code by which another place becomes this person's.
func (st *step) linkCode() {
	if len(st.v.Token) < codePlaces {
		st.say("invite.later")
		st.show()
		return
	}
	code := codeOf(st.v.Token)
	st.person.Links = append(slices.DeleteFunc(slices.Clone(st.person.Links), func(c LinkCode) bool { return !st.now.Before(c.Expires) }),
		LinkCode{Hash: JoinHash(code), Expires: st.now.Add(linkFor)})
	st.people, st.res.Join = true, JoinHash(code)
	st.say("link.code", "Code", wording.Raw(code))
	st.show()
}

// code takes a code from somebody who is known here already.
func (st *step) code(hash string) {
	switch q := st.v.People.linking(hash, st.now); {
	case st.v.Held:
		st.say("leave.first")
	case q == nil && st.v.People.invites(hash, st.now):
		st.say("join.already")
	case q == nil:
		st.say("code.unknown")
	case q.ID == st.person.ID:
		st.say("link.same")
	default:
		st.ask("link", map[string]string{"code": hash})
		return
	}
	st.show()
}

// linked makes the person who speaks and the one whose code it is one person:
// the one who may more, else the one who made the code.
func (st *step) linked(hash string) {
	to := st.v.People.linking(hash, st.now)
	if to == nil || to.ID == st.person.ID {
		st.say("code.unknown")
		st.show()
		return
	}
	to.spend(hash)
	from := st.person
	if rank(from.Role) > rank(to.Role) {
		from, to = to, from
	}
	from.mergeInto(to)
	st.people = true
	for i := range st.v.Saws {
		saw := &st.v.Saws[i]
		// Whatever either acknowledged is asked afresh: two persons did, and
		// only one of them is left to answer for it.
		if n := len(saw.Power.Events); n > 0 && (saw.Power.Events[n-1].Person == from.ID || saw.Power.Events[n-1].Person == to.ID) {
			st.event(saw, guard.Handed, st.now)
		}
		if saw.Running != nil && saw.Running.Person == from.ID {
			st.touch(saw).Running = saw.Running.edit()
			saw.Running.Person = to.ID
		}
	}
	for _, d := range st.v.Due {
		saw := st.saw(d.Saw)
		if d.Person != from.ID || saw == nil {
			continue
		}
		st.res.Forget = append(st.res.Forget, d.ID)
		other := slices.ContainsFunc(st.v.Due, func(o DueMark) bool { return o.Person == to.ID && o.Saw == d.Saw })
		if c := to.Consent; c != nil && c.Given && !other {
			st.set(saw, to, d.Due, false)
		}
	}
	st.speak(to.ID)
	st.say("link.done", "Name", wording.Raw(st.person.Name))
	st.show()
}

// rank orders the roles by what they allow.
func rank(r Role) int { return slices.Index([]Role{Measure, Setter, Owner}, r) }

// mergeInto gives another person all that is this one's, who is no one any
// more. What the other has chosen stays.
func (p *Person) mergeInto(to *Person) {
	first := func(a, b string) string {
		if a != "" {
			return a
		}
		return b
	}
	to.Name, to.Unit = first(to.Name, p.Name), first(to.Unit, p.Unit)
	to.Lang, to.Zone = first(to.Lang, p.Lang), first(to.Zone, p.Zone)
	if to.Work == nil {
		to.Work = p.Work
	}
	// The newer word on reminders counts.
	if c := p.Consent; c != nil && (to.Consent == nil || c.At.After(to.Consent.At)) {
		to.Consent = c
	}
	to.Addresses = slices.Concat(to.Addresses, p.Addresses)
	to.Devices = slices.Concat(to.Devices, p.Devices)
	*p = Person{ID: p.ID, Role: p.Role, Removed: true, Into: to.ID}
}

// came greets somebody who came in with this very message.
func (st *step) came() {
	if st.v.Came == CameByLink {
		st.say("link.done", "Name", wording.Raw(st.person.Name))
		st.show()
		return
	}
	st.say("join.done", "Role", wording.T("role."+string(st.person.Role)))
	st.ask("name", nil)
}

// unlink takes a place away from the person who speaks: the one named, or the
// one spoken from where it is said so. Without a name it lists them.
func (st *step) unlink(rest string) {
	named := strings.ToLower(strings.TrimSpace(rest))
	var found []Address
	for _, a := range st.linkable(st.person) {
		here := a.Channel == st.v.Channel && a.Conversation == st.v.Conversation
		digits := strings.TrimLeft(named, "+*.… ")
		if named != "" && (strings.EqualFold(a.Channel, named) || strings.EqualFold(a.To, named) ||
			len(digits) >= 2 && strings.HasSuffix(a.To, digits) || here && st.voice.Is("words.here", named) >= 0) {
			found = append(found, a)
		}
	}
	if len(found) == 0 {
		for _, a := range st.linkable(st.person) {
			st.say("unlink.line", "Channel", wording.Raw(a.Channel), "Address", wording.Raw(hidden(a.To)))
		}
		st.say("unlink.which")
		st.show()
		return
	}
	left := slices.DeleteFunc(slices.Clone(st.person.Addresses), func(a Address) bool {
		return slices.ContainsFunc(found, func(f Address) bool { return f.Channel == a.Channel && f.To == a.To })
	})
	if len(left) == 0 && !slices.ContainsFunc(st.person.Devices, func(d Device) bool { return !d.Revoked }) {
		st.say("unlink.last")
		st.show()
		return
	}
	st.person.Addresses, st.people = left, true
	st.res.Unlink = append(st.res.Unlink, found...)
	st.say("unlink.done", "Channel", wording.Raw(found[0].Channel), "Address", wording.Raw(hidden(found[0].To)))
	st.show()
}

// linkable returns the addresses of a person on networks of messages, each
// once however many rooms it was heard in.
func (st *step) linkable(p *Person) (list []Address) {
	for _, a := range p.Addresses {
		again := slices.ContainsFunc(list, func(b Address) bool { return b.Channel == a.Channel && b.To == a.To })
		if slices.Contains(st.v.Networks, a.Channel) && !a.Out && !again {
			list = append(list, a)
		}
	}
	return list
}

// hidden shows of a number only its end: who looks over a shoulder learns
// nothing, and its owner knows it.
func hidden(to string) string {
	if rest, ok := strings.CutPrefix(to, "+"); ok && len(rest) > 4 {
		return "…" + rest[len(rest)-2:]
	}
	return to
}
