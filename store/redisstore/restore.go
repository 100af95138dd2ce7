package redisstore

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"github.com/redis/go-redis/v9"

	"shimwright/store"
	"shimwright/store/internal/fields"
	"shimwright/store/internal/values"
)

// restoreLines is how many lines of a backup are sent at once.
const restoreLines = 500

// Restore reads a backup into an empty store. Nobody else may use the store
// meanwhile.
func (s *Store) Restore(ctx context.Context, r io.Reader) error {
	if err := s.mustBeEmpty(ctx); err != nil {
		return err
	}
	clock, err := s.client.Time(ctx).Result()
	if err != nil {
		return failed(err)
	}
	re := &restorer{s: s, clock: clock, pipe: s.client.Pipeline()}
	err = store.ReadDump(r, func(l store.Line) error { return re.line(ctx, l) })
	if err == nil {
		err = re.finish(ctx)
	}
	if err != nil {
		return errors.Join(err, s.wipe(context.WithoutCancel(ctx)))
	}
	return nil
}

func (s *Store) mustBeEmpty(ctx context.Context) error {
	return s.scanEvery(ctx, func(keys []string) error {
		for _, k := range keys {
			if k != keySchema && !strings.HasPrefix(k, prefixAllowance) {
				return errors.New("store: restore needs an empty store, and this one is not; give it another Redis database")
			}
		}
		return nil
	})
}

// wipe empties the store again after a restore that failed.
func (s *Store) wipe(ctx context.Context) error {
	return s.scanEvery(ctx, func(keys []string) error {
		pipe := s.client.Pipeline()
		for _, k := range keys {
			if k != keySchema {
				pipe.Unlink(ctx, k)
			}
		}
		if pipe.Len() == 0 {
			return nil
		}
		_, err := pipe.Exec(ctx)
		return failed(err)
	})
}

// restorer writes the lines of a backup.
type restorer struct {
	s       *Store
	clock   time.Time
	pipe    redis.Pipeliner
	k       shopKeys
	used    [Partitions]bool
	seq     [Partitions]uint64 // the highest number seen
	order   uint64             // of records and messages held
	waiting [Partitions]int
	dead    [Partitions]int
	next    time.Time                  // next reminder of the shop
	last    map[string]store.Record    // newest record of each saw and characteristic
	head    map[string]time.Time       // when a conversation next has something to send
	current map[string]*store.Underway // what is under way in it
}

// line adds what a line says, and sends when enough has come together.
func (re *restorer) line(ctx context.Context, l store.Line) error {
	if l.Kind != store.LineAddress && l.Shop != re.k.shop {
		re.k = keysOf(l.Shop)
		re.next, re.last = time.Time{}, map[string]store.Record{}
		re.head, re.current = map[string]time.Time{}, map[string]*store.Underway{}
	}
	switch l.Kind {
	case store.LineShop:
		re.used[re.k.partition] = true
		re.pipe.ZAdd(ctx, re.k.key("shops"), redis.Z{Member: l.Shop})
	case store.LineDocument:
		re.document(ctx, store.Doc(*l.Doc))
	case store.LineConversation:
		re.conversation(ctx, l.Conversation)
	case store.LineEntry:
		re.entry(ctx, l.Entry.Conversation, l.Entry.Entry())
	case store.LineOut:
		re.out(ctx, l.Out)
	case store.LineRecord:
		re.record(ctx, store.Record(*l.Record))
	case store.LineReminder:
		re.reminder(ctx, store.Reminder(*l.Reminder))
	case store.LineDead:
		re.letter(ctx, l.Dead.Letter(l.Shop))
	case store.LineAddress:
		if err := re.s.Point(ctx, l.Address, "", l.Shop); err != nil {
			return err
		}
	}
	if re.pipe.Len() < restoreLines {
		return nil
	}
	return re.send(ctx)
}

func (re *restorer) send(ctx context.Context) error {
	if re.pipe.Len() == 0 {
		return nil
	}
	_, err := re.pipe.Exec(ctx)
	return failed(err)
}

// finish writes the counters.
func (re *restorer) finish(ctx context.Context) error {
	for p := range partition(Partitions) {
		if !re.used[p] {
			continue
		}
		// Numbers go on after the highest of the backup and of those given here.
		re.pipe.HIncrBy(ctx, p.key("n"), "seq", int64(re.seq[p]+re.order))
		re.pipe.HSet(ctx, p.key("n"), "waiting", re.waiting[p], "dead", re.dead[p])
	}
	return re.send(ctx)
}

func (re *restorer) saw(number uint64) {
	re.seq[re.k.partition] = max(re.seq[re.k.partition], number)
}

func (re *restorer) place() string {
	re.order++
	return fmt.Sprintf("%016d", re.order)
}

