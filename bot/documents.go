package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"time"

	"shimwright/dialog"
	"shimwright/store"
)

// tombstone stands for a saw that is to be erased, until it is.
const tombstone = `{"erased":true}`

// loaded is what a message is handled on.
type loaded struct {
	view   dialog.View
	state  dialog.State
	erased []string // saws whose erasure was interrupted
}

// decode turns the documents of a conversation and its shop into what the
// dialog looks at.
func (h *handler) decode(docs store.Documents, e event) (loaded, error) {
	l := loaded{view: dialog.View{Shop: e.shop, Conversation: e.conversation, Channel: e.channel, Limits: h.limits(e.channel)}}
	var err error
	if l.state, err = decoded[dialog.State](h.cache, e.shop, docs.Conversation); err != nil {
		return l, err
	}
	if l.view.People, err = decoded[dialog.People](h.cache, e.shop, docs.People); err != nil {
		return l, err
	}
	for _, d := range docs.Saws {
		if string(d.Body) == tombstone {
			l.erased = append(l.erased, d.ID)
			continue
		}
		saw, err := decoded[dialog.Saw](h.cache, e.shop, d)
		if err != nil {
			return l, err
		}
		l.view.Saws = append(l.view.Saws, saw)
	}
	for _, r := range docs.Last {
		record, err := decoded[dialog.Record](h.cache, e.shop, store.Doc{Kind: recordKind, ID: r.ID, Body: r.Body})
		if err != nil {
			return l, err
		}
		l.view.Last = append(l.view.Last, record)
	}
	for _, r := range docs.Reminders {
		l.view.Due = append(l.view.Due, dialog.DueMark{ID: r.ID, Saw: r.Saw, Person: r.Person, Due: r.Due, Body: r.Body})
	}
	return l, nil
}

// recordKind is what the cache knows records by; they are no documents.
const recordKind store.Kind = "record"

func decodeRecord(r store.Record) (record dialog.Record, err error) {
	if err := json.Unmarshal(r.Body, &record); err != nil {
		return record, fmt.Errorf("the stored record %s cannot be read: %w", r.ID, err)
	}
	return record, nil
}

func decodeRecords(list []store.Record) ([]dialog.Record, error) {
	records := make([]dialog.Record, len(list))
	for i, r := range list {
		var err error
		if records[i], err = decodeRecord(r); err != nil {
			return nil, err
		}
	}
	return records, nil
}

// history decodes the records of a shop, of which decode has had the newest
// already. The others are not kept: a long history would displace much else.
func (h *handler) history(shop string, list []store.Record) ([]dialog.Record, error) {
	records := make([]dialog.Record, len(list))
	for i, r := range list {
		known, _ := h.cache.get(cacheKey{shop, recordKind, r.ID}, r.Body)
		record, ok := known.(dialog.Record)
		if !ok {
			var err error
			if record, err = decodeRecord(r); err != nil {
				return nil, err
			}
		}
		records[i] = record
	}
	return records, nil
}

