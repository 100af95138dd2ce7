package main

import (
	"encoding/json"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"shimwright/bot/channel/page"
	"shimwright/dialog"
	"shimwright/store"
)

// remindable is a shop in which one person has said that they want reminders,
// in the program's state as it is after a finished job.
type remindable struct {
	app  *app
	now  *time.Time
	shop string
}

// speakOnce puts the program together, lets a person say one thing and plants
// a saw, the consent and a reminder in 90 days.
func speakOnce(t *testing.T, cb *callback, now *time.Time, who caller, conversation string) remindable {
	t.Helper()
	at, err := url.Parse(cb.URL)
	if err != nil {
		t.Fatal(err)
	}
	cfg := Config{CallbackURL: at, CallbackSecrets: []Secret{NewSecret(callbackSecret)}, Rate: 100, Burst: 100, Zone: "Europe/Berlin", LocalOwner: true}
	a, err := newApp(cfg, openBolt(t), func() time.Time { return *now }, quiet())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := a.close(); err != nil {
			t.Error(err)
		}
	})
	if _, err := a.server.say(t.Context(), who, posted{ID: "m-1", Conversation: conversation, Sender: "kim", Text: "menu", SentAt: *now}); err != nil {
		t.Fatal(err)
	}
	shop, err := a.server.places.find(t.Context(), who, conversation)
	if err != nil {
		t.Fatal(err)
	}
	docs, err := a.store.Load(t.Context(), store.Conversation{Shop: shop, ID: conversation}, "")
	if err != nil {
		t.Fatal(err)
	}
	var people dialog.People
	if err := json.Unmarshal(docs.People.Body, &people); err != nil {
		t.Fatal(err)
	}
	people.Persons[0].Consent = &dialog.Consent{Given: true, At: *now}
	saw := dialog.Saw{ID: "saw-1", Schema: 1, Profile: dialog.DefaultProfile()}
	saw.Profile.Name = "the blue one"
	err = a.store.Commit(t.Context(), store.Commit{Shop: shop, Conversation: conversation, At: *now,
		Put: []store.Doc{{Kind: store.KindPeople, Version: docs.People.Version, Body: encode(people)},
			{Kind: store.KindSaw, ID: saw.ID, Body: encode(saw)}},
		Remind: []store.Reminder{{ID: "check-saw-1", Conversation: conversation, Saw: saw.ID, Person: people.Persons[0].ID,
			Due: now.Add(90 * 24 * time.Hour), Body: []byte(`{"saw":"saw-1"}`)}}})
	if err != nil {
		t.Fatal(err)
	}
	return remindable{a, now, shop}
}

// work does once what the service does all the time.
func (r remindable) work(t *testing.T) {
	t.Helper()
	if _, err := r.app.reminders.once(t.Context()); err != nil {
		t.Fatal(err)
	}
	for range 3 {
		if _, err := r.app.deliverer.once(t.Context()); err != nil {
			t.Fatal(err)
		}
		r.app.deliverer.idle()
	}
}

func start() time.Time { return time.Date(2026, 3, 2, 9, 14, 5, 0, time.UTC) }

// A reminder falls due while a page listens: it is the next entry of the
// conversation's transcript, and the page is woken.
func TestReminderReachesThePage(t *testing.T) {
	now := start()
	cb := newCallback(t, func() time.Time { return now })
	r := speakOnce(t, cb, &now, caller{kind: local, shop: homeShop}, "bench")
	woken, stop := r.app.server.page.Listen("bench")
	defer stop()
	read := func() (fired []string) {
		list, err := r.app.store.Transcript(t.Context(), store.Conversation{Shop: r.shop, ID: "bench"}, 0, 50)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range list {
			if e.Fired != "" {
				fired = append(fired, string(e.Answer))
			}
		}
		return fired
	}

	now = now.Add(90*24*time.Hour - time.Second)
	r.work(t)
	if got := read(); len(got) != 0 {
		t.Fatalf("before its time: %q", got)
	}
	now = now.Add(time.Second)
	r.work(t)
	r.work(t)
	got := read()
	if len(got) != 1 || !strings.Contains(got[0], "blue one") {
		t.Fatalf("the transcript has %q, want the reminder once", got)
	}
	select {
	case <-woken:
	default:
		t.Error("the page was not woken")
	}
	if ids, _ := cb.got(); len(ids) != 0 {
		t.Errorf("a reminder for the page went to the callback address too: %q", ids)
	}

	// And so the page's own request sees it.
	q := httptest.NewRequest("GET", "http://127.0.0.1:8080/v1/conversations/bench", nil)
	q.RemoteAddr = "127.0.0.1:50000"
	w := httptest.NewRecorder()
	r.app.server.routes().ServeHTTP(w, q)
	if w.Code != 200 || !strings.Contains(w.Body.String(), "blue one") {
		t.Errorf("GET of the conversation: %d %s", w.Code, w.Body)
	}
}

