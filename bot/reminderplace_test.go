package main

import (
	"encoding/json"
	"testing"
	"time"

	"shimwright/dialog"
	"shimwright/store"
)

// A reminder comes where its person was heard last, and stays its person's
// when somebody else's word moves it.
func TestReminderFollowsItsPerson(t *testing.T) {
	now := start()
	cb := newCallback(t, func() time.Time { return now })
	r := speakOnce(t, cb, &now, caller{kind: program}, "bench-tablet")
	say := func(sender, text string) {
		t.Helper()
		m := posted{ID: "m-" + newID(), Conversation: "bench-tablet", Sender: sender, Text: text, SentAt: now}
		if _, err := r.app.server.say(t.Context(), caller{kind: program}, m); err != nil {
			t.Fatal(err)
		}
	}
	// Kim has a second conversation in the same shop, and was heard there last.
	people, version, err := loadPeople(t.Context(), r.app.store, r.shop)
	if err != nil {
		t.Fatal(err)
	}
	kim := &people.Persons[0]
	kim.Addresses = append(kim.Addresses, dialog.Address{Channel: "webhook", To: "kim", Conversation: "phone", Used: now})
	docs := []store.Doc{{Kind: store.KindPeople, Version: version, Body: encode(people)}}
	record := dialog.Record{ID: "r1", Saw: "saw-1", Characteristic: "slider.level", At: now, Unit: "mm", High: new(float64), Decision: "within",
		AsLeft: &dialog.Measured{Value: -0.01, Uncertainty: 0.001, At: now}}
	c := store.Commit{Shop: r.shop, At: now, Put: docs, Records: []store.Record{{ID: "r1", Saw: "saw-1", Characteristic: "slider.level", At: now, Body: encode(record)}},
		Remind: []store.Reminder{{ID: "check-saw-1-" + kim.ID, Conversation: "bench-tablet", Saw: "saw-1", Person: kim.ID, Due: now.AddDate(0, 0, 90), Body: []byte(`{"saw":"saw-1"}`)}},
		Forget: []string{"check-saw-1"}}
	if err := r.app.store.Commit(t.Context(), c); err != nil {
		t.Fatal(err)
	}
	now = now.Add(time.Hour)
	say("max", "bumped") // brings Kim's reminder forward
	reminders := func() []store.Reminder {
		d, err := r.app.store.Load(t.Context(), store.Conversation{Shop: r.shop, ID: "bench-tablet"}, "")
		if err != nil {
			t.Fatal(err)
		}
		return d.Reminders
	}
	list := reminders()
	if len(list) != 1 || list[0].Person != kim.ID || list[0].Conversation != "bench-tablet" || list[0].Due.Sub(now) > 49*time.Hour {
		t.Fatalf("reminders %+v", list)
	}
	now = list[0].Due
	r.work(t)
	_, bodies := cb.got()
	var got struct{ Conversation string }
	if len(bodies) == 0 || json.Unmarshal([]byte(bodies[0]), &got) != nil || got.Conversation != "phone" {
		t.Errorf("sent %s", bodies)
	}
	if list := reminders(); len(list) != 1 || list[0].Conversation != "phone" {
		t.Errorf("the repeat: %+v", list)
	}
}
