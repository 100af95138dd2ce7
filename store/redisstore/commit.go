package redisstore

import (
	"context"
	"fmt"
	"strconv"
	"time"

	"shimwright/store"
	"shimwright/store/internal/fields"
)

func milli(t time.Time) int64 { return fields.Milli(t) }

// commit checks everything, then writes everything. Its first write may be
// refused for want of memory; the others then follow in any case.
//
//	KEYS  1 n  2 shops  3 d:  4 s:  5 r:  6 x:  7 l:  8 m:  9 due  10 h:  11 t:
//	      12 ready  13 cur  14 e:
//	      then the documents' own keys, then q: and w: of every conversation
//	      whose outbox may change
//	ARGV  1 now  2 at  3 shop  4 conversation  5 its member in ready
//	      6 "1" when a limit is passed: only check
//	      7 inbound id or ""  8 its hash  9 fired id or ""  10 its due time
//	      11 the entry without its number, or ""  12 sender or ""
//	      13 number of the outbox to silence, 0 for none
//	      14 index in KEYS of the first q:
//	      15 to 21 how many follow of each of
//	         versions   index in KEYS, field or "", version relied on
//	         outboxes   conversation, how many messages are added
//	         records    id
//	         reminders  id, reminder
//	         forgotten  id
//	         moved      id or "", sender, entry without its number
//	         documents  index in KEYS, field or "", document without its version
//	                    or "" to delete, milliseconds to live or 0, member of e:
//	      then for each record   time, field of l:, record
//	      and for each outbox    member in ready, then for each message its
//	                             NotBefore when that is yet to come or 0, message
//	returns  {"ok"}, {"seen", answer}, {"conflict"}, {"stale", conversation-like
//	         name, version found}, {"limit"}, {"queue", conversation, length},
//	         {"reminders", number}, {"taken", record id}
var commit = newScript(true, luaFields, luaQueue, luaReminders, commitCheck, commitWrite)

const commitCheck = `
local n, shops, d, s, r, x, l, m, due, h, t, ready, cur, e = unpack(KEYS, 1, 14)
local now, at, shop, conv, member = tonumber(ARGV[1]), ARGV[2], ARGV[3], ARGV[4], ARGV[5]
local id, hash, fired, silenced, firstq = ARGV[7], ARGV[8], ARGV[9], tonumber(ARGV[13]), tonumber(ARGV[14])
local count = {}
for i = 1, 7 do count[i] = tonumber(ARGV[14 + i]) end
local a = 21
local function arg() a = a + 1 return ARGV[a] end
local function handled(name)
  local v = redis.call('HGET', h, 'i' .. name)
  if v and tonumber(nth(v, 2)) + KEEP > now then return v end
end

if id ~= '' then
  local v = handled(id)
  if v then
    local was = nth(v, 4)
    if was ~= '' and was ~= hash then return {'conflict'} end
    return {'seen', nth(v, 5)}
  end
end
local reminders = {}
if fired ~= '' or count[4] + count[5] > 0 then
  for _, v in ipairs(redis.call('LRANGE', m, 0, -1)) do reminders[nth(v, 2)] = v end
end
if fired ~= '' and not (reminders[fired] and nth(reminders[fired], 1) == ARGV[10]) then
  return {'seen', ''}
end
for _ = 1, count[1] do
  local key, name, relied = KEYS[tonumber(arg())], arg(), arg()
  local v, version = nil, '0'
  if name == '' then v = redis.call('GET', key) else v = redis.call('HGET', key, name) end
  if v then
    local found, i = field(v, 1)
    local expires = tonumber((field(v, i)))
    if expires == 0 or expires > now then version = found end
  end
  if version ~= relied then return {'stale', name, version} end
end
if ARGV[6] == '1' then return {'limit'} end

local function leased()
  local u = redis.call('HGET', cur, member)
  return u and nth(u, 1) ~= '0' and tonumber(nth(u, 3)) > tonumber(at) and u
end
local outboxes = {}
for i = 1, count[2] do
  local o = {q = KEYS[firstq + 2 * i - 2], w = KEYS[firstq + 2 * i - 1], conv = arg(), added = tonumber(arg())}
  local waiting = redis.call('LLEN', o.q) + redis.call('ZCARD', o.w)
  if i == silenced then waiting = leased() and 1 or 0 end
  if o.added > 0 and waiting + o.added > 1000 then return {'queue', o.conv, num(waiting + o.added)} end
  outboxes[i] = o
end
local records, set, drop, keep = {}, {}, {}, 0
for i = 1, count[3] do
  records[i] = {id = arg()}
  if redis.call('HEXISTS', r, records[i].id) == 1 then return {'taken', records[i].id} end
end
for i = 1, count[4] do set[i] = {id = arg(), v = arg()} end
if fired ~= '' then drop[1] = fired end
for _ = 1, count[5] do drop[#drop + 1] = arg() end
if #set > 0 then
  local left = {}
  for name in pairs(reminders) do left[name] = true end
  for _, name in ipairs(drop) do left[name] = nil end
  for _, v in ipairs(set) do left[v.id] = true end
  for _ in pairs(left) do keep = keep + 1 end
  if keep > 1000 then return {'reminders', num(keep)} end
end
`

