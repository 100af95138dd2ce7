package main

import (
	"slices"
	"strconv"
	"strings"
	"time"

	"shimwright/bot/channel"
	"shimwright/bot/channel/page"
	"shimwright/bot/channel/webhook"
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
	out, pictures := h.out(e, at, s.Reply, nil, outgoingID(e, "send", n), now)
	return out, pictures, true
}

// due turns what a reminder says into what waits to be sent, unless it is said
// on the page, which reads it from the transcript.
func (h *handler) due(e event, people dialog.People, t dialog.Turn, now time.Time) (list []store.Out, pictures []store.Doc) {
	at, ok := reachable(people, e.due.Person, e.conversation)
	if !ok || at.Channel == page.Name {
		return nil, nil
	}
	return h.turn(e, at, t, "due", now)
}

// answered turns what a person on a network is answered into what waits to be
// sent there.
func (h *handler) answered(e event, t dialog.Turn, now time.Time) ([]store.Out, []store.Doc) {
	at := dialog.Address{Channel: e.channel, To: e.speaker.sender, Conversation: e.conversation}
	return h.turn(e, at, t, "reply", now)
}

// turn is each reply of a turn, with the open question beside the last.
func (h *handler) turn(e event, at dialog.Address, t dialog.Turn, what string, now time.Time) (list []store.Out, pictures []store.Doc) {
	for i, r := range t.Replies {
		var open *openQuestion
		if i == len(t.Replies)-1 {
			open = &openQuestion{t.Prompt, t.Verdict}
		}
		out, docs := h.out(e, at, r, open, outgoingID(e, what, i+1), now)
		list, pictures = append(list, out), append(pictures, docs...)
	}
	return list, pictures
}

// openQuestion goes with a message for programs.
type openQuestion struct {
	Prompt  dialog.PromptView `json:"prompt"`
	Verdict *dialog.Verdict   `json:"verdict,omitempty"`
}

// out is one message to an address.
func (h *handler) out(e event, at dialog.Address, r dialog.Reply, open *openQuestion, id string, now time.Time) (store.Out, []store.Doc) {
	m := channel.Message{
		ID:           id,
		Conversation: at.Conversation,
		InReplyTo:    e.message.ID,
		Text:         r.Text,
		Caution:      r.Caution,
		Choices:      r.Choices,
		Expires:      r.Expires.UTC(),
	}
	if open != nil {
		m.Turn, m.Numbered = encode(open), open.Prompt.Kind == dialog.KindChoice
	}
	if at.Conversation != e.conversation {
		m.InReplyTo = "" // of another conversation
	}
	var pictures []store.Doc
	if r.Drawing != nil {
		doc, picture := newDrawing(e.shop, *r.Drawing, r.Expires, h.token, now)
		pictures = append(pictures, doc)
		m.Media = []channel.Media{{URL: h.absolute(picture.URL), Type: picture.Type, Alt: picture.Alt}}
	}
	to := at.To
	switch at.Channel {
	case page.Name:
		to = pageAddress(e.shop, at.Conversation)
	case webhook.Name:
	default: // a network is answered where it was heard, and its people are not paired
		to = at.Conversation
		for i, p := range m.Media {
			m.Media[i].URL = strings.Replace(p.URL, mediaPath, picturePath, 1)
		}
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

// outgoingID is the id of the nth message of a kind that an event causes: the
// same whenever the event is handled again, and free of dots, as Standard
// Webhooks 1.0.0 asks of an id.
func outgoingID(e event, what string, n int) string {
	return "out-" + veiled(e.conversation, e.id(), what, strconv.Itoa(n))
}
