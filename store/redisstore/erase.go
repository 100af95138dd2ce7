package redisstore

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/redis/go-redis/v9"

	"shimwright/store"
	"shimwright/store/internal/values"
)

// eraseAtOnce is how many conversations one script erases.
const eraseAtOnce = 200

// Erase removes what scope names. A shop goes in several steps, each atomic,
// its name in the list of shops last.
func (s *Store) Erase(ctx context.Context, scope store.Scope) error {
	if scope.Shop == "" {
		return errors.New("store: erase without a shop")
	}
	if scope.Saw == "" && scope.Person == "" {
		return s.eraseShop(ctx, scope.Shop)
	}
	if scope.Saw != "" {
		if err := s.eraseSaw(ctx, scope.Shop, scope.Saw); err != nil {
			return err
		}
	}
	if scope.Person != "" {
		return s.erasePerson(ctx, scope.Shop, scope.Person)
	}
	return nil
}

// eraseConversations removes conversations with all that belongs to them.
//
//	KEYS  1 n  2 ready  3 cur  4 d:  5 z:  6 dead  7 m:  8 due, then h:, t:, q:
//	      and w: of each
//	ARGV  1 shop, then the conversations
//	returns  {}
var eraseConversations = newScript(true, luaFields, luaReminders, `
local n, ready, cur, d, z, dead, m, due = unpack(KEYS, 1, 8)
local shop, gone = ARGV[1], {}
for i = 2, #ARGV do
  local conv, k = ARGV[i], 4 * i + 1
  local member, q, w = pack(shop) .. ':' .. conv, KEYS[k + 2], KEYS[k + 3]
  local waiting = redis.call('LLEN', q) + redis.call('ZCARD', w)
  redis.call('DEL', KEYS[k], KEYS[k + 1], q, w)
  redis.call('HINCRBY', n, 'waiting', 0 - waiting)
  redis.call('ZREM', ready, member)
  redis.call('HDEL', cur, member)
  redis.call('HDEL', d, 'd' .. conv, 's' .. conv)
  gone[conv] = true
end
local letters = redis.call('HGETALL', z)
for i = 1, #letters, 2 do
  if gone[nth(nth(letters[i + 1], 5), 5)] then
    redis.call('HDEL', z, letters[i])
    redis.call('ZREM', dead, pack(shop) .. ':' .. letters[i])
    redis.call('HINCRBY', n, 'dead', -1)
  end
end
for _, v in ipairs(redis.call('LRANGE', m, 0, -1)) do
  if gone[nth(v, 3)] then redis.call('LREM', m, 1, v) end
end
nextdue(due, m, shop)
return {}
`)

func (s *Store) eraseConversations(ctx context.Context, shop string, conversations []string) error {
	k := keysOf(shop)
	for list := range slices.Chunk(conversations, eraseAtOnce) {
		keys := []string{k.key("n"), k.key("ready"), k.key("cur"), k.docs(), k.letters(), k.key("dead"), k.reminders(), k.key("due")}
		args := []any{shop}
		for _, c := range list {
			keys = append(keys, k.handled(c), k.transcript(c), k.queue(c), k.held(c))
			args = append(args, c)
		}
		if _, err := s.run(ctx, eraseConversations, keys, args...); err != nil {
			return err
		}
	}
	return nil
}

// eraseShop removes what is left of a shop without conversations.
//
//	KEYS  1 n  2 shops  3 due  4 dead  5 d:  6 s:  7 r:  8 x:  9 l:  10 m:
//	      11 z:  12 e:, then the documents with keys of their own
//	ARGV  1 shop
//	returns  {"ok"}, or {"again"} when conversations or documents came meanwhile
var eraseShop = newScript(true, luaFields, `
local n, shops, due, dead, d, s, r, x, l, m, z, e = unpack(KEYS, 1, 12)
local shop = ARGV[1]
if redis.call('HLEN', d) > 0 or redis.call('ZCARD', e) > #KEYS - 12 then return {'again'} end
for _, id in ipairs(redis.call('HKEYS', z)) do
  redis.call('ZREM', dead, pack(shop) .. ':' .. id)
  redis.call('HINCRBY', n, 'dead', -1)
end
for i = 5, #KEYS do redis.call('DEL', KEYS[i]) end
redis.call('ZREM', due, shop)
redis.call('ZREM', shops, shop)
return {'ok'}
`)

