package redisstore

import (
	"context"
	"sort"
	"time"

	"github.com/redis/go-redis/v9"

	"shimwright/store"
	"shimwright/store/internal/values"
)

// Due returns the reminders due at now, the longest due first. It takes two
// round trips, or three: which shops have something due, and their reminders. Among the
// first max shops are the first max reminders, so no more are read. As with
// Claim, a partition that cannot be reached does not hold up the others.
func (s *Store) Due(ctx context.Context, now time.Time, max int) ([]store.DueReminder, error) {
	s.told.Raise(now)
	shops, err := s.earliest(ctx, "due", now, max)
	if len(shops) == 0 {
		return nil, err
	}
	due, err := s.dueOf(ctx, shops[:min(len(shops), max)], now)
	if err != nil {
		return nil, err
	}
	return due[:min(len(due), max)], nil
}

// dueOf returns what is due at now in the shops given, the longest due first.
func (s *Store) dueOf(ctx context.Context, shops []scored, now time.Time) ([]store.DueReminder, error) {
	pipe := s.client.Pipeline()
	lists := make([]*redis.StringSliceCmd, len(shops))
	for i, z := range shops {
		lists[i] = pipe.LRange(ctx, keysOf(z.member).reminders(), 0, -1)
	}
	if _, err := pipe.Exec(ctx); err != nil {
		return nil, failed(err)
	}
	var due []store.DueReminder
	for i, list := range lists {
		for _, packed := range list.Val() {
			m, err := values.ReadReminder([]byte(packed))
			if err != nil {
				return nil, err
			}
			if !m.Due.After(now) {
				due = append(due, store.DueReminder{Shop: shops[i].member, Reminder: m})
			}
		}
	}
	sort.Slice(due, func(i, j int) bool {
		a, b := due[i], due[j]
		switch {
		case !a.Due.Equal(b.Due):
			return a.Due.Before(b.Due)
		case a.Shop != b.Shop:
			return a.Shop < b.Shop
		}
		return a.ID < b.ID
	})
	return due, nil
}

// statsAtOnce is how many shops Stats reads in one round trip.
const statsAtOnce = 500

// Stats reports queue depths at now.
func (s *Store) Stats(ctx context.Context, now time.Time) (store.Stats, error) {
	s.told.Raise(now)
	var st store.Stats
	pipe := s.client.Pipeline()
	counters := make([]*redis.SliceCmd, Partitions)
	for p := range counters {
		counters[p] = pipe.HMGet(ctx, partition(p).key("n"), "waiting", "dead")
	}
	if _, err := pipe.Exec(ctx); err != nil {
		return st, failed(err)
	}
	for _, cmd := range counters {
		var c struct {
			Waiting int `redis:"waiting"`
			Dead    int `redis:"dead"`
		}
		if err := cmd.Scan(&c); err != nil {
			return st, failed(err)
		}
		st.Waiting += c.Waiting
		st.Dead += c.Dead
	}
	ready, err := s.earliest(ctx, "ready", now, 1)
	if err != nil {
		return st, err
	}
	if len(ready) > 0 {
		st.OldestWait = max(now.Sub(time.UnixMilli(int64(ready[0].score))), 0)
	}
	if err := s.countDue(ctx, now, &st); err != nil {
		return st, err
	}
	clock, err := s.Clock(ctx)
	if err != nil {
		return st, err
	}
	st.Skew = clock.Sub(now)
	return st, nil
}

// Clock is the time of Redis, which all its clients see; of a cluster, that of
// the master that has one certain key.
func (s *Store) Clock(ctx context.Context) (time.Time, error) {
	master, err := s.masterOf(ctx, keySchema)
	if err != nil {
		return time.Time{}, failed(err)
	}
	at, err := master.Time(ctx).Result()
	return at, failed(err)
}

// countDue counts the reminders due at now, up to store.MaxStats.
func (s *Store) countDue(ctx context.Context, now time.Time, st *store.Stats) error {
	shops, err := s.earliest(ctx, "due", now, store.MaxStats)
	if err != nil {
		return err
	}
	for i := 0; i < len(shops) && st.Due < store.MaxStats; i += statsAtOnce {
		due, err := s.dueOf(ctx, shops[i:min(len(shops), i+statsAtOnce)], now)
		if err != nil {
			return err
		}
		if st.Due == 0 && len(due) > 0 {
			st.Late = now.Sub(due[0].Due)
		}
		st.Due = min(st.Due+len(due), store.MaxStats)
	}
	return nil
}
