package redisstore

import (
	"context"
	"errors"
	"fmt"
	"strconv"

	"github.com/redis/go-redis/v9"

	"shimwright/store"
	"shimwright/store/internal/fields"
)

// An address lies in its own slot, the list of a shop's addresses in that of
// the shop, so pointing is three steps. The list is written first and pruned
// last: cut off anywhere, it names every address of the shop and perhaps one
// that is not its own. Who uses the list checks each address. Every pointing
// has a number, so that the pruning of one never undoes a later one.

// list adds an address to the list of a shop.
//
//	KEYS  1 n  2 addr
//	ARGV  1 shop and address
//	returns  {the number of the pointing, "1" when it was in the list before}
var list = newScript(true, luaFields, `
local before = redis.call('ZSCORE', KEYS[2], ARGV[1])
local number = num(redis.call('HINCRBY', KEYS[1], 'seq', 1))
redis.call('ZADD', KEYS[2], number, ARGV[1])
return {number, before and '1' or '0'}
`)

// prune takes an address off the list of a shop if it is still there by the
// pointing of that number.
//
//	KEYS  1 addr
//	ARGV  1 shop and address  2 number
//	returns  {}
var prune = newScript(true, luaFields, `
local number = redis.call('ZSCORE', KEYS[1], ARGV[1])
if number and num(tonumber(number)) == ARGV[2] then redis.call('ZREM', KEYS[1], ARGV[1]) end
return {}
`)

// point moves an address.
//
//	KEYS  1 the address
//	ARGV  1 shop it must belong to, "" for none  2 number of the pointing
//	      3 shop it shall belong to, "" for none
//	returns  {"ok", number of the pointing before} or {"stale"}
var point = newScript(true, luaFields, `
local v = redis.call('GET', KEYS[1])
local from = v and nth(v, 2) or ''
if from ~= ARGV[1] then return {'stale'} end
if ARGV[3] == '' then redis.call('DEL', KEYS[1])
else redis.call('SET', KEYS[1], pack(ARGV[2]) .. pack(ARGV[3])) end
return {'ok', v and nth(v, 1) or '0'}
`)

// Point makes an address belong to a shop.
func (s *Store) Point(ctx context.Context, address, from, to string) error {
	if err := store.CheckAddress(address, from, to); err != nil {
		return err
	}
	number, before := "0", ""
	if to != "" {
		p := partitionOf(to)
		r, err := s.run(ctx, list, []string{p.key("n"), p.key("addr")}, pair(to, address))
		if err != nil {
			return err
		}
		number, _ = r.text(0)
		before, _ = r.text(1)
	}
	r, err := s.run(ctx, point, []string{prefixAddress + address}, from, number, to)
	if err != nil {
		return err
	}
	if r.code() == "stale" {
		if before == "0" {
			s.prune(ctx, to, address, number)
		}
		return fmt.Errorf("%w: the address belongs to another shop now", store.ErrStale)
	}
	if from != "" && from != to {
		old, _ := r.text(1)
		s.prune(ctx, from, address, old)
	}
	return nil
}

// prune is the last step. Whether it succeeds matters to nobody: a stray is
// found when the list is used.
func (s *Store) prune(ctx context.Context, shop, address, number string) {
	_, _ = s.run(ctx, prune, []string{partitionOf(shop).key("addr")}, pair(shop, address), number)
}

// Resolve returns the shop that an address belongs to.
func (s *Store) Resolve(ctx context.Context, address string) (string, error) {
	_, shop, err := s.pointing(ctx, address)
	if err == nil && shop == "" {
		err = fmt.Errorf("%w: this address belongs to no shop", store.ErrNotFound)
	}
	return shop, err
}

// pointing returns the shop of an address, "" when it has none, and the number
// by which it was pointed there.
func (s *Store) pointing(ctx context.Context, address string) (number, shop string, err error) {
	cmd := redis.NewStringCmd(ctx, "get", prefixAddress+address)
	err = s.read(ctx, cmd)
	switch {
	case errors.Is(err, redis.Nil):
		return "", "", nil
	case err != nil:
		return "", "", failed(err)
	}
	r := fields.NewReader([]byte(cmd.Val()))
	number, shop = strconv.FormatInt(r.Int(), 10), r.Str()
	if r.Err() != nil {
		return "", "", fmt.Errorf("store: the stored address %q cannot be read: %w", address, r.Err())
	}
	return number, shop, nil
}

// Shops lists the shops in order.
func (s *Store) Shops(ctx context.Context, after string, max int) ([]string, error) {
	var shops []string
	w := s.walk(after, max)
	for len(shops) < max {
		shop, err := w.next(ctx)
		if err != nil || shop == "" {
			return shops, err
		}
		shops = append(shops, shop)
	}
	return shops, nil
}

// walker goes through the shops of all partitions in order: each partition has
// its own in order, and the least of their heads is next.
type walker struct {
	s     *Store
	page  int64
	after [Partitions]string
	heads [Partitions][]string
	ended [Partitions]bool
}

func (s *Store) walk(after string, expect int) *walker {
	w := &walker{s: s, page: int64(min(max(2*expect/Partitions, 4), 500))}
	for p := range w.after {
		w.after[p] = after
	}
	return w
}

// next returns the next shop, "" after the last.
func (w *walker) next(ctx context.Context) (string, error) {
	if err := w.fill(ctx); err != nil {
		return "", err
	}
	least := -1
	for p, head := range w.heads {
		if len(head) > 0 && (least < 0 || head[0] < w.heads[least][0]) {
			least = p
		}
	}
	if least < 0 {
		return "", nil
	}
	shop := w.heads[least][0]
	w.heads[least] = w.heads[least][1:]
	w.after[least] = shop
	return shop, nil
}

// fill reads on in the partitions of which nothing is at hand.
func (w *walker) fill(ctx context.Context) error {
	pipe := w.s.client.Pipeline()
	var cmds [Partitions]*redis.StringSliceCmd
	for p := range w.heads {
		if len(w.heads[p]) == 0 && !w.ended[p] {
			from := "(" + w.after[p]
			if w.after[p] == "" {
				from = "-"
			}
			cmds[p] = pipe.ZRangeByLex(ctx, partition(p).key("shops"), &redis.ZRangeBy{Min: from, Max: "+", Count: w.page})
		}
	}
	if pipe.Len() == 0 {
		return nil
	}
	if _, err := pipe.Exec(ctx); err != nil {
		return failed(err)
	}
	for p, cmd := range cmds {
		if cmd != nil {
			w.heads[p] = cmd.Val()
			w.ended[p] = int64(len(w.heads[p])) < w.page
		}
	}
	return nil
}
