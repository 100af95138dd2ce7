// Package webhook is the neutral channel: signed JSON out to a configured
// address. What comes in is the HTTP interface itself, whose requests are signed
// with the same Keys and answered at once. Both ways follow the open Standard
// Webhooks specification.
//
// The address called is the operator's own setting, never taken from a message
// or a person, so nobody who can write to the service can make it call another
// machine. It may well be inside the shop's network (a tablet, a gateway), so
// private addresses are allowed; redirects are not followed, no credentials may
// stand in the address, and the answer is read to a bound and thrown away.
package webhook

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"time"

	"shimwright/bot/channel"
	"shimwright/bot/channel/wire"
)

// Name is the channel's name.
const Name = "webhook"

// Options configure the channel.
type Options struct {
	URL  string           // where outgoing messages go; "": unasked messages are refused
	Keys Keys             // signs what goes out, verifies what comes in
	Now  func() time.Time // the clock of the signatures
}

// Channel implements channel.Channel.
type Channel struct {
	url  string
	keys Keys
	now  func() time.Time
	wire *wire.Client
}

// New checks the options.
func New(o Options) (*Channel, error) {
	if o.Now == nil {
		return nil, errors.New("webhook: no clock")
	}
	if o.URL != "" {
		if err := checkURL(o.URL); err != nil {
			return nil, err
		}
		if o.Keys.Len() == 0 {
			return nil, errors.New("a callback address needs a secret to sign with")
		}
	}
	return &Channel{url: o.URL, keys: o.Keys, now: o.Now, wire: wire.New(o.Now)}, nil
}

func checkURL(s string) error {
	u, err := url.Parse(s)
	switch {
	case err != nil || (u.Scheme != "http" && u.Scheme != "https") || u.Host == "":
		return errors.New("the callback address must be a whole one, like https://shop.example/assistant")
	case u.User != nil:
		return errors.New("the callback address must not hold a user name or password; the signature says who calls")
	case u.Fragment != "":
		return errors.New("the callback address must not have a part after #")
	}
	return nil
}

// Close drops idle connections.
func (c *Channel) Close() error {
	c.wire.Close()
	return nil
}

// Name implements channel.Channel.
func (c *Channel) Name() string { return Name }

// Limits implements channel.Channel: a program shows what it likes.
func (c *Channel) Limits() channel.Limits {
	return channel.Limits{Pictures: true, Choices: true}
}

// Receive implements channel.Channel. A program posts to the HTTP interface,
// so nothing comes in here.
func (c *Channel) Receive(channel.Request) ([]channel.Inbound, channel.Ack, error) {
	return nil, channel.Ack{}, channel.Refuse(http.StatusNotFound, "messages are received at POST /v1/messages")
}

// reply and payload are the HTTP interface's answer, so that a program needs
// one parser for what it asked and for what comes unasked.
type reply struct {
	ID      string          `json:"id"`
	Text    string          `json:"text"`
	Caution bool            `json:"caution,omitempty"`
	Choices []string        `json:"choices,omitempty"`
	Media   []channel.Media `json:"media,omitempty"`
}

type payload struct {
	Conversation string          `json:"conversation"`
	InReplyTo    string          `json:"in_reply_to,omitempty"`
	Replies      []reply         `json:"replies"`
	Prompt       json.RawMessage `json:"prompt,omitempty"`
	Advice       json.RawMessage `json:"advice,omitempty"`
	Verdict      json.RawMessage `json:"verdict,omitempty"`
}

// Body is the JSON that Send posts: the same bytes for the same message.
func Body(to string, m channel.Message) ([]byte, error) {
	p := payload{Conversation: m.Conversation, InReplyTo: m.InReplyTo}
	if p.Conversation == "" {
		p.Conversation = to
	}
	if len(m.Turn) > 0 {
		if err := json.Unmarshal(m.Turn, &struct {
			Prompt  *json.RawMessage `json:"prompt"`
			Advice  *json.RawMessage `json:"advice"`
			Verdict *json.RawMessage `json:"verdict"`
		}{&p.Prompt, &p.Advice, &p.Verdict}); err != nil {
			return nil, fmt.Errorf("webhook: the message's turn is not JSON: %w", err)
		}
	}
	p.Replies = []reply{{ID: m.ID, Text: m.Text, Caution: m.Caution, Choices: m.Choices, Media: m.Media}}
	return json.Marshal(p)
}

// Send implements channel.Channel. The id and the body are the same on every
// attempt, the timestamp is that of the attempt. Any status below 300 accepts.
func (c *Channel) Send(ctx context.Context, to string, m channel.Message) error {
	if c.url == "" {
		return channel.Permanent("no callback address is set, so nothing can be sent unasked")
	}
	body, err := Body(to, m)
	if err != nil {
		return channel.Permanent("message %s cannot be written as JSON", m.ID)
	}
	req, err := http.NewRequest(http.MethodPost, c.url, bytes.NewReader(body))
	if err != nil {
		return channel.Permanent("the callback address cannot be called")
	}
	req.Header.Set("Content-Type", "application/json")
	req.Header.Set("User-Agent", "shimwright")
	if err := c.keys.Sign(req.Header, m.ID, c.now(), body); err != nil {
		return channel.Permanent("message %s cannot be signed", m.ID)
	}
	_, err = c.wire.Do(ctx, req, "the callback address")
	return err
}
