package main

import (
	"encoding/json"
	"net/http"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"shimwright/store"
)

// metrics reads the service's metrics: the value of each series.
func (s *service) metrics() map[string]float64 {
	s.Helper()
	series := map[string]float64{}
	for _, line := range strings.Split(string(s.request("GET", "/metrics", "").body), "\n") {
		if i := strings.LastIndex(line, " "); i > 0 && !strings.HasPrefix(line, "#") {
			name, value := line[:i], line[i+1:]
			v, err := strconv.ParseFloat(value, 64)
			if err != nil {
				s.Fatalf("%q: %v", line, err)
			}
			series[name] = v
		}
	}
	return series
}

// TestMetricsOfAConversation counts a whole levelling.
func TestMetricsOfAConversation(t *testing.T) {
	s := newService(t)
	s.levelled("bench", 9)
	m := s.metrics()
	messages := m[`shimwright_messages_total{channel="page"}`]
	if messages == 0 {
		t.Fatalf("no messages counted: %v", m)
	}
	var steps, verdicts float64
	for name, v := range m {
		if strings.HasPrefix(name, "shimwright_steps_total{") {
			steps += v
		}
		if strings.HasPrefix(name, "shimwright_verdicts_total{") {
			verdicts += v
		}
		if strings.Contains(name, `"other"`) && !strings.Contains(name, "store_failures") && v > 0 {
			t.Errorf("%s %v: a value that the program does not know", name, v)
		}
	}
	if steps != messages || verdicts == 0 {
		t.Errorf("%v messages, %v steps, %v verdicts", messages, steps, verdicts)
	}
	if m[`shimwright_store_seconds_count{operation="commit"}`] < messages || m["shimwright_message_seconds_count"] != messages {
		t.Errorf("commits %v, handled %v", m[`shimwright_store_seconds_count{operation="commit"}`], m["shimwright_message_seconds_count"])
	}
	if m["shimwright_store_up"] != 1 || m["shimwright_reminders_due"] != 0 {
		t.Errorf("up %v, due %v", m["shimwright_store_up"], m["shimwright_reminders_due"])
	}
}

// TestMetricsOfQueues: what waits, what was given up, what is late; and none of
// them when the store is away, because what is not known is not zero.
func TestMetricsOfQueues(t *testing.T) {
	s := newService(t)
	now := s.clock.now()
	err := s.store.Commit(t.Context(), store.Commit{Shop: homeShop, At: now,
		Outbox: []store.Out{{ID: "o-1", Conversation: "c", Channel: "page", To: "x"}, {ID: "o-2", Conversation: "d", Channel: "page", To: "y"}},
		Remind: []store.Reminder{{ID: "r-1", Conversation: "c", Due: now.Add(time.Minute)}}})
	if err != nil {
		t.Fatal(err)
	}
	list, err := s.store.Claim(t.Context(), now, time.Minute, 1)
	if err != nil || len(list) != 1 {
		t.Fatal(list, err)
	}
	if err := s.store.Settle(t.Context(), list[0], store.Dead, now, "test"); err != nil {
		t.Fatal(err)
	}
	s.clock.advance(10 * time.Minute)
	m := s.metrics()
	for name, want := range map[string]float64{"shimwright_outgoing_waiting": 1, "shimwright_outgoing_oldest_seconds": 600,
		"shimwright_dead_letters": 1, "shimwright_reminders_due": 1, "shimwright_reminders_late_seconds": 540} {
		if m[name] != want {
			t.Errorf("%s is %v, want %v", name, m[name], want)
		}
	}
	s.store.down.Store(true)
	s.request("POST", "/v1/messages", bodyOf(posted{ID: "m-1", Conversation: "c", Text: "menu"}))
	m = s.metrics()
	if _, known := m["shimwright_outgoing_waiting"]; known || m["shimwright_store_up"] != 0 {
		t.Errorf("without a store: up %v, waiting known %v", m["shimwright_store_up"], known)
	}
	if m[`shimwright_store_failures_total{operation="take",reason="unavailable"}`] == 0 {
		t.Error("the failure was not counted")
	}
}

// TestMetricsAreBounded: whatever a client makes up, no label takes it.
func TestMetricsAreBounded(t *testing.T) {
	s := newService(t)
	series := func() map[string]bool {
		known := map[string]bool{}
		for name := range s.metrics() {
			if strings.HasPrefix(name, "shimwright_") { // not those of the language's runtime
				known[name] = true
			}
		}
		return known
	}
	try := func(n int) {
		for i := range n {
			made := "made-up-" + strconv.Itoa(i)
			s.request("GET", "/"+made, "")
			s.request("GET", "/v1/conversations/"+made, "")
			s.request("POST", "/v1/channels/"+made+"/in", "{}")
			s.request("POST", "/v1/messages", bodyOf(posted{ID: made, Conversation: made, Sender: made, Text: made}))
		}
	}
	try(10)
	try(1)   // a conversation that exists
	series() // which has its own series
	before := series()
	try(60)
	for name := range series() {
		if !before[name] {
			t.Errorf("%s came by what a client made up", name)
		}
	}
	if regexp.MustCompile(`made-up`).MatchString(string(s.request("GET", "/metrics", "").body)) {
		t.Error("a client's word is in the metrics")
	}
}

// TestOneLineAMessage: each handled message has one line at the usual level,
// with its trace, and no word of it.
func TestOneLineAMessage(t *testing.T) {
	s := newService(t)
	trace := "4bf92f3577b34da6a3ce929d0e0e4736"
	s.post(posted{ID: "m-4915112345678", Conversation: "+4915112345678", Text: "menu please"}, func(r *http.Request) {
		r.Header.Del("X-Request-Id")
		r.Header.Set("Traceparent", "00-"+trace+"-00f067aa0ba902b7-01") // the example of W3C Trace Context
	})
	var lines []map[string]any
	for _, line := range strings.Split(strings.TrimSpace(s.log.String()), "\n") {
		var l map[string]any
		if err := json.Unmarshal([]byte(line), &l); err != nil {
			t.Fatal(err)
		}
		if l["level"] != "DEBUG" {
			lines = append(lines, l)
		}
	}
	if len(lines) != 1 || lines[0]["trace"] != trace || lines[0]["conversation"] != "+***78" || lines[0]["message"] != "m-***78" {
		t.Errorf("the log has %v", lines)
	}
	if strings.Contains(s.log.String(), "please") || strings.Contains(s.log.String(), "4915112") {
		t.Errorf("the log says too much: %s", s.log.String())
	}
	if !slices.Equal([]string{traceParent("00-" + strings.Repeat("0", 32) + "-00f067aa0ba902b7-01"), traceParent("x"), traceParent("")}, []string{"", "", ""}) {
		t.Error("a trace without an id was taken")
	}
}
