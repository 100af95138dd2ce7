package redisstore

import (
	"context"
	"errors"
	"fmt"
	"sort"
	"time"

	"github.com/redis/go-redis/v9"

	"shimwright/store"
	"shimwright/store/internal/values"
)

// luaBury adds a dead letter; the oldest goes when the shop has too many.
const luaBury = `
local function bury(n, z, dead, shop, id, at, letter)
  local number = num(redis.call('HINCRBY', n, 'seq', 1))
  local new = redis.call('HSET', z, id, pack(number) .. letter)
  redis.call('ZADD', dead, at, pack(shop) .. ':' .. id)
  redis.call('HINCRBY', n, 'dead', new)
  if redis.call('HLEN', z) > 1000 then
    local oldest, time
    for _, other in ipairs(redis.call('HKEYS', z)) do
      local when = tonumber(redis.call('ZSCORE', dead, pack(shop) .. ':' .. other))
      if not time or when < time then oldest, time = other, when end
    end
    redis.call('HDEL', z, oldest)
    redis.call('ZREM', dead, pack(shop) .. ':' .. oldest)
    redis.call('HINCRBY', n, 'dead', -1)
  end
end
`

// settle ends an attempt.
//
//	KEYS  1 n  2 ready  3 cur  4 q:  5 w:  6 z: dead letters of the shop  7 dead
//	ARGV  1 member in ready and cur  2 token  3 outcome: drop, retry or dead
//	      4 time of the next attempt or of death  5 reason  6 shop
//	returns  {"ok"} or {"lost"}
var settle = newScript(true, luaFields, luaQueue, luaBury, `
local n, ready, cur, q, w, z, dead = unpack(KEYS)
local m, shop = ARGV[1], ARGV[6]
local u = redis.call('HGET', cur, m)
if not u or nth(u, 1) == '0' or nth(u, 1) ~= ARGV[2] then return {'lost'} end
local attempt = nth(u, 2)
if ARGV[3] == 'retry' and nth(u, 4) == '0' then
  redis.call('HSET', cur, m, '1:0' .. pack(attempt) .. pack(ARGV[4]) .. '1:0')
else
  local item = redis.call('LINDEX', q, 0)
  if ARGV[3] == 'dead' and nth(u, 4) == '0' then
    bury(n, z, dead, shop, nth(item, 4), ARGV[4], pack(ARGV[4]) .. pack(attempt) .. pack(ARGV[5]) .. pack(item))
  end
  redis.call('LPOP', q)
  redis.call('HDEL', cur, m)
  redis.call('HINCRBY', n, 'waiting', -1)
end
index(ready, cur, q, w, m)
return {'ok'}
`)

// Settle ends an attempt.
func (s *Store) Settle(ctx context.Context, d store.Delivery, o store.Outcome, next time.Time, reason string) error {
	if next.IsZero() {
		next = s.told.Now()
	}
	var outcome string
	switch o {
	case store.Sent, store.Dropped:
		outcome = "drop"
	case store.Retry:
		outcome = "retry"
	case store.Dead:
		outcome = "dead"
	default:
		return fmt.Errorf("store: unknown outcome %d", o)
	}
	k := keysOf(d.Shop)
	r, err := s.run(ctx, settle,
		[]string{k.key("n"), k.key("ready"), k.key("cur"), k.queue(d.Out.Conversation), k.held(d.Out.Conversation), k.letters(), k.key("dead")},
		pair(d.Shop, d.Out.Conversation), d.Token, outcome, milli(next), reason, d.Shop)
	if err == nil && r.code() == "lost" {
		err = store.ErrLost
	}
	return err
}

// buryOne adds a dead letter to a shop that is there.
//
//	KEYS  1 n  2 shops  3 z:  4 dead
//	ARGV  1 shop  2 outgoing id  3 time of death  4 packed letter
//	returns  {"ok"} or {"none"}
var buryOne = newScript(true, luaFields, luaBury, `
if not redis.call('ZSCORE', KEYS[2], ARGV[1]) then return {'none'} end
bury(KEYS[1], KEYS[3], KEYS[4], ARGV[1], ARGV[2], ARGV[3], ARGV[4])
return {'ok'}
`)

// Bury adds a dead letter.
func (s *Store) Bury(ctx context.Context, d store.DeadLetter) error {
	k := keysOf(d.Shop)
	r, err := s.run(ctx, buryOne, []string{k.key("n"), k.key("shops"), k.letters(), k.key("dead")},
		d.Shop, d.Out.ID, milli(d.At), values.Dead(d))
	if err == nil && r.code() == "none" {
		err = fmt.Errorf("%w: no shop %q", store.ErrNotFound, d.Shop)
	}
	return err
}

// buried is a dead letter with its number.
type buried struct {
	store.DeadLetter
	number int64
}

func readBuried(shop, packed string) (buried, error) {
	number, err := values.ReadNumber([]byte(packed))
	if err != nil {
		return buried{}, err
	}
	d, err := values.ReadDead(shop, []byte(packed[len(values.Number(number)):]))
	return buried{d, number}, err
}

