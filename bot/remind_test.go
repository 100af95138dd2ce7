package main

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"testing"
	"time"

	"shimwright/bot/channel"
	"shimwright/store"
)

// fireOn commits a reminder the way the handler does, but without a dialog:
// the text is the reminder's body.
func fireOn(s store.Store, now func() time.Time, channelName string) func(context.Context, store.DueReminder) error {
	return func(ctx context.Context, r store.DueReminder) error {
		err := s.Commit(ctx, store.Commit{Shop: r.Shop, Conversation: r.Conversation, Fired: r.ID, FiredDue: r.Due, At: now(),
			Answer: []byte(`{}`), Outbox: []store.Out{{ID: "r-" + r.ID, Conversation: r.Conversation, Channel: channelName, To: r.Conversation,
				Body: fmt.Appendf(nil, `{"id":"r-%s","text":%q}`, r.ID, r.Body)}}})
		var seen *store.SeenError
		if errors.As(err, &seen) {
			return nil
		}
		return err
	}
}

func remindAt(t testing.TB, s store.Store, at time.Time, n int, due func(i int) time.Time) {
	t.Helper()
	var list []store.Reminder
	for i := range n {
		list = append(list, store.Reminder{ID: fmt.Sprintf("d-%d", i), Conversation: fmt.Sprintf("c-%d", i%7), Person: "kim",
			Saw: "saw", Due: due(i), Body: fmt.Appendf(nil, "check %d", i)})
	}
	if err := s.Commit(t.Context(), store.Commit{Shop: "shop", At: at, Remind: list}); err != nil {
		t.Fatal(err)
	}
}

// Five replicas look at fifty reminders that are due: fifty texts.
func TestFiveReplicasOneText(t *testing.T) {
	bubble(t, func(t *testing.T, s store.Store) {
		remindAt(t, s, time.Now(), 50, func(i int) time.Time { return time.Now().Add(time.Hour) })
		f := newFake("fake", nil)
		ctx, cancel := context.WithCancel(t.Context())
		var wg sync.WaitGroup
		for range 5 {
			d := newDeliverer(s, []channel.Channel{f}, time.Now, half, quiet())
			fire := fireOn(s, time.Now, "fake")
			r := newReminders(s, func(ctx context.Context, due store.DueReminder) error {
				err := fire(ctx, due)
				d.kick()
				return err
			}, time.Now, half, quiet())
			wg.Go(func() { d.run(ctx) })
			wg.Go(func() { r.run(ctx) })
		}
		time.Sleep(time.Hour - time.Second)
		if n := len(f.sent()); n != 0 {
			t.Errorf("%d texts before anything was due", n)
		}
		time.Sleep(5 * time.Minute)
		cancel()
		wg.Wait()
		count := map[string]int{}
		for _, m := range f.sent() {
			count[m.text]++
		}
		if len(count) != 50 || len(f.sent()) != 50 {
			t.Errorf("%d texts, %d different; want 50 once each", len(f.sent()), len(count))
		}
	})
}

// A reminder that cannot be handled, even by a fault of the program, holds up
// no other, is tried again, and never in a storm.
func TestFailingReminderHoldsUpNoOther(t *testing.T) {
	bubble(t, func(t *testing.T, s store.Store) {
		// The failing ones are due longest, so they come first each time.
		remindAt(t, s, time.Now(), 300, func(i int) time.Time { return time.Now().Add(time.Duration(i) * time.Second) })
		fire := fireOn(s, time.Now, "fake")
		var mu sync.Mutex
		tries, done := map[string]int{}, 0
		mended := time.Now().Add(6 * time.Hour)
		r := newReminders(s, func(ctx context.Context, d store.DueReminder) error {
			mu.Lock()
			tries[d.ID]++
			mu.Unlock()
			bad := len(d.ID) == 4 // d-10 … d-99
			switch {
			case bad && d.ID == "d-77" && time.Now().Before(mended):
				panic("boom")
			case bad && time.Now().Before(mended):
				return errors.New("the stored document cannot be read")
			}
			err := fire(ctx, d)
			mu.Lock()
			done++
			mu.Unlock()
			return err
		}, time.Now, half, quiet())
		ctx, cancel := context.WithCancel(t.Context())
		var wg sync.WaitGroup
		wg.Go(func() { r.run(ctx) })
		time.Sleep(10 * time.Minute)
		mu.Lock()
		if done != 210 {
			t.Errorf("%d of the 210 good ones are handled", done)
		}
		mu.Unlock()
		time.Sleep(5 * time.Hour)
		mu.Lock()
		if n := tries["d-77"]; n < 5 || n > 15 {
			t.Errorf("the one that fails was tried %d times in five hours", n)
		}
		mu.Unlock()
		time.Sleep(3 * time.Hour)
		cancel()
		wg.Wait()
		if done != 300 {
			t.Errorf("%d of 300 are handled after the fault was mended", done)
		}
		if st, err := s.Stats(t.Context(), time.Now()); err != nil || st.Due != 0 || st.Waiting != 300 {
			t.Errorf("stats %+v, %v", st, err)
		}
	})
}
