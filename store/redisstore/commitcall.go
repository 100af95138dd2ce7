package redisstore

import (
	"time"

	"shimwright/store"
	"shimwright/store/internal/values"
)

// call collects the keys and arguments of the script commit.
type call struct {
	k    shopKeys
	keys []string
	args []any
	own  map[string]int // index in keys of documents with a key of their own
}

func (c *call) add(args ...any) { c.args = append(c.args, args...) }

// at returns where a document lies: an index in KEYS and a field.
func (c *call) at(kind store.Kind, id string) (index int, field string) {
	key, field := c.k.place(kind, id)
	switch key {
	case c.k.docs():
		return 3, field
	case c.k.saws():
		return 4, field
	}
	if i, ok := c.own[key]; ok {
		return i, field
	}
	c.keys = append(c.keys, key)
	c.own[key] = len(c.keys)
	return len(c.keys), field
}

// outboxOf is what a commit adds to the outbox of one conversation.
type outboxOf struct {
	conversation string
	outs         []store.Out
}

// commitCall makes the keys and arguments of the script commit.
func commitCall(c *store.Commit, now time.Time, limit error) ([]string, []any) {
	k := keysOf(c.Shop)
	call := &call{k: k, own: map[string]int{}, keys: []string{
		k.key("n"), k.key("shops"), k.docs(), k.saws(), k.records(), k.order(), k.last(), k.reminders(), k.key("due"),
		k.handled(c.Conversation), k.transcript(c.Conversation), k.key("ready"), k.key("cur"), k.expiring(),
	}}
	outboxes, silence := outboxesOf(c)
	onlyCheck, entry, from := "0", []byte(nil), c.Inbound.From
	if c.Inbound.ID != "" || c.Fired != "" {
		entry = values.EntryRest(store.Entry{At: c.At, Inbound: c.Inbound, Fired: c.Fired, Answer: c.Answer})
	}
	if limit != nil {
		onlyCheck, entry = "1", nil
	}
	call.add(milli(now), milli(c.At), c.Shop, c.Conversation, pair(c.Shop, c.Conversation),
		onlyCheck, c.Inbound.ID, c.Inbound.Hash, c.Fired, milli(c.FiredDue), entry, from, silence)
	firstQueue := len(call.args) // set below, when the number of keys is known
	call.add(0, len(c.Read)+len(c.Put), len(outboxes), len(c.Records), len(c.Remind), len(c.Forget), len(c.Moved), len(c.Put))
	for _, v := range c.Read {
		index, field := call.at(v.Kind, v.ID)
		call.add(index, field, v.Version)
	}
	for _, d := range c.Put {
		index, field := call.at(d.Kind, d.ID)
		call.add(index, field, d.Version)
	}
	call.args[firstQueue] = len(call.keys) + 1
	for _, o := range outboxes {
		call.keys = append(call.keys, k.queue(o.conversation), k.held(o.conversation))
		call.add(o.conversation, len(o.outs))
	}
	if limit == nil {
		call.body(c, outboxes)
	}
	return call.keys, call.args
}

// body adds what is written once everything is checked.
func (c *call) body(commit *store.Commit, outboxes []outboxOf) {
	for _, rec := range commit.Records {
		c.add(rec.ID)
	}
	for _, m := range commit.Remind {
		c.add(m.ID, values.Reminder(m))
	}
	for _, id := range commit.Forget {
		c.add(id)
	}
	for _, e := range commit.Moved {
		c.add(e.Inbound.ID, e.Inbound.From, values.EntryRest(e))
	}
	for _, d := range commit.Put {
		c.document(d, commit.At)
	}
	for _, rec := range commit.Records {
		c.add(milli(rec.At), pair(rec.Saw, rec.Characteristic), values.Record(rec))
	}
	for _, o := range outboxes {
		c.add(pair(commit.Shop, o.conversation))
		for _, out := range o.outs {
			if milli(out.NotBefore) > milli(commit.At) {
				c.add(milli(out.NotBefore), values.Item{Out: out, Ready: out.NotBefore}.Pack())
			} else {
				c.add(0, values.Item{Out: out, Ready: commit.At}.Pack())
			}
		}
	}
}

// document adds a document to write or delete. Redis drops one that expires
// some time after it has, so that an idle shop does not keep its drawings.
func (c *call) document(d store.Doc, at time.Time) {
	index, field := c.at(d.Kind, d.ID)
	if d.Body == nil {
		c.add(index, field, "", 0, pair(string(d.Kind), d.ID))
		return
	}
	ttl := int64(0)
	if !d.Expires.IsZero() {
		ttl = (max(d.Expires.Sub(at), 0) + store.SweepAfter).Milliseconds()
	}
	c.add(index, field, values.DocRest(d), ttl, pair(string(d.Kind), d.ID))
}

// outboxesOf groups the outgoing messages by conversation, in order. silence is
// the number, from 1, of the one to silence, 0 for none.
func outboxesOf(c *store.Commit) (list []outboxOf, silence int) {
	number := map[string]int{}
	find := func(conversation string) int {
		if number[conversation] == 0 {
			list = append(list, outboxOf{conversation: conversation})
			number[conversation] = len(list)
		}
		return number[conversation]
	}
	if c.Silence {
		silence = find(c.Conversation)
	}
	for _, o := range c.Outbox {
		i := find(o.Conversation) - 1
		list[i].outs = append(list[i].outs, o)
	}
	return list, silence
}
