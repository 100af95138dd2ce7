package main

import (
	"errors"
	"fmt"
	"net/http"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"shimwright/dialog"
	"shimwright/store"
	"shimwright/store/redisstore"
	"shimwright/store/redistest"
)

// TestFourLanes: messages of one conversation are handled one after the other,
// in order of arrival, while other conversations go on beside it; each person's
// messages are all there, once.
func TestFourLanes(t *testing.T) {
	s := newService(t)
	const each = 25
	var wg sync.WaitGroup
	for c := range 4 {
		wg.Go(func() {
			for i := range each {
				s.post(posted{ID: fmt.Sprint("m-", i), Conversation: fmt.Sprint("lane-", c), Sender: "kim", Text: fmt.Sprint(i)}, s.signed)
			}
		})
	}
	wg.Wait()
	for c := range 4 {
		list := s.transcript(fmt.Sprintf("/v1/conversations/lane-%d?max=200", c), s.signed).Entries
		if len(list) != each {
			t.Fatalf("lane %d has %d entries", c, len(list))
		}
		for i, e := range list {
			if e.Message.Text != strconv.Itoa(i) {
				t.Errorf("lane %d, place %d: %q", c, i, e.Message.Text)
			}
		}
	}
}

// TestManyPeopleOfOneShop: everybody in a shop relies on the same documents,
// and yet everybody gets on.
func TestManyPeopleOfOneShop(t *testing.T) {
	s := newService(t)
	var wg sync.WaitGroup
	for c := range 32 {
		wg.Go(func() {
			for i := range 6 {
				s.post(posted{ID: fmt.Sprint("m-", i), Conversation: fmt.Sprint("bench-", c), Text: "menu"})
			}
		})
	}
	wg.Wait()
	if n := s.app.handler.lanes.len(); n != 0 {
		t.Errorf("%d lanes are left", n)
	}
	t.Logf("%v", strings.Join(regexp.MustCompile(`shimwright_commits_stale_total \d+`).FindAllString(string(s.request("GET", "/metrics", "").body), -1), ""))
}

// TestTheSameMessageTwentyTimes at once has one effect and one answer.
func TestTheSameMessageTwentyTimes(t *testing.T) {
	s := newService(t)
	m := posted{ID: "m-1", Conversation: "bench", Text: "level"}
	answers := make(chan string, 20)
	for range cap(answers) {
		go func() { answers <- string(s.request("POST", "/v1/messages", bodyOf(m)).body) }()
	}
	first := <-answers
	for range cap(answers) - 1 {
		if a := <-answers; a != first {
			t.Errorf("one answer was\n%s\nanother\n%s", first, a)
		}
	}
	if n := len(s.transcript("/v1/conversations/bench").Entries); n != 1 {
		t.Errorf("%d entries", n)
	}
}

// TestStaleStateIsHandledAfresh: another replica changes the people of the
// shop between load and commit, several times.
func TestStaleStateIsHandledAfresh(t *testing.T) {
	s := newService(t)
	s.post(posted{ID: "m-0", Conversation: "bench", Text: "menu"})
	var times atomic.Int32
	hook := func(c store.Commit) {
		if c.Inbound.ID == "" || times.Add(1) > 3 {
			return
		}
		if _, err := s.app.pairing.invite(t.Context(), invitation{Name: fmt.Sprint("person ", times.Load())}); err != nil {
			t.Error(err)
		}
	}
	s.store.before.Store(&hook)
	s.post(posted{ID: "m-1", Conversation: "bench", Text: "menu"})
	if times.Load() != 4 {
		t.Errorf("%d tries, want 4", times.Load())
	}
	for i := range 3 {
		if !strings.Contains(s.storedPeople(homeShop), fmt.Sprint("person ", i+1)) {
			t.Errorf("person %d, added meanwhile, is gone", i+1)
		}
	}
	if n := len(s.transcript("/v1/conversations/bench").Entries); n != 2 {
		t.Errorf("%d entries, want 2", n)
	}
}

