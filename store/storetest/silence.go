package storetest

import (
	"fmt"
	"time"

	"shimwright/store"
)

var silence = []contract{
	{"STOP drops what waits and sends its one confirmation", func(f *fixture) {
		held := out("held")
		held.NotBefore = f.at.Add(time.Hour)
		other := out("another conversation")
		other.Conversation = "phone"
		f.do(store.Commit{Outbox: []store.Out{out("a"), held, out("b"), other}})
		f.do(store.Commit{Silence: true, Outbox: []store.Out{out("confirmation")}})
		f.later(2 * time.Hour)
		left := map[string]bool{}
		for _, d := range f.claimAll(f.at) {
			left[d.Out.ID] = true
		}
		f.same("left", left, map[string]bool{"another conversation": true, "confirmation": true})
	}},

	{"nothing overtakes what is under way at STOP", func(f *fixture) {
		f.do(store.Commit{Outbox: []store.Out{out("under way"), out("b")}})
		d := f.claim(9)[0]
		f.do(store.Commit{Silence: true, Outbox: []store.Out{out("confirmation")}})
		f.same("while it is under way", len(f.claim(9)), 0)
		f.settleAs(d, store.Retry, f.at.Add(time.Second)) // forgotten all the same
		f.same("next", f.claim(9)[0].Out.ID, "confirmation")
		f.fails(store.ErrLost, f.Settle(f.ctx, d, store.Sent, f.at, ""))
		f.same("waiting", f.stats().Waiting, 1)
	}},

	{"what was under way at STOP is not tried again", func(f *fixture) {
		f.do(store.Commit{Outbox: []store.Out{out("under way"), out("b")}})
		f.claim(9)
		f.do(store.Commit{Silence: true, Outbox: []store.Out{out("confirmation")}})
		f.later(lease)
		d := f.claim(9)
		f.same("next", []any{len(d), d[0].Out.ID, d[0].Attempt}, []any{1, "confirmation", 1})
	}},

	{"what waits for another attempt at STOP is dropped", func(f *fixture) {
		f.do(store.Commit{Outbox: []store.Out{out("a")}})
		f.settleAs(f.claim(9)[0], store.Retry, f.at.Add(time.Hour))
		f.do(store.Commit{Silence: true})
		f.same("waiting", f.stats().Waiting, 0)
		f.do(store.Commit{Outbox: []store.Out{out("later")}})
		f.same("next", []any{f.claim(1)[0].Out.ID}, []any{"later"})
	}},

	{"a dead one that was silenced is not listed", func(f *fixture) {
		f.do(store.Commit{Outbox: []store.Out{out("under way")}})
		d := f.claim(9)[0]
		f.do(store.Commit{Silence: true})
		f.settleAs(d, store.Dead, f.at)
		f.same("dead", len(f.letters(shop)), 0)
		f.same("waiting", f.stats().Waiting, 0)
	}},

	{"STOP in an empty conversation", func(f *fixture) {
		f.do(store.Commit{Silence: true})
		f.do(store.Commit{Silence: true, Outbox: []store.Out{out("confirmation")}})
		f.same("next", f.claim(1)[0].Out.ID, "confirmation")
	}},
}

