package redisstore

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"sort"

	"github.com/redis/go-redis/v9"

	"shimwright/store"
	"shimwright/store/internal/values"
)

// backupAtOnce is how many conversations of a shop are read in one script. A
// shop with no more is copied as of one instant. A larger one, such as the
// entry hall, is copied in groups, each as of one instant.
const backupAtOnce = 250

// dump reads what a shop has, or a group of its conversations.
//
//	KEYS  1 d:  2 s:  3 r:  4 x:  5 m:  6 z:  7 e:  8 cur, then the documents
//	      with keys of their own, then h:, t:, q: and w: of each conversation
//	ARGV  1 shop  2 number of documents with keys of their own  3 "1" to fail
//	      when there are other conversations or documents than those named
//	      4 "1" for what belongs to no conversation, then the conversations
//	returns  {"again"}, or {"ok", fields and values of s:, those documents,
//	      records, reminders, dead letters, and for each conversation a list of
//	      who wrote or nil, document or nil, delivery under way or nil, entries,
//	      messages in line, messages held}
var dump = newScript(false, luaFields, `
local d, s, r, x, m, z, e, cur = unpack(KEYS, 1, 8)
local shop, own, convs = ARGV[1], tonumber(ARGV[2]), #ARGV - 4
if ARGV[3] == '1' then
  local named, all = {}, 0
  for i = 5, #ARGV do named[ARGV[i]] = true end
  for _, f in ipairs(redis.call('HKEYS', d)) do
    if not named[string.sub(f, 2)] then return {'again'} end
  end
  if redis.call('ZCARD', e) > own then return {'again'} end
end
local out = {'ok', {}, {}, {}, {}, {}}
if ARGV[4] == '1' then
  out[2] = redis.call('HGETALL', s)
  for i = 1, own do out[3][i] = redis.call('GET', KEYS[8 + i]) end
  for i, place in ipairs(redis.call('ZRANGE', x, 0, -1)) do out[4][i] = redis.call('HGET', r, string.sub(place, 17)) end
  out[5] = redis.call('LRANGE', m, 0, -1)
  out[6] = redis.call('HVALS', z)
end
for i = 1, convs do
  local conv, k = ARGV[4 + i], 8 + own + 4 * (i - 1)
  local entries = {}
  for j, f in ipairs(redis.call('LRANGE', KEYS[k + 2], 0, -1)) do entries[j] = redis.call('HGET', KEYS[k + 1], f) end
  out[6 + i] = {
    redis.call('HGET', d, 's' .. conv), redis.call('HGET', d, 'd' .. conv),
    redis.call('HGET', cur, pack(shop) .. ':' .. conv), entries,
    redis.call('LRANGE', KEYS[k + 3], 0, -1), redis.call('ZRANGE', KEYS[k + 4], 0, -1),
  }
end
return out
`)

// Backup writes a copy, every shop as of one instant, while commits go on.
func (s *Store) Backup(ctx context.Context, w io.Writer) error {
	out := store.NewDumpWriter(w)
	shops := s.walk("", 500*Partitions)
	for {
		shop, err := shops.next(ctx)
		if err == nil && shop == "" {
			break
		}
		if err == nil {
			err = s.backupShop(ctx, out, shop)
		}
		if err = errors.Join(err, out.Err()); err != nil {
			return fmt.Errorf("store: backup: %w", err)
		}
	}
	if err := s.backupAddresses(ctx, out); err != nil {
		return fmt.Errorf("store: backup: %w", err)
	}
	return out.End()
}

func (s *Store) backupShop(ctx context.Context, out *store.DumpWriter, shop string) error {
	for {
		conversations, err := s.conversations(ctx, shop)
		if err != nil {
			return err
		}
		own, err := s.ownDocuments(ctx, shop)
		if err != nil {
			return err
		}
		whole := len(conversations) <= backupAtOnce
		first := conversations[:min(len(conversations), backupAtOnce)]
		r, err := s.dump(ctx, shop, own, first, whole, true)
		if err != nil {
			return err
		}
		if r.code() == "again" {
			continue
		}
		return s.writeShop(ctx, out, shop, own, conversations, r)
	}
}

func (s *Store) dump(ctx context.Context, shop string, own []store.Version, conversations []string, whole, shopToo bool) (reply, error) {
	k := keysOf(shop)
	keys := []string{k.docs(), k.saws(), k.records(), k.order(), k.reminders(), k.letters(), k.expiring(), k.key("cur")}
	for _, v := range own {
		keys = append(keys, k.own(v.Kind, v.ID))
	}
	args := []any{shop, len(own), flag(whole), flag(shopToo)}
	for _, c := range conversations {
		keys = append(keys, k.handled(c), k.transcript(c), k.queue(c), k.held(c))
		args = append(args, c)
	}
	return s.run(ctx, dump, keys, args...)
}

func flag(b bool) string {
	if b {
		return "1"
	}
	return "0"
}

// writeShop writes the lines of a shop; r has its first conversations, the
// others are read as they are written.
func (s *Store) writeShop(ctx context.Context, out *store.DumpWriter, shop string, own []store.Version, conversations []string, r reply) error {
	out.Write(store.Line{Kind: store.LineShop, Shop: shop})
	if err := s.writeDocuments(out, shop, own, r); err != nil {
		return err
	}
	group, rest := r[6:], conversations
	for {
		for i := range group {
			if err := s.writeConversation(out, store.Conversation{Shop: shop, ID: rest[i]}, group.list(i)); err != nil {
				return err
			}
		}
		if rest = rest[len(group):]; len(rest) == 0 {
			break
		}
		more, err := s.dump(ctx, shop, nil, rest[:min(len(rest), backupAtOnce)], false, false)
		if err != nil {
			return err
		}
		group = more[6:]
	}
	return writeRest(out, shop, r)
}

