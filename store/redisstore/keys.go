package redisstore

import (
	"fmt"
	"hash/fnv"
	"strconv"
	"strings"

	"shimwright/store"
)

// Partitions is the fixed number of partitions. A shop belongs to one by the
// hash of its name; all keys of a partition share a hash tag, so they lie in
// one slot of a cluster. It is part of the layout: changing it needs a backup
// and a restore.
const Partitions = 64

// prefix begins every key, so that a Redis may be shared.
const prefix = "sw:"

// Keys of a partition, after its tag ("sw:{p017}:"):
//
//	n       hash    seq (the last number given), waiting and dead (counters)
//	shops   zset    shop, score 0
//	ready   zset    conversation → when it next has something to send
//	cur     hash    conversation → the delivery under way
//	due     zset    shop → when its next reminder falls due
//	dead    zset    shop and outgoing id → time of death
//	addr    zset    shop and address → number of the pointing; may hold strays
//
// of a shop, after them the shop:
//
//	d:      hash    "d" conversation → document, "s" conversation → who wrote
//	s:      hash    "p" → the people, "s" saw → saw
//	r:      hash    record id → record
//	x:      zset    number and record id → time of the record
//	l:      hash    saw and characteristic → time and member of x of the newest
//	m:      list    reminders
//	z:      hash    outgoing id → number and dead letter
//	e:      zset    kind and id of the documents under o: → when Redis drops them
//
// of a conversation, after them shop and conversation:
//
//	h:      hash    "i" id or "f" number → entry of the transcript
//	t:      list    fields of h:, in order
//	q:      list    outgoing messages in line
//	w:      zset    outgoing messages held → their NotBefore
//
// and of every document of another kind:
//
//	o:      string  the document, after it shop, kind and id
//
// Outside the partitions, each in its own slot:
//
//	sw:a:<address>  string  number of the pointing and the shop
//	sw:f:<name>     string  when the allowance will be full again, in µs; expires then
//	sw:schema       string  version of the layout and number of partitions
type partition int

func partitionOf(shop string) partition {
	h := fnv.New32a()
	_, _ = h.Write([]byte(shop))
	return partition(h.Sum32() % Partitions)
}

func (p partition) key(name string) string { return fmt.Sprintf("%s{p%03d}:%s", prefix, int(p), name) }

const (
	keySchema       = prefix + "schema"
	prefixAddress   = prefix + "a:"
	prefixAllowance = prefix + "f:"
)

// pair joins two names so that no other two give the same text, and so that
// all that begin with one name lie together in a sorted set.
func pair(a, b string) string { return strconv.Itoa(len(a)) + ":" + a + ":" + b }

// unpair is the inverse of pair.
func unpair(s string) (a, b string, err error) {
	length, rest, ok := strings.Cut(s, ":")
	n, numErr := strconv.Atoi(length)
	if !ok || numErr != nil || n < 0 || n >= len(rest) || rest[n] != ':' {
		return "", "", fmt.Errorf("store: damaged name %q", s)
	}
	return rest[:n], rest[n+1:], nil
}

// shopKeys are the keys of a shop.
type shopKeys struct {
	partition
	shop string
	base string // "sw:{p017}:"
}

func keysOf(shop string) shopKeys {
	p := partitionOf(shop)
	return shopKeys{partition: p, shop: shop, base: p.key("")}
}

func (k shopKeys) of(kind string) string { return k.base + kind + k.shop }

func (k shopKeys) conv(kind, conversation string) string {
	return k.base + kind + pair(k.shop, conversation)
}

func (k shopKeys) docs() string      { return k.of("d:") }
func (k shopKeys) saws() string      { return k.of("s:") }
func (k shopKeys) records() string   { return k.of("r:") }
func (k shopKeys) order() string     { return k.of("x:") }
func (k shopKeys) last() string      { return k.of("l:") }
func (k shopKeys) reminders() string { return k.of("m:") }
func (k shopKeys) letters() string   { return k.of("z:") }
func (k shopKeys) expiring() string  { return k.of("e:") }

func (k shopKeys) handled(c string) string    { return k.conv("h:", c) }
func (k shopKeys) transcript(c string) string { return k.conv("t:", c) }
func (k shopKeys) queue(c string) string      { return k.conv("q:", c) }
func (k shopKeys) held(c string) string       { return k.conv("w:", c) }

// own is the key of a document that has one of its own.
func (k shopKeys) own(kind store.Kind, id string) string {
	return k.base + "o:" + pair(k.shop, pair(string(kind), id))
}

// place says where a document lies: in a field of a hash, or under its own key
// when field is empty.
func (k shopKeys) place(kind store.Kind, id string) (key, field string) {
	switch {
	case kind == store.KindConversation:
		return k.docs(), "d" + id
	case kind == store.KindSaw:
		return k.saws(), "s" + id
	case kind == store.KindPeople && id == "":
		return k.saws(), "p"
	}
	return k.own(kind, id), ""
}