// TestGivingUpOnStaleState: when the state never stands still the client is
// asked to come again, and nothing is half done.
func TestGivingUpOnStaleState(t *testing.T) {
	s := newService(t)
	hook := func(c store.Commit) {
		if c.Inbound.ID != "" {
			_, _ = s.app.pairing.invite(t.Context(), invitation{})
		}
	}
	s.store.before.Store(&hook)
	m := posted{ID: "m-1", Conversation: "bench", Text: "menu"}
	if res := s.request("POST", "/v1/messages", bodyOf(m)); res.StatusCode != 503 || res.Header.Get("Retry-After") == "" {
		t.Errorf("status %d: %s", res.StatusCode, res.body)
	}
	s.store.before.Store(nil)
	s.post(m)
	if n := len(s.transcript("/v1/conversations/bench").Entries); n != 1 {
		t.Errorf("%d entries, want 1", n)
	}
}

func TestStoreAway(t *testing.T) {
	s := newService(t)
	s.post(posted{ID: "m-0", Conversation: "bench", Text: "menu"})
	cookie := s.pairDevice(invitation{})
	const want = `{"type":"urn:shimwright:problem:unavailable","title":"The store does not answer","status":503,"detail":"Nothing half done is left. Try again; a message goes with the same id.","request_id":"req-1"}`
	body := bodyOf(posted{ID: "m-1", Conversation: "bench", Sender: "kim", Text: "menu"})
	s.store.down.Store(true)
	for name, edit := range map[string]func(*http.Request){"local": func(*http.Request) {}, "paired": cookie, "program": s.signed} {
		res := s.request("POST", "/v1/messages", body, edit)
		if got := strings.TrimSpace(string(res.body)); got != want || res.Header.Get("Retry-After") != "2" {
			t.Errorf("%s: %s, Retry-After %q", name, got, res.Header.Get("Retry-After"))
		}
	}
	if res := s.request("GET", "/readyz", ""); res.StatusCode != 503 || !strings.Contains(string(res.body), `"missing":["store"]`) {
		t.Errorf("readyz: %d %s", res.StatusCode, res.body)
	}
	if res := s.request("GET", "/healthz", ""); res.StatusCode != 200 {
		t.Errorf("healthz: %d", res.StatusCode)
	}
	s.store.down.Store(false)
	if res := s.request("GET", "/readyz", ""); res.StatusCode != 200 {
		t.Errorf("readyz afterwards: %d", res.StatusCode)
	}
	if n := len(s.transcript("/v1/conversations/bench").Entries); n != 1 {
		t.Errorf("%d entries: something was half done", n)
	}
	s.post(posted{ID: "m-1", Conversation: "bench", Text: "menu"})
}

// TestOneSenderTooMany: the allowance is the sender's own.
func TestOneSenderTooMany(t *testing.T) {
	s := newService(t, func(c *Config) { c.Rate, c.Burst = 0.5, 3 })
	say := func(n int, sender string) response {
		return s.request("POST", "/v1/messages", bodyOf(posted{ID: fmt.Sprint("m-", sender, n), Conversation: "rig", Sender: sender, Text: "menu"}), s.signed)
	}
	for i := range 3 {
		if res := say(i, "kim"); res.StatusCode != 200 {
			t.Fatalf("message %d: %d", i, res.StatusCode)
		}
	}
	res := say(3, "kim")
	const want = `{"type":"urn:shimwright:problem:too-many","title":"Too many messages","status":429,"detail":"Wait as long as the Retry-After header says, then send the message again with the same id.","request_id":"req-1"}`
	if strings.TrimSpace(string(res.body)) != want || res.Header.Get("Retry-After") != "2" {
		t.Errorf("%s, Retry-After %q", res.body, res.Header.Get("Retry-After"))
	}
	if res := say(0, "lee"); res.StatusCode != 200 {
		t.Errorf("somebody else: %d", res.StatusCode)
	}
	s.clock.advance(2 * time.Second)
	if res := say(3, "kim"); res.StatusCode != 200 {
		t.Errorf("after the time said: %d", res.StatusCode)
	}
}

