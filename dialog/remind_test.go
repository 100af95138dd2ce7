package dialog_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"shimwright/dialog"
)

// keeper returns a shop with saws that were set up and checked once, on 2 March
// 2026 at nine, UTC, by Ada, who lives in zone and wants reminders.
func keeper(zone string, names ...string) *shop {
	sh := newShop()
	ada := &sh.view.People.Persons[0]
	ada.Zone, ada.Consent = zone, &dialog.Consent{Given: true, At: sh.now}
	for i, name := range names {
		saw := dialog.Saw{ID: fmt.Sprintf("saw-%d", i+1), Schema: 1, Profile: dialog.DefaultProfile()}
		saw.Profile.Name = name
		sh.view.Saws = append(sh.view.Saws, saw)
		sh.write(saw.ID, "slider.level", 0, 0.05, 0.05, 0.01, 0, 0.1)
	}
	return sh
}

// write adds the record of a check, some days after 2 March 2026.
func (s *shop) write(saw, characteristic string, day int, found, left, u, low, high float64) {
	at := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC).AddDate(0, 0, day)
	r := dialog.Record{ID: fmt.Sprintf("%s-%s-%d", saw, characteristic, day), Saw: saw, Procedure: "slider-level", Characteristic: characteristic,
		At: at, Person: "owner", Unit: "mm", Low: &low, High: &high, Decision: "within", Adjusted: found != left,
		AsFound: &dialog.Measured{Value: found, Uncertainty: u, At: at}, AsLeft: &dialog.Measured{Value: left, Uncertainty: u, At: at}}
	s.all = append(s.all, r)
	s.view.Last = slices.DeleteFunc(slices.Clone(s.view.Last), func(o dialog.Record) bool {
		return o.Saw == saw && o.Characteristic == characteristic
	})
	s.view.Last = append(s.view.Last, r)
}

// plant sets a reminder as the service would have it.
func (s *shop) plant(saw string, due time.Time) {
	id := "check-" + saw + "-owner"
	s.remind[id] = dialog.Reminder{ID: id, Person: "owner", Saw: saw, Due: due, Body: []byte(`{"saw":"` + saw + `"}`)}
}

// said is all that a turn says, as one text.
func said(r dialog.Result) string {
	var all []string
	for _, x := range r.Turn.Replies {
		all = append(all, x.Text)
	}
	return strings.Join(all, "\n")
}

// The hour of a reminder around the nights in which clocks change, north and
// south. The instants are worked by hand from the rules of each place as the tz
// database (IANA, 2025b) has them: Berlin +1/+2 h, last Sundays of March and
// October; New York -5/-4 h, second Sunday of March, first of November; Sydney
// +10/+11 h, first Sundays of April and October; Auckland +12/+13 h, first
// Sunday of April, last of September; Lord Howe +10:30/+11 h; Santiago -4/-3 h,
// first Saturdays' ends of April and September; Phoenix and UTC never.
func TestRemindersAcrossClockChanges(t *testing.T) {
	for _, c := range []struct{ zone, day, want string }{
		{"Europe/Berlin", "2026-03-28", "2026-03-28T09:00:00Z"},
		{"Europe/Berlin", "2026-03-29", "2026-03-29T08:00:00Z"},
		{"Europe/Berlin", "2026-10-24", "2026-10-24T08:00:00Z"},
		{"Europe/Berlin", "2026-10-25", "2026-10-25T09:00:00Z"},
		{"America/New_York", "2026-03-07", "2026-03-07T15:00:00Z"},
		{"America/New_York", "2026-03-08", "2026-03-08T14:00:00Z"},
		{"America/New_York", "2026-10-31", "2026-10-31T14:00:00Z"},
		{"America/New_York", "2026-11-01", "2026-11-01T15:00:00Z"},
		{"Australia/Sydney", "2026-04-04", "2026-04-03T23:00:00Z"},
		{"Australia/Sydney", "2026-04-05", "2026-04-05T00:00:00Z"},
		{"Australia/Sydney", "2026-10-03", "2026-10-03T00:00:00Z"},
		{"Australia/Sydney", "2026-10-04", "2026-10-03T23:00:00Z"},
		{"Pacific/Auckland", "2026-04-04", "2026-04-03T21:00:00Z"},
		{"Pacific/Auckland", "2026-04-05", "2026-04-04T22:00:00Z"},
		{"Pacific/Auckland", "2026-09-26", "2026-09-25T22:00:00Z"},
		{"Pacific/Auckland", "2026-09-27", "2026-09-26T21:00:00Z"},
		{"Australia/Lord_Howe", "2026-04-04", "2026-04-03T23:00:00Z"},
		{"Australia/Lord_Howe", "2026-04-05", "2026-04-04T23:30:00Z"},
		{"America/Santiago", "2026-04-04", "2026-04-04T13:00:00Z"},
		{"America/Santiago", "2026-04-05", "2026-04-05T14:00:00Z"},
		{"America/Phoenix", "2026-03-29", "2026-03-29T17:00:00Z"},
		{"UTC", "2026-03-29", "2026-03-29T10:00:00Z"},
	} {
		sh := keeper(c.zone, "Old Blue")
		sh.now = sh.now.AddDate(0, 0, 2)
		sh.say("remind me " + c.day)
		got := sh.remind["check-saw-1-owner"].Due.UTC().Format(time.RFC3339)
		if got != c.want {
			t.Errorf("%s, %s: due %s, want %s", c.zone, c.day, got, c.want)
		}
	}
}

