package redisstore

import (
	"context"
	"errors"
	"fmt"
	"sort"
	"strings"

	"github.com/redis/go-redis/v9"

	"shimwright/store"
	"shimwright/store/internal/values"
)

// load reads all that handling a message may look at.
//
//	KEYS  1 d: documents of conversations   2 s: saws and people   3 l: last
//	      4 r: records   5 m: reminders   6 h: handled ids
//	ARGV  1 conversation   2 inbound id, may be empty
//	returns  the document or nil; fields and values of s:; the newest records;
//	      the reminders; the entry of the inbound id or nil
var load = newScript(false, luaFields, `
local last = {}
for _, v in ipairs(redis.call('HVALS', KEYS[3])) do
  last[#last + 1] = redis.call('HGET', KEYS[4], string.sub(nth(v, 2), 17))
end
return {
  redis.call('HGET', KEYS[1], 'd' .. ARGV[1]),
  redis.call('HGETALL', KEYS[2]),
  last,
  redis.call('LRANGE', KEYS[5], 0, -1),
  ARGV[2] ~= '' and redis.call('HGET', KEYS[6], 'i' .. ARGV[2])
}
`)

// Load returns the documents of a conversation and its shop, in one round trip.
func (s *Store) Load(ctx context.Context, c store.Conversation, inboundID string) (store.Documents, error) {
	var none store.Documents
	k := keysOf(c.Shop)
	r, err := s.run(ctx, load,
		[]string{k.docs(), k.saws(), k.last(), k.records(), k.reminders(), k.handled(c.ID)}, c.ID, inboundID)
	if err != nil {
		return none, err
	}
	docs := store.Documents{
		Conversation: store.Doc{Kind: store.KindConversation, ID: c.ID},
		People:       store.Doc{Kind: store.KindPeople},
	}
	if packed, ok := r.text(0); ok {
		if docs.Conversation, err = s.doc(store.KindConversation, c.ID, packed); err != nil {
			return none, err
		}
	}
	saws := r.list(1).strings()
	for i := 0; i+1 < len(saws); i += 2 {
		if err := s.sawOrPeople(&docs, saws[i], saws[i+1]); err != nil {
			return none, err
		}
	}
	sort.Slice(docs.Saws, func(i, j int) bool { return docs.Saws[i].ID < docs.Saws[j].ID })
	if docs.Last, err = all(r.list(2), values.ReadRecord); err != nil {
		return none, err
	}
	sort.Slice(docs.Last, func(i, j int) bool {
		a, b := docs.Last[i], docs.Last[j]
		return a.Saw < b.Saw || a.Saw == b.Saw && a.Characteristic < b.Characteristic
	})
	if docs.Reminders, err = all(r.list(3), values.ReadReminder); err != nil {
		return none, err
	}
	sortReminders(docs.Reminders)
	if packed, ok := r.text(4); ok {
		e, err := values.ReadEntry([]byte(packed))
		if err != nil {
			return none, err
		}
		if !store.Expired(e.At.Add(store.KeepIDs), s.told.Now()) {
			docs.Seen, docs.Answer = &e.Inbound, e.Answer
			if err := s.settled(ctx, c.Shop); err != nil {
				return none, err
			}
		}
	}
	return docs, nil
}

// sawOrPeople adds a field of the hash s: to docs.
func (s *Store) sawOrPeople(docs *store.Documents, field, packed string) (err error) {
	if field == "p" {
		docs.People, err = s.doc(store.KindPeople, "", packed)
		return err
	}
	saw, err := s.doc(store.KindSaw, strings.TrimPrefix(field, "s"), packed)
	if err == nil && saw.Version > 0 {
		docs.Saws = append(docs.Saws, saw)
	}
	return err
}

func sortReminders(list []store.Reminder) {
	sort.Slice(list, func(i, j int) bool {
		a, b := list[i], list[j]
		return a.Due.Before(b.Due) || a.Due.Equal(b.Due) && a.ID < b.ID
	})
}

// doc unpacks a document as it counts now: one that has expired has version 0.
func (s *Store) doc(kind store.Kind, id, packed string) (store.Doc, error) {
	d, err := values.ReadDoc(kind, id, []byte(packed))
	if err != nil || store.Expired(d.Expires, s.told.Now()) {
		return store.Doc{Kind: kind, ID: id}, err
	}
	return d, nil
}

// all unpacks every element of a reply.
func all[T any](r reply, read func([]byte) (T, error)) (list []T, err error) {
	for i := range r {
		packed, _ := r.text(i)
		v, err := read([]byte(packed))
		if err != nil {
			return nil, err
		}
		list = append(list, v)
	}
	return list, nil
}

// Get returns one document.
func (s *Store) Get(ctx context.Context, shop string, kind store.Kind, id string) (store.Doc, error) {
	d := store.Doc{Kind: kind, ID: id}
	key, field := keysOf(shop).place(kind, id)
	cmd := redis.NewStringCmd(ctx, "get", key)
	if field != "" {
		cmd = redis.NewStringCmd(ctx, "hget", key, field)
	}
	err := s.read(ctx, cmd)
	if err != nil && !errors.Is(err, redis.Nil) {
		return d, failed(err)
	}
	if err == nil {
		if d, err = s.doc(kind, id, cmd.Val()); err != nil {
			return d, err
		}
	}
	if d.Version == 0 {
		return d, fmt.Errorf("%w: %s %q", store.ErrNotFound, kind, id)
	}
	return d, nil
}

// transcript reads the newest entries of a conversation.
//
//	KEYS  1 t: order   2 h: entries
//	ARGV  1 after   2 max   3 now
//	returns  the entries, newest first
var transcript = newScript(false, luaFields, `
local after, max, now = tonumber(ARGV[1]), tonumber(ARGV[2]), tonumber(ARGV[3])
local found, last = {}, redis.call('LLEN', KEYS[1]) - 1
while last >= 0 and #found < max do
  local first = math.max(last - 99, 0)
  local names = redis.call('LRANGE', KEYS[1], first, last)
  for i = #names, 1, -1 do
    local v = redis.call('HGET', KEYS[2], names[i])
    if tonumber(nth(v, 1)) <= after or #found == max then return found end
    if tonumber(nth(v, 2)) + KEEP > now then found[#found + 1] = v end
  end
  last = first - 1
end
return found
`)

// Transcript returns the newest entries of a conversation.
func (s *Store) Transcript(ctx context.Context, c store.Conversation, after uint64, max int) ([]store.Entry, error) {
	k := keysOf(c.Shop)
	r, err := s.run(ctx, transcript, []string{k.transcript(c.ID), k.handled(c.ID)}, after, max, milli(s.told.Now()))
	if err != nil {
		return nil, err
	}
	entries, err := all(r, values.ReadEntry)
	for i, j := 0, len(entries)-1; i < j; i, j = i+1, j-1 {
		entries[i], entries[j] = entries[j], entries[i]
	}
	return entries, err
}
