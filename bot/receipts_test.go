package main

import (
	"context"
	"fmt"
	"reflect"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"shimwright/bot/channel"
	"shimwright/store"
)

// reporting is a network that reports, after the delay that the test gives.
func reporting(report func(m channel.Message) (after time.Duration, got channel.Receipt, ok bool)) (*fakeNetwork, func(*deliverer)) {
	f := newFake("fake", nil)
	f.limits.Reports = true
	var mu sync.Mutex
	var d *deliverer
	f.answer = func(ctx context.Context, n int, m channel.Message) error {
		if after, got, ok := report(m); ok {
			got.Ref = m.Ref
			mu.Lock()
			defer mu.Unlock()
			deliver := func() { _, _ = d.receipt(context.Background(), "fake", got) }
			if after == 0 {
				deliver() // faster than the answer to the sending
			} else {
				time.AfterFunc(after, deliver)
			}
		}
		return nil
	}
	return f, func(to *deliverer) { mu.Lock(); d = to; mu.Unlock() }
}

// The next message of a conversation waits for the first report on the one
// before, whichever report that is, and whenever it comes.
func TestReportBeforeNextMessage(t *testing.T) {
	for _, c := range []struct {
		after time.Duration
		fate  channel.Fate
	}{{0, channel.Accepted}, {300 * time.Millisecond, channel.Accepted}, {2 * time.Second, channel.Delivered}, {3500 * time.Millisecond, channel.Accepted}} {
		bubble(t, func(t *testing.T, s store.Store) {
			f, use := reporting(func(channel.Message) (time.Duration, channel.Receipt, bool) {
				return c.after, channel.Receipt{Fate: c.fate}, true
			})
			queueMany(t, s, time.Now(), "fake", 2, 3)
			d := newDeliverer(s, []channel.Channel{f}, time.Now, half, quiet())
			use(d)
			ctx, cancel := context.WithCancel(t.Context())
			done := make(chan struct{})
			go func() { d.run(ctx); close(done) }()
			time.Sleep(time.Minute)
			cancel()
			<-done
			last := map[string]time.Time{}
			for _, m := range f.sent() {
				if at, ok := last[m.to]; ok && m.at.Sub(at) < c.after {
					t.Errorf("reports after %v: %s went %v after the one before", c.after, m.id, m.at.Sub(at))
				}
				last[m.to] = m.at
			}
			if len(f.sent()) != 6 || waiting(t, s, time.Now()) != 0 {
				t.Errorf("%d attempts, %d waiting; want 6, 0", len(f.sent()), waiting(t, s, time.Now()))
			}
		})
	}
}

func TestReportOfFailure(t *testing.T) {
	bubble(t, func(t *testing.T, s store.Store) {
		f, use := reporting(func(m channel.Message) (time.Duration, channel.Receipt, bool) {
			fate := channel.Delivered
			if m.ID == "fake-1/1" {
				fate = channel.Failed
			}
			return time.Second, channel.Receipt{Fate: fate, Reason: "unknown subscriber"}, true
		})
		queueMany(t, s, time.Now(), "fake", 1, 2)
		d := newDeliverer(s, []channel.Channel{f}, time.Now, half, quiet())
		use(d)
		for range 2 {
			if _, err := d.once(t.Context()); err != nil {
				t.Fatal(err)
			}
			d.idle()
		}
		if dead := deadReasons(t, s); len(dead) != 1 || !strings.Contains(dead["fake-1/1"], "unknown subscriber") {
			t.Errorf("dead letters: %v", dead)
		}
		if len(f.sent()) != 2 {
			t.Errorf("%d attempts, want the next message to go too", len(f.sent()))
		}
	})
}

// Reports that never come are waited for three times, then no more until one
// comes again.
func TestReportsMissing(t *testing.T) {
	bubble(t, func(t *testing.T, s store.Store) {
		speak := false
		f, use := reporting(func(channel.Message) (time.Duration, channel.Receipt, bool) {
			return time.Second, channel.Receipt{Fate: channel.Accepted}, speak
		})
		queueMany(t, s, time.Now(), "fake", 1, 12)
		d := newDeliverer(s, []channel.Channel{f}, time.Now, half, quiet())
		use(d)
		var gaps []time.Duration
		for i := range 12 {
			speak = i >= 7
			before := time.Now()
			if n, err := d.once(t.Context()); err != nil || n != 1 {
				t.Fatal(n, err)
			}
			d.idle()
			gaps = append(gaps, time.Since(before))
			time.Sleep(2 * time.Second)
		}
		w, o := reportWait, time.Duration(0)
		want := []time.Duration{w, w, w, o, o, o, o, o, time.Second, time.Second, time.Second, time.Second}
		if !reflect.DeepEqual(gaps, want) {
			t.Errorf("waited %v\nwant   %v", gaps, want)
		}
	})
}