func TestLimiterForgetsTheIdle(t *testing.T) {
	l := newLimiter(newService(t).store, "test", 1, 2)
	now := time.Unix(0, 0)
	take := func(sender string) {
		if wait, err := l.take(t.Context(), sender, now); wait > 0 || err != nil {
			t.Fatal(sender, wait, err)
		}
	}
	for i := range 100 {
		take(fmt.Sprint(i))
	}
	now = now.Add(2 * sweepEvery)
	take("one more")
	if len(l.hand) != 1 {
		t.Errorf("%d senders are remembered", len(l.hand))
	}
}

// TestAllowanceOfReplicas: who writes to two replicas in turn has one
// allowance, and at most what one draw of each leaves on top.
func TestAllowanceOfReplicas(t *testing.T) {
	server := redistest.Start(t)
	clock := newTestClock()
	var replicas [2]*service
	for i := range replicas {
		s, err := redisstore.Open(t.Context(), server.URL(0))
		if err != nil {
			t.Fatal(err)
		}
		replicas[i] = newServiceWith(t, s, clock, func(c *Config) { c.Rate, c.Burst = 0.1, 30 })
	}
	say := func(i int) response {
		return replicas[i%2].request("POST", "/v1/messages", bodyOf(posted{ID: fmt.Sprint("m-", i), Conversation: "rig", Sender: "+4915550000001", Text: "menu"}), replicas[0].signed)
	}
	taken := 0
	for i := range 60 {
		switch res := say(i); res.StatusCode {
		case http.StatusOK:
			taken++
		case http.StatusTooManyRequests:
			if wait := res.Header.Get("Retry-After"); wait != "10" {
				t.Errorf("message %d: Retry-After %q", i, wait)
			}
		default:
			t.Fatalf("message %d: %d %s", i, res.StatusCode, res.body)
		}
	}
	if taken != 30 {
		t.Errorf("two replicas took %d messages, want 30", taken)
	}
	clock.advance(10 * time.Second)
	if a, b := say(60), say(61); a.StatusCode != 200 || b.StatusCode != 429 {
		t.Errorf("after the time said: %d, %d; want one message for both replicas", a.StatusCode, b.StatusCode)
	}
	keys, err := server.Client(t).Keys(t.Context(), "*").Result()
	if err != nil || strings.Contains(strings.Join(keys, " "), "4915550000001") {
		t.Errorf("a number is in the keys %v (%v)", keys, err)
	}
}

// TestBothUsesOfOneID: a commit that finds the id taken by another message is
// a conflict also when the load had not seen it yet.
func TestBothUsesOfOneID(t *testing.T) {
	s := newService(t)
	once := sync.OnceFunc(func() {
		e := event{shop: homeShop, conversation: "bench", channel: "page", message: posted{ID: "m-1", Conversation: "bench", Text: "due"},
			speaker: &speaker{kind: local, conversation: "bench"}}
		if _, err := s.app.handler.settle(t.Context(), e); err != nil {
			t.Error(err)
		}
	})
	hook := func(c store.Commit) {
		if string(c.Inbound.Text) == "menu" {
			once()
		}
	}
	s.store.before.Store(&hook)
	if res := s.request("POST", "/v1/messages", bodyOf(posted{ID: "m-1", Conversation: "bench", Text: "menu"})); res.StatusCode != 409 {
		t.Errorf("status %d: %s", res.StatusCode, res.body)
	}
}

func TestStoreProblems(t *testing.T) {
	for err, want := range map[error]int{
		store.ErrUnavailable:            503,
		store.Full("document", 2, 1):    507,
		errors.New("anything else"):     500,
		notFound("nothing"):             404,
		fmt.Errorf("x: %w", conflict()): 409,
		fmt.Errorf("%w: x", errRevoked): 500,
	} {
		if p := asProblem(storeProblem(err)); p.Status != want {
			t.Errorf("%v: status %d, want %d", err, p.Status, want)
		}
	}
	if storeProblem(nil) != nil {
		t.Error("no error became one")
	}
}

