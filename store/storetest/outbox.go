package storetest

import (
	"fmt"
	"time"

	"shimwright/store"
)

const lease = time.Minute

var outbox = []contract{
	{"a message is claimed whole", func(f *fixture) {
		o := out("o-1")
		o.NotBefore, o.Expires = f.at.Add(-time.Second), f.at.Add(time.Hour)
		f.do(store.Commit{Outbox: []store.Out{o}})
		d := f.claim(9)
		if len(d) != 1 || d[0].Token == 0 {
			f.Fatalf("claimed %+v", d)
		}
		f.same("delivery", d[0], store.Delivery{Shop: shop, Out: o, Attempt: 1, Token: d[0].Token})
		f.settle(d[0], store.Sent)
		f.same("left", len(f.claimAll(f.at.Add(24*time.Hour))), 0)
	}},

	{"a conversation goes in order one at a time", func(f *fixture) {
		for i := 1; i <= 3; i++ {
			f.do(store.Commit{Outbox: []store.Out{out(fmt.Sprint("o-", i, "-a")), out(fmt.Sprint("o-", i, "-b"))}})
		}
		for _, want := range []string{"o-1-a", "o-1-b", "o-2-a", "o-2-b", "o-3-a", "o-3-b"} {
			d := f.claim(9)
			if len(d) != 1 || d[0].Out.ID != want {
				f.Fatalf("claimed %+v, want only %s", d, want)
			}
			if again := f.claim(9); len(again) != 0 {
				f.Fatalf("while %s is under way, %+v was claimed", want, again)
			}
			f.settle(d[0], store.Sent)
		}
		f.same("waiting", f.stats().Waiting, 0)
	}},

	{"conversations do not wait for each other", func(f *fixture) {
		for _, c := range []string{"a", "b", "c"} {
			o := out("to " + c)
			o.Conversation = c
			f.do(store.Commit{Conversation: c, Outbox: []store.Out{o}})
			f.later(time.Second)
		}
		o := out("elsewhere")
		f.do(store.Commit{Shop: "other", Outbox: []store.Out{o}})
		two := f.claim(2)
		if len(two) != 2 {
			f.Fatalf("claimed %+v", two)
		}
		f.settleAs(two[0], store.Retry, f.at.Add(time.Hour))
		rest := f.claim(9)
		if len(rest) != 2 {
			f.Fatalf("claimed %+v", rest)
		}
	}},

	{"a message to another conversation of the shop", func(f *fixture) {
		o := out("o-1")
		o.Conversation = "phone"
		f.do(store.Commit{Outbox: []store.Out{o, out("o-2")}})
		f.same("claimed", len(f.claim(9)), 2)
	}},

	{"not before its time and then in its place", func(f *fixture) {
		quiet := out("after quiet hours")
		quiet.NotBefore = f.at.Add(8 * time.Hour)
		f.do(store.Commit{Outbox: []store.Out{quiet}})
		f.same("early", len(f.claim(9)), 0)
		f.do(store.Commit{Outbox: []store.Out{out("reply")}})
		d := f.claim(9)
		f.same("reply", d[0].Out.ID, "reply")
		f.settle(d[0], store.Sent)
		f.do(store.Commit{Outbox: []store.Out{out("another reply")}})
		d = f.claim(9)
		f.same("not held up", d[0].Out.ID, "another reply")
		f.settle(d[0], store.Sent)
		f.later(8*time.Hour - time.Millisecond)
		f.same("still early", len(f.claim(9)), 0)
		f.later(time.Millisecond)
		f.same("stats", f.stats().OldestWait, time.Duration(0))
		f.same("waiting", f.stats().Waiting, 1)
		f.same("now", f.claim(9)[0].Out.ID, "after quiet hours")
	}},

	{"two that were held go in the order of their times", func(f *fixture) {
		late, early := out("late"), out("early")
		late.NotBefore, early.NotBefore = f.at.Add(2*time.Hour), f.at.Add(time.Hour)
		f.do(store.Commit{Outbox: []store.Out{late, early, out("now")}})
		f.later(3 * time.Hour)
		for _, want := range []string{"now", "early", "late"} {
			d := f.claim(1)
			f.same("next", d[0].Out.ID, want)
			f.settle(d[0], store.Sent)
		}
	}},

	{"poison message attempts are counted when claimed", func(f *fixture) {
		f.do(store.Commit{Outbox: []store.Out{out("poison"), out("next")}})
		for attempt := 1; attempt <= 3; attempt++ {
			d := f.claim(9)
			if len(d) != 1 || d[0].Attempt != attempt || d[0].Out.ID != "poison" {
				f.Fatalf("attempt %d: %+v", attempt, d)
			}
			f.later(lease) // the worker died: nothing is settled
		}
		d := f.claim(9)[0]
		f.settleAs(d, store.Dead, f.at)
		d = f.claim(9)[0]
		f.same("next", []any{d.Out.ID, d.Attempt}, []any{"next", 1})
	}},

	{"429 is tried again when told and not before", func(f *fixture) {
		f.do(store.Commit{Outbox: []store.Out{out("o-1"), out("o-2")}})
		d := f.claim(9)[0]
		f.settleAs(d, store.Retry, f.at.Add(90*time.Second))
		f.fails(store.ErrLost, f.Settle(f.ctx, store.Delivery{Shop: shop, Out: d.Out}, store.Sent, time.Time{}, ""))
		f.same("age", f.stats().OldestWait, time.Duration(0))
		f.later(89 * time.Second)
		f.same("early", len(f.claim(9)), 0)
		f.later(time.Second)
		again := f.claim(9)
		f.same("again", []any{again[0].Out.ID, again[0].Attempt}, []any{"o-1", 2})
		f.fails(store.ErrLost, f.Settle(f.ctx, d, store.Sent, time.Time{}, ""))
		f.settle(again[0], store.Sent)
		f.same("next", f.claim(9)[0].Out.ID, "o-2")
	}},

	{"sent but the answer was lost the same id and text on every attempt", func(f *fixture) {
		f.do(store.Commit{Outbox: []store.Out{out("o-1")}})
		first := f.claim(9)[0]
		f.later(lease)
		again := f.claim(9)[0]
		f.same("text", again.Out, first.Out)
	}},

	{"stuck or lost after a crash killed after claim after send and before settle", func(f *fixture) {
		f.do(store.Commit{Outbox: []store.Out{out("o-1"), out("o-2")}})
		dead := f.claim(9)[0]
		s := f.replica()
		early, err := s.Claim(f.ctx, f.at.Add(lease-time.Millisecond), lease, 9)
		f.ok(err)
		f.same("within the lease", len(early), 0)
		f.later(lease)
		taken, err := s.Claim(f.ctx, f.at, lease, 9)
		f.ok(err)
		f.same("taken over", []any{taken[0].Out.ID, taken[0].Attempt}, []any{"o-1", 2})
		for _, o := range []store.Outcome{store.Sent, store.Retry, store.Dead, store.Dropped} {
			f.fails(store.ErrLost, f.Settle(f.ctx, dead, o, f.at, ""))
		}
		f.ok(s.Settle(f.ctx, taken[0], store.Sent, f.at, ""))
		f.fails(store.ErrLost, s.Settle(f.ctx, taken[0], store.Sent, f.at, ""))
		f.same("next", f.claim(9)[0].Out.ID, "o-2")
	}},

	{"a lease that has ended but passed to nobody may still be settled", func(f *fixture) {
		f.do(store.Commit{Outbox: []store.Out{out("o-1")}})
		d := f.claim(9)[0]
		f.later(10 * lease)
		f.settle(d, store.Sent)
		f.same("waiting", f.stats().Waiting, 0)
	}},

	{"clocks differ a late settle is refused and nothing lost", func(f *fixture) {
		f.do(store.Commit{Outbox: []store.Out{out("o-1")}})
		slow, err := f.replica().Claim(f.ctx, f.at, 15*time.Second, 9)
		f.ok(err)
		fast, err := f.replica().Claim(f.ctx, f.at.Add(20*time.Second), 15*time.Second, 9)
		f.ok(err)
		f.same("taken over", []any{fast[0].Out.ID, fast[0].Attempt}, []any{"o-1", 2})
		f.fails(store.ErrLost, f.Settle(f.ctx, slow[0], store.Sent, f.at, ""))
		f.settle(fast[0], store.Sent)
		f.same("waiting", f.stats().Waiting, 0)
	}},

	{"nothing is sent after it has expired", func(f *fixture) {
		hot := out("hands-on")
		hot.Expires = f.at.Add(10 * time.Minute)
		f.do(store.Commit{Outbox: []store.Out{hot, out("plain")}})
		d := f.claim(9)[0]
		f.settleAs(d, store.Retry, f.at.Add(9*time.Minute))
		f.later(10 * time.Minute)
		d = f.claim(9)[0]
		f.same("next", []any{d.Out.ID, d.Attempt}, []any{"plain", 1})
		f.settle(d, store.Sent)
		f.same("waiting", f.stats().Waiting, 0)
		hot.ID, hot.Expires = "alone", f.at
		f.do(store.Commit{Outbox: []store.Out{hot}})
		f.same("expired at once", len(f.claim(9)), 0)
		f.same("waiting", f.stats().Waiting, 0)
	}},

	{"what a replica with a fast clock queued waits for its time", func(f *fixture) {
		hot := out("hands-on")
		hot.Expires = f.at.Add(time.Minute)
		f.do(store.Commit{Outbox: []store.Out{hot}})
		f.do(store.Commit{At: f.at.Add(10 * time.Minute), Outbox: []store.Out{out("fast")}})
		f.later(2 * time.Minute) // the first has expired, the second is not yet due
		f.same("early", len(f.claim(9)), 0)
		f.same("waiting", f.stats().Waiting, 1)
		f.later(8 * time.Minute)
		f.same("in time", f.claim(9)[0].Out.ID, "fast")
	}},

	{"stats tell how long the oldest waits", func(f *fixture) {
		f.do(store.Commit{Outbox: []store.Out{out("o-1")}})
		f.later(40 * time.Second)
		o := out("o-2")
		o.Conversation = "phone"
		f.do(store.Commit{Outbox: []store.Out{o}})
		st := f.stats()
		f.same("stats", []any{st.Waiting, st.OldestWait, st.Dead}, []any{2, 40 * time.Second, 0})
		f.claim(1)
		f.same("oldest", f.stats().OldestWait, time.Duration(0))
	}},
}

func (f *fixture) claim(max int) []store.Delivery {
	f.Helper()
	d, err := f.Claim(f.ctx, f.at, lease, max)
	f.ok(err)
	return d
}

// claimAll claims and settles until nothing is left at now.
func (f *fixture) claimAll(now time.Time) (all []store.Delivery) {
	f.Helper()
	for {
		batch, err := f.Claim(f.ctx, now, lease, 100)
		f.ok(err)
		if len(batch) == 0 {
			return all
		}
		for _, d := range batch {
			f.settle(d, store.Sent)
		}
		all = append(all, batch...)
	}
}

func (f *fixture) settle(d store.Delivery, o store.Outcome) {
	f.Helper()
	f.settleAs(d, o, time.Time{})
}

func (f *fixture) settleAs(d store.Delivery, o store.Outcome, next time.Time) {
	f.Helper()
	f.ok(f.Settle(f.ctx, d, o, next, "the receiver said no"))
}