// A report that reaches another replica settles the message there; one that is
// late, doubled, forged or for nobody changes nothing.
func TestReportElsewhere(t *testing.T) {
	bubble(t, func(t *testing.T, s store.Store) {
		here := newFake("fake", nil)
		here.limits.Reports = true
		queueMany(t, s, time.Now(), "fake", 1, 1)
		a := newDeliverer(s, []channel.Channel{here}, time.Now, half, quiet())
		b := newDeliverer(s, []channel.Channel{newFake("fake", nil)}, time.Now, half, quiet())
		n := &tally{}
		a.count = n.count
		if _, err := a.once(t.Context()); err != nil {
			t.Fatal(err)
		}
		synctest.Wait()
		ref := here.sent()[0].ref
		report := func(r channel.Receipt) bool {
			t.Helper()
			failed, err := b.receipt(t.Context(), "fake", r)
			if err != nil {
				t.Fatal(err)
			}
			return failed
		}
		for _, bad := range []string{"", "x", "!!", ref[:len(ref)/2], "e30", strings.Repeat("A", 4000)} {
			report(channel.Receipt{Ref: bad, Fate: channel.Failed})
		}
		if waiting(t, s, time.Now()) != 1 {
			t.Fatal("a forged report settled a message")
		}
		if report(channel.Receipt{Ref: ref, Fate: channel.Accepted}) || waiting(t, s, time.Now()) != 0 {
			t.Error("the report did not settle the message")
		}
		if report(channel.Receipt{Ref: ref, Fate: channel.Delivered}) {
			t.Error("a second report counts as a failure")
		}
		if report(channel.Receipt{Ref: ref, Fate: channel.Failed, Reason: "expired"}) {
			t.Error("a failure of a message that nobody remembers is put down")
		}
		a.idle()
		if n.of(wasSent)+n.of(wasLost) != 1 || len(deadReasons(t, s)) != 0 {
			t.Errorf("%v, dead %v", n.n, deadReasons(t, s))
		}
	})
}

// A failure that is reported two days after the message counted as sent puts it
// on the list of those that were given up, once; from there it can be sent
// again. After that time, or when it had arrived, there is nothing to put down.
func TestReportOfLateFailure(t *testing.T) {
	p := newPaper(t, true)
	p.network.limits.Reports = true
	p.app.handler.reports = func(name string) bool { return name == "paper" }
	report := func(ref string, fate channel.Fate) {
		t.Helper()
		if status := p.bring(channel.Inbound{ID: "r", Kind: channel.KindReceipt, Receipt: channel.Receipt{Ref: ref, Fate: fate, Reason: "absent"}}); status != 200 {
			t.Errorf("a report is answered with %d", status)
		}
	}
	p.say("menu")
	p.tell("lee", "menu")
	sent := p.network.sent()
	if len(sent) != 2 {
		t.Fatalf("sent %+v", sent)
	}
	report(sent[0].ref, channel.Delivered)
	p.clock.advance(48 * time.Hour)
	for range 2 {
		report(sent[1].ref, channel.Failed)
	}
	list, err := deadLetters(t.Context(), p.store, 10)
	if err != nil || len(list) != 1 || list[0].ID != sent[1].id || !strings.Contains(list[0].Reason, "not delivered: absent") {
		t.Fatalf("given up: %+v %v", list, err)
	}
	if err := p.store.Resend(t.Context(), list[0].Shop, list[0].ID, p.clock.now()); err != nil {
		t.Fatal(err)
	}
	p.deliver()
	if again := p.network.sent()[2:]; len(again) != 1 || again[0].text != sent[1].text || again[0].id != sent[1].id || again[0].to != "lee" {
		t.Errorf("sent again: %+v", again)
	}
	p.tell("lee", "menu")
	late := p.network.sent()[3]
	p.clock.advance(sentFor + time.Minute)
	report(late.ref, channel.Failed)
	if list, err := deadLetters(t.Context(), p.store, 10); err != nil || len(list) != 0 {
		t.Errorf("after its time: %+v %v", list, err)
	}
}

func TestRefRoundTrip(t *testing.T) {
	for i, m := range []store.Delivery{
		{Shop: "shop", Out: store.Out{ID: "r-1-1", Conversation: "c"}, Token: 1},
		{Shop: "s/ñ", Out: store.Out{ID: "r?&=#1", Conversation: "!room:shop.test"}, Token: 1<<64 - 1},
	} {
		ref := makeRef(m)
		if strings.Trim(ref, "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_") != "" {
			t.Errorf("%d: the reference %q is not safe in a URL", i, ref)
		}
		if got, ok := readRef(ref); !ok || fmt.Sprint(got) != fmt.Sprint(m) {
			t.Errorf("%d: %+v came back as %+v", i, m, got)
		}
	}
}
