package boltstore

import (
	"context"
	"time"

	"shimwright/store"
)

// Stats reports queue depths at now.
func (s *Store) Stats(ctx context.Context, now time.Time) (store.Stats, error) {
	s.told.Raise(now)
	var st store.Stats
	err := s.view(ctx, func(t *tx) error {
		st = store.Stats{Waiting: t.counter(countWaiting), Dead: t.counter(countDead)}
		each(t.times, []byte{timeReady}, func(k, _ []byte) bool {
			st.OldestWait = max(now.Sub(parse(k[1:]).time()), 0)
			return false
		})
		each(t.times, []byte{timeDue}, func(k, _ []byte) bool {
			due := parse(k[1:]).time()
			if due.After(now) || st.Due == store.MaxStats {
				return false
			}
			if st.Due == 0 {
				st.Late = now.Sub(due)
			}
			st.Due++
			return true
		})
		return nil
	})
	return st, err
}
