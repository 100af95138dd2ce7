package storetest

import (
	"bytes"
	"fmt"
	"time"

	"shimwright/store"
)

// The canaries: text that must be nowhere in the raw store once its owner is
// erased.
const (
	canaryShop   = "canary-shop-7f3a"
	canarySaw    = "canary-saw-91bc"
	canaryPerson = "canary-person-e04d"
)

var erasing = []contract{
	{"an erased shop is really gone", func(f *fixture) {
		f.fill(canaryShop, canarySaw, canaryPerson)
		f.fill("neighbour", "saw", "pat")
		before := f.dumpOf("neighbour")
		f.present(canaryShop, canarySaw, canaryPerson)
		under, err := f.Claim(f.ctx, f.at, lease, 1)
		f.ok(err)
		f.ok(f.Erase(f.ctx, store.Scope{Shop: canaryShop}))
		f.absent(canaryShop, canarySaw, canaryPerson)
		f.same("neighbour", len(before), len(f.dumpOf("neighbour")))
		for _, d := range under {
			if d.Shop == canaryShop {
				f.fails(store.ErrLost, f.Settle(f.ctx, d, store.Sent, f.at, ""))
			}
		}
		f.fails(store.ErrNotFound, second(f.Resolve(f.ctx, "sms:"+canaryShop)))
		f.same("address", f.resolve("sms:neighbour"), "neighbour")
		shops, err := f.Shops(f.ctx, "", 9)
		f.ok(err)
		f.same("shops", shops, []string{"neighbour"})
		f.consistent()
		f.ok(f.Erase(f.ctx, store.Scope{Shop: canaryShop}))
		f.fill(canaryShop, "saw", "pat") // may be founded again
	}},

	{"an erased saw is really gone", func(f *fixture) {
		f.fill(shop, canarySaw, "kim")
		f.fill2(shop, "other-saw")
		f.speakOf(canarySaw)
		f.present(canarySaw)
		f.ok(f.Erase(f.ctx, store.Scope{Shop: shop, Saw: canarySaw}))
		f.absent(canarySaw)
		f.same("dead letters", len(f.letters(shop)), 0)
		_, err := f.Get(f.ctx, shop, store.KindDrawing, "chart")
		f.fails(store.ErrNotFound, err)
		said, err := f.Transcript(f.ctx, store.Conversation{Shop: shop, ID: "c-pat"}, 0, 9)
		f.ok(err)
		for _, e := range said {
			f.same("a line", []string{string(e.Inbound.Text), string(e.Answer), e.Inbound.From}, []string{"", "", ""})
		}
		f.same("lines", len(said), 2)
		d, err := f.Load(f.ctx, store.Conversation{Shop: shop, ID: "c-kim"}, "m-1")
		f.ok(err)
		if len(d.Saws) != 1 || len(d.Last) != 1 || len(d.Reminders) != 2 || d.Seen == nil || d.Conversation.Version == 0 {
			f.Errorf("left: %+v", d)
		}
		f.same("records", f.recordIDs(store.RecordQuery{Shop: shop}), "[rec-other-saw]")
		f.consistent()
	}},

	{"an erased person is really gone", func(f *fixture) {
		f.fill(shop, "saw", canaryPerson)
		f.fill2(shop, "saw2")
		for i, from := range []string{"pat", canaryPerson} {
			f.do(store.Commit{
				Shop: shop, Conversation: "shared", Answer: []byte("hello " + from),
				Inbound: store.Handled{ID: fmt.Sprint("m-", i), Hash: []byte("hash"), Text: []byte("I am " + from), From: from},
				Put:     []store.Doc{{Kind: store.KindConversation, ID: "shared", Version: f.get(store.KindConversation, "shared").Version, Body: []byte("job")}},
			})
		}
		f.present(canaryPerson)
		f.ok(f.Erase(f.ctx, store.Scope{Shop: shop, Person: canaryPerson}))
		f.absent(canaryPerson)
		d, err := f.Load(f.ctx, store.Conversation{Shop: shop, ID: "shared"}, "m-1")
		f.ok(err)
		if d.Conversation.Version == 0 || d.Seen == nil || len(d.Answer) > 0 {
			f.Errorf("the shared conversation is %+v", d)
		}
		if len(d.Reminders) != 1 || d.Reminders[0].ID != "rem-saw2" {
			f.Errorf("reminders %+v", d.Reminders)
		}
		records, err := f.Records(f.ctx, store.RecordQuery{Shop: shop})
		f.ok(err)
		f.same("records", len(records), 2)
		again := store.Commit{Shop: shop, Conversation: "shared", Inbound: store.Handled{ID: "m-1", Hash: []byte("whatever")}}
		f.same("answer", f.seen(again), []byte{})
		again.Inbound.ID = "m-0"
		again.Inbound.Hash = []byte("hash")
		f.same("answer of another", string(f.seen(again)), "hello pat")
		f.consistent()
	}},

	{"erasing what is not there is no error", func(f *fixture) {
		f.ok(f.Erase(f.ctx, store.Scope{Shop: "nobody"}))
		f.ok(f.Erase(f.ctx, store.Scope{Shop: "nobody", Saw: "s", Person: "p"}))
		f.do(store.Commit{})
		f.ok(f.Erase(f.ctx, store.Scope{Shop: shop, Saw: "s", Person: "p"}))
		if f.Erase(f.ctx, store.Scope{}) == nil {
			f.Error("erased without a shop")
		}
	}},

	{"a shop of many conversations is erased", func(f *fixture) {
		m := f.message("m-1")
		f.parallel(600, func(i int) error {
			c := f.whole(m)
			c.Shop, c.Conversation = canaryShop, fmt.Sprint("phone-", i)
			c.Put = []store.Doc{{Kind: store.KindConversation, ID: c.Conversation, Body: []byte("x")}}
			return f.Commit(f.ctx, c)
		})
		f.ok(f.Erase(f.ctx, store.Scope{Shop: canaryShop}))
		f.absent(canaryShop, "phone-1")
	}},
}

