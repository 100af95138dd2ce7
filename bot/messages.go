package main

import (
	"context"
	"errors"
	"log/slog"
	"mime"
	"net/http"

	"shimwright/dialog/wording"
)

// postMessage is POST /v1/messages.
func (s *server) postMessage(w http.ResponseWriter, r *http.Request) error {
	body, err := readBody(w, r)
	if err != nil {
		return err
	}
	who, err := s.guard.identify(r, body)
	if err != nil {
		return err
	}
	if t, _, err := mime.ParseMediaType(r.Header.Get("Content-Type")); err != nil || t != "application/json" {
		return wrongType()
	}
	m, err := parsePosted(body)
	if err != nil {
		return err
	}
	if who.kind == program && m.Sender == "" {
		return badField("sender", "The field %q is missing: a program says for whom it speaks.", "sender")
	}
	if who.kind != program {
		who.lang = wording.Accepted(r.Header.Get("Accept-Language"))
	}
	info(r).attrs = append(info(r).attrs, slog.String("conversation", mask(m.Conversation)), slog.String("message", mask(m.ID)))
	switch wait, err := s.limiter.take(r.Context(), senderKey(who, m), s.now()); {
	case err != nil:
		return err
	case wait > 0:
		return tooMany(wait)
	}
	stored, err := s.say(r.Context(), who, m)
	if err != nil {
		return err
	}
	h := w.Header()
	h.Set("Content-Type", "application/json")
	h.Set("Cache-Control", "no-store")
	_, _ = w.Write(stored)
	return nil
}

// say hands a message to the dialog and returns the JSON of its answer.
func (s *server) say(ctx context.Context, who caller, m posted) ([]byte, error) {
	for again := false; ; again = true {
		e, err := s.arrival(ctx, who, m)
		if err != nil {
			return nil, storeProblem(err)
		}
		stored, err := s.mover.take(ctx, e)
		if !errors.Is(err, errElsewhere) || again {
			return stored, err
		}
		// Its shop was forgotten meanwhile; a new one is founded.
	}
}

// arrival is the event of a message: the shop that it belongs to, and who
// speaks. What a browser says about its sender counts for nothing; the pairing
// does.
func (s *server) arrival(ctx context.Context, who caller, m posted) (event, error) {
	shop, err := s.places.found(ctx, who, m.Conversation)
	if err != nil {
		return event{}, err
	}
	e := event{shop: shop, conversation: m.Conversation, channel: who.channelName(), message: m, lang: who.lang,
		speaker: &speaker{kind: who.kind, device: who.device, sender: m.Sender, conversation: m.Conversation}}
	if who.kind == program {
		e.from = m.Sender
	}
	return e, nil
}

// senderKey tells senders apart for their allowance.
func senderKey(who caller, m posted) string {
	switch who.kind {
	case program:
		return "program/" + m.Conversation + "/" + m.Sender
	case paired:
		return "device/" + who.device
	}
	return "local"
}