var dead = []contract{
	{"dead letters are listed newest first", func(f *fixture) {
		for i := 1; i <= 3; i++ {
			f.die(shop, fmt.Sprint("o-", i))
			f.later(time.Second)
		}
		f.die("other", "o-1")
		f.same("of the shop", letterIDs(f.letters(shop)), "[o-3 o-2 o-1]")
		all, err := f.Dead(f.ctx, "", 3)
		f.ok(err)
		f.same("of all", letterIDs(all), "[o-1 o-3 o-2]")
		f.same("of all", all[0].Shop, "other")
		first := f.letters(shop)[2]
		f.same("letter", first, store.DeadLetter{Shop: shop, Out: out("o-1"), Attempt: 1, Reason: "the receiver said no", At: Noon})
		f.same("stats", f.stats().Dead, 4)
		f.same("waiting", f.stats().Waiting, 0)
	}},

	{"a message that was sent and not delivered is buried", func(f *fixture) {
		f.do(store.Commit{Outbox: []store.Out{out("o-1")}})
		f.settle(f.claim(1)[0], store.Sent)
		late := store.DeadLetter{Shop: shop, Out: out("o-1"), Attempt: 1, Reason: "absent for two days", At: f.at}
		f.ok(f.Bury(f.ctx, late))
		f.ok(f.Bury(f.ctx, late)) // reported twice
		f.same("letters", f.letters(shop), []store.DeadLetter{late})
		f.same("stats", []int{f.stats().Dead, f.stats().Waiting}, []int{1, 0})
		f.consistent()
		f.ok(f.Resend(f.ctx, shop, "o-1", f.at))
		f.same("again", f.claim(1)[0].Out, out("o-1"))
		late.Shop = "no-such-shop"
		f.fails(store.ErrNotFound, f.Bury(f.ctx, late))
		f.consistent()
	}},

	{"a dead letter is sent again at the end of its queue", func(f *fixture) {
		f.die(shop, "o-1")
		f.do(store.Commit{Outbox: []store.Out{out("o-2")}})
		f.ok(f.Resend(f.ctx, shop, "o-1", f.at))
		f.same("dead", len(f.letters(shop)), 0)
		f.same("stats", []int{f.stats().Dead, f.stats().Waiting}, []int{0, 2})
		for _, want := range []string{"o-2", "o-1"} {
			d := f.claim(9)[0]
			f.same("next", []any{d.Out.ID, d.Attempt}, []any{want, 1})
			f.same("text", d.Out, out(want))
			f.settle(d, store.Sent)
		}
		f.fails(store.ErrNotFound, f.Resend(f.ctx, shop, "o-1", f.at))
		f.fails(store.ErrNotFound, f.Resend(f.ctx, "no-such-shop", "o-1", f.at))
	}},

	{"a shop keeps its newest thousand dead letters", func(f *fixture) {
		const more = 3
		for done := 0; done < store.MaxDead+more; {
			var c store.Commit
			for i := 0; i < 500 && done < store.MaxDead+more; i++ {
				o := out(fmt.Sprint("o-", done))
				o.Conversation = o.ID
				c.Outbox = append(c.Outbox, o)
				done++
			}
			f.do(c)
		}
		for {
			batch := f.claim(100)
			if len(batch) == 0 {
				break
			}
			f.later(100 * time.Millisecond)
			f.parallel(len(batch), func(i int) error {
				return f.Settle(f.ctx, batch[i], store.Dead, f.at.Add(time.Duration(i)*time.Millisecond), "")
			})
		}
		letters := f.letters(shop)
		f.same("dead", []int{len(letters), f.stats().Dead}, []int{store.MaxDead, store.MaxDead})
		if oldest := letters[len(letters)-1].At; oldest.Before(Noon.Add(100*time.Millisecond + more*time.Millisecond)) {
			f.Errorf("the oldest kept died at %v", oldest)
		}
	}},

	{"a queue that is full takes no dead letter back", func(f *fixture) {
		f.die(shop, "o-1")
		var c store.Commit
		for i := 0; i < store.MaxQueue; i++ {
			c.Outbox = append(c.Outbox, out(fmt.Sprint("q-", i)))
		}
		f.do(c)
		f.fails(store.ErrFull, f.Resend(f.ctx, shop, "o-1", f.at))
		f.same("dead", letterIDs(f.letters(shop)), "[o-1]")
	}},
}

// die makes a dead letter.
func (f *fixture) die(shop, id string) {
	f.Helper()
	f.do(store.Commit{Shop: shop, Outbox: []store.Out{out(id)}})
	d := f.claim(1)
	if len(d) != 1 || d[0].Out.ID != id {
		f.Fatalf("claimed %+v, want %s", d, id)
	}
	f.settleAs(d[0], store.Dead, f.at)
}

func (f *fixture) letters(shop string) []store.DeadLetter {
	f.Helper()
	letters, err := f.Dead(f.ctx, shop, 2*store.MaxDead)
	f.ok(err)
	return letters
}

func letterIDs(letters []store.DeadLetter) []string {
	list := []string{}
	for _, d := range letters {
		list = append(list, d.Out.ID)
	}
	return list
}
