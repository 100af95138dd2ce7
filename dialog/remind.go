package dialog

import (
	"cmp"
	"encoding/json"
	"slices"
	"strings"
	"time"

	"shimwright/calc"
	"shimwright/dialog/guard"
	"shimwright/dialog/reading"
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
	next, dated := st.nextDate(saw)
	switch c := st.person.Consent; {
	case !dated:
		st.idle()
	case c == nil:
		st.ask("consent", nil)
	case !c.Given:
		st.idle()
	case st.person.Zone == "":
		st.ask("zone", nil)
	default:
		due := st.set(saw, st.person, next.Due, false)
		st.say("remind.set", "Saw", nameOf(saw), "Date", st.date(due), "Reason", reason(next))
		st.idle()
	}
}

// bringForward moves the reminders of a saw to its next date where something
// that happened makes that earlier.
func (st *step) bringForward(saw *Saw) {
	for _, d := range st.v.Due {
		p := st.v.People.find(d.Person)
		if d.Saw != saw.ID || p == nil || p.Consent == nil || !p.Consent.Given {
			continue
		}
		if next, ok := st.nextDate(saw); ok && next.Due.Before(d.Due) {
			st.set(saw, p, next.Due, false)
		}
	}
}

// busyFor is how long after their last answer a person at a job is not
// interrupted by a reminder.
const busyFor = 12 * time.Hour

// due handles a reminder that has fallen due. It asks for no hand on the saw.
// Saws that are due within the same days come as one message; one that was
// checked meanwhile moves on to its next date without a word.
func (st *step) due(in Due) {
	st.v.Due = slices.Clone(st.v.Due)
	for _, d := range st.v.Due {
		if d.ID == in.ID {
			st.v.Person = d.Person
		}
	}
	if !st.speak(st.v.Person) || st.person.Consent == nil || !st.person.Consent.Given || st.s.Stopped {
		return
	}
	first := DueMark{ID: in.ID, Saw: in.Saw, Person: st.person.ID, Due: st.now, Body: in.Body}
	if saw := st.saw(in.Saw); saw == nil || saw.Retired {
		return
	} else if st.quiet(st.person) {
		st.set(saw, st.person, st.now, isRepeat(first))
		return
	} else if st.busy() {
		st.set(saw, st.person, st.now.AddDate(0, 0, 1), isRepeat(first))
		return
	}
	st.past("*")
	marks := []DueMark{first}
	for _, d := range st.v.Due {
		if d.ID != in.ID && d.Person == st.person.ID && d.Due.Before(st.now.Add(together)) {
			marks = append(marks, d)
		}
	}
	var ids []string
	for _, d := range marks {
		if st.remindOf(d, d.ID == in.ID) {
			ids = append(ids, d.Saw)
		}
	}
	if len(ids) == 0 {
		return
	}
	st.s.Saw = ids[0]
	st.ask("due", map[string]string{"saws": strings.Join(ids, " ")})
}

// isRepeat reports whether a reminder is the one repeat.
func isRepeat(d DueMark) bool {
	var body reminderBody
	return json.Unmarshal(d.Body, &body) == nil && body.Again
}

// busy reports whether the person is at a job: a reminder would stand between
// a question and its answer.
func (st *step) busy() bool {
	for i := range st.v.Saws {
		if r := st.v.Saws[i].Running; r != nil && r.Person == st.person.ID && st.now.Sub(r.Answers[len(r.Answers)-1].At) < busyFor {
			return true
		}
	}
	return false
}

// remindOf says that a saw is due and sets the one repeat. It reports whether
// there was anything to say. The reminder that fired is gone by itself.
func (st *step) remindOf(d DueMark, fired bool) bool {
	saw := st.saw(d.Saw)
	if saw == nil || saw.Retired {
		return false
	}
	next, dated := st.nextDate(saw)
	if dated && next.Due.After(st.now.Add(together)) {
		st.set(saw, st.person, next.Due, false)
		return false
	}
	why := wording.T("reason.fixed")
	if dated {
		why = reason(next)
	}
	if last := st.lastWork(saw); last.IsZero() {
		st.say("due.reminder.never", "Saw", nameOf(saw))
	} else {
		st.say("due.reminder", "Saw", nameOf(saw), "Date", st.date(last), "Reason", why)
	}
	switch {
	case !isRepeat(d):
		st.set(saw, st.person, st.now.AddDate(0, 0, 7), true)
	case !fired:
		st.res.Forget = append(st.res.Forget, d.ID)
	}
	return true
}

// lastWork is the time of the newest record of a saw.
func (st *step) lastWork(saw *Saw) time.Time {
	var last time.Time
	for i := range st.v.Last {
		if r := &st.v.Last[i]; r.Saw == saw.ID && r.At.After(last) {
			last = r.At
		}
	}
	return last
}

// dueSaws are the saws that the reminder just answered was about.
func (st *step) dueSaws(args map[string]string) []*Saw {
	var out []*Saw
	for id := range strings.FieldsSeq(cmp.Or(args["saws"], args["saw"])) {
		if saw := st.saw(id); saw != nil && !saw.Retired {
			out = append(out, saw)
		}
	}
	return out
}

// dueAnswered handles the answer to a reminder.
func (st *step) dueAnswered(args map[string]string, v string) {
	saws := st.dueSaws(args)
	switch {
	case len(saws) == 0:
		st.idle()
	case v == "check":
		st.res.Forget = append(st.res.Forget, reminderID(saws[0].ID, st.person.ID))
		st.start(saws[0], quickCheck{})
	case v == "later":
		st.later(saws, st.now.AddDate(0, 0, 14))
	case v == "done":
		st.doneByHand(saws)
	case len(saws) > 1:
		st.ask("drop", args)
	default:
		st.dropped(saws[0])
	}
}

