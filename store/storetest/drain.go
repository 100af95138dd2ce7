package storetest

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"testing"
	"time"

	"shimwright/store"
)

// BenchmarkDrain reports how many reminders that are due at once are handled in
// a second (Due, then a Commit for each that queues a text), and how many
// outgoing messages are handed to a sink that takes no time (Claim and Settle),
// with 32 goroutines.
func BenchmarkDrain(b *testing.B, s store.Store) {
	const lanes, batch = 32, 500
	ctx := context.Background()
	each := func(n int, fn func(i int) error) {
		var wg sync.WaitGroup
		for lane := range lanes {
			wg.Add(1)
			go func() {
				defer wg.Done()
				for i := lane; i < n; i += lanes {
					if err := fn(i); err != nil {
						b.Error(err)
						return
					}
				}
			}()
		}
		wg.Wait()
	}
	each(b.N, func(i int) error {
		c := fmt.Sprint("c-", i)
		return s.Commit(ctx, store.Commit{
			Shop: fmt.Sprint("shop-", i/4), Conversation: c, At: Noon,
			Remind: []store.Reminder{{ID: "r-" + c, Conversation: c, Saw: "saw", Person: "kim", Due: Noon, Body: []byte("slider-level")}},
		})
	})
	b.ResetTimer()
	start := time.Now()
	for {
		due, err := s.Due(ctx, Noon, batch)
		if err != nil {
			b.Fatal(err)
		}
		if len(due) == 0 {
			break
		}
		each(len(due), func(i int) error {
			d := due[i]
			return s.Commit(ctx, store.Commit{
				Shop: d.Shop, Conversation: d.Conversation, At: Noon, Fired: d.ID, FiredDue: d.Due, Answer: []byte("It is time to check the slider."),
				Outbox: []store.Out{{ID: d.ID, Conversation: d.Conversation, Channel: "sink", To: "kim", Body: []byte("It is time to check the slider.")}},
			})
		})
	}
	b.ReportMetric(float64(b.N)/time.Since(start).Seconds(), "reminders/s")
	start = time.Now()
	sent := 0
	for {
		claimed, err := s.Claim(ctx, Noon, time.Minute, batch)
		if err != nil {
			b.Fatal(err)
		}
		if len(claimed) == 0 {
			break
		}
		sent += len(claimed)
		each(len(claimed), func(i int) error { return s.Settle(ctx, claimed[i], store.Sent, Noon, "") })
	}
	if sent != b.N {
		b.Error(errors.New("not every message was sent"), sent, b.N)
	}
	b.ReportMetric(float64(b.N)/time.Since(start).Seconds(), "sent/s")
}
