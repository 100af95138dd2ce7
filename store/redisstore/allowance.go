package redisstore

import (
	"context"
	"fmt"
	"strconv"
	"time"

	"shimwright/store"
)

// take takes from an allowance, by the arithmetic of store.Allowances, in
// microseconds. When it is run twice, more is gone than was used: no harm, so
// it may be sent again.
//
//	KEYS  1 the allowance
//	ARGV  1 now  2 time in which one is filled in  3 burst  4 how many are wanted
//	returns  {how many}, or {"0", time until there is one}
var take = newScript(false, luaFields, `
local now, each = tonumber(ARGV[1]), tonumber(ARGV[2])
local full = tonumber(redis.call('GET', KEYS[1]) or '0')
if full < now then full = now end
local room = tonumber(ARGV[3]) * each - (full - now)
local got = math.min(math.floor(room / each), tonumber(ARGV[4]))
if got <= 0 then return {'0', num(each - room)} end
full = full + got * each
redis.call('SET', KEYS[1], num(full), 'PX', num(math.ceil((full - now) / 1000) + 1))
return {num(got)}
`)

// Take takes from an allowance that all replicas share.
func (s *Store) Take(ctx context.Context, name string, r store.Rate, want int, now time.Time) (got int, wait time.Duration, err error) {
	each := strconv.FormatFloat(1e6/r.PerSecond, 'f', -1, 64)
	a, err := s.run(ctx, take, []string{prefixAllowance + name}, now.UnixMicro(), each, r.Burst, want)
	if err != nil {
		return 0, 0, err
	}
	n, _ := a.text(0)
	if got, err = strconv.Atoi(n); err != nil {
		return 0, 0, fmt.Errorf("store: Redis answered about an allowance with %q", n)
	}
	if got == 0 {
		n, _ = a.text(1)
		us, err := strconv.ParseInt(n, 10, 64)
		if err != nil {
			return 0, 0, fmt.Errorf("store: Redis answered about an allowance with %q", n)
		}
		wait = time.Duration(us) * time.Microsecond
	}
	return got, wait, nil
}
