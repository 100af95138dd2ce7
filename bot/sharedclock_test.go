package main

import (
	"context"
	"errors"
	"fmt"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"
	"time"

	"shimwright/bot/channel"
	"shimwright/bot/channel/webhook"
	"shimwright/store"
	"shimwright/store/redisstore"
	"shimwright/store/redistest"
)

// TestClockTenMinutesOff: of three replicas on one Redis one has a clock ten
// minutes fast and one ten minutes slow. Their leases still hold against each
// other: each text goes once, in order, although sending takes a while; and no
// reminder fires before its time.
func TestClockTenMinutesOff(t *testing.T) {
	server := redistest.Start(t)
	open := func() store.Store {
		s, err := redisstore.Open(t.Context(), server.URL(0))
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	s := open()
	defer s.Close()
	const conversations, each = 40, 3
	queueMany(t, s, time.Now(), webhook.Name, conversations, each)
	err := s.Commit(t.Context(), store.Commit{Shop: "shop", At: time.Now(), Remind: []store.Reminder{
		{ID: "later", Conversation: "c", Person: "kim", Due: time.Now().Add(5 * time.Minute)}}})
	if err != nil {
		t.Fatal(err)
	}
	// One network for all three; each attempt takes longer than a look.
	sink := newFake(webhook.Name, func(ctx context.Context, n int, m channel.Message) error {
		time.Sleep(time.Duration(20+n%7*20) * time.Millisecond)
		return nil
	})
	var apps []*app
	for _, off := range []time.Duration{0, 10 * time.Minute, -10 * time.Minute} {
		inner := open()
		a, err := newApp(testConfig(), inner, shift(off), quiet())
		if err != nil {
			t.Fatal(err)
		}
		a.deliverer.routes[webhook.Name] = newRoute(sink)
		a.follow(inner)
		if got := time.Until(a.clock.now()).Abs(); got > maxSkew {
			t.Errorf("a replica that is %v off goes by a time that is %v off", off, got)
		}
		res := readyOf(t, a)
		if warns := strings.Contains(res, "clocks"); warns != (off != 0) {
			t.Errorf("a replica that is %v off says of itself %s", off, res)
		}
		a.start()
		apps = append(apps, a)
	}
	redistest.Eventually(t, "the texts to be sent", func() error {
		if n := waiting(t, s, time.Now()); n > 0 {
			return fmt.Errorf("%d wait", n)
		}
		return nil
	})
	for _, a := range apps {
		a.stop()
		a.workers.Wait() // its own look has ended; this is one more, by its clock
		if _, err := a.reminders.once(t.Context()); err != nil {
			t.Error(err)
		}
		if err := a.close(); err != nil {
			t.Error(err)
		}
	}
	if n := len(sink.sent()); n != conversations*each || sink.most > 1 {
		t.Errorf("%d attempts for %d texts, up to %d at once in one conversation", n, conversations*each, sink.most)
	}
	for c := range conversations {
		for i, text := range sink.texts(fmt.Sprintf("to-%s-%d", webhook.Name, c+1)) {
			if want := fmt.Sprintf("%s-%d/%d", webhook.Name, c+1, i+1); text != want {
				t.Errorf("number %d of a conversation was %s, want %s", i+1, text, want)
			}
		}
	}
	docs, err := s.Load(t.Context(), store.Conversation{Shop: "shop", ID: "c"}, "")
	if err != nil || len(docs.Reminders) != 1 {
		t.Errorf("a reminder fired before its time: %+v %v", docs.Reminders, err)
	}
}

// readyOf is what a replica says of itself.
func readyOf(t *testing.T, a *app) string {
	t.Helper()
	w := httptest.NewRecorder()
	a.server.routes().ServeHTTP(w, httptest.NewRequest("GET", "/readyz", nil))
	if w.Code != 200 {
		t.Errorf("/readyz: %d", w.Code)
	}
	return w.Body.String()
}

// handClock is a store's clock that a test sets.
type handClock struct {
	mu   sync.Mutex
	at   time.Time
	away error
}

func (h *handClock) Clock(context.Context) (time.Time, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.at, h.away
}

// A clock that is mended, or that cannot be seen for a while, is followed; one
// that is off by less than matters is left alone.
func TestSharedClockFollows(t *testing.T) {
	at := start()
	own := at
	c := &sharedClock{own: func() time.Time { return own }}
	h := &handClock{at: at.Add(maxSkew)}
	look := func(changes bool, want time.Time) {
		t.Helper()
		if changed, err := c.look(t.Context(), h); changed != changes || !errors.Is(err, h.away) || !c.now().Equal(want) {
			t.Errorf("changed %v (%v), the time is %v; want %v and %v", changed, err, c.now(), changes, want)
		}
	}
	look(false, own)
	h.at = at.Add(10 * time.Minute)
	look(true, h.at)
	look(false, h.at)
	h.away = store.ErrUnavailable
	look(false, h.at)
	h.away, own = nil, h.at // somebody has put this machine right
	look(true, own)
	if c.ahead() != 0 {
		t.Errorf("still %v ahead", c.ahead())
	}
}