// Through every hour of the days around each change of a year, in five zones: a
// reminder is said between eight and twenty of the person's own clock, at no
// other time, and waits for ten otherwise.
func TestQuietHours(t *testing.T) {
	for _, zone := range []string{"Europe/Berlin", "America/New_York", "Australia/Sydney", "Australia/Lord_Howe", "America/Santiago"} {
		loc, err := time.LoadLocation(zone)
		if err != nil {
			t.Fatal(err)
		}
		changes := 0
		from := time.Date(2026, 6, 1, 0, 0, 0, 0, time.UTC)
		for day := range 366 {
			noon := from.AddDate(0, 0, day)
			_, a := noon.In(loc).Zone()
			_, b := noon.AddDate(0, 0, 1).In(loc).Zone()
			if a == b {
				continue
			}
			changes++
			for hour := -24; hour < 48; hour++ {
				sh := keeper(zone, "Old Blue")
				sh.now = noon.Add(time.Duration(hour) * time.Hour)
				sh.plant("saw-1", sh.now)
				res := sh.fire()
				local := sh.now.In(loc)
				awake := local.Hour() >= 8 && local.Hour() < 20
				if spoke := len(res.Turn.Replies) > 0; spoke != awake {
					t.Errorf("%s at %v: spoke %v", zone, local, spoke)
				}
				again := sh.remind["check-saw-1-owner"].Due
				if at := again.In(loc); at.Hour() != 10 || at.Minute() != 0 || !again.After(sh.now) {
					t.Errorf("%s at %v: next at %v", zone, local, at)
				}
				if wait := again.Sub(sh.now); !awake && wait > 15*time.Hour {
					t.Errorf("%s at %v: waits %v", zone, local, wait)
				}
			}
		}
		if changes != 2 {
			t.Errorf("%s: %d changes in a year", zone, changes)
		}
	}
}

// One reminder, one repeat a week later, then silence until asked.
func TestOneRepeat(t *testing.T) {
	sh := keeper("Europe/Berlin", "Old Blue")
	sh.say("remind me")
	first := sh.remind["check-saw-1-owner"].Due
	if want := time.Date(2026, 6, 2, 8, 0, 0, 0, time.UTC); !first.Equal(want) {
		t.Fatalf("due %v, want %v: three months after the only check, at ten", first, want)
	}
	if got := said(sh.fire()); !strings.Contains(got, "Old Blue, last set 2 March 2026, is due for a check: nothing is known of its drift yet.") {
		t.Errorf("said %q", got)
	}
	second := sh.remind["check-saw-1-owner"].Due
	if want := time.Date(2026, 6, 9, 8, 0, 0, 0, time.UTC); !second.Equal(want) {
		t.Fatalf("repeated %v, want %v", second, want)
	}
	if got := said(sh.fire()); !strings.Contains(got, "Old Blue") {
		t.Errorf("the repeat says %q", got)
	}
	if len(sh.remind) > 0 {
		t.Errorf("after the repeat: %v", sh.remind)
	}
	sh.say("remind me saturday")
	if got := sh.remind["check-saw-1-owner"].Due; !got.Equal(time.Date(2026, 6, 13, 8, 0, 0, 0, time.UTC)) {
		t.Errorf("asked for again: %v", got)
	}
}