// writeDocuments writes the documents that belong to no conversation.
func (s *Store) writeDocuments(out *store.DumpWriter, shop string, own []store.Version, r reply) error {
	var docs []store.Doc
	var loaded store.Documents
	saws := r.list(1).strings()
	for i := 0; i+1 < len(saws); i += 2 {
		if err := s.sawOrPeople(&loaded, saws[i], saws[i+1]); err != nil {
			return err
		}
	}
	docs = append(append(docs, loaded.People), loaded.Saws...)
	for i, v := range own {
		packed, ok := r.list(2).text(i)
		if !ok {
			continue // Redis has dropped it
		}
		d, err := s.doc(v.Kind, v.ID, packed)
		if err != nil {
			return err
		}
		docs = append(docs, d)
	}
	sort.SliceStable(docs, func(i, j int) bool {
		a, b := docs[i], docs[j]
		return a.Kind < b.Kind || a.Kind == b.Kind && a.ID < b.ID
	})
	for _, d := range docs {
		if d.Version > 0 {
			out.Write(store.DocLine(shop, d))
		}
	}
	return nil
}

func (s *Store) writeConversation(out *store.DumpWriter, c store.Conversation, r reply) error {
	info := store.DumpConversation{ID: c.ID}
	if packed, ok := r.text(0); ok {
		names, err := values.ReadNames([]byte(packed))
		if err != nil {
			return err
		}
		info.Senders = names
	}
	if packed, ok := r.text(2); ok {
		u, err := values.ReadUnderway([]byte(packed))
		if err != nil {
			return err
		}
		info.Current = &u
	}
	if len(info.Senders) > 0 || info.Current != nil {
		out.Write(store.Line{Kind: store.LineConversation, Shop: c.Shop, Conversation: &info})
	}
	if packed, ok := r.text(1); ok {
		d, err := s.doc(store.KindConversation, c.ID, packed)
		if err != nil {
			return err
		}
		if d.Version > 0 {
			out.Write(store.DocLine(c.Shop, d))
		}
	}
	entries, err := all(r.list(3), values.ReadEntry)
	if err != nil {
		return err
	}
	for _, e := range entries {
		if !store.Expired(e.At.Add(store.KeepIDs), s.told.Now()) {
			out.Write(store.EntryLine(c, e))
		}
	}
	for i, list := range []reply{r.list(4), r.list(5)} {
		for _, packed := range list.strings() {
			if i == 1 && len(packed) > 16 {
				packed = packed[16:] // without the number
			}
			item, err := values.ReadItem([]byte(packed))
			if err != nil {
				return err
			}
			out.Write(store.OutLine(c.Shop, item.Out, item.Ready, i == 1))
		}
	}
	return nil
}

// writeRest writes records, reminders and dead letters.
func writeRest(out *store.DumpWriter, shop string, r reply) error {
	records, err := all(r.list(3), values.ReadRecord)
	if err != nil {
		return err
	}
	for _, rec := range records {
		out.Write(store.RecordLine(shop, rec))
	}
	reminders, err := all(r.list(4), values.ReadReminder)
	if err != nil {
		return err
	}
	sort.Slice(reminders, func(i, j int) bool { return reminders[i].ID < reminders[j].ID })
	for _, m := range reminders {
		out.Write(store.ReminderLine(shop, m))
	}
	letters, err := all(r.list(5), func(packed []byte) (buried, error) { return readBuried(shop, string(packed)) })
	if err != nil {
		return err
	}
	newestFirst(letters)
	for _, b := range slices.Backward(letters) {
		out.Write(store.DeadLine(b.DeadLetter))
	}
	return nil
}

// backupAddresses writes every address in order. It holds all of them in
// memory meanwhile, about 100 bytes each.
func (s *Store) backupAddresses(ctx context.Context, out *store.DumpWriter) error {
	var list []string
	for p := range Partitions {
		members, err := s.client.ZRange(ctx, partition(p).key("addr"), 0, -1).Result()
		if err != nil {
			return failed(err)
		}
		for _, m := range members {
			_, address, err := unpair(m)
			if err != nil {
				return err
			}
			list = append(list, address)
		}
	}
	slices.Sort(list)
	for _, address := range slices.Compact(list) {
		_, shop, err := s.pointing(ctx, address)
		if err != nil {
			return err
		}
		if shop != "" {
			out.Write(store.Line{Kind: store.LineAddress, Address: address, Shop: shop})
		}
	}
	return out.Err()
}

// scanEvery calls fn with every key of this store, in pages.
func (s *Store) scanEvery(ctx context.Context, fn func(keys []string) error) error {
	// The masters of a cluster are scanned one after the other, so fn needs no
	// lock.
	slots := make(chan struct{}, 1)
	return masters(ctx, s.client, func(ctx context.Context, c redis.Cmdable) error {
		slots <- struct{}{}
		defer func() { <-slots }()
		var cursor uint64
		for {
			keys, next, err := c.Scan(ctx, cursor, prefix+"*", 1000).Result()
			if err != nil {
				return failed(err)
			}
			if err := fn(keys); err != nil {
				return err
			}
			if cursor = next; cursor == 0 {
				return nil
			}
		}
	})
}
