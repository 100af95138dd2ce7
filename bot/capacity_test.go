package main

import (
	"fmt"
	"sync"
	"testing"
	"time"

	"shimwright/dialog"
)

// TestOverCapacity: with as many messages under way as there is room for, the
// next are asked to come again, with nothing done; everything else answers; and
// as soon as there is room the same messages are handled, once.
func TestOverCapacity(t *testing.T) {
	const atOnce, more = 6, 10
	s := newService(t)
	s.app.handler.room = make(chan struct{}, atOnce)
	step, entered, goOn := s.app.handler.dialog, make(chan struct{}, atOnce), make(chan struct{})
	s.app.handler.dialog = func(v dialog.View, st dialog.State, in dialog.Input, now time.Time) dialog.Result {
		entered <- struct{}{}
		<-goOn
		return step(v, st, in, now)
	}
	message := func(i int) posted {
		return posted{ID: "m-1", Conversation: fmt.Sprint("tablet-", i), Sender: "kim", Text: "menu"}
	}
	var wg sync.WaitGroup
	for i := range atOnce {
		wg.Go(func() { s.post(message(i), s.signed) })
	}
	for range atOnce {
		<-entered
	}
	const want = `{"type":"urn:shimwright:problem:overloaded","title":"Too much at once","status":503,"detail":"More people write than the service can answer now. Nothing was done; wait as long as the Retry-After header says, then send the message again with the same id.","request_id":"req-1"}` + "\n"
	for i := range more {
		res := s.request("POST", "/v1/messages", bodyOf(message(atOnce+i)), s.signed)
		if string(res.body) != want || res.StatusCode != 503 || res.Header.Get("Retry-After") != "1" {
			t.Errorf("one too many: %d, Retry-After %q: %s", res.StatusCode, res.Header.Get("Retry-After"), res.body)
		}
	}
	for _, path := range []string{"/healthz", "/readyz", "/metrics", "/"} {
		if res := s.request("GET", path, ""); res.StatusCode != 200 {
			t.Errorf("%s: %d", path, res.StatusCode)
		}
	}
	close(goOn)
	wg.Wait()
	go func() {
		for range entered { // nobody counts any more
		}
	}()
	for i := range atOnce + more {
		s.post(message(i), s.signed)
		if n := len(s.transcript(fmt.Sprintf("/v1/conversations/tablet-%d", i), s.signed).Entries); n != 1 {
			t.Errorf("tablet-%d has %d entries, want 1", i, n)
		}
	}
	close(entered)
	if n := len(s.app.handler.room); n != 0 {
		t.Errorf("%d messages are under way, with nobody waiting for one", n)
	}
}