const commitWrite = `
-- All the numbers that may be needed, in one call.
local most = 2 + count[6] + count[3]
for _, o in ipairs(outboxes) do most = most + o.added end
local last = redis.call('HINCRBY', n, 'seq', num(most)) - most
local function next()
  last = last + 1
  return num(last)
end
local names = redis.call('HGET', d, 's' .. conv)
if not names then
  names = ''
  redis.call('ZADD', shops, 0, shop)
  if conv ~= '' then redis.call('HSET', d, 's' .. conv, '') end
end
local function wrote(from)
  if from == '' then return end
  local i, name = 1, nil
  while i <= #names do
    name, i = field(names, i)
    if name == from then return end
  end
  names = names .. pack(from)
  redis.call('HSET', d, 's' .. conv, names)
end
local function entry(name, rest)
  local number = next()
  local f = name ~= '' and 'i' .. name or 'f' .. number
  if redis.call('HSET', h, f, pack(number) .. rest) == 0 then redis.call('LREM', t, 1, f) end
  redis.call('RPUSH', t, f)
end

for _ = 1, count[6] do
  local name, from, rest = arg(), arg(), arg()
  if name == '' or not handled(name) then
    entry(name, rest)
    wrote(from)
  end
end

local version = pack(next())
for _ = 1, count[7] do
  local key, name, rest, ttl, shown = KEYS[tonumber(arg())], arg(), arg(), arg(), arg()
  if name ~= '' then
    if rest == '' then redis.call('HDEL', key, name) else redis.call('HSET', key, name, version .. rest) end
  elseif rest == '' then
    redis.call('DEL', key)
    redis.call('ZREM', e, shown)
  else
    local clock = redis.call('TIME')
    clock = clock[1] * 1000 + math.floor(clock[2] / 1000)
    redis.call('ZREMRANGEBYSCORE', e, '-inf', num(clock))
    if ttl == '0' then
      redis.call('SET', key, version .. rest)
      redis.call('ZADD', e, '+inf', shown)
      redis.call('PERSIST', e)
    else
      redis.call('SET', key, version .. rest, 'PX', ttl)
      redis.call('ZADD', e, num(clock + ttl), shown)
      local latest = redis.call('ZRANGE', e, -1, -1, 'WITHSCORES')[2]
      if latest ~= 'inf' then redis.call('PEXPIREAT', e, latest) end
    end
  end
end

for _, name in ipairs(drop) do
  if reminders[name] then
    redis.call('LREM', m, 1, reminders[name])
    reminders[name] = nil
  end
end
for _, v in ipairs(set) do
  if reminders[v.id] then redis.call('LREM', m, 1, reminders[v.id]) end
  redis.call('RPUSH', m, v.v)
  reminders[v.id] = v.v
end
if #drop + #set > 0 then nextdue(due, m, shop) end

for _, rec in ipairs(records) do
  local when, kind, v = arg(), arg(), arg()
  local place = string.format('%016.0f', tonumber(next())) .. rec.id
  redis.call('HSET', r, rec.id, v)
  redis.call('ZADD', x, when, place)
  local newest = redis.call('HGET', l, kind)
  if newest then
    local time, other = tonumber(nth(newest, 1)), nth(newest, 2)
    newest = time > tonumber(when) or time == tonumber(when) and other > place
  end
  if not newest then redis.call('HSET', l, kind, pack(when) .. pack(place)) end
end

if silenced > 0 then
  local o = outboxes[silenced]
  local dropped, u = redis.call('LLEN', o.q) + redis.call('ZCARD', o.w), leased()
  if u then
    redis.call('HSET', cur, member, pack(nth(u, 1)) .. pack(nth(u, 2)) .. pack(nth(u, 3)) .. '1:1')
    redis.call('LTRIM', o.q, 0, 0)
    dropped = dropped - 1
  else
    redis.call('HDEL', cur, member)
    redis.call('DEL', o.q)
  end
  redis.call('DEL', o.w)
  redis.call('HINCRBY', n, 'waiting', 0 - dropped)
end
for _, o in ipairs(outboxes) do
  local m = arg()
  for _ = 1, o.added do
    local held, item = arg(), arg()
    if held == '0' then
      redis.call('RPUSH', o.q, item)
    else
      redis.call('ZADD', o.w, held, string.format('%016.0f', tonumber(next())) .. item)
    end
  end
  if o.added > 0 then
    redis.call('HINCRBY', n, 'waiting', o.added)
    redis.call('HSETNX', d, 's' .. o.conv, '')
  end
  index(ready, cur, o.q, o.w, m)
end

if ARGV[11] ~= '' then
  entry(id, ARGV[11])
  wrote(ARGV[12])
end
if ARGV[11] ~= '' or count[6] > 0 then
  -- Now and then the oldest go.
  for _ = 1, last % 8 == 0 and 32 or 0 do
    local f = redis.call('LINDEX', t, 0)
    local v = f and redis.call('HGET', h, f)
    if not v or tonumber(nth(v, 2)) + KEEP + SWEEP > now then break end
    redis.call('LPOP', t)
    redis.call('HDEL', h, f)
  end
  if redis.call('PTTL', h) < KEEP + SWEEP then
    redis.call('PEXPIRE', h, KEEP + 2 * SWEEP)
    redis.call('PEXPIRE', t, KEEP + 2 * SWEEP)
  end
end
return {'ok'}
`

