package main

import (
	"context"
	"encoding/json"
	"log/slog"
	"slices"
	"strings"
	"time"

	"shimwright/bot/channel"
	"shimwright/bot/channel/matrix"
	"shimwright/bot/channel/sms"
	"shimwright/bot/draw"
	"shimwright/dialog"
	"shimwright/store"
)

// options are the channel's, with the clock.
func (c smsSettings) options(now func() time.Time) sms.Options {
	return sms.Options{Gateway: c.Gateway, User: c.User, Password: c.Password.Reveal(), From: c.From, Own: c.Own,
		Secret: c.Secret.Reveal(), Region: c.Region, Parts: c.Parts, Now: now}
}

// options are the channel's, with the clock and the way to a picture's bytes.
func (c matrixSettings) options(now func() time.Time, picture func(context.Context, channel.Media) ([]byte, error)) matrix.Options {
	return matrix.Options{Homeserver: c.Homeserver, User: c.User, ASToken: c.ASToken.Reveal(), HSToken: c.HSToken.Reveal(),
		Picture: picture, Now: now}
}

// picturesOf returns the way to the bytes of a picture that goes with a
// message: drawn from its specification in the store.
func picturesOf(s store.Store, now func() time.Time) func(context.Context, channel.Media) ([]byte, error) {
	return func(ctx context.Context, m channel.Media) ([]byte, error) {
		_, token, _ := strings.Cut(m.URL, picturePath)
		shop, id, _ := strings.Cut(token, ".")
		d, err := s.Get(ctx, shop, store.KindDrawing, id)
		if err != nil {
			return nil, err
		}
		if store.Expired(d.Expires, now()) {
			return nil, store.ErrNotFound
		}
		var spec dialog.Drawing
		if err := json.Unmarshal(d.Body, &spec); err != nil {
			return nil, err
		}
		return draw.PNG(spec)
	}
}

// networks returns the channels of the networks that the settings turn on.
func networks(cfg Config, s store.Store, now func() time.Time) ([]channel.Channel, error) {
	var list []channel.Channel
	if cfg.SMS.Gateway != "" {
		c, err := sms.New(cfg.SMS.options(now))
		if err != nil {
			return nil, err
		}
		list = append(list, c)
	}
	if cfg.Matrix.Homeserver != "" {
		c, err := matrix.New(cfg.Matrix.options(now, picturesOf(s, now)))
		if err != nil {
			return nil, err
		}
		list = append(list, c)
	}
	return list, nil
}

// newIntake returns what the networks call.
func newIntake(cfg Config, list []channel.Channel, h *handler, v *mover, d *deliverer, s store.Store, now func() time.Time, log *slog.Logger) *intake {
	k := &intake{channels: map[string]channel.Channel{}, handler: h, mover: v, deliverer: d, store: s,
		crowd:  newLimiter(s, "strangers", strangerRate, strangers),
		sender: newLimiter(s, "sender", cfg.Rate, cfg.Burst), network: newLimiter(s, "network", networkRate, networkBurst),
		now: now, log: log, failed: map[string]int{}, marks: make(chan struct{}, marksAtOnce),
		member: func(name, sender string) bool {
			switch name {
			case sms.Name:
				return slices.Contains(cfg.SMS.People, sender)
			case matrix.Name:
				return matrix.Allowed(cfg.Matrix.People, sender)
			}
			return false
		}}
	for _, c := range list {
		k.channels[c.Name()] = c
	}
	return k
}

// telephones returns which channels are telephone networks.
func telephones(list []channel.Channel) func(string) bool {
	return which(list, func(l channel.Limits) bool { return l.Telephone })
}

// reporters returns which channels report what became of a message.
func reporters(list []channel.Channel) func(string) bool {
	return which(list, func(l channel.Limits) bool { return l.Reports })
}

func which(list []channel.Channel, is func(channel.Limits) bool) func(string) bool {
	found := map[string]bool{}
	for _, c := range list {
		found[c.Name()] = is(c.Limits())
	}
	return func(name string) bool { return found[name] }
}

// silenced reports whether a message must not go because its conversation has
// said STOP: on a telephone network everything that is no answer to it.
func silenced(s store.Store, phone func(string) bool) func(context.Context, store.Delivery, channel.Message) bool {
	return func(ctx context.Context, d store.Delivery, m channel.Message) bool {
		if !phone(d.Out.Channel) || m.InReplyTo != "" {
			return false
		}
		doc, err := s.Get(ctx, d.Shop, store.KindConversation, d.Out.Conversation)
		if err != nil {
			return false
		}
		var state dialog.State
		return json.Unmarshal(doc.Body, &state) == nil && state.Stopped
	}
}