func (re *restorer) document(ctx context.Context, d store.Doc) {
	re.saw(d.Version)
	key, field := re.k.place(d.Kind, d.ID)
	if field != "" {
		re.pipe.HSet(ctx, key, field, values.Doc(d))
		if d.Kind == store.KindConversation {
			re.known(ctx, d.ID)
		}
		return
	}
	keep, until := time.Duration(0), math.Inf(1)
	if !d.Expires.IsZero() {
		keep = max(d.Expires.Sub(re.clock), 0) + store.SweepAfter
		until = float64(milli(re.clock.Add(keep)))
	}
	re.pipe.Set(ctx, key, values.Doc(d), keep)
	re.pipe.ZAdd(ctx, re.k.expiring(), redis.Z{Score: until, Member: pair(string(d.Kind), d.ID)})
}

// known puts a conversation where Erase finds it.
func (re *restorer) known(ctx context.Context, id string) {
	re.pipe.HSetNX(ctx, re.k.docs(), "s"+id, "")
}

func (re *restorer) conversation(ctx context.Context, c *store.DumpConversation) {
	re.pipe.HSet(ctx, re.k.docs(), "s"+c.ID, values.Names(c.Senders))
	if c.Current != nil {
		re.saw(c.Current.Token)
		re.current[c.ID] = c.Current
		re.pipe.HSet(ctx, re.k.key("cur"), pair(re.k.shop, c.ID), values.Underway(*c.Current))
	}
}

func (re *restorer) entry(ctx context.Context, conversation string, e store.Entry) {
	re.saw(e.Seq)
	re.known(ctx, conversation)
	field := "i" + e.Inbound.ID
	if e.Inbound.ID == "" {
		field = "f" + strconv.FormatUint(e.Seq, 10)
	}
	h, t := re.k.handled(conversation), re.k.transcript(conversation)
	re.pipe.HSet(ctx, h, field, values.Entry(e))
	re.pipe.RPush(ctx, t, field)
	re.pipe.PExpire(ctx, h, store.KeepIDs+2*store.SweepAfter)
	re.pipe.PExpire(ctx, t, store.KeepIDs+2*store.SweepAfter)
}

func (re *restorer) out(ctx context.Context, o *store.DumpOut) {
	re.known(ctx, o.Conversation)
	re.waiting[re.k.partition]++
	item := values.Item{Out: o.Message(), Ready: o.Ready}
	ready := item.Ready
	if o.Held {
		ready = item.NotBefore
		re.pipe.ZAdd(ctx, re.k.held(o.Conversation), redis.Z{
			Score: float64(milli(item.NotBefore)), Member: re.place() + string(item.Pack()),
		})
	} else {
		re.pipe.RPush(ctx, re.k.queue(o.Conversation), item.Pack())
	}
	// The first line of a conversation decides: those in line come first, and
	// those held in the order of their times.
	if _, ok := re.head[o.Conversation]; ok {
		return
	}
	if u := re.current[o.Conversation]; u != nil {
		ready = u.Until
	}
	re.head[o.Conversation] = ready
	re.pipe.ZAdd(ctx, re.k.key("ready"), redis.Z{Score: float64(milli(ready)), Member: pair(re.k.shop, o.Conversation)})
}

func (re *restorer) record(ctx context.Context, rec store.Record) {
	place := re.place() + rec.ID
	re.pipe.HSet(ctx, re.k.records(), rec.ID, values.Record(rec))
	re.pipe.ZAdd(ctx, re.k.order(), redis.Z{Score: float64(milli(rec.At)), Member: place})
	kind := pair(rec.Saw, rec.Characteristic)
	if newest, ok := re.last[kind]; !ok || !rec.At.Before(newest.At) {
		re.last[kind] = rec
		re.pipe.HSet(ctx, re.k.last(), kind, new(fields.Writer).Time(rec.At).Str(place).Packed())
	}
}

func (re *restorer) reminder(ctx context.Context, m store.Reminder) {
	re.pipe.RPush(ctx, re.k.reminders(), values.Reminder(m))
	if re.next.IsZero() || m.Due.Before(re.next) {
		re.next = m.Due
		re.pipe.ZAdd(ctx, re.k.key("due"), redis.Z{Score: float64(milli(m.Due)), Member: re.k.shop})
	}
}

func (re *restorer) letter(ctx context.Context, d store.DeadLetter) {
	re.dead[re.k.partition]++
	re.order++
	re.pipe.HSet(ctx, re.k.letters(), d.Out.ID, append(values.Number(int64(re.order)), values.Dead(d)...))
	re.pipe.ZAdd(ctx, re.k.key("dead"), redis.Z{Score: float64(milli(d.At)), Member: pair(re.k.shop, d.Out.ID)})
}
