package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"shimwright/bot/channel"
	"shimwright/store"
	"shimwright/store/boltstore"
)

// openFile opens an embedded store in a folder of the test's own.
func openBolt(t testing.TB) store.Store {
	t.Helper()
	s, err := boltstore.Open(filepath.Join(t.TempDir(), "shop.db"))
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func quiet() *slog.Logger { return slog.New(slog.NewTextHandler(io.Discard, nil)) }

// half stands in for the jitter where a test needs to know it.
func half() float64 { return 0.5 }

// queueText commits one outgoing message.
func queueText(t testing.TB, s store.Store, at time.Time, o store.Out, m channel.Message) {
	t.Helper()
	m.ID = o.ID
	if o.Body == nil {
		body, err := json.Marshal(m)
		if err != nil {
			t.Fatal(err)
		}
		o.Body = body
	}
	if o.Channel == "" {
		o.Channel = "fake"
	}
	if o.To == "" {
		o.To = "to-" + o.Conversation
	}
	err := s.Commit(t.Context(), store.Commit{Shop: "shop", At: at, Outbox: []store.Out{o}})
	if err != nil {
		t.Fatal(err)
	}
}

// queueMany queues n messages in each conversation, named c-1…, with the ids
// c-1/1….
func queueMany(t testing.TB, s store.Store, at time.Time, channelName string, conversations, n int) {
	t.Helper()
	for i := range n {
		var outs []store.Out
		for c := range conversations {
			conv := fmt.Sprintf("%s-%d", channelName, c+1)
			id := fmt.Sprintf("%s/%d", conv, i+1)
			body, _ := json.Marshal(channel.Message{ID: id, Text: id})
			outs = append(outs, store.Out{ID: id, Conversation: conv, Channel: channelName, To: "to-" + conv, Body: body})
		}
		if err := s.Commit(t.Context(), store.Commit{Shop: "shop", At: at, Outbox: outs}); err != nil {
			t.Fatal(err)
		}
	}
}

// waiting is how many messages are not settled.
func waiting(t testing.TB, s store.Store, now time.Time) int {
	t.Helper()
	st, err := s.Stats(t.Context(), now)
	if err != nil {
		t.Fatal(err)
	}
	return st.Waiting
}

// deadReasons lists dead letters by id.
func deadReasons(t testing.TB, s store.Store) map[string]string {
	t.Helper()
	list, err := s.Dead(t.Context(), "", 1000)
	if err != nil {
		t.Fatal(err)
	}
	m := map[string]string{}
	for _, d := range list {
		m[d.Out.ID] = d.Reason
	}
	return m
}

// sending is one attempt as a network saw it.
type sending struct {
	id, to, text, ref string
	at                time.Time
}

// fakeNetwork is a channel whose network does what the test says.
type fakeNetwork struct {
	name   string
	limits channel.Limits
	answer func(ctx context.Context, n int, m channel.Message) error // n counts from 1; nil: accepted
	now    func() time.Time

	mu    sync.Mutex
	seen  []sending
	shown []channel.Media
	under map[string]int // attempts under way, by address
	most  int            // at once, in one conversation
}

func newFake(name string, answer func(ctx context.Context, n int, m channel.Message) error) *fakeNetwork {
	return &fakeNetwork{name: name, answer: answer, now: time.Now, under: map[string]int{}}
}

func (f *fakeNetwork) Name() string           { return f.name }
func (f *fakeNetwork) Limits() channel.Limits { return f.limits }
func (f *fakeNetwork) Receive(channel.Request) ([]channel.Inbound, channel.Ack, error) {
	return nil, channel.Ack{}, channel.Refuse(404, "nothing here")
}

func (f *fakeNetwork) Send(ctx context.Context, to string, m channel.Message) error {
	f.mu.Lock()
	f.seen = append(f.seen, sending{m.ID, to, m.Text, m.Ref, f.now()})
	f.shown = append(f.shown, m.Media...)
	n := len(f.seen)
	f.under[to]++
	f.most = max(f.most, f.under[to])
	f.mu.Unlock()
	defer func() {
		f.mu.Lock()
		f.under[to]--
		f.mu.Unlock()
	}()
	if f.answer == nil {
		return nil
	}
	return f.answer(ctx, n, m)
}

// sent lists the attempts so far.
func (f *fakeNetwork) sent() []sending {
	f.mu.Lock()
	defer f.mu.Unlock()
	return append([]sending(nil), f.seen...)
}

// count is how many attempts there were.
func (f *fakeNetwork) count() int {
	f.mu.Lock()
	defer f.mu.Unlock()
	return len(f.seen)
}

// media lists the pictures that went with them.
func (f *fakeNetwork) media() []channel.Media {
	f.mu.Lock()
	defer f.mu.Unlock()
	return append([]channel.Media(nil), f.shown...)
}

// texts lists the texts of the attempts to one address, in order.
func (f *fakeNetwork) texts(to string) (list []string) {
	for _, s := range f.sent() {
		if s.to == to {
			list = append(list, s.text)
		}
	}
	return list
}

// tally counts what became of attempts.
type tally struct {
	mu sync.Mutex
	n  map[deliveryResult]int
}

func (t *tally) count(_ string, r deliveryResult) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.n == nil {
		t.n = map[deliveryResult]int{}
	}
	t.n[r]++
}

func (t *tally) of(r deliveryResult) int {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.n[r]
}

// shift is a clock that runs ahead of the test's by a fixed time.
func shift(by time.Duration) func() time.Time {
	return func() time.Time { return time.Now().Add(by) }
}

// live lets a test's clock follow the real one until the test ends: a network
// says when a message was sent.
func live(t *testing.T, c *testClock) {
	c.set(time.Now())
	stop, done := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(done)
		tick := time.NewTicker(20 * time.Millisecond)
		defer tick.Stop()
		for {
			select {
			case <-stop:
				return
			case now := <-tick.C:
				c.set(now)
			}
		}
	}()
	t.Cleanup(func() { close(stop); <-done })
}
