package dialog

import (
	"encoding/json"
	"time"

	"shimwright/calc"
	"shimwright/dialog/guard"
	"shimwright/dialog/wording"
)

// reminderBody is what a reminder keeps besides its time.
type reminderBody struct {
	Saw   string `json:"saw"`
	Again bool   `json:"again,omitempty"` // the one repeat, a week later
}

func reminderID(saw, person string) string { return "check-" + saw + "-" + person }

// together is how far apart saws may be due and still come as one message.
const together = 36 * time.Hour

// set puts a reminder for a person, at a decent hour.
func (st *step) set(saw *Saw, p *Person, at time.Time, again bool) time.Time {
	due := st.decent(at, p)
	body, err := json.Marshal(reminderBody{Saw: saw.ID, Again: again})
	if err != nil {
		panic(err)
	}
	st.res.Remind = append(st.res.Remind, Reminder{ID: reminderID(saw.ID, p.ID), Person: p.ID, Saw: saw.ID, Due: due, Body: body})
	return due
}

// remind asks for consent and time zone, once each, and sets the reminder of a
// saw whose records have changed.
func (st *step) remind(saw *Saw) {
	switch c := st.person.Consent; {
	case c == nil:
		st.ask("consent", nil)
	case c.Given && st.person.Zone == "":
		st.ask("zone", nil)
	case c.Given:
		if next, ok := st.nextDate(saw); ok {
			due := st.set(saw, st.person, next.Due, false)
			st.say("remind.set", "Saw", nameOf(saw), "Date", st.date(due), "Reason", reason(next))
		}
		st.idle()
	default:
		st.idle()
	}
}

// bringForward moves every reminder of a saw to the next decent hour: it was
// moved or bumped, or has a new blade.
func (st *step) bringForward(saw *Saw) {
	for _, d := range st.v.Due {
		if p := st.v.People.find(d.Person); d.Saw == saw.ID && p != nil && p.Consent != nil && p.Consent.Given {
			if at := st.now.AddDate(0, 0, 1); at.Before(d.Due) {
				st.set(saw, p, at, false)
			}
		}
	}
}

// due handles a reminder that has fallen due. It asks for no hand on the saw.
// Saws that are due within the same days come as one message.
func (st *step) due(in Due) {
	var body reminderBody
	if json.Unmarshal(in.Body, &body) != nil {
		return
	}
	for _, d := range st.v.Due {
		if d.ID == in.ID {
			st.v.Person = d.Person
		}
	}
	if !st.speak(st.v.Person) || st.person.Consent == nil || !st.person.Consent.Given || st.s.Stopped {
		return
	}
	saw := st.saw(in.Saw)
	if saw == nil || saw.Retired {
		return
	}
	if st.quiet(st.person) {
		st.set(saw, st.person, st.now, body.Again)
		return
	}
	st.s.Saw = saw.ID
	saws := []*Saw{saw}
	for _, d := range st.v.Due {
		if other := st.saw(d.Saw); d.ID != in.ID && d.Person == st.person.ID && other != nil && !other.Retired && d.Due.Before(st.now.Add(together)) {
			saws = append(saws, other)
			st.res.Forget = append(st.res.Forget, d.ID)
		}
	}
	st.past("*")
	for _, s := range saws {
		st.sayDue(s)
		if !body.Again {
			st.set(s, st.person, st.now.AddDate(0, 0, 7), true)
		}
	}
	if len(saws) > 1 {
		st.res.Forget = nil // each has its repeat set anew, under the same id
	}
	st.ask("due", map[string]string{"id": in.ID})
}

// sayDue says which saw is due and why.
func (st *step) sayDue(saw *Saw) {
	last := st.now
	for i := range st.v.Last {
		if st.v.Last[i].Saw == saw.ID {
			last = st.v.Last[i].At
		}
	}
	why := wording.T("reason.fixed")
	if next, ok := st.nextDate(saw); ok {
		why = reason(next)
	}
	st.say("due.reminder", "Saw", nameOf(saw), "Date", st.date(last), "Reason", why)
}

// dueAnswered handles the answer to a reminder.
func (st *step) dueAnswered(v string) {
	saw := st.saw(st.s.Saw)
	if saw == nil {
		st.idle()
		return
	}
	switch v {
	case "check":
		st.res.Forget = append(st.res.Forget, reminderID(saw.ID, st.person.ID))
		st.start(saw, quickCheck{})
		return
	case "later":
		st.later(saw, st.now.AddDate(0, 0, 14))
		return
	case "done":
		st.later(saw, st.now.AddDate(0, calc.FirstInterval, 0))
		return
	}
	st.res.Forget = append(st.res.Forget, reminderID(saw.ID, st.person.ID))
	st.say("due.dropped", "Saw", nameOf(saw))
	st.idle()
}

// later sets a reminder to another day.
func (st *step) later(saw *Saw, at time.Time) {
	due := st.set(saw, st.person, at, false)
	st.say("remind.later", "Saw", nameOf(saw), "Date", st.date(due))
	st.idle()
}

// zoneAnswered takes a time zone: the one offered, or the name of another.
func (st *step) zoneAnswered(text string) bool {
	a := st.pendingAsk()
	name, ok := st.choose(a.Choices, text)
	if !ok {
		name = st.zoneNamed(text)
	}
	if name == "" {
		return false
	}
	st.person.Zone = name
	st.people = true
	saw := st.saw(st.s.Saw)
	st.s.Pending, st.s.Args = "", nil
	if saw == nil {
		st.idle()
		return true
	}
	st.remind(saw)
	return true
}

// regions are those of the tz database, for people who name only a city.
var regions = [...]string{"", "Europe/", "America/", "Asia/", "Africa/", "Australia/", "Pacific/", "Atlantic/", "Indian/"}

// zoneNamed finds a zone of the tz database by its name or its city.
func (st *step) zoneNamed(text string) string {
	if st.v.Locate == nil {
		return ""
	}
	city := titled(clean(text, 40))
	for _, r := range regions {
		if city != "" && city != "Local" && st.v.Locate(r+city) != nil {
			return r + city
		}
	}
	return ""
}

// zoneChoices offers the zone that the channel suggests.
func (st *step) zoneChoices() []guard.Choice {
	guess := st.v.ZoneGuess
	if guess == "" {
		guess = "UTC"
	}
	return []guard.Choice{{Value: guess, Text: wording.Raw(guess)}}
}
