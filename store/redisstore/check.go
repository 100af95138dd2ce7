package redisstore

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/redis/go-redis/v9"

	"shimwright/store"
	"shimwright/store/internal/fields"
	"shimwright/store/internal/values"
)

// Check verifies that everything agrees with everything else. It reads shop
// after shop while commits may go on, so it looks twice and reports what it
// found both times.
func (s *Store) Check(ctx context.Context) ([]string, error) {
	first, err := s.checkOnce(ctx)
	if err != nil || len(first) == 0 {
		return first, err
	}
	again, err := s.checkOnce(ctx)
	return slices.DeleteFunc(first, func(f string) bool { return !slices.Contains(again, f) }), err
}

func (s *Store) checkOnce(ctx context.Context) ([]string, error) {
	c := &checker{s: s, ctx: ctx, known: map[string]bool{keySchema: true}}
	shops := s.walk("", 500*Partitions)
	for {
		shop, err := shops.next(ctx)
		if err != nil {
			return nil, err
		}
		if shop == "" {
			break
		}
		if err := c.shop(shop); err != nil {
			return nil, fmt.Errorf("store: checking shop %q: %w", shop, err)
		}
	}
	for p := range partition(Partitions) {
		if err := c.partition(p); err != nil {
			return nil, fmt.Errorf("store: checking partition %d: %w", p, err)
		}
	}
	return c.faults, c.everyKey()
}

// checker collects faults. known has every key that should be there.
type checker struct {
	s             *Store
	ctx           context.Context
	known         map[string]bool
	faults        []string
	waiting, dead [Partitions]int
}

func (c *checker) expect(ok bool, format string, args ...any) {
	if !ok {
		c.faults = append(c.faults, fmt.Sprintf(format, args...))
	}
}

func (c *checker) shop(shop string) error {
	k := keysOf(shop)
	for _, key := range []string{k.docs(), k.saws(), k.records(), k.order(), k.last(), k.reminders(), k.letters(), k.expiring()} {
		c.known[key] = true
	}
	conversations, err := c.s.conversations(c.ctx, shop)
	if err != nil {
		return err
	}
	for _, id := range conversations {
		if err := c.conversation(k, id); err != nil {
			return err
		}
	}
	own, err := c.s.ownDocuments(c.ctx, shop)
	if err != nil {
		return err
	}
	for _, v := range own {
		c.known[k.own(v.Kind, v.ID)] = true
	}
	return errors.Join(c.records(k), c.reminders(k), c.letters(k))
}

func (c *checker) conversation(k shopKeys, id string) error {
	h, t, q, w := k.handled(id), k.transcript(id), k.queue(id), k.held(id)
	for _, key := range []string{h, t, q, w} {
		c.known[key] = true
	}
	pipe := c.s.client.Pipeline()
	entries, order := pipe.HGetAll(c.ctx, h), pipe.LRange(c.ctx, t, 0, -1)
	line, held := pipe.LRange(c.ctx, q, 0, -1), pipe.ZRangeWithScores(c.ctx, w, 0, -1)
	underway := pipe.HGet(c.ctx, k.key("cur"), pair(k.shop, id))
	ready := pipe.ZScore(c.ctx, k.key("ready"), pair(k.shop, id))
	if _, err := pipe.Exec(c.ctx); err != nil && !errors.Is(err, redis.Nil) {
		return failed(err)
	}
	c.expect(len(entries.Val()) == len(order.Val()), "conversation %s/%s: %d entries, %d in order", k.shop, id, len(entries.Val()), len(order.Val()))
	var seq uint64
	for _, field := range order.Val() {
		e, err := values.ReadEntry([]byte(entries.Val()[field]))
		c.expect(err == nil && e.Seq > seq, "conversation %s/%s: entry %s is damaged or out of order (%v)", k.shop, id, field, err)
		c.expect(err != nil || field == "i"+e.Inbound.ID || field == "f"+strconv.FormatUint(e.Seq, 10),
			"conversation %s/%s: an entry lies under the id of another", k.shop, id)
		seq = e.Seq
	}
	c.waiting[k.partition] += len(line.Val()) + len(held.Val())
	c.outbox(k.shop+"/"+id, line.Val(), held.Val(), underway, ready)
	return nil
}

// outbox checks that a conversation is claimed when its first message is ready.
func (c *checker) outbox(name string, line []string, held []redis.Z, underway *redis.StringCmd, ready *redis.FloatCmd) {
	want, waits := int64(0), true
	switch {
	case underway.Err() == nil:
		u, err := values.ReadUnderway([]byte(underway.Val()))
		c.expect(err == nil && len(line) > 0, "conversation %s: a delivery is under way without a message (%v)", name, err)
		want = milli(u.Until)
	case len(line) > 0:
		item, err := values.ReadItem([]byte(line[0]))
		c.expect(err == nil, "conversation %s: %v", name, err)
		want = milli(item.Ready)
	case len(held) > 0:
		want = int64(held[0].Score)
	default:
		waits = false
	}
	c.expect(waits == (ready.Err() == nil) && (!waits || int64(ready.Val()) == want),
		"conversation %s: claimed at %v, its first message is ready at %v", name, int64(ready.Val()), want)
}

