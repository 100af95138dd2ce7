package main

import (
	"context"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"shimwright/bot/channel"
	"shimwright/bot/channel/webhook"
	"shimwright/store"
	"shimwright/store/boltstore"
)

// callback is a receiver of signed messages: a real server on loopback that
// checks each one and keeps it.
type callback struct {
	*httptest.Server
	mu     sync.Mutex
	ids    []string
	bodies []string
	refuse int // answer so many with 500
}

const callbackSecret = "whsec_Q2FuYXJ5Q2FuYXJ5YWFhYWFhYWFhYWFhYWFhYWFhYWFhYWFh"

func newCallback(t testing.TB, now func() time.Time) *callback {
	keys, err := webhook.ParseKeys(callbackSecret)
	if err != nil {
		t.Fatal(err)
	}
	c := &callback{}
	c.Server = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		body, _ := io.ReadAll(r.Body)
		if err := keys.Verify(r.Header, body, now()); err != nil {
			t.Errorf("a callback does not verify: %v", err)
			http.Error(w, "bad signature", http.StatusUnauthorized)
			return
		}
		c.mu.Lock()
		defer c.mu.Unlock()
		if c.refuse > 0 {
			c.refuse--
			http.Error(w, "not now", http.StatusInternalServerError)
			return
		}
		c.ids, c.bodies = append(c.ids, r.Header.Get("webhook-id")), append(c.bodies, string(body))
	}))
	t.Cleanup(c.Close)
	return c
}

func (c *callback) got() (ids, bodies []string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	return append([]string(nil), c.ids...), append([]string(nil), c.bodies...)
}

func webhookTo(t testing.TB, url string, now func() time.Time) *webhook.Channel {
	t.Helper()
	keys, err := webhook.ParseKeys(callbackSecret)
	if err != nil {
		t.Fatal(err)
	}
	c, err := webhook.New(webhook.Options{URL: url, Keys: keys, Now: now})
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// The environment of the process that is killed.
const (
	killPoint = "BOT_TEST_KILL_POINT"
	killFile  = "BOT_TEST_KILL_FILE"
	killURL   = "BOT_TEST_KILL_URL"
)

// The points at which a worker is killed.
const (
	afterClaim  = "after claim"
	whileSent   = "while sending"
	afterSend   = "after send"
	afterSettle = "after settle"
)

// die ends this process as a power cut would: no deferred call runs.
func die() {
	p, err := os.FindProcess(os.Getpid())
	if err == nil {
		_ = p.Kill()
	}
	select {}
}

// dyingStore and dyingChannel kill the process on the fifth pass of the point.
type dyingStore struct {
	store.Store
	at    string
	count int
}

func (s *dyingStore) pass(point string) {
	if s.at != point {
		return
	}
	if s.count++; s.count == 5 {
		die()
	}
}

func (s *dyingStore) Claim(ctx context.Context, now time.Time, lease time.Duration, max int) ([]store.Delivery, error) {
	list, err := s.Store.Claim(ctx, now, lease, 1)
	if len(list) > 0 {
		s.pass(afterClaim)
	}
	return list, err
}

func (s *dyingStore) Settle(ctx context.Context, d store.Delivery, o store.Outcome, next time.Time, reason string) error {
	s.pass(afterSend)
	err := s.Store.Settle(ctx, d, o, next, reason)
	s.pass(afterSettle)
	return err
}

type dyingChannel struct {
	*webhook.Channel
	store *dyingStore
}

func (c dyingChannel) Send(ctx context.Context, to string, m channel.Message) error {
	if c.store.at == whileSent {
		if c.store.count++; c.store.count == 5 {
			time.AfterFunc(time.Millisecond, die)
		}
	}
	return c.Channel.Send(ctx, to, m)
}

// TestKilledWorkerProcess is the process that is killed; by itself it does
// nothing.
func TestKilledWorkerProcess(t *testing.T) {
	point := os.Getenv(killPoint)
	if point == "" {
		return
	}
	s, err := boltstore.Open(os.Getenv(killFile))
	if err != nil {
		t.Fatal(err)
	}
	dying := &dyingStore{Store: s, at: point}
	c := dyingChannel{webhookTo(t, os.Getenv(killURL), time.Now), dying}
	d := newDeliverer(dying, []channel.Channel{c}, time.Now, half, quiet())
	for range 1000 {
		if _, err := d.once(t.Context()); err != nil {
			t.Fatal(err)
		}
		d.idle()
	}
	t.Fatal("this process was to be killed")
}

// A worker killed at any point loses nothing, and what was under way goes at
// most once more, with the same id and bytes, in its place in the order.
func TestKilledWorker(t *testing.T) {
	for _, point := range []string{afterClaim, whileSent, afterSend, afterSettle} {
		t.Run(point, func(t *testing.T) {
			now := time.Now
			cb := newCallback(t, func() time.Time { return now() })
			path := filepath.Join(t.TempDir(), "shop.db")
			s, err := boltstore.Open(path)
			if err != nil {
				t.Fatal(err)
			}
			const n = 12
			queueMany(t, s, time.Now(), webhook.Name, 1, n)
			if err := s.Close(); err != nil {
				t.Fatal(err)
			}

			cmd := exec.Command(os.Args[0], "-test.run=^TestKilledWorkerProcess$")
			cmd.Env = append(os.Environ(), killPoint+"="+point, killFile+"="+path, killURL+"="+cb.URL)
			out, err := cmd.CombinedOutput()
			if err == nil || strings.Contains(string(out), "FAIL") {
				t.Fatalf("the worker was not killed: %v\n%s", err, out)
			}
			before, _ := cb.got()

			if s, err = boltstore.Open(path); err != nil {
				t.Fatal(err)
			}
			defer s.Close()
			now = shift(leaseTime)
			d := newDeliverer(s, []channel.Channel{webhookTo(t, cb.URL, now)}, now, half, quiet())
			for range 2 * n {
				if _, err := d.once(t.Context()); err != nil {
					t.Fatal(err)
				}
				d.idle()
			}
			checkRepeats(t, cb, len(before), n, point == afterSend || point == whileSent)
			if w := waiting(t, s, now()); w != 0 {
				t.Errorf("%d still wait", w)
			}
		})
	}
}

// checkRepeats checks what a receiver got: every message, in order, and at
// most the one at the kill twice.
func checkRepeats(t *testing.T, cb *callback, before, n int, mayRepeat bool) {
	t.Helper()
	ids, bodies := cb.got()
	seen := map[string]string{}
	next, repeats := 1, 0
	for i, id := range ids {
		if body, ok := seen[id]; ok {
			repeats++
			// What was on its way at the kill may arrive after it.
			if body != bodies[i] || ids[i-1] != id || i < before {
				t.Errorf("message %s came again as number %d (killed after %d), the same: %v", id, i+1, before, body == bodies[i])
			}
			continue
		}
		seen[id] = bodies[i]
		if want := fmt.Sprintf("webhook-1/%d", next); id != want {
			t.Errorf("number %d is %s, want %s", i+1, id, want)
		}
		next++
	}
	if len(seen) != n || repeats > 1 || repeats == 1 && !mayRepeat {
		t.Errorf("%d of %d messages arrived, %d of them twice", len(seen), n, repeats)
	}
}
