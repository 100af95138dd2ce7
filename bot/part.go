package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"

	"shimwright/bot/channel"
	"shimwright/dialog"
	"shimwright/store"
)

// A shop that its owner forgets is gone in three steps: the commit of the last
// message leaves a tombstone for the people; the hall keeps the id of that
// message and says the last word, since nothing that waits in the shop survives;
// then all of the shop is erased. Whoever comes by between them does the rest.

// away returns why an event is not for this shop: its sender is on the way to
// another one, or the shop has moved or is to be erased.
func (h *handler) away(ctx context.Context, people dialog.People, e event) error {
	if m := pendingMove(people, e.door()); m != nil && e.moving == nil {
		return &movingError{*m}
	}
	switch fromProgram := e.speaker != nil && e.speaker.kind == program; {
	case people.Erased:
		if err := h.erase(ctx, e.shop); err != nil {
			return err
		}
		if fromProgram {
			return errElsewhere
		}
		return store.ErrStale // what is loaded next is an empty shop
	case people.Gone != "" && fromProgram:
		return errElsewhere
	}
	return nil
}

// part ends a shop after its last message.
func (h *handler) part(ctx context.Context, e event, stored []byte) error {
	key := partedID(e)
	c := store.Commit{Shop: hallShop, Conversation: key, At: h.now(),
		Inbound: store.Handled{ID: e.message.ID, Hash: e.message.hash(e.from)}}
	if e.speaker.kind == messenger {
		var a answer
		if err := json.Unmarshal(stored, &a); err != nil {
			return fmt.Errorf("the last answer of a shop cannot be read: %w", err)
		}
		for i, r := range a.Replies {
			m := channel.Message{ID: outgoingID(e, "reply", i+1), Conversation: e.conversation, InReplyTo: e.message.ID, Text: r.Text, Caution: r.Caution}
			c.Outbox = append(c.Outbox, store.Out{ID: m.ID, Conversation: key, Channel: e.channel, To: e.conversation, Body: encode(m)})
		}
	} else {
		c.Answer = stored
	}
	err := h.store.Commit(ctx, c)
	var seen *store.SeenError
	if err != nil && !errors.As(err, &seen) {
		return err
	}
	h.wake(e.conversation)
	h.sends()
	return h.erase(ctx, e.shop)
}

func (h *handler) erase(ctx context.Context, shop string) error {
	if err := h.store.Erase(ctx, store.Scope{Shop: shop}); err != nil {
		h.log.Error("a shop could not be erased yet; the next message of it comes by here again", "shop", shop, "error", err)
		return err
	}
	return nil
}

// parted answers the last message of a shop when it is brought again.
func (h *handler) parted(ctx context.Context, e event) (stored []byte, ok bool, err error) {
	if e.speaker == nil || e.message.ID == "" {
		return nil, false, nil
	}
	docs, err := h.store.Load(ctx, store.Conversation{Shop: hallShop, ID: partedID(e)}, e.message.ID)
	if err != nil || docs.Seen == nil {
		return nil, false, err
	}
	if len(docs.Answer) == 0 {
		return nil, true, answerErased()
	}
	return docs.Answer, true, nil
}

// partedID is what the hall knows a conversation by: it shows nothing of it.
func partedID(e event) string {
	return "parted-" + veiled("parted", e.channel, e.conversation)
}
