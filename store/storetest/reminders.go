package storetest

import (
	"fmt"
	"sync"
	"time"

	"shimwright/store"
)

func remind(id string, due time.Time) store.Reminder {
	return store.Reminder{ID: id, Conversation: bench, Saw: "big", Person: "kim", Due: due, Body: []byte("body of " + id)}
}

var reminders = []contract{
	{"reminders load whole and in order", func(f *fixture) {
		f.do(store.Commit{Remind: []store.Reminder{remind("b", f.at.Add(2*time.Hour)), remind("c", f.at.Add(time.Hour)), remind("a", f.at.Add(2*time.Hour))}})
		list := f.load("").Reminders
		f.same("order", []string{list[0].ID, list[1].ID, list[2].ID}, "[c a b]")
		f.same("reminder", list[0], remind("c", f.at.Add(time.Hour)))
	}},

	{"due comes the longest due first and claims nothing", func(f *fixture) {
		f.do(store.Commit{Remind: []store.Reminder{remind("late", f.at.Add(3*time.Minute)), remind("now", f.at), remind("soon", f.at.Add(time.Minute))}})
		f.do(store.Commit{Shop: "other", Remind: []store.Reminder{remind("now", f.at.Add(30*time.Second))}})
		f.same("before", dueIDs(f.due(f.at.Add(-time.Millisecond), 9)), "[]")
		f.same("at noon", dueIDs(f.due(f.at, 9)), "[now]")
		for i := 0; i < 2; i++ {
			f.same("later", dueIDs(f.due(f.at.Add(2*time.Minute), 9)), "[now other/now soon]")
		}
		f.same("two", dueIDs(f.due(f.at.Add(time.Hour), 2)), "[now other/now]")
		f.same("whole", f.due(f.at, 1)[0].Reminder, remind("now", f.at))
		st := f.stats()
		f.same("stats", []any{st.Due, st.Late}, []any{1, time.Duration(0)})
		f.later(2 * time.Minute)
		st = f.stats()
		f.same("stats", []any{st.Due, st.Late}, []any{3, 2 * time.Minute})
	}},

	{"a reminder with the id of another replaces it", func(f *fixture) {
		f.do(store.Commit{Remind: []store.Reminder{remind("r", f.at)}})
		f.do(store.Commit{Shop: "other", Remind: []store.Reminder{remind("r", f.at.Add(time.Second))}})
		f.do(store.Commit{Remind: []store.Reminder{remind("r", f.at.Add(time.Hour))}})
		f.same("due", dueIDs(f.due(f.at.Add(time.Minute), 9)), "[other/r]")
		f.same("due", dueIDs(f.due(f.at.Add(time.Hour), 9)), "[other/r r]")
		f.same("reminders", len(f.load("").Reminders), 1)
	}},

	{"a reminder is forgotten", func(f *fixture) {
		f.do(store.Commit{Remind: []store.Reminder{remind("a", f.at), remind("b", f.at)}})
		f.do(store.Commit{Forget: []string{"a", "unknown"}})
		f.same("due", dueIDs(f.due(f.at, 9)), "[b]")
		f.do(store.Commit{Forget: []string{"b"}, Remind: []store.Reminder{remind("b", f.at.Add(time.Hour))}})
		f.same("due", dueIDs(f.due(f.at.Add(time.Hour), 9)), "[b]")
	}},

	{"a fired reminder is handled once", func(f *fixture) {
		f.do(store.Commit{Remind: []store.Reminder{remind("r", f.at)}})
		d := f.due(f.at, 1)[0]
		fire := store.Commit{Fired: d.ID, FiredDue: d.Due, Answer: []byte("time to check"), Outbox: []store.Out{out("o-r")}}
		f.do(fire)
		f.seen(fire)
		f.same("due", len(f.due(f.at.Add(time.Hour), 9)), 0)
		f.same("waiting", f.stats().Waiting, 1)
		e := f.transcript(store.Conversation{Shop: shop, ID: bench}, 0, 9)
		f.same("entries", ids(e), "r")
		f.same("entry", []string{e[0].Inbound.ID, e[0].Fired, string(e[0].Answer)}, []string{"", "r", "time to check"})
	}},

	{"a fired reminder that has moved counts as handled", func(f *fixture) {
		f.do(store.Commit{Remind: []store.Reminder{remind("r", f.at)}})
		d := f.due(f.at, 1)[0]
		f.do(store.Commit{Remind: []store.Reminder{remind("r", f.at.Add(time.Hour))}})
		f.seen(store.Commit{Fired: d.ID, FiredDue: d.Due})
		f.same("due", dueIDs(f.due(f.at.Add(time.Hour), 9)), "[r]")
	}},

	{"a fired reminder may set itself anew", func(f *fixture) {
		f.do(store.Commit{Remind: []store.Reminder{remind("r", f.at)}})
		f.do(store.Commit{Fired: "r", FiredDue: f.at, Remind: []store.Reminder{remind("r", f.at.Add(time.Hour))}})
		f.seen(store.Commit{Fired: "r", FiredDue: f.at})
		f.do(store.Commit{Fired: "r", FiredDue: f.at.Add(time.Hour)})
		f.same("due", len(f.due(f.at.Add(24*time.Hour), 9)), 0)
	}},

	{"a stale commit leaves the reminder to fire", func(f *fixture) {
		f.do(store.Commit{Remind: []store.Reminder{remind("r", f.at)}})
		f.refuse(store.ErrStale, store.Commit{Fired: "r", FiredDue: f.at, Read: []store.Version{{Kind: store.KindPeople, Version: 9}}})
		f.same("due", dueIDs(f.due(f.at, 9)), "[r]")
	}},

	{"each replica fires the same reminder five workers 50 due 50 texts", func(f *fixture) {
		for i := 0; i < 50; i++ {
			c := store.Commit{Shop: fmt.Sprint("shop-", i%7), Remind: []store.Reminder{remind(fmt.Sprint("r-", i), f.at)}}
			f.do(c)
		}
		var wg sync.WaitGroup
		for worker := 0; worker < 5; worker++ {
			s := f.replica()
			// Clocks that differ: between 20 s behind and 20 s ahead.
			now := f.at.Add(20*time.Second + time.Duration(worker-2)*10*time.Second)
			wg.Add(1)
			go func() {
				defer wg.Done()
				f.fireAll(s, now)
			}()
		}
		wg.Wait()
		f.same("due", len(f.due(f.at.Add(time.Hour), 99)), 0)
		texts := map[string]int{}
		for _, d := range f.claimAll(f.at.Add(time.Hour)) {
			texts[d.Out.ID]++
		}
		f.same("texts", len(texts), 50)
	}},
}

// fireAll handles whatever is due until nothing is.
func (f *fixture) fireAll(s store.Store, now time.Time) {
	for {
		due, err := s.Due(f.ctx, now, 10)
		if err != nil {
			f.Errorf("Due: %v", err)
			return
		}
		if len(due) == 0 {
			return
		}
		for _, d := range due {
			text := out("text-" + d.ID)
			text.Conversation = "phone-" + d.ID
			err := s.Commit(f.ctx, store.Commit{
				Shop: d.Shop, Conversation: text.Conversation, Fired: d.ID, FiredDue: d.Due, Outbox: []store.Out{text}, At: now,
			})
			if err != nil && !isSeen(err) {
				f.Errorf("Commit: %v", err)
				return
			}
		}
	}
}

func (f *fixture) due(now time.Time, max int) []store.DueReminder {
	f.Helper()
	due, err := f.Due(f.ctx, now, max)
	f.ok(err)
	return due
}

// dueIDs lists ids, those of other shops with the shop.
func dueIDs(due []store.DueReminder) []string {
	list := []string{}
	for _, d := range due {
		if d.Shop != shop {
			d.ID = d.Shop + "/" + d.ID
		}
		list = append(list, d.ID)
	}
	return list
}