// Saws that are due within the same days come as one message, and so do their
// repeats; one that was checked meanwhile by somebody else is left out and
// moves on.
func TestSeveralSawsAreOneMessage(t *testing.T) {
	sh := keeper("Europe/Berlin", "Old Blue", "Bench", "Spare", "Far")
	due := time.Date(2026, 6, 2, 8, 0, 0, 0, time.UTC)
	sh.plant("saw-1", due)
	sh.plant("saw-2", due.Add(24*time.Hour))
	sh.plant("saw-3", due)
	sh.plant("saw-4", due.AddDate(0, 0, 9))
	sh.write("saw-3", "slider.level", 80, 0.05, 0.05, 0.01, 0, 0.1)
	res := sh.fire()
	got := said(res)
	for name, want := range map[string]bool{"Old Blue": true, "Bench": true, "Spare": false, "Far": false} {
		if strings.Contains(got, name) != want {
			t.Errorf("%s: %v in %q", name, !want, got)
		}
	}
	if n := strings.Count(got, "?"); n != 1 {
		t.Errorf("%d questions in %q", n, got)
	}
	week := due.AddDate(0, 0, 7)
	for saw, want := range map[string]time.Time{"saw-1": week, "saw-2": week, "saw-3": time.Date(2026, 11, 21, 9, 0, 0, 0, time.UTC), "saw-4": due.AddDate(0, 0, 9)} {
		if got := sh.remind["check-"+saw+"-owner"].Due; !got.Equal(want) {
			t.Errorf("%s: next %v, want %v", saw, got, want)
		}
	}
	got = said(sh.fire())
	if !strings.Contains(got, "Old Blue") || !strings.Contains(got, "Bench") || len(sh.remind) != 2 {
		t.Errorf("the repeat says %q, then %v", got, sh.remind)
	}
	// The far one comes alone, with a first reminder of its own.
	if got := said(sh.fire()); !strings.Contains(got, "Far") || strings.Contains(got, "Bench") {
		t.Errorf("said %q", got)
	}
}

// What a person answers to a reminder of one saw, and of two.
func TestReminderAnswers(t *testing.T) {
	due := time.Date(2026, 6, 2, 8, 0, 0, 0, time.UTC) // a Tuesday
	for answer, want := range map[string]string{
		"in two weeks": "2026-06-16", "2": "2026-06-16", "a week": "2026-06-09", "in 10 days": "2026-06-12", "next month": "2026-07-02",
		"Saturday": "2026-06-06", "on tuesday please": "2026-06-09", "tomorrow": "2026-06-03", "the 3rd of July": "2026-07-03",
		"12 March": "2027-03-12", "29 february": "2028-02-29", "July 1 2027": "2027-07-01", "2026-08-20": "2026-08-20",
		"in a year": "2027-06-02", "done": "2026-09-02", "not now": "2026-06-16", "Later.": "2026-06-16",
	} {
		sh := keeper("Europe/Berlin", "Old Blue", "Bench")
		sh.plant("saw-1", due)
		sh.plant("saw-2", due)
		sh.fire()
		sh.say(answer)
		for _, saw := range []string{"saw-1", "saw-2"} {
			if got := sh.remind["check-"+saw+"-owner"].Due.Format(time.DateOnly); got != want {
				t.Errorf("%q: %s due %s, want %s", answer, saw, got, want)
			}
		}
	}
	for _, bad := range []string{"31 february", "in 500 days", "2020-01-01", "1 May 2019", "some day", "in 3 fortnights of"} {
		sh := keeper("Europe/Berlin", "Old Blue")
		sh.plant("saw-1", due)
		sh.fire()
		res := sh.say(bad)
		if got := sh.remind["check-saw-1-owner"].Due; !got.Equal(due.AddDate(0, 0, 7)) || res.Turn.Prompt.Name != "ask.due" {
			t.Errorf("%q is taken for %v, then %+v", bad, got, res.Turn.Prompt)
		}
	}

	for _, no := range []string{"not this one", "No", "no thanks"} {
		one := keeper("Europe/Berlin", "Old Blue")
		one.plant("saw-1", due)
		// The question says which saw: a network may bring it before the reason.
		if r := one.fire().Turn.Replies; !strings.HasPrefix(r[len(r)-1].Text, "Check Old Blue now") {
			t.Errorf("asked %+v", r)
		}
		if one.say(no); len(one.remind) > 0 {
			t.Errorf("%q: still set: %v", no, one.remind)
		}
	}
	two := keeper("Europe/Berlin", "Old Blue", "Bench")
	two.plant("saw-1", due)
	two.plant("saw-2", due)
	two.fire()
	two.say("not this one")
	two.say("bench")
	if _, gone := two.remind["check-saw-2-owner"]; gone || len(two.remind) != 1 {
		t.Errorf("still set: %v", two.remind)
	}
	check := keeper("Europe/Berlin", "Old Blue")
	check.plant("saw-1", due)
	check.fire()
	if res := check.say("check now"); res.Turn.Prompt.Job != "quick-check" || len(check.remind) > 0 {
		t.Errorf("the check: %+v, reminders %v", res.Turn.Prompt, check.remind)
	}
}