// later sets the reminders of saws to another day.
func (st *step) later(saws []*Saw, at time.Time) {
	for _, saw := range saws {
		due := st.set(saw, st.person, at, false)
		st.say("remind.later", "Saw", nameOf(saw), "Date", st.date(due))
	}
	st.show()
}

// doneByHand takes a person's word that saws were checked without Shimwright:
// nothing is written down, and they come up again after the fixed interval or
// the first one.
func (st *step) doneByHand(saws []*Saw) {
	for _, saw := range saws {
		months := saw.interval()
		if months == 0 {
			months = calc.FirstInterval
		}
		due := st.set(saw, st.person, monthsAfter(st.now, months), false)
		st.say("remind.later", "Saw", nameOf(saw), "Date", st.date(due))
	}
	st.show()
}

// dropped ends the reminders of one saw until its next check.
func (st *step) dropped(saw *Saw) {
	st.res.Forget = append(st.res.Forget, reminderID(saw.ID, st.person.ID))
	st.say("due.dropped", "Saw", nameOf(saw))
	st.idle()
}

// remindMe sets the reminders of every saw for a person who asks for them, on
// a day that they name or by the records.
func (st *step) remindMe(rest string) {
	day, named := st.when(rest)
	if !named && st.aboutADay(rest) {
		st.say("remind.unclear")
		st.show()
		return
	}
	st.past("*")
	var saws []*Saw
	for _, saw := range st.usable() {
		if _, ok := st.nextDate(saw); ok {
			saws = append(saws, saw)
		}
	}
	if saw := st.focus(); named && saw != nil {
		saws = []*Saw{saw}
	}
	if len(saws) == 0 {
		st.say("remind.nothing")
		st.show()
		return
	}
	// Whoever asks for reminders has said yes to them.
	st.person.Consent, st.people = &Consent{Given: true, At: st.now}, true
	if named {
		st.later(saws, day)
		return
	}
	if st.person.Zone == "" {
		st.s.Saw = saws[0].ID
		st.ask("zone", map[string]string{"all": "yes"})
		return
	}
	st.remindAll(saws)
	st.show()
}

// remindAll sets the reminders of saws by their records.
func (st *step) remindAll(saws []*Saw) {
	for _, saw := range saws {
		if next, ok := st.nextDate(saw); ok {
			due := st.set(saw, st.person, next.Due, false)
			st.say("remind.set", "Saw", nameOf(saw), "Date", st.date(due), "Reason", reason(next))
		}
	}
}

// noReminders ends the reminders of a person and leaves everything else.
func (st *step) noReminders() {
	st.person.Consent, st.people = &Consent{Given: false, At: st.now}, true
	for _, d := range st.v.Due {
		if d.Person == st.person.ID {
			st.res.Forget = append(st.res.Forget, d.ID)
		}
	}
	st.say("remind.off")
	st.show()
}

// zoneAnswered takes a time zone: the one offered, or the name of another.
func (st *step) zoneAnswered(text string) bool {
	name, ok := "", false
	if offered := st.zoneChoices(); len(offered) > 0 {
		name, ok = st.choose(offered, text)
	}
	if !ok {
		name = st.zoneNamed(text)
	}
	if name == "" {
		return false
	}
	st.person.Zone = name
	st.people = true
	saw, all, moved := st.saw(st.s.Saw), st.s.Args["all"] != "", st.s.Args["moved"] != ""
	st.s.Pending, st.s.Args = "", nil
	switch {
	case moved:
		st.setZone(name)
	case all:
		st.past("*")
		st.remindAll(st.usable())
		st.show()
	case saw == nil:
		st.idle()
	default:
		st.remind(saw)
	}
	return true
}

// setZone changes the time zone of a person, and the hour of the reminders
// that are set for them.
func (st *step) setZone(rest string) {
	name := st.zoneNamed(rest)
	if name == "" {
		if rest != "" {
			st.say("zone.unknown", "Name", wording.Raw(clean(rest, 30)))
		}
		st.ask("zone", map[string]string{"moved": "yes"})
		return
	}
	st.person.Zone, st.people = name, true
	for _, d := range st.v.Due {
		if saw := st.saw(d.Saw); saw != nil && d.Person == st.person.ID {
			st.set(saw, st.person, d.Due, isRepeat(d))
		}
	}
	st.say("zone.set", "Zone", wording.Raw(name))
	st.show()
}

// regions are those of the tz database, for people who name only a city.
var regions = [...]string{"", "Europe/", "America/", "Asia/", "Africa/", "Australia/", "Pacific/", "Atlantic/", "Indian/"}

// zoneNamed finds a zone of the tz database by its name or its city.
func (st *step) zoneNamed(text string) string {
	if st.v.Locate == nil {
		return ""
	}
	text = clean(text, 40)
	for _, p := range st.phrases("words.places") {
		if name, zone, _ := strings.Cut(p, "="); same(text, name) && st.v.Locate(zone) != nil {
			return zone
		}
	}
	// Zürich is Europe/Zurich.
	text = reading.Fold(text)
	for _, city := range []string{titled(text, false), titled(text, true), strings.ToUpper(text)} { // UTC and its like are in capitals
		for _, r := range regions {
			if city != "" && !strings.EqualFold(city, "local") && st.v.Locate(r+city) != nil {
				return r + city
			}
		}
	}
	return ""
}

// zoneChoices offers the zones that the channel suggests, none where it does not
// know a place.
func (st *step) zoneChoices() []guard.Choice {
	var out []guard.Choice
	for zone := range strings.FieldsSeq(st.v.ZoneGuess) {
		out = append(out, guard.Choice{Value: zone, Text: wording.Raw(zone)})
	}
	return out
}
