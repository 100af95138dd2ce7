package main

import (
	"context"
	"testing"
	"time"

	"shimwright/bot/channel"
	"shimwright/store"
)

// A channel that answers nobody holds up neither another channel nor more than
// its own slots.
func TestSlowChannelHoldsUpNoOther(t *testing.T) {
	bubble(t, func(t *testing.T, s store.Store) {
		slow := newFake("slow", func(ctx context.Context, n int, m channel.Message) error {
			<-ctx.Done()
			return channel.Temporary("no answer in time")
		})
		fast := newFake("fast", nil)
		start := time.Now()
		queueMany(t, s, start, "slow", 300, 1)
		queueMany(t, s, start, "fast", 100, 3)
		_, _, stop := working(t, s, slow, fast)
		time.Sleep(5 * time.Second)
		if got := len(fast.sent()); got != 300 {
			t.Errorf("while the slow channel hangs, %d of 300 messages went by the other", got)
		}
		if got := len(slow.sent()); got > slotsEach {
			t.Errorf("%d attempts on the slow channel at once, want at most %d", got, slotsEach)
		}
		time.Sleep(time.Minute)
		stop()
	})
}

// After five failures in a row the network is tried with one message at a
// time, less and less often, until it answers.
func TestCircuit(t *testing.T) {
	bubble(t, func(t *testing.T, s store.Store) {
		up := time.Now().Add(3 * time.Hour)
		f := newFake("fake", func(ctx context.Context, n int, m channel.Message) error {
			if time.Now().Before(up) {
				return channel.Temporary("cannot be reached")
			}
			return nil
		})
		queueMany(t, s, time.Now(), "fake", 200, 1)
		d, n, stop := working(t, s, f)
		time.Sleep(3*time.Hour - time.Second)
		if !d.routes["fake"].down() {
			t.Error("the circuit is closed while the network is down")
		}
		// At most a full set of slots before it opens, then one each time:
		// doubling from 2 s to 5 min, and 5 min at least half of the time.
		if tries := len(f.sent()); tries > slotsEach+8+3*60/2 {
			t.Errorf("%d attempts in three hours on a network that is down", tries)
		}
		time.Sleep(24 * time.Hour)
		stop()
		if n.of(wasSent) != 200 || n.of(wasDead) != 0 {
			t.Errorf("after the network came back %d of 200 went, %d were given up", n.of(wasSent), n.of(wasDead))
		}
	})
}

// Sixteen failures of one moment open the circuit once, and while it is open
// one message at a time probes.
func TestCircuitOpensOnceAndProbesOne(t *testing.T) {
	now := start()
	r := newRoute(newFake("fake", nil))
	enter := func() int {
		t.Helper()
		if ok, _ := r.admit(now); !ok {
			t.Fatal("not let in")
		}
		period, ok, _ := r.enter(func() time.Time { return now })
		if !ok {
			t.Fatal("no slot")
		}
		return period
	}
	var periods []int
	for range slotsEach {
		periods = append(periods, enter())
	}
	for _, p := range periods {
		r.done(p, now, channel.Temporary("down"), half)
	}
	if wait := r.until.Sub(now); !r.down() || wait != firstOpen*3/4 {
		t.Fatalf("down %v, for %v; want it to open once, for %v", r.down(), wait, firstOpen*3/4)
	}
	if ok, ready := r.admit(now); ok || !ready.Equal(r.until) {
		t.Error("an open circuit lets a message in before its time")
	}
	for _, open := range []time.Duration{2 * firstOpen, 4 * firstOpen} {
		now = r.until
		p := enter()
		if ok, _ := r.admit(now); ok {
			t.Error("a second message probes beside the first")
		}
		r.done(p, now, channel.Temporary("down"), half)
		if wait := r.until.Sub(now); wait != open*3/4 {
			t.Errorf("after another failure it is open for %v, want %v", wait, open*3/4)
		}
	}
	now = r.until
	r.done(enter(), now, nil, half)
	if r.down() {
		t.Error("the circuit stays open although the probe went through")
	}
	r.done(enter(), now, nil, half)
	if r.inside != 0 || len(r.slots) != 0 {
		t.Errorf("%d inside, %d slots taken, with nothing under way", r.inside, len(r.slots))
	}
}
