package redisstore

import (
	"cmp"
	"context"
	"errors"
	"maps"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"github.com/redis/go-redis/v9"

	"shimwright/store"
	"shimwright/store/internal/values"
)

// turn numbers the calls of Claim, so that each begins at another partition
// and none is always last.
type turn struct{ n atomic.Uint64 }

func (t *turn) next() int { return int(t.n.Add(1) % Partitions) }

// lookTime is how long a look at all partitions may take, so that a master that
// does not answer holds up the messages of the others no longer.
const lookTime = time.Second

// claimAtOnce is how many partitions are claimed from at the same time.
const claimAtOnce = 16

// Claim leases messages that may be sent at now. One round trip, or two, looks
// at all partitions; those that have something take one more each. A partition that
// cannot be reached does not hold up the others: the error is returned only
// when nothing could be claimed.
func (s *Store) Claim(ctx context.Context, now time.Time, lease time.Duration, max int) ([]store.Delivery, error) {
	s.told.Raise(now)
	if max <= 0 {
		return nil, nil
	}
	ready, err := s.earliest(ctx, "ready", now, max)
	if len(ready) == 0 {
		return nil, err
	}
	byPartition := map[partition][]string{}
	for _, r := range ready[:min(len(ready), max)] {
		byPartition[r.partition] = append(byPartition[r.partition], r.member)
	}
	var mu sync.Mutex
	var wg sync.WaitGroup
	var claimed []store.Delivery
	errs := []error{err}
	slots := make(chan struct{}, claimAtOnce)
	first := s.turn.next()
	for i := range Partitions {
		p := partition((first + i) % Partitions)
		members := byPartition[p]
		if len(members) == 0 {
			continue
		}
		slots <- struct{}{}
		wg.Add(1)
		go func() {
			defer func() { <-slots; wg.Done() }()
			d, err := s.claimFrom(ctx, p, members, now, lease)
			mu.Lock()
			defer mu.Unlock()
			claimed = append(claimed, d...)
			errs = append(errs, err)
		}()
	}
	wg.Wait()
	if len(claimed) > 0 {
		return claimed, nil
	}
	return nil, errors.Join(errs...)
}

// scored is a member of a sorted set of a partition.
type scored struct {
	partition
	member string
	score  float64
}

// earliest returns, of all partitions together, at least the first max members
// of a sorted set with a score up to now, the lowest first, where there are so
// many. With an error it returns what it got.
//
// It asks each partition for its share and a little more, which is enough as
// long as they are filled alike, and only those for max whose part turns out to
// be cut too short.
func (s *Store) earliest(ctx context.Context, name string, now time.Time, max int) ([]scored, error) {
	share := min(max, 2*max/Partitions+4)
	all := make([]partition, Partitions)
	for p := range all {
		all[p] = partition(p)
	}
	lists, err := s.earliestOf(ctx, all, name, now, share)
	found := merged(lists)
	if share == max {
		return found, err
	}
	var cut []partition
	for p, list := range lists {
		if len(list) == share && (len(found) < max || list[share-1].score < found[max-1].score) {
			cut = append(cut, p)
		}
	}
	if len(cut) == 0 {
		return found, err
	}
	whole, err2 := s.earliestOf(ctx, cut, name, now, max)
	maps.Copy(lists, whole)
	return merged(lists), errors.Join(err, err2)
}

// earliestOf returns the first max members of some partitions, in one round
// trip.
func (s *Store) earliestOf(ctx context.Context, of []partition, name string, now time.Time, max int) (map[partition][]scored, error) {
	ctx, cancel := context.WithTimeout(ctx, lookTime)
	defer cancel()
	pipe := s.client.Pipeline()
	cmds := make([]*redis.ZSliceCmd, len(of))
	for i, p := range of {
		cmds[i] = pipe.ZRangeByScoreWithScores(ctx, p.key(name), &redis.ZRangeBy{
			Min: "-inf", Max: strconv.FormatInt(milli(now), 10), Count: int64(max),
		})
	}
	_, err := pipe.Exec(ctx)
	lists := map[partition][]scored{}
	for i, cmd := range cmds {
		for _, z := range cmd.Val() {
			lists[of[i]] = append(lists[of[i]], scored{of[i], z.Member.(string), z.Score})
		}
	}
	return lists, failed(err)
}

