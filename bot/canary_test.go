package main

import (
	"bytes"
	"context"
	"net/http"
	"strings"
	"testing"
	"time"

	"shimwright/bot/channel"
	"shimwright/store"
)

// TestCanaries: a secret, a telephone number and the words of a message are
// nowhere in the log at its finest level, in the metrics, in an error that a
// client gets or in what the operator's list of dead letters shows, whatever
// goes wrong on the way.
func TestCanaries(t *testing.T) {
	const (
		words  = "canary sings at noon"
		number = "+4915550123456"
		secret = "whsec_Y2FuYXJ5LWNhbmFyeS1jYW5hcnktY2FuYXJ5LWNhbmFyeQ=="
	)
	s := newService(t, func(c *Config) {
		c.WebhookSecrets = []Secret{NewSecret(secret)}
		c.CallbackURL = webURL(&faults{}, "CALLBACK_URL", "http://127.0.0.1:9/"+strings.TrimPrefix(number, "+"), "")
		c.CallbackSecrets = c.WebhookSecrets
		c.Rate, c.Burst = 0.01, 6
	})
	var told bytes.Buffer // what clients and the operator are told of failures
	say := func(m posted, want int, edit ...func(*http.Request)) {
		t.Helper()
		res := s.request("POST", "/v1/messages", bodyOf(m), edit...)
		if res.StatusCode != want {
			t.Errorf("%+v: status %d, want %d: %s", m, res.StatusCode, want, res.body)
		}
		if want >= 400 {
			told.Write(res.body)
		}
	}
	signed := func(r *http.Request) { sign(t, secret, s.clock.now())(r) }
	m := posted{ID: number, Conversation: number, Sender: number, Text: words}
	say(m, 200, signed)
	m.Text += " again"
	say(m, 409, signed) // another message under the same id
	say(m, 401, func(r *http.Request) { sign(t, testSecret, s.clock.now())(r) })
	res := s.request("POST", "/v1/messages", `{"id":"`+number+`","`+words+`":1}`, signed)
	if res.StatusCode != 400 {
		t.Errorf("an unknown field: %d", res.StatusCode)
	}
	s.store.down.Store(true)
	say(posted{ID: "m-2", Conversation: number, Sender: number, Text: words}, 503, signed)
	s.store.down.Store(false)
	for i := range 12 {
		res := s.request("POST", "/v1/messages", bodyOf(posted{ID: "f-" + string(rune('a'+i)), Conversation: number, Sender: number, Text: words}), signed)
		if res.StatusCode == 429 {
			told.Write(res.body)
		}
	}
	// What cannot be delivered, for now and for good, by an error that quotes it.
	failing := newFake("failing", func(_ context.Context, n int, m channel.Message) error {
		if n > 1 {
			return channel.Permanent("the network refused " + number)
		}
		return &channel.SendError{Temporary: true, Reason: "no route to " + number}
	})
	s.app.deliverer.routes["failing"] = newRoute(failing)
	queueText(t, s.store, s.clock.now(), store.Out{ID: "o-" + number, Conversation: number, Channel: "failing", To: number}, channel.Message{Text: words})
	for range 2 {
		if _, err := s.app.deliverer.once(t.Context()); err != nil {
			t.Fatal(err)
		}
		s.app.deliverer.busy.Wait()
		s.clock.advance(time.Hour)
	}
	dead, err := s.store.Dead(t.Context(), "", 10)
	if err != nil || len(dead) != 1 {
		t.Fatalf("%d dead letters (%v)", len(dead), err)
	}
	s.request("GET", "/v1/conversations/"+number, "", signed)
	s.request("GET", "/v1/media/home."+strings.TrimPrefix(number, "+"), "")
	if !strings.Contains(told.String(), "too-many") || !strings.Contains(told.String(), "unavailable") {
		t.Errorf("the failures that were meant did not come: %s", &told)
	}
	for place, text := range map[string]string{"the log": s.log.String(), "an error": told.String(),
		"the metrics": string(s.request("GET", "/metrics", "").body), "readiness": string(s.request("GET", "/readyz", "").body)} {
		for _, canary := range []string{"canary", strings.TrimPrefix(secret, "whsec_"), number[1:], number[4:]} {
			if strings.Contains(text, canary) {
				t.Errorf("%s holds %q: %s", place, canary, lineWith(text, canary))
			}
		}
	}
}

// lineWith is the first line that holds a word.
func lineWith(text, word string) string {
	for _, line := range strings.Split(text, "\n") {
		if strings.Contains(line, word) {
			return line
		}
	}
	return ""
}