// STOP ends reminders at once, whatever waits; START alone brings none back.
func TestStopEndsReminders(t *testing.T) {
	sh := keeper("Europe/Berlin", "Old Blue", "Bench")
	due := time.Date(2026, 6, 2, 8, 0, 0, 0, time.UTC)
	sh.plant("saw-1", due)
	sh.plant("saw-2", due.AddDate(0, 0, 30))
	sh.fire()
	res := sh.say("STOP")
	if len(sh.remind) > 0 || !res.Silence || sh.view.People.Persons[0].Consent.Given || !sh.view.People.Persons[0].Consent.At.Equal(sh.now) {
		t.Errorf("after STOP: %v, %+v", sh.remind, sh.view.People.Persons[0].Consent)
	}
	sh.plant("saw-1", sh.now) // one that was on its way when STOP came
	if got := said(sh.fire()); got != "" || len(sh.remind) > 0 {
		t.Errorf("after STOP: %q, %v", got, sh.remind)
	}
	sh.say("START")
	sh.plant("saw-1", sh.now)
	if got := said(sh.fire()); got != "" {
		t.Errorf("after START alone: %q", got)
	}
	sh.say("remind me")
	if len(sh.remind) != 2 || !sh.view.People.Persons[0].Consent.Given {
		t.Errorf("asked for again: %v", sh.remind)
	}
	sh.say("no reminders")
	if len(sh.remind) > 0 || sh.view.People.Persons[0].Consent.Given {
		t.Errorf("ended by word: %v", sh.remind)
	}
}

// A reminder does not stand between a job's question and its answer, and one
// that comes all the same takes no reading.
func TestReminderDuringAJob(t *testing.T) {
	sh := keeper("Europe/Berlin", "Old Blue", "Bench")
	sh.now = time.Date(2026, 6, 2, 7, 0, 0, 0, time.UTC)
	sh.say("Bench")
	sh.say("level")
	sh.plant("saw-1", sh.now.Add(time.Hour))
	if got := said(sh.fire()); got != "" {
		t.Errorf("in the middle of a job: %q", got)
	}
	if got := sh.remind["check-saw-1-owner"].Due; !got.Equal(time.Date(2026, 6, 3, 8, 0, 0, 0, time.UTC)) {
		t.Errorf("put off to %v", got)
	}
	// A job that was left lying a day is no reason any more.
	if got := said(sh.fire()); !strings.Contains(got, "Old Blue") {
		t.Errorf("a day later: %q", got)
	}
	if res := sh.say("0.08 low"); res.Turn.Prompt.Name == "ask.due" {
		t.Errorf("the reading went to the reminder: %+v", res.Turn.Prompt)
	}
}