func (s *Store) eraseShop(ctx context.Context, shop string) error {
	k := keysOf(shop)
	for {
		conversations, err := s.conversations(ctx, shop)
		if err != nil {
			return err
		}
		if err := s.eraseConversations(ctx, shop, conversations); err != nil {
			return err
		}
		own, err := s.ownDocuments(ctx, shop)
		if err != nil {
			return err
		}
		keys := []string{
			k.key("n"), k.key("shops"), k.key("due"), k.key("dead"), k.docs(), k.saws(),
			k.records(), k.order(), k.last(), k.reminders(), k.letters(), k.expiring(),
		}
		for _, v := range own {
			keys = append(keys, k.own(v.Kind, v.ID))
		}
		r, err := s.run(ctx, eraseShop, keys, shop)
		if err != nil {
			return err
		}
		if r.code() == "ok" {
			return s.eraseAddresses(ctx, shop)
		}
	}
}

// conversations returns the ids of the conversations of a shop, in order.
func (s *Store) conversations(ctx context.Context, shop string) ([]string, error) {
	names, err := s.client.HKeys(ctx, keysOf(shop).docs()).Result()
	if err != nil {
		return nil, failed(err)
	}
	for i := range names {
		names[i] = names[i][1:] // without the "d" or "s"
	}
	slices.Sort(names)
	return slices.Compact(names), nil
}

// ownDocuments names the documents of a shop that have keys of their own, by
// kind and id.
func (s *Store) ownDocuments(ctx context.Context, shop string) ([]store.Version, error) {
	members, err := s.client.ZRange(ctx, keysOf(shop).expiring(), 0, -1).Result()
	if err != nil {
		return nil, failed(err)
	}
	list := make([]store.Version, len(members))
	for i, m := range members {
		kind, id, err := unpair(m)
		if err != nil {
			return nil, err
		}
		list[i] = store.Version{Kind: store.Kind(kind), ID: id}
	}
	slices.SortFunc(list, func(a, b store.Version) int {
		if a.Kind != b.Kind {
			return strings.Compare(string(a.Kind), string(b.Kind))
		}
		return strings.Compare(a.ID, b.ID)
	})
	return list, nil
}

// addresses returns the addresses on the list of a shop, strays included.
func (s *Store) addresses(ctx context.Context, shop string) ([]string, error) {
	prefix := pair(shop, "")
	// A semicolon is the byte after the colon in which prefix ends.
	end := prefix[:len(prefix)-1] + ";"
	var list []string
	var cursor uint64
	for {
		// The list is in order of number, not of name, so it is scanned.
		page, next, err := s.client.ZScan(ctx, partitionOf(shop).key("addr"), cursor, escapeGlob(prefix)+"*", 1000).Result()
		if err != nil {
			return nil, failed(err)
		}
		for i := 0; i < len(page); i += 2 {
			if page[i] >= prefix && page[i] < end {
				list = append(list, page[i][len(prefix):])
			}
		}
		if cursor = next; cursor == 0 {
			slices.Sort(list)
			return slices.Compact(list), nil
		}
	}
}