// merged puts the members of all partitions in the order of their scores.
func merged(lists map[partition][]scored) (all []scored) {
	for _, list := range lists {
		all = append(all, list...)
	}
	slices.SortFunc(all, func(a, b scored) int {
		return cmp.Or(cmp.Compare(a.score, b.score), cmp.Compare(a.partition, b.partition), strings.Compare(a.member, b.member))
	})
	return all
}

// claim leases the first message in line of each of the conversations given
// that is due, after dropping what is silenced or expired.
//
//	KEYS  1 n  2 ready  3 cur, then q: and w: of each conversation
//	ARGV  1 now  2 end of the lease, then the member in ready of each
//	returns  for each delivery: number of the conversation, attempt, token,
//	         message
var claim = newScript(true, luaFields, luaQueue, `
local n, ready, cur = KEYS[1], KEYS[2], KEYS[3]
local now, found = tonumber(ARGV[1]), {}
local function one(i, q, w, m)
  local u, attempt = redis.call('HGET', cur, m), 0
  local function drop()
    redis.call('LPOP', q)
    redis.call('HDEL', cur, m)
    redis.call('HINCRBY', n, 'waiting', -1)
    attempt = 0
  end
  if u then
    if tonumber(nth(u, 3)) > now then return end
    attempt = tonumber(nth(u, 2))
    if nth(u, 4) == '1' then drop() end
  end
  for _, v in ipairs(redis.call('ZRANGEBYSCORE', w, '-inf', ARGV[1])) do
    local item = string.sub(v, 17)
    local _, after = field(item, 1)
    redis.call('ZREM', w, v)
    redis.call('RPUSH', q, pack(nth(item, 3)) .. string.sub(item, after))
  end
  while true do
    local item = redis.call('LINDEX', q, 0)
    if not item then break end
    local expires = tonumber(nth(item, 2))
    if expires ~= 0 and expires <= now then
      drop()
    else
      if attempt == 0 and tonumber(nth(item, 1)) > now then break end
      local token = num(redis.call('HINCRBY', n, 'seq', 1))
      redis.call('HSET', cur, m, pack(token) .. pack(num(attempt + 1)) .. pack(ARGV[2]) .. '1:0')
      for _, v in ipairs({i, attempt + 1, token, item}) do found[#found + 1] = v end
      break
    end
  end
  index(ready, cur, q, w, m)
end
for i = 1, #ARGV - 2 do one(i, KEYS[2 * i + 2], KEYS[2 * i + 3], ARGV[i + 2]) end
return found
`)

func (s *Store) claimFrom(ctx context.Context, p partition, members []string, now time.Time, lease time.Duration) ([]store.Delivery, error) {
	keys := []string{p.key("n"), p.key("ready"), p.key("cur")}
	args := []any{milli(now), milli(now.Add(lease))}
	shops := make([]string, len(members))
	for i, m := range members {
		shop, conversation, err := unpair(m)
		if err != nil {
			return nil, err
		}
		shops[i] = shop
		k := keysOf(shop)
		keys = append(keys, k.queue(conversation), k.held(conversation))
		args = append(args, m)
	}
	r, err := s.run(ctx, claim, keys, args...)
	if err != nil {
		return nil, err
	}
	var claimed []store.Delivery
	for ; len(r) >= 4; r = r[4:] {
		i, _ := r[0].(int64)
		attempt, _ := r[1].(int64)
		token, _ := r.text(2)
		packed, _ := r.text(3)
		item, err := values.ReadItem([]byte(packed))
		if err != nil {
			return nil, err
		}
		d := store.Delivery{Shop: shops[i-1], Out: item.Out, Attempt: int(attempt)}
		d.Token, _ = strconv.ParseUint(token, 10, 64)
		claimed = append(claimed, d)
	}
	return claimed, nil
}