// Consent is asked once, before the first reminder, and kept with its time; a
// person who was not asked, said no, left or was removed hears nothing.
func TestNoReminderWithoutConsent(t *testing.T) {
	due := time.Date(2026, 6, 2, 8, 0, 0, 0, time.UTC)
	for name, change := range map[string]func(*dialog.Person){
		"never asked": func(p *dialog.Person) { p.Consent = nil },
		"said no":     func(p *dialog.Person) { p.Consent = &dialog.Consent{} },
		"removed":     func(p *dialog.Person) { p.Removed = true },
	} {
		sh := keeper("Europe/Berlin", "Old Blue")
		change(&sh.view.People.Persons[0])
		sh.plant("saw-1", due)
		if got := said(sh.fire()); got != "" || len(sh.remind) > 0 {
			t.Errorf("%s: %q, %v", name, got, sh.remind)
		}
	}
	retired := keeper("Europe/Berlin", "Old Blue")
	retired.view.Saws[0].Retired = true
	retired.plant("saw-1", due)
	if got := said(retired.fire()); got != "" {
		t.Errorf("a retired saw: %q", got)
	}
}

// A new zone moves the hour of what is set; places are found by their city.
func TestZone(t *testing.T) {
	sh := keeper("Europe/Berlin", "Old Blue")
	sh.say("remind me")
	for text, want := range map[string]string{"zone new york": "America/New_York", "zone Asia/Tokyo": "Asia/Tokyo", "zone utc": "UTC", "time zone Sydney": "Australia/Sydney"} {
		sh.say(text)
		loc, err := time.LoadLocation(want)
		if err != nil {
			t.Fatal(err)
		}
		if got := sh.view.People.Persons[0].Zone; got != want {
			t.Errorf("%q gives %q, want %q", text, got, want)
		}
		if at := sh.remind["check-saw-1-owner"].Due.In(loc); at.Hour() != 10 {
			t.Errorf("%q: reminded at %v", text, at)
		}
	}
	if res := sh.say("zone Atlantis"); res.Turn.Prompt.Name != "ask.zone" || !strings.Contains(said(res), "no time zone or city called Atlantis. A large city near you will do, such as Berlin") {
		t.Errorf("a place that is none: %+v %q", res.Turn.Prompt, said(res))
	}
	if res := sh.say("Mars"); res.Turn.Prompt.Name != "ask.zone" || !strings.Contains(said(res), "no time zone or city called Mars.") {
		t.Errorf("and another: %+v %q", res.Turn.Prompt, said(res))
	}
	sh.say("Lisbon")
	if got := sh.view.People.Persons[0].Zone; got != "Europe/Lisbon" {
		t.Errorf("zone %q", got)
	}
}

// TestZoneAskedPlainly: where nothing tells the place, none is offered, and a
// thoughtless ok names none.
func TestZoneAskedPlainly(t *testing.T) {
	for _, c := range []struct{ lang, asks, unknown string }{
		{"en", "A large city near you will do, such as Berlin.", "I know no time zone or city called Mars."},
		{"de", "Eine große Stadt in deiner Nähe genügt, etwa Berlin.", "Eine Zeitzone oder Stadt namens Mars kenne ich nicht."},
		{"es", "Basta una ciudad grande cercana, como Madrid.", "No conozco ninguna zona horaria ni ciudad llamada Mars."},
	} {
		sh := keeper("Europe/Berlin", "Old Blue")
		sh.view.ZoneGuess = ""
		sh.view.People.Persons[0].Lang, sh.view.People.Persons[0].Zone = c.lang, ""
		word := map[string]string{"en": "zone", "de": "zeitzone", "es": "zona horaria"}[c.lang]
		res := sh.say(word)
		if p := res.Turn.Prompt; p.Name != "ask.zone" || p.Kind != dialog.KindText || len(p.Choices) != 0 || !strings.Contains(said(res), c.asks) || strings.Contains(said(res), "UTC") {
			t.Errorf("%s: asked %q %+v", c.lang, said(res), p)
		}
		if res := sh.say("Mars"); !strings.Contains(said(res), c.unknown) || res.Turn.Prompt.Name != "ask.zone" {
			t.Errorf("%s: Mars is answered %q", c.lang, said(res))
		}
		if sh.say("ok"); sh.view.People.Persons[0].Zone != "" {
			t.Errorf("%s: ok is the zone %q", c.lang, sh.view.People.Persons[0].Zone)
		}
		sh.say("Madrid")
		if got := sh.view.People.Persons[0].Zone; got != "Europe/Madrid" {
			t.Errorf("%s: zone %q", c.lang, got)
		}
	}
}
