package boltstore

import (
	"context"
	"fmt"
	"sort"

	"shimwright/store"
	"shimwright/store/internal/values"
)

// Load returns the documents of a conversation and its shop.
func (s *Store) Load(ctx context.Context, c store.Conversation, inboundID string) (store.Documents, error) {
	var docs store.Documents
	now := s.told.Now()
	err := s.view(ctx, func(t *tx) (err error) {
		r, err := t.row(c)
		if err != nil {
			return err
		}
		docs.Conversation = r.doc(c.ID, now)
		if docs.People, err = t.doc(c.Shop, store.KindPeople, "", now); err != nil {
			return err
		}
		each(t.data, of(c.Shop, tagSaw), func(k, v []byte) bool {
			p := parse(k)
			p.str()
			p.tag()
			var saw store.Doc
			saw, err = values.ReadDoc(store.KindSaw, p.str(), v)
			if err == nil && !store.Expired(saw.Expires, now) {
				docs.Saws = append(docs.Saws, saw)
			}
			return err == nil
		})
		if err != nil {
			return err
		}
		if docs.Last, err = t.last(c.Shop); err != nil {
			return err
		}
		if docs.Reminders, err = t.reminders(c.Shop); err != nil || inboundID == "" {
			return err
		}
		seen, err := t.find(c, r, inboundID, now)
		if seen != nil {
			docs.Seen, docs.Answer = &seen.Inbound, seen.Answer
		}
		return err
	})
	if err != nil {
		return store.Documents{}, err
	}
	return docs, nil
}

// last returns the newest record of each saw and characteristic.
func (t *tx) last(shop string) (last []store.Record, err error) {
	each(t.data, of(shop, tagLast), func(_, k []byte) bool {
		var rec store.Record
		rec, err = values.ReadRecord(t.data.Get(k))
		last = append(last, rec)
		return err == nil
	})
	return last, err
}

// reminders returns the reminders of a shop, the next due first.
func (t *tx) reminders(shop string) (list []store.Reminder, err error) {
	each(t.data, of(shop, tagReminder), func(_, v []byte) bool {
		var m store.Reminder
		m, err = values.ReadReminder(v)
		list = append(list, m)
		return err == nil
	})
	sort.SliceStable(list, func(i, j int) bool { return list[i].Due.Before(list[j].Due) })
	return list, err
}

// Get returns one document.
func (s *Store) Get(ctx context.Context, shop string, kind store.Kind, id string) (store.Doc, error) {
	var d store.Doc
	err := s.view(ctx, func(t *tx) (err error) {
		d, err = t.doc(shop, kind, id, s.told.Now())
		return err
	})
	if err == nil && d.Version == 0 {
		err = fmt.Errorf("%w: %s %q", store.ErrNotFound, kind, id)
	}
	return d, err
}

// Transcript returns the newest entries of a conversation.
func (s *Store) Transcript(ctx context.Context, c store.Conversation, after uint64, max int) ([]store.Entry, error) {
	var entries []store.Entry
	now := s.told.Now()
	err := s.view(ctx, func(t *tx) (err error) {
		entries, err = t.entries(c, after, max, now)
		return err
	})
	return entries, err
}
