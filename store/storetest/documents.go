package storetest

import (
	"time"

	"shimwright/store"
)

var documents = []contract{
	{"an unknown shop loads with version 0", func(f *fixture) {
		d := f.load("m-1")
		f.same("conversation", d.Conversation, store.Doc{Kind: store.KindConversation, ID: bench})
		f.same("people", d.People, store.Doc{Kind: store.KindPeople})
		if len(d.Saws)+len(d.Last)+len(d.Reminders) > 0 || d.Seen != nil {
			f.Errorf("something is there: %+v", d)
		}
		f.fails(store.ErrNotFound, second(f.Get(f.ctx, shop, store.KindReport, "t")))
	}},

	{"every kind of document comes back", func(f *fixture) {
		names := []store.Version{
			{Kind: store.KindConversation, ID: bench}, {Kind: store.KindConversation, ID: "phone:+1/\x00{x}"},
			{Kind: store.KindSaw, ID: "big"}, {Kind: store.KindSaw, ID: "älter \x00\xff saw"}, {Kind: store.KindPeople},
			{Kind: store.KindDrawing, ID: "d1"}, {Kind: store.KindReport, ID: "r1"}, {Kind: "other", ID: "o"},
		}
		var puts []store.Doc
		for _, n := range names {
			puts = append(puts, store.Doc{Kind: n.Kind, ID: n.ID, Body: []byte("body \x00\xff " + n.ID)})
		}
		f.do(store.Commit{Put: puts})
		for i, n := range names {
			d := f.get(n.Kind, n.ID)
			f.same(n.ID, string(d.Body), string(puts[i].Body))
			if d.Version == 0 || d.Kind != n.Kind || d.ID != n.ID {
				f.Errorf("document %+v is %+v", n, d)
			}
		}
		d := f.load("")
		f.same("conversation", string(d.Conversation.Body), "body \x00\xff "+bench)
		if d.People.Version == 0 || len(d.Saws) != 2 || d.Saws[0].ID != "big" {
			f.Errorf("loaded %+v", d)
		}
	}},

	{"a shop sees nothing of another whose name runs into its own", func(f *fixture) {
		f.do(store.Commit{Shop: "a", Conversation: "b:c", Put: []store.Doc{{Kind: store.KindConversation, ID: "b:c", Body: []byte("1")}}})
		f.do(store.Commit{Shop: "a:b", Conversation: "c", Put: []store.Doc{{Kind: store.KindConversation, ID: "c", Body: []byte("2")}}})
		f.do(store.Commit{Shop: "a\x00", Conversation: "c", Put: []store.Doc{{Kind: store.KindSaw, ID: "s", Body: []byte("3")}}})
		for _, shop := range []string{"a", "a:b"} {
			d, err := f.Load(f.ctx, store.Conversation{Shop: shop, ID: "c"}, "")
			f.ok(err)
			if len(d.Saws) > 0 || (d.Conversation.Version > 0) != (shop == "a:b") {
				f.Errorf("shop %q: %+v", shop, d)
			}
		}
	}},

	{"a put names the version that it replaces", func(f *fixture) {
		put := func(version uint64) store.Commit {
			return store.Commit{Put: []store.Doc{{Kind: store.KindSaw, ID: "s", Version: version, Body: []byte("x")}}}
		}
		f.refuse(store.ErrStale, put(7))
		f.do(put(0))
		first := f.get(store.KindSaw, "s").Version
		f.refuse(store.ErrStale, put(0))
		f.do(put(first))
		f.refuse(store.ErrStale, put(first))
		if v := f.get(store.KindSaw, "s").Version; v <= first {
			f.Errorf("version %d after %d", v, first)
		}
	}},

	{"a document merely read makes a commit stale", func(f *fixture) {
		f.set(store.KindPeople, "", "kim")
		f.set(store.KindSaw, "s", "power on")
		people, saw := f.get(store.KindPeople, ""), f.get(store.KindSaw, "s")
		reading := f.message("m-1")
		reading.Read = []store.Version{{Kind: store.KindPeople, Version: people.Version}, {Kind: store.KindSaw, ID: "s", Version: saw.Version}}
		reading.Put = []store.Doc{{Kind: store.KindConversation, ID: bench, Body: []byte("1")}}
		f.set(store.KindSaw, "s", "power off")
		f.refuse(store.ErrStale, reading)
		if d := f.load("m-1"); d.Conversation.Version != 0 || d.Seen != nil {
			f.Errorf("a stale commit wrote %+v", d)
		}
		reading.Read[1].Version = f.get(store.KindSaw, "s").Version
		f.do(reading)
	}},

	{"relying on a document that is not there counts", func(f *fixture) {
		f.do(store.Commit{Read: []store.Version{{Kind: store.KindSaw, ID: "s"}}})
		f.set(store.KindSaw, "s", "now it is")
		f.refuse(store.ErrStale, store.Commit{Read: []store.Version{{Kind: store.KindSaw, ID: "s"}}})
	}},

	{"one stale document stops the whole commit", func(f *fixture) {
		c := f.message("m-1")
		c.Put = []store.Doc{
			{Kind: store.KindConversation, ID: bench, Body: []byte("1")},
			{Kind: store.KindSaw, ID: "s", Version: 3, Body: []byte("2")},
		}
		c.Outbox = []store.Out{out("o-1")}
		c.Remind = []store.Reminder{{ID: "r", Due: f.at}}
		c.Records = []store.Record{{ID: "rec", At: f.at}}
		f.refuse(store.ErrStale, c)
		f.empty()
	}},

	{"a nil body deletes, an empty one does not", func(f *fixture) {
		f.set(store.KindSaw, "s", "")
		d := f.get(store.KindSaw, "s")
		if d.Version == 0 || d.Body == nil {
			f.Fatalf("an empty document is %+v", d)
		}
		f.refuse(store.ErrStale, store.Commit{Put: []store.Doc{{Kind: store.KindSaw, ID: "s", Version: d.Version + 1}}})
		f.do(store.Commit{Put: []store.Doc{{Kind: store.KindSaw, ID: "s", Version: d.Version}}})
		if len(f.load("").Saws) > 0 || f.get(store.KindSaw, "s").Version != 0 {
			f.Error("the document is still there")
		}
	}},

	{"a document made again is another one", func(f *fixture) {
		f.set(store.KindSaw, "s", "old")
		old := f.get(store.KindSaw, "s").Version
		f.do(store.Commit{Put: []store.Doc{{Kind: store.KindSaw, ID: "s", Version: old}}})
		f.set(store.KindSaw, "s", "new")
		f.refuse(store.ErrStale, store.Commit{Read: []store.Version{{Kind: store.KindSaw, ID: "s", Version: old}}})
	}},

	{"a document is gone when it expires", func(f *fixture) {
		put := store.Commit{Put: []store.Doc{
			{Kind: store.KindDrawing, ID: "d", Body: []byte("spec"), Expires: f.at.Add(time.Hour)},
			{Kind: store.KindSaw, ID: "s", Body: []byte("saw"), Expires: f.at.Add(time.Hour)},
			{Kind: store.KindReport, ID: "kept", Body: []byte("report")},
		}}
		f.do(put)
		f.later(59 * time.Minute)
		f.do(f.message("m-1"))
		f.same("expiry", f.get(store.KindDrawing, "d").Expires, put.Put[0].Expires)
		f.later(time.Minute)
		f.do(f.message("m-2"))
		if f.get(store.KindDrawing, "d").Version != 0 || len(f.load("").Saws) != 0 || f.get(store.KindReport, "kept").Version == 0 {
			f.Error("the wrong documents are there after the hour")
		}
		put.At = f.at
		put.Put = put.Put[:2]
		f.do(put) // version 0 again: it does not exist any more
	}},

	{"what Due and Claim were told counts for expiry too", func(f *fixture) {
		f.do(store.Commit{Put: []store.Doc{{Kind: store.KindReport, ID: "r", Body: []byte("x"), Expires: f.at.Add(time.Hour)}}})
		_, err := f.Due(f.ctx, f.at.Add(2*time.Hour), 1)
		f.ok(err)
		if f.get(store.KindReport, "r").Version != 0 {
			f.Error("still there an hour after its time")
		}
	}},

	{"what expired long ago is not kept", func(f *fixture) {
		f.do(store.Commit{Put: []store.Doc{{Kind: store.KindReport, ID: "r", Body: []byte("canary-expired"), Expires: f.at.Add(time.Hour)}}})
		f.later(3 * time.Hour)
		for i := 0; i < 20; i++ {
			f.do(store.Commit{})
		}
		f.same("report", f.get(store.KindReport, "r").Version, 0)
	}},
}

func second[T any](_ T, err error) error { return err }

// empty checks that the store holds nothing of the shop.
func (f *fixture) empty() {
	f.Helper()
	d := f.load("m-1")
	if d.Conversation.Version+d.People.Version > 0 || len(d.Saws)+len(d.Last)+len(d.Reminders) > 0 || d.Seen != nil {
		f.Errorf("something was written: %+v", d)
	}
	entries, err := f.Transcript(f.ctx, store.Conversation{Shop: shop, ID: bench}, 0, 10)
	f.ok(err)
	records, err := f.Records(f.ctx, store.RecordQuery{Shop: shop})
	f.ok(err)
	claimed, err := f.Claim(f.ctx, f.at.Add(time.Hour), time.Minute, 10)
	f.ok(err)
	shops, err := f.Shops(f.ctx, "", 10)
	f.ok(err)
	if len(entries)+len(records)+len(claimed)+len(shops) > 0 {
		f.Errorf("something was written: %v %v %v %v", entries, records, claimed, shops)
	}
}