// The same by the callback address: signed, in the shape of an answer, once,
// and again with the same id and bytes while the receiver refuses it.
func TestReminderReachesTheCallback(t *testing.T) {
	now := start()
	cb := newCallback(t, func() time.Time { return now })
	r := speakOnce(t, cb, &now, caller{kind: program}, "bench-tablet")
	cb.refuse = 2
	now = now.Add(90 * 24 * time.Hour)
	r.work(t)
	if ids, _ := cb.got(); len(ids) != 0 {
		t.Fatalf("accepted although refused: %q", ids)
	}
	for range 4 {
		now = now.Add(10 * time.Second)
		r.work(t)
	}
	ids, bodies := cb.got()
	if len(ids) != 2 || ids[0] == ids[1] {
		t.Fatalf("the receiver has %q, want the reminder and its question, once each", ids)
	}
	var got struct {
		Conversation string
		InReplyTo    string `json:"in_reply_to"`
		Replies      []struct{ ID, Text string }
		Prompt       struct{ Kind string }
	}
	if err := json.Unmarshal([]byte(bodies[1]), &got); err != nil {
		t.Fatal(err)
	}
	if got.Conversation != "bench-tablet" || got.InReplyTo != "" || len(got.Replies) != 1 || got.Replies[0].ID != ids[1] ||
		!strings.Contains(bodies[0], "blue one") || got.Prompt.Kind == "" {
		t.Errorf("the receiver got %s", bodies)
	}
	// What the person answers goes on from there.
	a, err := r.app.server.say(t.Context(), caller{kind: program}, posted{ID: "m-2", Conversation: "bench-tablet", Sender: "kim", Text: "later", SentAt: now})
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(string(a), "blue one") {
		t.Errorf("the answer to the reminder: %s", a)
	}
}

// Five replicas of the whole program on one store: one text, on every path.
func TestReminderFromFiveReplicas(t *testing.T) {
	now := start()
	cb := newCallback(t, func() time.Time { return now })
	r := speakOnce(t, cb, &now, caller{kind: program}, "bench-tablet")
	now = now.Add(91 * 24 * time.Hour)
	errs := make(chan error, 5)
	for range 5 {
		other, err := newApp(r.app.cfg, r.app.store, func() time.Time { return now }, quiet())
		if err != nil {
			t.Fatal(err)
		}
		go func() {
			_, err := other.reminders.once(t.Context())
			if err == nil {
				_, err = other.deliverer.once(t.Context())
				other.deliverer.idle()
			}
			errs <- err
		}()
	}
	for range 5 {
		if err := <-errs; err != nil {
			t.Error(err)
		}
	}
	r.work(t) // the question behind it
	if ids, _ := cb.got(); len(ids) != 2 || ids[0] == ids[1] {
		t.Errorf("sent %q, want the reminder and its question, once each", ids)
	}
}

// After STOP nothing that waits goes out, and no reminder is sent.
func TestStopSilencesReminders(t *testing.T) {
	for _, who := range []caller{{kind: program}, {kind: local, shop: homeShop}} {
		t.Run(who.channelName(), func(t *testing.T) {
			now := start()
			cb := newCallback(t, func() time.Time { return now })
			r := speakOnce(t, cb, &now, who, "bench")
			if _, err := r.app.server.say(t.Context(), who, posted{ID: "m-2", Conversation: "bench", Sender: "kim", Text: "STOP", SentAt: now}); err != nil {
				t.Fatal(err)
			}
			now = now.Add(91 * 24 * time.Hour)
			r.work(t)
			if ids, _ := cb.got(); len(ids) != 0 {
				t.Errorf("after STOP: %d messages", len(ids))
			}
			list, err := r.app.store.Transcript(t.Context(), store.Conversation{Shop: r.shop, ID: "bench"}, 0, 50)
			if err != nil {
				t.Fatal(err)
			}
			for _, e := range list {
				if e.Fired != "" && strings.Contains(string(e.Answer), "blue one") && who.channelName() == page.Name {
					t.Errorf("after STOP: %s", e.Answer)
				}
			}
			if st, err := r.app.store.Stats(t.Context(), now); err != nil || st.Due != 0 {
				t.Errorf("the reminder stays due: %+v, %v", st, err)
			}
		})
	}
}