// Commit is all or nothing, in one round trip.
func (s *Store) Commit(ctx context.Context, c store.Commit) error {
	if err := c.WellFormed(); err != nil {
		return err
	}
	now := s.told.Raise(c.At)
	limit := c.Limits()
	keys, args := commitCall(&c, now, limit)
	r, err := s.run(ctx, commit, keys, args...)
	if err != nil {
		return err
	}
	what, _ := r.text(1)
	switch r.code() {
	case "ok":
		return nil
	case "seen":
		if err := s.settled(ctx, c.Shop); err != nil {
			return err
		}
		return &store.SeenError{Answer: []byte(what)}
	case "conflict":
		return store.ErrConflict
	case "stale":
		version, _ := r.text(2)
		return fmt.Errorf("%w: document %q has version %s now", store.ErrStale, what, version)
	case "limit":
		return limit
	case "queue":
		length, _ := r.text(2)
		return full("the queue of conversation "+what, length, store.MaxQueue)
	case "reminders":
		return full("the list of reminders", what, store.MaxReminders)
	case "taken":
		return fmt.Errorf("%w: there is a record %q already", store.ErrConflict, what)
	}
	return fmt.Errorf("store: Redis answered a commit with %q", r.code())
}

func full(what, size string, limit int) error {
	n, _ := strconv.Atoi(size)
	return store.Full(what, n, limit)
}
