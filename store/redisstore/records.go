package redisstore

import (
	"context"
	"errors"
	"slices"

	"shimwright/store"
	"shimwright/store/internal/values"
)

// recordsAtOnce is how many records come in one round trip.
const recordsAtOnce = 500

// records reads records, newest first, a page at a time.
//
//	KEYS  1 x: order   2 r: records
//	ARGV  1 saw or ""  2 characteristic or ""  3 since  4 how many
//	      5 the member of x: after which to go on, "" for the newest
//	returns  the member after which to go on, "" at the end and nil when the
//	         one given is gone; then the records
var records = newScript(false, luaFields, `
local x, r, saw, kind, since, max = KEYS[1], KEYS[2], ARGV[1], ARGV[2], tonumber(ARGV[3]), tonumber(ARGV[4])
local found, at = {''}, 0
if ARGV[5] ~= '' then
  at = redis.call('ZREVRANK', x, ARGV[5])
  if not at then return {false} end
  at = at + 1
end
while true do
  local page = redis.call('ZREVRANGE', x, at, at + 199, 'WITHSCORES')
  for i = 1, #page, 2 do
    if tonumber(page[i + 1]) < since then return found end
    local v = redis.call('HGET', r, string.sub(page[i], 17))
    if (saw == '' or nth(v, 3) == saw) and (kind == '' or nth(v, 4) == kind) then
      found[#found + 1] = v
      if #found > max then
        found[1] = page[i]
        return found
      end
    end
  end
  if #page < 400 then return found end
  at = at + 200
end
`)

// errErased reports that a record was erased while a query went through them.
var errErased = errors.New("store: the records were erased meanwhile")

// Records returns records by q, in one round trip for each 500.
func (s *Store) Records(ctx context.Context, q store.RecordQuery) ([]store.Record, error) {
	for {
		found, err := s.query(ctx, q)
		if !errors.Is(err, errErased) {
			slices.Reverse(found)
			return found, err
		}
	}
}

func (s *Store) query(ctx context.Context, q store.RecordQuery) (found []store.Record, err error) {
	k, after := keysOf(q.Shop), ""
	for {
		page := recordsAtOnce
		if q.Max > 0 {
			page = min(page, q.Max-len(found))
		}
		r, err := s.run(ctx, records, []string{k.order(), k.records()}, q.Saw, q.Characteristic, milli(q.Since), page, after)
		if err != nil {
			return nil, err
		}
		var ok bool
		if after, ok = r.text(0); !ok {
			return nil, errErased
		}
		list, err := all(r[1:], values.ReadRecord)
		if err != nil {
			return nil, err
		}
		found = append(found, list...)
		if after == "" || q.Max > 0 && len(found) == q.Max {
			return found, nil
		}
	}
}
