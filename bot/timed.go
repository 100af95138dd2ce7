package main

import (
	"context"
	"errors"
	"time"

	"shimwright/store"
)

// timedStore is a store whose operations are timed and whose failures are
// counted. What is no failure of the store (a stale commit, a message handled
// before, nothing found) is not.
type timedStore struct {
	store.Store
	meter *meters
}

// note ends the timing of an operation.
func (s timedStore) note(operation string, began time.Time, err error) {
	s.meter.stores.WithLabelValues(operation).Observe(time.Since(began).Seconds())
	var seen *store.SeenError
	reason := "other"
	switch {
	case err == nil, errors.Is(err, store.ErrStale), errors.Is(err, store.ErrConflict), errors.Is(err, store.ErrNotFound),
		errors.Is(err, store.ErrLost), errors.As(err, &seen), errors.Is(err, context.Canceled):
		return
	case errors.Is(err, store.ErrUnavailable), errors.Is(err, context.DeadlineExceeded):
		reason = "unavailable"
	case errors.Is(err, store.ErrFull):
		reason = "full"
	}
	s.meter.failures.WithLabelValues(operation, reason).Inc()
}

// Load implements store.Store.
func (s timedStore) Load(ctx context.Context, c store.Conversation, id string) (store.Documents, error) {
	began := time.Now()
	d, err := s.Store.Load(ctx, c, id)
	s.note("load", began, err)
	return d, err
}

// Commit implements store.Store.
func (s timedStore) Commit(ctx context.Context, c store.Commit) error {
	began := time.Now()
	err := s.Store.Commit(ctx, c)
	s.note("commit", began, err)
	return err
}

// Get implements store.Store.
func (s timedStore) Get(ctx context.Context, shop string, k store.Kind, id string) (store.Doc, error) {
	began := time.Now()
	d, err := s.Store.Get(ctx, shop, k, id)
	s.note("get", began, err)
	return d, err
}

// Transcript implements store.Store.
func (s timedStore) Transcript(ctx context.Context, c store.Conversation, after uint64, max int) ([]store.Entry, error) {
	began := time.Now()
	list, err := s.Store.Transcript(ctx, c, after, max)
	s.note("transcript", began, err)
	return list, err
}

// Claim implements store.Store.
func (s timedStore) Claim(ctx context.Context, now time.Time, lease time.Duration, max int) ([]store.Delivery, error) {
	began := time.Now()
	list, err := s.Store.Claim(ctx, now, lease, max)
	s.note("claim", began, err)
	return list, err
}

// Settle implements store.Store.
func (s timedStore) Settle(ctx context.Context, d store.Delivery, o store.Outcome, next time.Time, reason string) error {
	began := time.Now()
	err := s.Store.Settle(ctx, d, o, next, reason)
	s.note("settle", began, err)
	return err
}

// Due implements store.Store.
func (s timedStore) Due(ctx context.Context, now time.Time, max int) ([]store.DueReminder, error) {
	began := time.Now()
	list, err := s.Store.Due(ctx, now, max)
	s.note("due", began, err)
	return list, err
}

// Take implements store.Store.
func (s timedStore) Take(ctx context.Context, name string, r store.Rate, want int, now time.Time) (int, time.Duration, error) {
	began := time.Now()
	got, wait, err := s.Store.Take(ctx, name, r, want, now)
	s.note("take", began, err)
	return got, wait, err
}
