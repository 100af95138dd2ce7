package storetest

import (
	"strings"
	"sync/atomic"
	"time"

	"shimwright/store"
)

// take takes from the allowance "kim": 5 at once, 2 a second.
func (f *fixture) take(from store.Store, want int) (got int, wait time.Duration) {
	f.Helper()
	got, wait, err := from.Take(f.ctx, "kim", store.Rate{PerSecond: 2, Burst: 5}, want, f.at)
	f.ok(err)
	if got < 0 || got > want || (got == 0) != (wait > 0) {
		f.Fatalf("of %d wanted came %d, wait %s", want, got, wait)
	}
	return got, wait
}

var allowances = []contract{
	{"an allowance is full at first, is used up, and fills again", func(f *fixture) {
		a, _ := f.take(f, 3)
		b, _ := f.take(f, 3)
		none, wait := f.take(f, 3)
		f.same("taken", []int{a, b, none}, []int{3, 2, 0})
		f.same("wait", wait, 500*time.Millisecond)
		f.later(wait - time.Millisecond)
		none, wait = f.take(f, 1)
		f.same("just before", none, 0)
		f.same("wait", wait, time.Millisecond)
		f.later(wait)
		a, _ = f.take(f, 3)
		f.same("after the time said", a, 1)
		f.later(time.Hour)
		a, _ = f.take(f, 9)
		f.same("after an hour it is full and no more", a, 5)
	}},

	{"an allowance is its own", func(f *fixture) {
		f.take(f, 5)
		got, _, err := f.Take(f.ctx, "lee", store.Rate{PerSecond: 2, Burst: 5}, 5, f.at)
		f.ok(err)
		f.same("somebody else's", got, 5)
	}},

	{"no more than the allowance, however many take at once", func(f *fixture) {
		stores := []store.Store{f.Store}
		if f.Replica != nil {
			stores = append(stores, f.Replica(f, f.Store), f.Replica(f, f.Store))
		}
		var all atomic.Int64
		f.parallel(40, func(i int) error {
			got, _, err := stores[i%len(stores)].Take(f.ctx, "kim", store.Rate{PerSecond: 0.01, Burst: 25}, 2, f.at)
			all.Add(int64(got))
			return err
		})
		f.same("taken by all", all.Load(), 25)
	}},

	{"an allowance is no data", func(f *fixture) {
		f.take(f, 5)
		var b strings.Builder
		f.ok(f.Backup(f.ctx, &b))
		if strings.Contains(b.String(), "kim") {
			f.Errorf("the backup has it: %s", b.String())
		}
		f.ok(f.Restore(f.ctx, strings.NewReader(b.String()))) // the store counts as empty
	}},
}
