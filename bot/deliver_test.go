package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"shimwright/bot/channel"
	"shimwright/store"
)

// These tests run in a bubble whose time jumps ahead when everybody waits, over
// an embedded store: hours of retries pass at once and no test looks at a wall
// clock.

// working runs a deliverer over the channels until the returned stop.
func working(t *testing.T, s store.Store, channels ...channel.Channel) (d *deliverer, n *tally, stop func()) {
	return workingAt(t, s, 0, channels...)
}

// workingAt is working with a clock that is off by some time.
func workingAt(t *testing.T, s store.Store, off time.Duration, channels ...channel.Channel) (*deliverer, *tally, func()) {
	n := &tally{}
	d := newDeliverer(s, channels, shift(off), half, quiet())
	d.count = n.count
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan struct{})
	go func() { defer close(done); d.run(ctx) }()
	return d, n, func() { cancel(); <-done }
}

// bubble runs f with a store in a bubble.
func bubble(t *testing.T, f func(t *testing.T, s store.Store)) {
	synctest.Test(t, func(t *testing.T) {
		s := openBolt(t)
		f(t, s)
		if faults, err := s.Check(t.Context()); err != nil || len(faults) > 0 {
			t.Errorf("the store is not consistent: %v %v", faults, err)
		}
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
}

func TestDeliverInOrderOneAtATime(t *testing.T) {
	bubble(t, func(t *testing.T, s store.Store) {
		f := newFake("fake", func(ctx context.Context, n int, m channel.Message) error {
			time.Sleep(time.Duration(n%7) * 100 * time.Millisecond)
			if n%5 == 0 {
				return channel.Temporary("try again")
			}
			return nil
		})
		queueMany(t, s, time.Now(), "fake", 6, 10)
		_, n, stop := working(t, s, f)
		time.Sleep(30 * time.Minute)
		stop()
		if f.most != 1 {
			t.Errorf("%d messages of one conversation were under way at once", f.most)
		}
		if got := n.of(wasSent); got != 60 {
			t.Errorf("%d sent, want 60", got)
		}
		for c := 1; c <= 6; c++ {
			last := 0
			for _, text := range f.texts(fmt.Sprintf("to-fake-%d", c)) {
				var conv, i int
				fmt.Sscanf(text, "fake-%d/%d", &conv, &i)
				if conv != c || i < last || i > last+1 {
					t.Errorf("conversation %d got %q after number %d", c, text, last)
				}
				last = i
			}
			if last != 10 {
				t.Errorf("conversation %d ended with number %d", c, last)
			}
		}
		if w := waiting(t, s, time.Now()); w != 0 {
			t.Errorf("%d still wait", w)
		}
	})
}

func TestPauseAskedForIsObeyed(t *testing.T) {
	for _, pause := range []time.Duration{time.Second, 7 * time.Second, 10 * time.Minute} {
		bubble(t, func(t *testing.T, s store.Store) {
			var mu sync.Mutex
			var asked, until time.Time
			f := newFake("fake", nil)
			f.answer = func(ctx context.Context, n int, m channel.Message) error {
				mu.Lock()
				defer mu.Unlock()
				// Those under way at the moment of asking could not know.
				if time.Now().After(asked) && time.Now().Before(until) {
					t.Errorf("attempt %d comes %v before the end of the pause", n, time.Until(until))
				}
				if n == 1 || n == 20 {
					asked, until = time.Now(), time.Now().Add(pause)
					return &channel.SendError{Temporary: true, After: pause, Reason: "too many"}
				}
				return nil
			}
			queueText(t, s, time.Now(), store.Out{ID: "first", Conversation: "c-0"}, channel.Message{})
			d, n, stop := working(t, s, f)
			time.Sleep(100 * time.Millisecond)
			queueMany(t, s, time.Now(), "fake", 40, 1)
			d.kick()
			time.Sleep(3 * time.Hour)
			stop()
			if n.of(wasSent) != 41 || len(f.sent()) != 43 {
				t.Errorf("pause %v: %d sent in %d attempts, want 41 in 43: no message lost, no storm", pause, n.of(wasSent), len(f.sent()))
			}
		})
	}
}

func TestPoisonMessageEndsDead(t *testing.T) {
	bubble(t, func(t *testing.T, s store.Store) {
		f := newFake("fake", func(ctx context.Context, n int, m channel.Message) error {
			switch m.Text {
			case "panics":
				panic("boom")
			case "refused":
				return channel.Permanent("no such number")
			case "fails":
				return channel.Temporary("status 500")
			}
			return nil
		})
		for _, text := range []string{"panics", "refused", "fails"} {
			queueText(t, s, time.Now(), store.Out{ID: text, Conversation: "c-" + text}, channel.Message{Text: text})
			queueText(t, s, time.Now(), store.Out{ID: text + "-next", Conversation: "c-" + text}, channel.Message{Text: "fine"})
		}
		queueText(t, s, time.Now(), store.Out{ID: "garbled", Conversation: "c-garbled", Body: []byte("{")}, channel.Message{})
		queueText(t, s, time.Now(), store.Out{ID: "other", Conversation: "c-other"}, channel.Message{Text: "fine"})
		_, n, stop := working(t, s, f)
		time.Sleep(time.Minute)
		if n.of(wasSent) != 3 {
			t.Errorf("after a minute %d went, want those behind the two refused and the other one", n.of(wasSent))
		}
		time.Sleep(3 * 24 * time.Hour)
		stop()
		dead := deadReasons(t, s)
		for id, want := range map[string]string{"panics": "fault of this program", "refused": "no such number",
			"fails": fmt.Sprintf("given up after %d attempts; the last: status 500", maxAttempts), "garbled": "cannot be read"} {
			if !strings.Contains(dead[id], want) {
				t.Errorf("%s ended with %q, want %q", id, dead[id], want)
			}
		}
		if len(dead) != 4 || n.of(wasSent) != 4 {
			t.Errorf("%d dead, %d sent; want 4 and 4", len(dead), n.of(wasSent))
		}
	})
}

// Attempts count when they are claimed: a message that kills every worker that
// takes it is given up too, without being tried again.
func TestMessageThatKillsItsWorkerEndsDead(t *testing.T) {
	bubble(t, func(t *testing.T, s store.Store) {
		queueText(t, s, time.Now(), store.Out{ID: "killer", Conversation: "c"}, channel.Message{Text: "x"})
		for range maxAttempts {
			got, err := s.Claim(t.Context(), time.Now(), leaseTime, 1)
			if err != nil || len(got) != 1 {
				t.Fatalf("claimed %d: %v", len(got), err)
			}
			time.Sleep(leaseTime)
		}
		f := newFake("fake", nil)
		_, _, stop := working(t, s, f)
		time.Sleep(time.Second)
		stop()
		if len(f.sent()) != 0 || !strings.Contains(deadReasons(t, s)["killer"], "ended without a result") {
			t.Errorf("%d attempts, dead: %v", len(f.sent()), deadReasons(t, s))
		}
	})
}

// A hands-on message is neither sent nor sent again after its expiry, and no
// attempt on it lasts longer.
func TestExpiryIsHonoured(t *testing.T) {
	bubble(t, func(t *testing.T, s store.Store) {
		f := newFake("fake", func(ctx context.Context, n int, m channel.Message) error {
			if end, ok := ctx.Deadline(); m.Text == "hangs" && (!ok || end.After(m.Expires)) {
				t.Errorf("an attempt may last until %v, the message only until %v", end, m.Expires)
			}
			if m.Text == "hangs" {
				<-ctx.Done()
			}
			if time.Now().After(m.Expires) {
				t.Errorf("%s was sent after its expiry", m.ID)
			}
			return channel.Temporary("down")
		})
		now := time.Now()
		for id, left := range map[string]time.Duration{"soon": 30 * time.Second, "hangs": 5 * time.Second, "late": 31 * time.Minute} {
			queueText(t, s, now, store.Out{ID: id, Conversation: "c-" + id, Expires: now.Add(left)},
				channel.Message{Text: id, Caution: true, Expires: now.Add(left)})
		}
		_, n, stop := working(t, s, f)
		time.Sleep(24 * time.Hour)
		stop()
		if n.of(wasExpired) != 3 || waiting(t, s, time.Now()) != 0 || len(deadReasons(t, s)) != 0 {
			t.Errorf("%d dropped as expired, %d waiting, %d dead; want 3, 0, 0", n.of(wasExpired), waiting(t, s, time.Now()), len(deadReasons(t, s)))
		}
	})
}

// A message that expires between being claimed and being sent is not sent.
func TestExpiredAfterClaim(t *testing.T) {
	bubble(t, func(t *testing.T, s store.Store) {
		f := newFake("fake", nil)
		now := time.Now()
		queueText(t, s, now, store.Out{ID: "m", Conversation: "c", Expires: now.Add(time.Minute)}, channel.Message{})
		got, err := s.Claim(t.Context(), now, leaseTime, 1)
		if err != nil || len(got) != 1 {
			t.Fatal(got, err)
		}
		d := newDeliverer(s, []channel.Channel{f}, shift(time.Minute), half, quiet())
		d.start(t.Context(), got[0])
		d.idle()
		if len(f.sent()) != 0 || waiting(t, s, now) != 0 {
			t.Errorf("%d sent, %d waiting", len(f.sent()), waiting(t, s, now))
		}
	})
}

// Two workers whose clocks differ by 40 s: nothing is lost, nothing goes twice
// while an attempt keeps its time, and a late settle is refused.
func TestClocksDiffer(t *testing.T) {
	bubble(t, func(t *testing.T, s store.Store) {
		f := newFake("fake", func(ctx context.Context, n int, m channel.Message) error {
			if n%10 == 0 {
				<-ctx.Done() // as long as an attempt may last
				return nil   // and accepted after all
			}
			return nil
		})
		queueMany(t, s, time.Now().Add(-20*time.Second), "fake", 100, 2)
		_, a, stopA := workingAt(t, s, -20*time.Second, f)
		_, b, stopB := workingAt(t, s, 20*time.Second, f)
		time.Sleep(time.Hour)
		stopA()
		stopB()
		if got := a.of(wasSent) + b.of(wasSent); got != 200 || len(f.sent()) != 200 {
			t.Errorf("%d settled as sent in %d attempts, want 200 in 200", got, len(f.sent()))
		}
	})
	bubble(t, func(t *testing.T, s store.Store) {
		queueText(t, s, time.Now(), store.Out{ID: "m", Conversation: "c"}, channel.Message{})
		old, err := s.Claim(t.Context(), time.Now(), leaseTime, 1)
		if err != nil || len(old) != 1 {
			t.Fatal(old, err)
		}
		time.Sleep(leaseTime)
		if again, err := s.Claim(t.Context(), time.Now(), leaseTime, 1); err != nil || len(again) != 1 {
			t.Fatal(again, err)
		}
		n := &tally{}
		d := newDeliverer(s, []channel.Channel{newFake("fake", nil)}, time.Now, half, quiet())
		d.count = n.count
		d.start(t.Context(), old[0]) // stalled until now
		d.idle()
		if n.of(wasLost) != 1 || waiting(t, s, time.Now()) != 1 {
			t.Errorf("a late settle: %v, %d waiting; want it refused", n.n, waiting(t, s, time.Now()))
		}
	})
}

// awayStore is a store that cannot be reached for some calls of Settle.
type awayStore struct {
	store.Store
	away int
}

func (a *awayStore) Settle(ctx context.Context, d store.Delivery, o store.Outcome, next time.Time, reason string) error {
	if a.away > 0 {
		a.away--
		return fmt.Errorf("%w: connection refused", store.ErrUnavailable)
	}
	return a.Store.Settle(ctx, d, o, next, reason)
}

func TestStoreAwayAfterSending(t *testing.T) {
	bubble(t, func(t *testing.T, s store.Store) {
		f := newFake("fake", nil)
		queueText(t, s, time.Now(), store.Out{ID: "m", Conversation: "c"}, channel.Message{})
		_, n, stop := working(t, &awayStore{Store: s, away: 5}, f)
		time.Sleep(2 * leaseTime)
		stop()
		if len(f.sent()) != 1 || n.of(wasSent) != 1 {
			t.Errorf("sent %d times, %v; want once", len(f.sent()), n.n)
		}
	})
}

func TestChannelNotSetUp(t *testing.T) {
	bubble(t, func(t *testing.T, s store.Store) {
		queueText(t, s, time.Now(), store.Out{ID: "m", Conversation: "c"}, channel.Message{})
		_, n, stop := working(t, s)
		time.Sleep(time.Minute)
		stop()
		if waiting(t, s, time.Now()) != 1 || n.of(wasPostpone) == 0 {
			t.Errorf("%d waiting, %v; want it kept", waiting(t, s, time.Now()), n.n)
		}
		f := newFake("fake", nil)
		_, _, stop = working(t, s, f)
		time.Sleep(time.Minute)
		stop()
		if len(f.sent()) != 1 {
			t.Error("set up again, the channel did not get what waited")
		}
	})
}

// Neither an address nor a secret is in the log, whatever the channel says of
// its failure in the type that it should use.
func TestLogNamesNobody(t *testing.T) {
	bubble(t, func(t *testing.T, s store.Store) {
		var log bytes.Buffer
		f := newFake("fake", func(ctx context.Context, n int, m channel.Message) error {
			return channel.Permanent("the network refused it")
		})
		queueText(t, s, time.Now(), store.Out{ID: "m", Conversation: "c", To: "+4915550104711"}, channel.Message{Text: "Kim's saw"})
		d := newDeliverer(s, []channel.Channel{f}, time.Now, half, slog.New(slog.NewTextHandler(&log, nil)))
		if _, err := d.once(t.Context()); err != nil {
			t.Fatal(err)
		}
		d.idle()
		if out := log.String(); !strings.Contains(out, "given up") || strings.Contains(out, "4711") || strings.Contains(out, "Kim") {
			t.Errorf("the log says %s", out)
		}
	})
}

// When the program stops, what is under way is carried through and settled.
func TestStopSettlesWhatIsUnderWay(t *testing.T) {
	bubble(t, func(t *testing.T, s store.Store) {
		f := newFake("fake", func(ctx context.Context, n int, m channel.Message) error {
			time.Sleep(3 * time.Second)
			if ctx.Err() != nil {
				return errors.New("cut off")
			}
			return nil
		})
		queueMany(t, s, time.Now(), "fake", 5, 2)
		_, n, stop := working(t, s, f)
		time.Sleep(time.Second)
		stop()
		if n.of(wasSent) != 5 || waiting(t, s, time.Now()) != 5 {
			t.Errorf("%v, %d waiting; want the five under way sent and five kept", n.n, waiting(t, s, time.Now()))
		}
	})
}