// escapeGlob makes text match only itself in a pattern of Redis.
func escapeGlob(s string) string {
	return strings.NewReplacer(`\`, `\\`, `*`, `\*`, `?`, `\?`, `[`, `\[`, `]`, `\]`, `^`, `\^`).Replace(s)
}

func (s *Store) eraseAddresses(ctx context.Context, shop string) error {
	list, err := s.addresses(ctx, shop)
	if err != nil {
		return err
	}
	for _, address := range list {
		if err := s.Point(ctx, address, shop, ""); err != nil && !errors.Is(err, store.ErrStale) {
			return err
		}
		// A stray goes too: nothing points to an erased shop.
		err := s.client.ZRem(ctx, partitionOf(shop).key("addr"), pair(shop, address)).Err()
		if err != nil && !errors.Is(err, redis.Nil) {
			return failed(err)
		}
	}
	return nil
}

// eraseSaw removes a saw with its records and reminders.
//
//	KEYS  1 s:  2 r:  3 x:  4 l:  5 m:  6 due
//	ARGV  1 shop  2 saw
//	returns  {}
var eraseSaw = newScript(true, luaFields, luaReminders, `
local s, r, x, l, m, due = unpack(KEYS)
local shop, saw = ARGV[1], ARGV[2]
redis.call('HDEL', s, 's' .. saw)
for _, place in ipairs(redis.call('ZRANGE', x, 0, -1)) do
  local id = string.sub(place, 17)
  if nth(redis.call('HGET', r, id), 3) == saw then
    redis.call('HDEL', r, id)
    redis.call('ZREM', x, place)
  end
end
for _, kind in ipairs(redis.call('HKEYS', l)) do
  if nth(kind, 1) == saw then redis.call('HDEL', l, kind) end
end
for _, v in ipairs(redis.call('LRANGE', m, 0, -1)) do
  if nth(v, 4) == saw then redis.call('LREM', m, 1, v) end
end
nextdue(due, m, shop)
return {}
`)

func (s *Store) eraseSaw(ctx context.Context, shop, saw string) error {
	k := keysOf(shop)
	_, err := s.run(ctx, eraseSaw,
		[]string{k.saws(), k.records(), k.order(), k.last(), k.reminders(), k.key("due")}, shop, saw)
	if err != nil {
		return err
	}
	return s.eraseSaid(ctx, shop)
}

// eraseSaid blanks what was said in a shop, and drops its drawings and its dead
// letters: there is no telling which of them speak of one saw.
func (s *Store) eraseSaid(ctx context.Context, shop string) error {
	k := keysOf(shop)
	if err := s.eraseDocs(ctx, shop, store.KindDrawing, store.KindSent); err != nil {
		return err
	}
	conversations, err := s.conversations(ctx, shop)
	if err != nil {
		return err
	}
	for list := range slices.Chunk(conversations, eraseAtOnce) {
		var keys []string
		for _, c := range list {
			keys = append(keys, k.handled(c))
		}
		if _, err := s.run(ctx, blankLines, keys); err != nil {
			return err
		}
	}
	_, err = s.run(ctx, eraseLetters, []string{k.key("n"), k.letters(), k.key("dead")}, shop)
	return err
}

// eraseDocs removes the documents of some kinds that a shop has many of.
func (s *Store) eraseDocs(ctx context.Context, shop string, kinds ...store.Kind) error {
	k := keysOf(shop)
	own, err := s.ownDocuments(ctx, shop)
	if err != nil {
		return err
	}
	for _, v := range own {
		if !slices.Contains(kinds, v.Kind) {
			continue
		}
		// In this order: one whose key is gone counts as expired.
		if err := s.client.Del(ctx, k.own(v.Kind, v.ID)).Err(); err != nil {
			return failed(err)
		}
		if err := s.client.ZRem(ctx, k.expiring(), pair(string(v.Kind), v.ID)).Err(); err != nil {
			return failed(err)
		}
	}
	return nil
}

// blankLines blanks every line of conversations.
//
//	KEYS  h: of each
//	ARGV  none
//	returns  {}
var blankLines = newScript(true, luaFields, `
for _, h in ipairs(KEYS) do
  local lines = redis.call('HGETALL', h)
  for i = 1, #lines, 2 do
    local v = lines[i + 1]
    redis.call('HSET', h, lines[i],
      pack(nth(v, 1)) .. pack(nth(v, 2)) .. pack(nth(v, 3)) .. '0:0:' .. pack(nth(v, 6)) .. '0:0:')
  end
end
return {}
`)

// eraseLetters drops the dead letters of a shop.
//
//	KEYS  1 n  2 z:  3 dead
//	ARGV  1 shop
//	returns  {}
var eraseLetters = newScript(true, luaFields, `
local n, z, dead, shop = KEYS[1], KEYS[2], KEYS[3], ARGV[1]
for _, id in ipairs(redis.call('HKEYS', z)) do
  redis.call('HDEL', z, id)
  redis.call('ZREM', dead, pack(shop) .. ':' .. id)
  redis.call('HINCRBY', n, 'dead', -1)
end
return {}
`)

// erasePerson takes a person's name off the records and drops their reminders.
//
//	KEYS  1 r:  2 m:  3 due
//	ARGV  1 shop  2 person
//	returns  {}
var erasePerson = newScript(true, luaFields, luaReminders, `
local r, m, due, shop, person = KEYS[1], KEYS[2], KEYS[3], ARGV[1], ARGV[2]
for _, id in ipairs(redis.call('HKEYS', r)) do
  local v, at = redis.call('HGET', r, id), 1
  for _ = 1, 4 do _, at = field(v, at) end
  local who, after = field(v, at)
  if who == person then
    redis.call('HSET', r, id, string.sub(v, 1, at - 1) .. '0:' .. string.sub(v, after))
  end
end
for _, v in ipairs(redis.call('LRANGE', m, 0, -1)) do
  if nth(v, 5) == person then redis.call('LREM', m, 1, v) end
end
nextdue(due, m, shop)
return {}
`)

// eraseLines blanks the lines of a person in a conversation shared with others.
//
//	KEYS  1 d:  2 h:
//	ARGV  1 conversation  2 person
//	returns  {}
var eraseLines = newScript(true, luaFields, `
local d, h, conv, person = KEYS[1], KEYS[2], ARGV[1], ARGV[2]
local lines = redis.call('HGETALL', h)
for i = 1, #lines, 2 do
  local v = lines[i + 1]
  if nth(v, 7) == person then
    redis.call('HSET', h, lines[i],
      pack(nth(v, 1)) .. pack(nth(v, 2)) .. pack(nth(v, 3)) .. '0:0:' .. pack(nth(v, 6)) .. '0:0:')
  end
end
local names, left, i, name = redis.call('HGET', d, 's' .. conv) or '', '', 1, nil
while i <= #names do
  name, i = field(names, i)
  if name ~= person then left = left .. pack(name) end
end
redis.call('HSET', d, 's' .. conv, left)
return {}
`)

func (s *Store) erasePerson(ctx context.Context, shop, person string) error {
	k := keysOf(shop)
	var alone, shared []string
	err := s.senders(ctx, shop, func(conversation string, names []string) {
		switch {
		case len(names) == 1 && names[0] == person:
			alone = append(alone, conversation)
		case slices.Contains(names, person):
			shared = append(shared, conversation)
		}
	})
	if err != nil {
		return err
	}
	if err := s.eraseConversations(ctx, shop, alone); err != nil {
		return err
	}
	for _, c := range shared {
		if _, err := s.run(ctx, eraseLines, []string{k.docs(), k.handled(c)}, c, person); err != nil {
			return err
		}
	}
	if err := s.eraseDocs(ctx, shop, store.KindSent); err != nil {
		return err
	}
	_, err = s.run(ctx, erasePerson, []string{k.records(), k.reminders(), k.key("due")}, shop, person)
	return err
}

// senders calls fn for every conversation of a shop with those who wrote in it.
func (s *Store) senders(ctx context.Context, shop string, fn func(conversation string, names []string)) error {
	var cursor uint64
	for {
		page, next, err := s.client.HScan(ctx, keysOf(shop).docs(), cursor, "s*", 500).Result()
		if err != nil {
			return failed(err)
		}
		for i := 0; i+1 < len(page); i += 2 {
			names, err := values.ReadNames([]byte(page[i+1]))
			if err != nil {
				return fmt.Errorf("conversation %q: %w", page[i][1:], err)
			}
			fn(page[i][1:], names)
		}
		if cursor = next; cursor == 0 {
			return nil
		}
	}
}