// commit gathers all that handling the event changes, and the answer that is
// stored with it.
func (h *handler) commit(docs store.Documents, l loaded, e event, res dialog.Result, now time.Time) store.Commit {
	a, put := newAnswer(e.shop, e.conversation, e.id(), res.Turn, h.token, now)
	c := store.Commit{Shop: e.shop, Conversation: e.conversation, At: now, Answer: encode(a),
		Forget: res.Forget, Silence: res.Silence, Read: reliedOn(docs)}
	for _, old := range e.moved {
		old.Inbound.From = l.view.Person
		c.Moved = append(c.Moved, old)
	}
	if e.speaker != nil {
		c.Inbound = store.Handled{ID: e.message.ID, Hash: e.message.hash(e.from), Text: []byte(e.message.Text), From: l.view.Person}
	} else {
		c.Fired, c.FiredDue = e.due.ID, e.due.Due
	}
	if res.EraseShop {
		c.Put = []store.Doc{{Kind: store.KindPeople, Version: docs.People.Version, Body: encode(dialog.People{Schema: 1, Erased: true})}}
		return c
	}
	if body := encode(res.State); !bytes.Equal(body, docs.Conversation.Body) {
		put = append(put, store.Doc{Kind: store.KindConversation, ID: e.conversation, Version: docs.Conversation.Version, Body: body})
	}
	if res.People != nil {
		put = append(put, store.Doc{Kind: store.KindPeople, Version: docs.People.Version, Body: encode(res.People)})
	}
	put = append(put, sawDocs(docs, res)...)
	for _, r := range res.Records {
		c.Records = append(c.Records, store.Record{ID: r.ID, Saw: r.Saw, Characteristic: r.Characteristic,
			Person: r.Person, At: r.At, Body: encode(r)})
	}
	for _, r := range res.Remind {
		c.Remind = append(c.Remind, store.Reminder{ID: r.ID, Conversation: reminderPlace(docs, l, e, r), Saw: r.Saw,
			Person: r.Person, Due: r.Due, Body: r.Body})
	}
	people := l.view.People
	if res.People != nil {
		people = *res.People
	}
	for i, s := range res.Send {
		out, pictures, ok := h.outgoing(e, people, s, i+1, now)
		if ok {
			c.Outbox, put = append(c.Outbox, out), append(put, pictures...)
		}
	}
	var list []store.Out
	var pictures []store.Doc
	switch {
	case e.speaker == nil:
		list, pictures = h.due(e, people, res.Turn, now)
	case e.speaker.kind == messenger && !e.unanswered:
		list, pictures = h.answered(e, res.Turn, now)
	}
	c.Outbox, put = append(c.Outbox, list...), append(put, pictures...)
	for _, o := range c.Outbox {
		if h.reports(o.Channel) {
			put = append(put, store.Doc{Kind: store.KindSent, ID: o.ID, Body: encode(o), Expires: now.Add(sentFor)})
		}
	}
	c.Put = put
	return c
}

// reminderPlace is the conversation of a reminder: the one it is set in, or for
// another person's the one that it had.
func reminderPlace(docs store.Documents, l loaded, e event, r dialog.Reminder) string {
	for _, old := range docs.Reminders {
		if e.speaker != nil && r.Person != l.view.Person && old.ID == r.ID {
			return old.Conversation
		}
	}
	return e.conversation
}

// reliedOn names every document that was looked at: one that changes meanwhile
// makes the commit stale, whether it is written or not.
func reliedOn(docs store.Documents) []store.Version {
	all := append([]store.Doc{docs.Conversation, docs.People}, docs.Saws...)
	list := make([]store.Version, len(all))
	for i, d := range all {
		list[i] = store.Version{Kind: d.Kind, ID: d.ID, Version: d.Version}
	}
	return list
}

// sawDocs returns the saws that changed, the one to be erased as a tombstone.
func sawDocs(docs store.Documents, res dialog.Result) []store.Doc {
	versions := map[string]uint64{}
	for _, d := range docs.Saws {
		versions[d.ID] = d.Version
	}
	var put []store.Doc
	for _, s := range res.Saws {
		if s.ID != res.EraseSaw {
			put = append(put, store.Doc{Kind: store.KindSaw, ID: s.ID, Version: versions[s.ID], Body: encode(s)})
		}
	}
	if res.EraseSaw != "" {
		put = append(put, store.Doc{Kind: store.KindSaw, ID: res.EraseSaw, Version: versions[res.EraseSaw], Body: []byte(tombstone)})
	}
	return put
}

// remember keeps what was just committed as it was before it was encoded.
func (h *handler) remember(c store.Commit, res dialog.Result) {
	for _, d := range c.Put {
		k := cacheKey{c.Shop, d.Kind, d.ID}
		switch d.Kind {
		case store.KindConversation:
			h.cache.put(k, d.Body, res.State)
		case store.KindPeople:
			h.cache.put(k, d.Body, *res.People)
		case store.KindSaw:
			for _, s := range res.Saws {
				if s.ID == d.ID && string(d.Body) != tombstone {
					h.cache.put(k, d.Body, s)
				}
			}
		}
	}
}
