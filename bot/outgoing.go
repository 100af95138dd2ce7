package main

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"
	"time"

	"shimwright/bot/channel"
	"shimwright/bot/channel/page"
	"shimwright/dialog"
	"shimwright/store"
)

// outgoing turns an unasked message into what waits to be sent, with the
// documents of its picture. It is addressed to where the person was heard
// last; a person without an address gets none.
func (h *handler) outgoing(e event, people dialog.People, s dialog.Send, n int, now time.Time) (store.Out, []store.Doc, bool) {
	at, ok := reachable(people, s.Person, "")
	if !ok {
		h.log.Warn("an unasked message has nowhere to go", "shop", e.shop, "person", s.Person)
		return store.Out{}, nil, false
	}
	out, pictures := h.out(e, at, s.Reply, nil, n, now)
	return out, pictures, true
}

// due turns what a reminder says into what waits to be sent, unless it is said
// on the page, which reads it from the transcript.
func (h *handler) due(e event, people dialog.People, t dialog.Turn, now time.Time) (list []store.Out, pictures []store.Doc) {
	at, ok := reachable(people, e.due.Person, e.conversation)
	if !ok || at.Channel == page.Name {
		return nil, nil
	}
	for i, r := range t.Replies {
		var turn []byte
		if i == len(t.Replies)-1 {
			turn = encode(struct {
				Prompt  dialog.PromptView `json:"prompt"`
				Verdict *dialog.Verdict   `json:"verdict,omitempty"`
			}{t.Prompt, t.Verdict})
		}
		out, docs := h.out(e, at, r, turn, i+1, now)
		list, pictures = append(list, out), append(pictures, docs...)
	}
	return list, pictures
}

// out is one message to an address.
func (h *handler) out(e event, at dialog.Address, r dialog.Reply, turn []byte, n int, now time.Time) (store.Out, []store.Doc) {
	m := channel.Message{
		ID:           outgoingID(e, n),
		Conversation: at.Conversation,
		Text:         r.Text,
		Caution:      r.Caution,
		Choices:      r.Choices,
		Turn:         turn,
		Expires:      r.Expires.UTC(),
	}
	var pictures []store.Doc
	if r.Drawing != nil {
		doc, picture := newDrawing(e.shop, *r.Drawing, r.Expires, h.token, now)
		pictures = append(pictures, doc)
		m.Media = []channel.Media{{URL: h.absolute(picture.URL), Type: picture.Type, Alt: picture.Alt}}
	}
	to := at.To
	if at.Channel == page.Name {
		to = pageAddress(e.shop, at.Conversation)
	}
	return store.Out{ID: m.ID, Conversation: at.Conversation, Channel: at.Channel, To: to,
		Body: encode(m), Expires: m.Expires}, pictures
}

// reachable returns the address at which a person was heard last, or, where a
// conversation is given, the one of that conversation.
func reachable(people dialog.People, person, conversation string) (dialog.Address, bool) {
	for _, p := range people.Persons {
		if p.ID != person || p.Removed {
			continue
		}
		for _, a := range slices.Backward(p.Addresses) {
			if conversation == "" || a.Conversation == conversation {
				return a, true
			}
		}
	}
	return dialog.Address{}, false
}

// outgoingID is the id of the nth unasked message that an event causes: the
// same whenever the event is handled again, and free of dots, as Standard
// Webhooks 1.0.0 asks of an id.
func outgoingID(e event, n int) string {
	h := sha256.Sum256(fmt.Appendf(nil, "%s\x00%s\x00%d", e.conversation, e.id(), n))
	return "out-" + hex.EncodeToString(h[:12])
}
