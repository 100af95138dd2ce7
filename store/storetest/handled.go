package storetest

import (
	"errors"
	"fmt"
	"strings"
	"sync"
	"time"

	"shimwright/store"
)

var handled = []contract{
	{"the same id again gets the same answer byte for byte", func(f *fixture) {
		c := f.message("m-1")
		c.Answer = []byte("answer \x00\xff\r\n bytes")
		c.Put = []store.Doc{{Kind: store.KindConversation, ID: bench, Body: []byte("1")}}
		c.Outbox = []store.Out{out("o-1")}
		f.do(c)
		again := f.message("m-1")
		again.Outbox = []store.Out{out("o-2")}
		f.same("answer", f.seen(again), c.Answer)
		d := f.load("m-1")
		if d.Seen == nil || d.Seen.ID != "m-1" || string(d.Seen.Text) != "text of m-1" || d.Seen.From != "kim" {
			f.Fatalf("seen is %+v", d.Seen)
		}
		f.same("loaded answer", d.Answer, c.Answer)
		if st := f.stats(); st.Waiting != 1 {
			f.Errorf("%d messages wait", st.Waiting)
		}
		if f.load("m-2").Seen != nil || f.load("").Seen != nil {
			f.Error("an id that never came was seen")
		}
	}},

	{"an empty answer is an answer", func(f *fixture) {
		c := f.message("m-1")
		c.Answer = nil
		f.do(c)
		if a := f.seen(f.message("m-1")); len(a) != 0 {
			f.Errorf("answer %q", a)
		}
	}},

	{"the same id with other content is a conflict", func(f *fixture) {
		f.do(f.message("m-1"))
		other := f.message("m-1")
		other.Inbound.Hash = []byte("another hash")
		f.refuse(store.ErrConflict, other)
	}},

	{"an id belongs to its conversation", func(f *fixture) {
		f.do(f.message("m-1"))
		c := f.message("m-1")
		c.Conversation = "phone"
		c.Inbound.Hash = []byte("another hash")
		f.do(c)
		c.Shop = "other-shop"
		f.do(c)
	}},

	{"handled before comes before stale, stale before full, full before taken", func(f *fixture) {
		f.do(f.message("m-1"))
		f.do(store.Commit{Records: []store.Record{{ID: "rec", At: f.at}}})
		bad := f.message("m-1")
		bad.Read = []store.Version{{Kind: store.KindSaw, ID: "s", Version: 9}}
		bad.Records = []store.Record{{ID: "rec", At: f.at}}
		answer := bad.Answer
		bad.Answer = make([]byte, store.MaxAnswer+1)
		f.seen(bad)
		bad.Inbound.Hash = []byte("another hash")
		f.refuse(store.ErrConflict, bad)
		bad.Inbound.ID = "m-2"
		f.refuse(store.ErrStale, bad)
		bad.Read = nil
		f.refuse(store.ErrFull, bad)
		bad.Answer = answer
		f.refuse(store.ErrConflict, bad)
		bad.Records = nil
		f.do(bad)
	}},

	{"ids are kept for seven days", func(f *fixture) {
		c := f.message("m-1")
		f.do(c)
		f.later(store.KeepIDs - time.Millisecond)
		f.same("answer", f.seen(f.message("m-1")), c.Answer)
		if f.load("m-1").Seen == nil {
			f.Error("Load has forgotten it too early")
		}
		f.later(time.Millisecond)
		f.do(store.Commit{})
		if f.load("m-1").Seen != nil {
			f.Error("Load still knows it")
		}
		fresh := f.message("m-1")
		fresh.Inbound.Hash = []byte("another hash")
		f.do(fresh)
		f.same("answer", f.seen(fresh), fresh.Answer)
	}},

	{"a transcript is the newest entries, oldest first", func(f *fixture) {
		c := store.Conversation{Shop: shop, ID: bench}
		for i := 1; i <= 5; i++ {
			f.later(time.Second)
			f.do(f.message(fmt.Sprint("m-", i)))
		}
		all := f.transcript(c, 0, 10)
		f.same("ids", ids(all), "m-1 m-2 m-3 m-4 m-5")
		f.same("newest three", ids(f.transcript(c, 0, 3)), "m-3 m-4 m-5")
		f.same("after the second", ids(f.transcript(c, all[1].Seq, 10)), "m-3 m-4 m-5")
		f.same("newest two after the second", ids(f.transcript(c, all[1].Seq, 2)), "m-4 m-5")
		f.same("after the last", ids(f.transcript(c, all[4].Seq, 10)), "")
		e := all[2]
		if !e.At.Equal(Noon.Add(3*time.Second)) || string(e.Inbound.Text) != "text of m-3" || e.Inbound.From != "kim" ||
			!strings.HasSuffix(string(e.Answer), "to m-3") || string(e.Inbound.Hash) != "hash of m-3" {
			f.Errorf("entry %+v", e)
		}
		f.same("another conversation", ids(f.transcript(store.Conversation{Shop: shop, ID: "bench"}, 0, 10)), "")
	}},

	{"a transcript is kept for seven days", func(f *fixture) {
		c := store.Conversation{Shop: shop, ID: bench}
		f.do(f.message("m-1"))
		f.later(store.KeepIDs - time.Second)
		f.do(f.message("m-2"))
		f.same("before", ids(f.transcript(c, 0, 10)), "m-1 m-2")
		f.later(time.Second)
		f.do(f.message("m-3"))
		f.same("after", ids(f.transcript(c, 0, 10)), "m-2 m-3")
		f.later(2 * store.KeepIDs)
		for i := 0; i < 30; i++ {
			f.do(f.message(fmt.Sprint("late-", i)))
		}
		f.same("long after", len(f.transcript(c, 0, 100)), 30)
	}},

	{"a commit that handles nothing leaves no entry", func(f *fixture) {
		f.set(store.KindSaw, "s", "x")
		f.same("entries", len(f.transcript(store.Conversation{Shop: shop, ID: bench}, 0, 10)), 0)
	}},

	{"handled ids move along with a conversation", func(f *fixture) {
		hall := store.Conversation{Shop: "hall", ID: "phone"}
		for _, id := range []string{"m-1", "m-2"} {
			c := f.message(id)
			c.Shop, c.Conversation = hall.Shop, hall.ID
			f.do(c)
		}
		moved := f.transcript(hall, 0, 100)
		join := f.message("m-3")
		join.Conversation = "phone"
		join.Moved = moved
		f.do(join)
		here := store.Conversation{Shop: shop, ID: "phone"}
		f.same("transcript", ids(f.transcript(here, 0, 10)), "m-1 m-2 m-3")
		again := f.message("m-2")
		again.Conversation = "phone"
		f.same("answer", f.seen(again), moved[1].Answer)
		again = f.message("m-4")
		again.Conversation = "phone"
		again.Moved = moved // a move that is done again adds nothing
		f.do(again)
		f.same("transcript", ids(f.transcript(here, 0, 10)), "m-1 m-2 m-3 m-4")
		f.later(store.KeepIDs)
		again = f.message("m-1")
		again.Conversation = "phone"
		f.do(again)
	}},

	{"delivered again 20 at once one change one reply", func(f *fixture) {
		c := f.message("m-1")
		c.Put = []store.Doc{{Kind: store.KindConversation, ID: bench, Body: []byte("1")}}
		c.Records = []store.Record{{ID: "rec", At: f.at}}
		c.Outbox = []store.Out{out("o-1")}
		var mu sync.Mutex
		var wg sync.WaitGroup
		effects, answers := 0, map[string]int{}
		for i := 0; i < 20; i++ {
			mine := f.whole(c)
			mine.Answer = []byte(fmt.Sprint("answer of lane ", i))
			wg.Add(1)
			go func() {
				defer wg.Done()
				err := f.Commit(f.ctx, mine)
				var seen *store.SeenError
				mu.Lock()
				defer mu.Unlock()
				switch {
				case err == nil:
					effects++
					answers[string(mine.Answer)]++
				case errors.As(err, &seen):
					answers[string(seen.Answer)]++
				default:
					f.Errorf("Commit: %v", err)
				}
			}()
		}
		wg.Wait()
		if effects != 1 || len(answers) != 1 {
			f.Errorf("%d effects, answers %v", effects, answers)
		}
		f.same("waiting", f.stats().Waiting, 1)
		f.same("entries", len(f.transcript(store.Conversation{Shop: shop, ID: bench}, 0, 100)), 1)
	}},
}

func (f *fixture) transcript(c store.Conversation, after uint64, max int) []store.Entry {
	f.Helper()
	entries, err := f.Transcript(f.ctx, c, after, max)
	f.ok(err)
	for i := 1; i < len(entries); i++ {
		if entries[i].Seq <= entries[i-1].Seq {
			f.Errorf("entry %d has number %d after %d", i, entries[i].Seq, entries[i-1].Seq)
		}
	}
	return entries
}

func ids(entries []store.Entry) string {
	var all []string
	for _, e := range entries {
		all = append(all, e.Inbound.ID+e.Fired)
	}
	return strings.Join(all, " ")
}

func (f *fixture) stats() store.Stats {
	f.Helper()
	st, err := f.Stats(f.ctx, f.at)
	f.ok(err)
	return st
}