func (c *checker) records(k shopKeys) error {
	pipe := c.s.client.Pipeline()
	all, order, last := pipe.HGetAll(c.ctx, k.records()), pipe.ZRangeWithScores(c.ctx, k.order(), 0, -1), pipe.HGetAll(c.ctx, k.last())
	if _, err := pipe.Exec(c.ctx); err != nil {
		return failed(err)
	}
	c.expect(len(all.Val()) == len(order.Val()), "shop %s: %d records, %d in order", k.shop, len(all.Val()), len(order.Val()))
	newest := map[string]string{}
	for _, z := range order.Val() {
		place := z.Member.(string)
		rec, err := values.ReadRecord([]byte(all.Val()[place[16:]]))
		c.expect(err == nil && int64(z.Score) == milli(rec.At), "shop %s: record %s is damaged or out of order (%v)", k.shop, place, err)
		newest[pair(rec.Saw, rec.Characteristic)] = string(new(fields.Writer).Time(rec.At).Str(place).Packed())
	}
	c.expect(len(newest) == len(last.Val()), "shop %s: %d kinds of record, %d newest", k.shop, len(newest), len(last.Val()))
	for kind, place := range newest {
		c.expect(last.Val()[kind] == place, "shop %s: the newest record of %s is not the one loaded", k.shop, kind)
	}
	return nil
}

func (c *checker) reminders(k shopKeys) error {
	pipe := c.s.client.Pipeline()
	list, due := pipe.LRange(c.ctx, k.reminders(), 0, -1), pipe.ZScore(c.ctx, k.key("due"), k.shop)
	if _, err := pipe.Exec(c.ctx); err != nil && !errors.Is(err, redis.Nil) {
		return failed(err)
	}
	ids, first := map[string]bool{}, int64(0)
	for _, packed := range list.Val() {
		m, err := values.ReadReminder([]byte(packed))
		c.expect(err == nil && !ids[m.ID], "shop %s: reminder %s is damaged or twice there (%v)", k.shop, m.ID, err)
		ids[m.ID] = true
		if at := milli(m.Due); first == 0 || at < first {
			first = at
		}
	}
	c.expect((len(ids) > 0) == (due.Err() == nil) && int64(due.Val()) == first,
		"shop %s: its next reminder is due at %d and falls due at %d", k.shop, first, int64(due.Val()))
	return nil
}

func (c *checker) letters(k shopKeys) error {
	all, err := c.s.client.HGetAll(c.ctx, k.letters()).Result()
	if err != nil {
		return failed(err)
	}
	c.dead[k.partition] += len(all)
	for id, packed := range all {
		b, err := readBuried(k.shop, packed)
		c.expect(err == nil && b.Out.ID == id, "shop %s: dead letter %s is damaged (%v)", k.shop, id, err)
		at, err := c.s.client.ZScore(c.ctx, k.key("dead"), pair(k.shop, id)).Result()
		c.expect(err == nil && int64(at) == milli(b.At), "shop %s: dead letter %s is not in the list", k.shop, id)
	}
	return nil
}

// partition checks the counters and that no list names what is not there.
func (c *checker) partition(p partition) error {
	pipe := c.s.client.Pipeline()
	counters := pipe.HGetAll(c.ctx, p.key("n"))
	ready, due, dead := pipe.ZRange(c.ctx, p.key("ready"), 0, -1), pipe.ZRange(c.ctx, p.key("due"), 0, -1), pipe.ZCard(c.ctx, p.key("dead"))
	underway := pipe.HKeys(c.ctx, p.key("cur"))
	if _, err := pipe.Exec(c.ctx); err != nil {
		return failed(err)
	}
	for _, name := range []string{"n", "shops", "ready", "cur", "due", "dead", "addr"} {
		c.known[p.key(name)] = true
	}
	for _, counter := range []struct {
		name string
		want int
	}{{"waiting", c.waiting[p]}, {"dead", c.dead[p]}} {
		n, _ := strconv.Atoi(counters.Val()[counter.name])
		c.expect(n == counter.want, "partition %d: the counter says %d %s, %d are there", p, n, counter.name, counter.want)
	}
	c.expect(int(dead.Val()) == c.dead[p], "partition %d: %d dead letters, %d in the list", p, c.dead[p], dead.Val())
	for _, m := range append(ready.Val(), underway.Val()...) {
		shop, conversation, err := unpair(m)
		k := keysOf(shop)
		c.expect(err == nil && (c.known[k.queue(conversation)]), "partition %d: %s has something to send and is not there", p, m)
	}
	for _, shop := range due.Val() {
		c.expect(c.known[keysOf(shop).reminders()], "partition %d: shop %s has a reminder and is not there", p, shop)
	}
	return nil
}

// everyKey checks that there is no key that belongs to nothing, and that every
// address is on the list of its shop.
func (c *checker) everyKey() error {
	return c.s.scanEvery(c.ctx, func(keys []string) error {
		for _, key := range keys {
			address, ok := strings.CutPrefix(key, prefixAddress)
			if !ok {
				c.expect(c.known[key] || strings.HasPrefix(key, prefixAllowance), "key %q belongs to nothing", key)
				continue
			}
			number, shop, err := c.s.pointing(c.ctx, address)
			if err != nil {
				return err
			}
			score, err := c.s.client.ZScore(c.ctx, partitionOf(shop).key("addr"), pair(shop, address)).Result()
			if err != nil && !errors.Is(err, redis.Nil) {
				return failed(err)
			}
			c.expect(shop == "" || err == nil, "address %q (%s) is not on the list of its shop (%v)", address, number, score)
		}
		return nil
	})
}

var _ store.Store = (*Store)(nil)