func newestFirst(all []buried) {
	sort.Slice(all, func(i, j int) bool {
		a, b := all[i], all[j]
		return a.At.After(b.At) || a.At.Equal(b.At) && a.number > b.number
	})
}

// Dead lists dead letters, newest first.
func (s *Store) Dead(ctx context.Context, shop string, max int) ([]store.DeadLetter, error) {
	var all []buried
	var err error
	if shop != "" {
		all, err = s.deadOf(ctx, shop)
	} else {
		all, err = s.deadOfAll(ctx, max)
	}
	if err != nil {
		return nil, err
	}
	newestFirst(all)
	var letters []store.DeadLetter
	for _, b := range all[:min(len(all), max)] {
		letters = append(letters, b.DeadLetter)
	}
	return letters, nil
}

func (s *Store) deadOf(ctx context.Context, shop string) ([]buried, error) {
	packed, err := s.client.HVals(ctx, keysOf(shop).letters()).Result()
	if err != nil {
		return nil, failed(err)
	}
	all := make([]buried, len(packed))
	for i, v := range packed {
		if all[i], err = readBuried(shop, v); err != nil {
			return nil, err
		}
	}
	return all, nil
}

func (s *Store) deadOfAll(ctx context.Context, max int) ([]buried, error) {
	pipe := s.client.Pipeline()
	newest := make([]*redis.StringSliceCmd, Partitions)
	for p := range newest {
		newest[p] = pipe.ZRevRange(ctx, partition(p).key("dead"), 0, int64(max)-1)
	}
	if _, err := pipe.Exec(ctx); err != nil {
		return nil, failed(err)
	}
	var shops []string
	var letters []*redis.StringCmd
	for _, list := range newest {
		for _, member := range list.Val() {
			shop, id, err := unpair(member)
			if err != nil {
				return nil, err
			}
			shops = append(shops, shop)
			letters = append(letters, pipe.HGet(ctx, keysOf(shop).letters(), id))
		}
	}
	if len(letters) == 0 {
		return nil, nil
	}
	if _, err := pipe.Exec(ctx); err != nil && !errors.Is(err, redis.Nil) {
		return nil, failed(err)
	}
	var all []buried
	for i, cmd := range letters {
		packed, err := cmd.Result()
		if errors.Is(err, redis.Nil) {
			continue // sent again meanwhile
		}
		if err != nil {
			return nil, failed(err)
		}
		b, err := readBuried(shops[i], packed)
		if err != nil {
			return nil, err
		}
		all = append(all, b)
	}
	return all, nil
}

// resend moves a dead letter back to its queue.
//
//	KEYS  1 n  2 ready  3 cur  4 q:  5 w:  6 z:  7 dead  8 d:
//	ARGV  1 member in ready  2 outgoing id  3 shop  4 now  5 conversation
//	returns  {"ok"}, {"none"}, {"full", length} or {"other", conversation} when
//	         the letter is of another conversation than the caller thought
var resend = newScript(true, luaFields, luaQueue, `
local n, ready, cur, q, w, z, dead, d = unpack(KEYS)
local m, id, shop, now, conv = unpack(ARGV)
local v = redis.call('HGET', z, id)
if not v then return {'none'} end
local item = nth(v, 5)
if nth(item, 5) ~= conv then return {'other', nth(item, 5)} end
local waiting = redis.call('LLEN', q) + redis.call('ZCARD', w) + 1
if waiting > 1000 then return {'full', num(waiting)} end
local _, after = field(item, 1)
redis.call('RPUSH', q, pack(now) .. string.sub(item, after))
redis.call('HDEL', z, id)
redis.call('ZREM', dead, pack(shop) .. ':' .. id)
redis.call('HINCRBY', n, 'dead', -1)
redis.call('HINCRBY', n, 'waiting', 1)
redis.call('HSETNX', d, 's' .. conv, '')
index(ready, cur, q, w, m)
return {'ok'}
`)

// Resend moves a dead letter back to the end of its conversation's queue. It
// looks up the conversation first, so it takes two round trips.
func (s *Store) Resend(ctx context.Context, shop, outID string, now time.Time) error {
	s.told.Raise(now)
	k := keysOf(shop)
	none := fmt.Errorf("%w: no dead letter %q in this shop", store.ErrNotFound, outID)
	packed, err := s.client.HGet(ctx, k.letters(), outID).Result()
	switch {
	case errors.Is(err, redis.Nil):
		return none
	case err != nil:
		return failed(err)
	}
	b, err := readBuried(shop, packed)
	if err != nil {
		return err
	}
	conversation := b.Out.Conversation
	for {
		r, err := s.run(ctx, resend,
			[]string{k.key("n"), k.key("ready"), k.key("cur"), k.queue(conversation), k.held(conversation), k.letters(), k.key("dead"), k.docs()},
			pair(shop, conversation), outID, shop, milli(now), conversation)
		if err != nil {
			return err
		}
		what, _ := r.text(1)
		switch r.code() {
		case "none":
			return none
		case "full":
			return full("the queue of conversation "+conversation, what, store.MaxQueue)
		case "other":
			conversation = what
			continue
		}
		return nil
	}
}
