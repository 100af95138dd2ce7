package storetest

import (
	"fmt"
	"time"

	"shimwright/store"
)

func record(id, saw, characteristic string, at time.Time) store.Record {
	return store.Record{ID: id, Saw: saw, Characteristic: characteristic, Person: "kim", At: at, Body: []byte("body of " + id)}
}

var records = []contract{
	{"records come oldest first", func(f *fixture) {
		at := f.at
		f.do(store.Commit{Records: []store.Record{record("1", "big", "level", at), record("2", "big", "toe", at)}})
		f.do(store.Commit{Records: []store.Record{record("3", "small", "level", at.Add(time.Hour))}})
		f.do(store.Commit{Records: []store.Record{record("0", "big", "level", at.Add(-time.Hour)), record("4", "big", "level", at.Add(time.Hour))}})
		f.do(store.Commit{Shop: "other", Records: []store.Record{record("1", "big", "level", at)}})
		for _, q := range []struct {
			q    store.RecordQuery
			want string
		}{
			{store.RecordQuery{}, "[0 1 2 3 4]"},
			{store.RecordQuery{Saw: "big"}, "[0 1 2 4]"},
			{store.RecordQuery{Saw: "bi"}, "[]"},
			{store.RecordQuery{Characteristic: "level"}, "[0 1 3 4]"},
			{store.RecordQuery{Saw: "big", Characteristic: "level"}, "[0 1 4]"},
			{store.RecordQuery{Since: at}, "[1 2 3 4]"},
			{store.RecordQuery{Since: at.Add(time.Millisecond)}, "[3 4]"},
			{store.RecordQuery{Max: 2}, "[3 4]"},
			{store.RecordQuery{Saw: "big", Max: 2}, "[2 4]"},
			{store.RecordQuery{Saw: "big", Since: at, Max: 9}, "[1 2 4]"},
			{store.RecordQuery{Since: at.Add(2 * time.Hour)}, "[]"},
			{store.RecordQuery{Shop: "nobody"}, "[]"},
		} {
			if q.q.Shop == "" {
				q.q.Shop = shop
			}
			f.same(fmt.Sprintf("%+v", q.q), f.recordIDs(q.q), q.want)
		}
		got, err := f.Records(f.ctx, store.RecordQuery{Shop: shop, Max: 1})
		f.ok(err)
		f.same("record", got[0], record("4", "big", "level", at.Add(time.Hour)))
	}},

	{"the newest record of each saw and characteristic is loaded", func(f *fixture) {
		at := f.at
		f.do(store.Commit{Records: []store.Record{record("1", "big", "level", at), record("2", "big", "level", at), record("3", "big", "toe", at)}})
		f.do(store.Commit{Records: []store.Record{record("old", "big", "level", at.Add(-time.Hour)), record("4", "a", "toe", at)}})
		f.do(store.Commit{Records: []store.Record{record("5", "big", "toe", at.Add(time.Hour))}})
		var got []string
		for _, rec := range f.load("").Last {
			got = append(got, rec.ID)
		}
		f.same("last", got, "[4 2 5]")
	}},

	{"a record is immutable", func(f *fixture) {
		f.do(store.Commit{Records: []store.Record{record("1", "big", "level", f.at)}})
		f.refuse(store.ErrConflict, store.Commit{Records: []store.Record{record("2", "big", "level", f.at), record("1", "big", "level", f.at)}})
		f.same("records", f.recordIDs(store.RecordQuery{Shop: shop}), "[1]")
	}},

	{"many records are found", func(f *fixture) {
		for i := 0; i < 30; i++ {
			var c store.Commit
			for j := 0; j < 50; j++ {
				n := i*50 + j
				c.Records = append(c.Records, record(fmt.Sprint(n), []string{"big", "small"}[n%2], "level", f.at.Add(time.Duration(n/3)*time.Millisecond)))
			}
			f.do(c)
		}
		f.same("all", len(f.recordIDs(store.RecordQuery{Shop: shop})), 1500)
		small := f.recordIDs(store.RecordQuery{Shop: shop, Saw: "small", Max: 700})
		f.same("newest", []any{len(small), small[0], small[699]}, []any{700, "101", "1499"})
		for i := 1; i < len(small); i++ {
			if fmt.Sprint(101+2*i) != small[i] {
				f.Fatalf("record %d of the small saw is %s", i, small[i])
			}
		}
	}},
}

func (f *fixture) recordIDs(q store.RecordQuery) []string {
	f.Helper()
	found, err := f.Records(f.ctx, q)
	f.ok(err)
	list := []string{}
	for _, rec := range found {
		list = append(list, rec.ID)
	}
	return list
}

var directory = []contract{
	{"an address belongs to the shop it points to", func(f *fixture) {
		f.fails(store.ErrNotFound, second(f.Resolve(f.ctx, "sms:+15550100")))
		f.fails(store.ErrNotFound, second(f.Resolve(f.ctx, "")))
		f.ok(f.Point(f.ctx, "sms:+15550100", "", "hall"))
		f.same("shop", f.resolve("sms:+15550100"), "hall")
	}},

	{"pointing is conditional", func(f *fixture) {
		f.fails(store.ErrStale, f.Point(f.ctx, "a", "hall", shop))
		f.ok(f.Point(f.ctx, "a", "", "hall"))
		f.fails(store.ErrStale, f.Point(f.ctx, "a", "", shop))
		f.fails(store.ErrStale, f.Point(f.ctx, "a", "other", shop))
		f.ok(f.Point(f.ctx, "a", "hall", shop))
		f.same("shop", f.resolve("a"), shop)
		f.ok(f.Point(f.ctx, "a", shop, shop))
		f.same("shop", f.resolve("a"), shop)
		f.ok(f.Point(f.ctx, "a", shop, ""))
		f.fails(store.ErrNotFound, second(f.Resolve(f.ctx, "a")))
		f.ok(f.Point(f.ctx, "a", "", ""))
		f.ok(f.Point(f.ctx, "a", "", "hall"))
	}},

	{"an address is not empty nor endless", func(f *fixture) {
		if f.Point(f.ctx, "", "", shop) == nil {
			f.Error("an empty address was taken")
		}
		f.fails(store.ErrFull, f.Point(f.ctx, string(filled(store.MaxID+1)), "", shop))
	}},

	{"of twenty who join at once one does", func(f *fixture) {
		won := make(chan bool, 20)
		for i := 0; i < 20; i++ {
			s, to := f.replica(), fmt.Sprint("shop-", i)
			go func() { won <- s.Point(f.ctx, "code", "", to) == nil }()
		}
		winners := 0
		for i := 0; i < 20; i++ {
			if <-won {
				winners++
			}
		}
		f.same("winners", winners, 1)
	}},

	{"shops are listed in order", func(f *fixture) {
		names := []string{"a", "b", "b2", "c:d", "{x}", "é"}
		for i := range names {
			f.do(store.Commit{Shop: names[len(names)-1-i]})
		}
		f.ok(f.Point(f.ctx, "address", "", "points nowhere yet"))
		list := func(after string, max int) []string {
			shops, err := f.Shops(f.ctx, after, max)
			f.ok(err)
			return shops
		}
		f.same("all", list("", 99), names)
		f.same("two", list("", 2), names[:2])
		f.same("after b", list("b", 99), names[2:])
		f.same("after bb", list("b1", 2), names[2:4])
		f.same("after the last", len(list("é", 9)), 0)
	}},
}

func (f *fixture) resolve(address string) string {
	f.Helper()
	shop, err := f.Resolve(f.ctx, address)
	f.ok(err)
	return shop
}