// fill makes a shop that has one of everything. What belongs to the saw names
// it, and what belongs to the person names them.
func (f *fixture) fill(shop, saw, person string) {
	f.Helper()
	ofShop, ofSaw, ofPerson := []byte("of "+shop), []byte("of "+saw), []byte("of "+person)
	c := store.Conversation{Shop: shop, ID: "c-" + person}
	to := func(id string) store.Out {
		return store.Out{ID: id + shop, Conversation: c.ID, Channel: "sms", To: "+" + person, Body: ofPerson}
	}
	held := to("held")
	held.NotBefore = f.at.Add(time.Hour)
	f.do(store.Commit{
		Shop: shop, Conversation: c.ID, Answer: ofPerson,
		Inbound: store.Handled{ID: "m-1", Hash: []byte("h"), Text: ofPerson, From: person},
		Put: []store.Doc{
			{Kind: store.KindConversation, ID: c.ID, Body: ofPerson},
			{Kind: store.KindSaw, ID: saw, Body: ofSaw},
			{Kind: store.KindPeople, Body: ofShop},
			{Kind: store.KindDrawing, ID: "d-" + shop, Body: ofShop, Expires: f.at.Add(time.Hour)},
			{Kind: store.KindReport, ID: "t-" + shop, Body: ofShop},
		},
		Records: []store.Record{{ID: "rec-" + saw, Saw: saw, Characteristic: "level", Person: person, At: f.at, Body: ofSaw}},
		Remind: []store.Reminder{
			{ID: "rem-" + saw, Conversation: c.ID, Saw: saw, Person: person, Due: f.at, Body: ofSaw},
			{ID: "to whoever is there", Conversation: c.ID, Due: f.at, Body: ofShop},
		},
	})
	f.ok(f.Point(f.ctx, "sms:"+shop, "", shop))
	f.do(store.Commit{Shop: shop, Conversation: c.ID, Outbox: []store.Out{to("dead")}})
	for _, d := range f.claim(99) {
		f.settleAs(d, store.Dead, f.at)
	}
	f.do(store.Commit{
		Shop: shop, Conversation: c.ID, Outbox: []store.Out{to("waits"), to("waits too"), held}, Answer: ofPerson,
		Put:     []store.Doc{{Kind: store.KindSent, ID: "out-" + person, Body: ofPerson, Expires: f.at.Add(time.Hour)}},
		Inbound: store.Handled{ID: "m-2", Text: ofPerson, From: person},
	})
}

// speakOf lets a person of the shop speak of a saw: in a message, its answer, a
// drawing, and a message that could not be sent.
func (f *fixture) speakOf(saw string) {
	f.Helper()
	f.do(store.Commit{
		Shop: shop, Conversation: "c-pat", Answer: []byte(saw + " is level"),
		Inbound: store.Handled{ID: "m-2", Hash: []byte("hash"), Text: []byte("history of " + saw), From: "pat"},
		Put: []store.Doc{{Kind: store.KindDrawing, ID: "chart", Body: []byte("the course of " + saw), Expires: f.at.Add(time.Hour)},
			{Kind: store.KindSent, ID: "out-1", Body: []byte(saw + " is due"), Expires: f.at.Add(time.Hour)}},
		Outbox: []store.Out{{ID: "lost", Conversation: "c-pat", Channel: "sms", To: "+1", Body: []byte(saw + " is due")}},
	})
	for _, d := range f.claim(99) {
		f.settleAs(d, store.Dead, f.at)
	}
}

// fill2 adds a second saw of another person.
func (f *fixture) fill2(shop, saw string) {
	f.Helper()
	f.do(store.Commit{
		Shop: shop, Conversation: "c-pat", Inbound: store.Handled{ID: "m-1", From: "pat"},
		Put:     []store.Doc{{Kind: store.KindSaw, ID: saw, Body: []byte("profile")}, {Kind: store.KindConversation, ID: "c-pat", Body: []byte("job")}},
		Records: []store.Record{{ID: "rec-" + saw, Saw: saw, Characteristic: "level", Person: "pat", At: f.at}},
		Remind:  []store.Reminder{{ID: "rem-" + saw, Conversation: "c-pat", Saw: saw, Person: "pat", Due: f.at}},
	})
}

// present makes sure that a search for the canaries can find them at all.
func (f *fixture) present(canaries ...string) {
	f.Helper()
	raw := f.Raw(f, f.Store)
	for _, c := range canaries {
		if !bytes.Contains(raw, []byte(c)) {
			f.Fatalf("the raw store does not show %q: the search proves nothing", c)
		}
	}
}

func (f *fixture) absent(canaries ...string) {
	f.Helper()
	raw := f.Raw(f, f.Store)
	for _, c := range canaries {
		if i := bytes.Index(raw, []byte(c)); i >= 0 {
			f.Errorf("%q is still in the raw store: %q", c, raw[max(0, i-60):min(len(raw), i+60)])
		}
	}
}