// TestUnreadableDocuments: a document that this version cannot read is said,
// and left as it is.
func TestUnreadableDocuments(t *testing.T) {
	for _, k := range []store.Kind{store.KindConversation, store.KindSaw, store.KindPeople} {
		s := newService(t)
		id := map[store.Kind]string{store.KindConversation: "bench", store.KindSaw: "saw-1"}[k]
		if err := s.store.Commit(t.Context(), store.Commit{Shop: homeShop, At: s.clock.now(),
			Put: []store.Doc{{Kind: k, ID: id, Body: []byte(`{"schema":"later"`)}}}); err != nil {
			t.Fatal(err)
		}
		if res := s.request("POST", "/v1/messages", bodyOf(posted{ID: "m-1", Conversation: "bench", Text: "menu"})); res.StatusCode != 500 {
			t.Errorf("%s: status %d", k, res.StatusCode)
		}
		if !strings.Contains(s.log.String(), "cannot be read") {
			t.Errorf("%s: the log does not say why: %s", k, s.log)
		}
	}
}

// TestErasedSaw: a saw that its owner forgot is gone with its records, also
// when the erasure itself was cut short.
func TestErasedSaw(t *testing.T) {
	s := newService(t)
	s.levelled("bench", 5)
	docs, err := s.store.Load(t.Context(), store.Conversation{Shop: homeShop, ID: "bench"}, "")
	if err != nil || len(docs.Saws) != 1 {
		t.Fatalf("%d saws (%v)", len(docs.Saws), err)
	}
	put := sawDocs(docs, dialog.Result{Saws: []dialog.Saw{{ID: "saw-1"}}, EraseSaw: "saw-1"})
	if len(put) != 1 || string(put[0].Body) != tombstone {
		t.Fatalf("the commit puts %+v", put)
	}
	// The crash comes after the commit, before the erasure.
	if err := s.store.Commit(t.Context(), store.Commit{Shop: homeShop, At: s.clock.now(), Put: put}); err != nil {
		t.Fatal(err)
	}
	if res := s.request("GET", "/v1/machines/saw-1/records", ""); res.StatusCode != 404 {
		t.Errorf("its records: status %d", res.StatusCode)
	}
	s.post(posted{ID: "m-next", Conversation: "other", Text: "menu"})
	if list, err := s.store.Records(t.Context(), recordsOf(homeShop, "saw-1")); err != nil || len(list) != 0 {
		t.Errorf("%d records are left (%v)", len(list), err)
	}
	if _, err := s.store.Get(t.Context(), homeShop, store.KindSaw, "saw-1"); !errors.Is(err, store.ErrNotFound) {
		t.Errorf("its document: %v", err)
	}
}

// TestHistoryIsLoadedWhenAsked: the word history makes the dialog ask for it.
func TestHistoryIsLoadedWhenAsked(t *testing.T) {
	s := newService(t)
	s.levelled("bench", 5)
	a := s.post(posted{ID: "m-history", Conversation: "bench", Text: "history"})
	if len(a.Replies) == 0 || a.Replies[0].Text == "" {
		t.Errorf("answer %s", encode(a))
	}
}

// TestReplyIDs: the ids of replies as the interface shows them.
func TestReplyIDs(t *testing.T) {
	for id, want := range map[string]string{"m-102": "r-102-1", "102": "r-102-1", "4f1a-9": "r-4f1a-9-1"} {
		if got := replyID(id, 1); got != want {
			t.Errorf("%s gives %s, want %s", id, got, want)
		}
	}
}

func FuzzParsePosted(f *testing.F) {
	for _, s := range []string{example, `{"id":"m-1","conversation":"c","text":"\u0000"}`, `{"id":1}`, `{`, `[]`, `{"id":"a","id":"b"}`,
		`{"id":"m","conversation":"c","text":"t","sent_at":"2026-03-02T09:14:05.123456789+14:00"}`, "\xff", `{"a":{"b":[1,2]}}`} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, body []byte) {
		m, err := parsePosted(body)
		if err != nil {
			p := asProblem(err)
			if p.Status != 400 || p.Detail == "" {
				t.Fatalf("problem %+v", p)
			}
			return
		}
		if !plainName(m.ID) || !plainName(m.Conversation) || len(m.Text) > store.MaxInbound {
			t.Fatalf("taken: %+v", m)
		}
		again, err := parsePosted([]byte(bodyOf(m)))
		if err != nil || again != m {
			t.Fatalf("written and read again, %+v is %+v (%v)", m, again, err)
		}
	})
}
