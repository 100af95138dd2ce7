package storetest

import (
	"fmt"
	"strings"
	"time"

	"shimwright/store"
)

var limits = []contract{
	{"what is just at its limit is kept whole", func(f *fixture) {
		c := f.message("m-1")
		c.Answer = filled(store.MaxAnswer)
		c.Inbound.Text = filled(store.MaxInbound)
		c.Put = []store.Doc{{Kind: store.KindConversation, ID: bench, Body: filled(store.MaxDoc)}}
		o := out("o-1")
		o.Body = filled(store.MaxOut)
		c.Outbox = []store.Out{o}
		c.Records = []store.Record{{ID: strings.Repeat("r", store.MaxID), At: f.at, Body: filled(store.MaxRecord)}}
		c.Remind = []store.Reminder{{ID: "rem", Due: f.at, Body: filled(store.MaxReminder)}}
		f.do(c)
		d := f.load("m-1")
		f.same("sizes", []int{len(d.Answer), len(d.Seen.Text), len(d.Conversation.Body), len(d.Last[0].Body), len(d.Reminders[0].Body)},
			[]int{store.MaxAnswer, store.MaxInbound, store.MaxDoc, store.MaxRecord, store.MaxReminder})
		f.same("body", len(f.claim(10)[0].Out.Body), store.MaxOut)
	}},

	{"what passes a limit is refused whole", func(f *fixture) {
		long := strings.Repeat("x", store.MaxID+1)
		o := out("o-1")
		o.Body = filled(store.MaxOut + 1)
		moved := make([]store.Entry, store.MaxMoved+1)
		for i := range moved {
			moved[i] = store.Entry{At: f.at, Inbound: store.Handled{ID: fmt.Sprint(i)}}
		}
		for name, c := range map[string]store.Commit{
			"answer":   {Inbound: store.Handled{ID: "m-1"}, Answer: filled(store.MaxAnswer + 1)},
			"text":     {Inbound: store.Handled{ID: "m-1", Text: filled(store.MaxInbound + 1)}},
			"document": {Put: []store.Doc{{Kind: store.KindSaw, ID: "s", Body: filled(store.MaxDoc + 1)}}},
			"record":   {Records: []store.Record{{ID: "r", At: f.at, Body: filled(store.MaxRecord + 1)}}},
			"reminder": {Remind: []store.Reminder{{ID: "r", Due: f.at, Body: filled(store.MaxReminder + 1)}}},
			"outgoing": {Outbox: []store.Out{o}},
			"moved":    {Moved: moved},
			"id":       {Put: []store.Doc{{Kind: store.KindSaw, ID: long, Body: []byte("x")}}},
			"inbound":  {Inbound: store.Handled{ID: long}},
		} {
			c.Put = append(c.Put, store.Doc{Kind: store.KindPeople, Body: []byte("x")})
			if err := f.Commit(f.ctx, f.whole(c)); err == nil || !strings.Contains(err.Error(), "the limit is") {
				f.Errorf("%s: %v", name, err)
			}
			f.refuse(store.ErrFull, c)
		}
		f.empty()
	}},

	{"a commit that is not well formed is refused", func(f *fixture) {
		for name, c := range map[string]store.Commit{
			"no time":              {Shop: shop},
			"no shop":              {At: f.at},
			"message to nobody":    {Shop: shop, At: f.at, Inbound: store.Handled{ID: "m-1"}},
			"silence of nobody":    {Shop: shop, At: f.at, Silence: true},
			"document twice":       f.whole(store.Commit{Put: []store.Doc{{Kind: store.KindPeople, Body: []byte("1")}, {Kind: store.KindPeople, Body: []byte("2")}}}),
			"record without time":  f.whole(store.Commit{Records: []store.Record{{ID: "r"}}}),
			"record twice":         f.whole(store.Commit{Records: []store.Record{{ID: "r", At: f.at}, {ID: "r", At: f.at}}}),
			"outgoing without id":  f.whole(store.Commit{Outbox: []store.Out{out("")}}),
			"reminder without due": f.whole(store.Commit{Remind: []store.Reminder{{ID: "r"}}}),
			"moved without time":   f.whole(store.Commit{Moved: []store.Entry{{Inbound: store.Handled{ID: "m"}}}}),
		} {
			if err := f.Commit(f.ctx, c); err == nil {
				f.Errorf("%s: accepted", name)
			}
		}
		f.empty()
	}},

	{"a queue takes a thousand messages", func(f *fixture) {
		var c store.Commit
		for i := 0; i < store.MaxQueue; i++ {
			o := out(fmt.Sprint("o-", i))
			if i%2 == 1 {
				o.NotBefore = f.at.Add(time.Hour)
			}
			c.Outbox = append(c.Outbox, o)
		}
		f.do(c)
		f.refuse(store.ErrFull, store.Commit{Outbox: []store.Out{out("one-more")}})
		other := out("to another")
		other.Conversation = "phone"
		f.do(store.Commit{Outbox: []store.Out{other}})
		f.same("waiting", f.stats().Waiting, store.MaxQueue+1)
		d := f.claim(1)[0]
		f.settle(d, store.Sent)
		f.do(store.Commit{Outbox: []store.Out{out("one-more")}})
		f.refuse(store.ErrFull, store.Commit{Outbox: []store.Out{out("too many")}})
		f.do(store.Commit{Silence: true, Outbox: []store.Out{out("confirmation")}})
		f.same("waiting", f.stats().Waiting, 2)
	}},

	{"a shop takes a thousand reminders", func(f *fixture) {
		var c store.Commit
		for i := 0; i < store.MaxReminders; i++ {
			c.Remind = append(c.Remind, store.Reminder{ID: fmt.Sprint("r-", i), Due: f.at.Add(time.Duration(i) * time.Minute)})
		}
		f.do(c)
		f.refuse(store.ErrFull, store.Commit{Remind: []store.Reminder{{ID: "new", Due: f.at}}})
		f.do(store.Commit{Remind: []store.Reminder{{ID: "r-7", Due: f.at}}})
		f.do(store.Commit{Forget: []string{"r-8"}, Remind: []store.Reminder{{ID: "new", Due: f.at}}})
		f.do(store.Commit{Fired: "r-9", FiredDue: f.at.Add(9 * time.Minute), Remind: []store.Reminder{{ID: "newer", Due: f.at}}})
		f.refuse(store.ErrFull, store.Commit{Fired: "r-10", FiredDue: f.at.Add(10 * time.Minute), Remind: []store.Reminder{{ID: "a", Due: f.at}, {ID: "b", Due: f.at}}})
		f.same("reminders", len(f.load("").Reminders), store.MaxReminders)
	}},
}

func filled(n int) []byte { return []byte(strings.Repeat("x", n)) }
