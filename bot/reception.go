package main

import (
	"context"
	"encoding/json"
	"net"

	"shimwright/store"
)

// ownService is a service put together for one command.
type ownService struct{ app *app }

func (o ownService) invite(ctx context.Context, in invitation) (link, error) {
	return o.app.pairing.invite(ctx, in)
}

func (o ownService) devices(ctx context.Context, shop string) ([]device, error) {
	return o.app.pairing.devices(ctx, shop)
}

func (o ownService) revoke(ctx context.Context, shop, id string) error {
	return o.app.pairing.revoke(ctx, shop, id)
}

func (o ownService) say(ctx context.Context, m posted) (answer, error) { return o.app.say(ctx, m) }

func (o ownService) news(ctx context.Context, conversation string) ([]answer, error) {
	return o.app.news(ctx, conversation)
}

func (o ownService) address() net.Addr { return net.TCPAddrFromAddrPort(o.app.cfg.Listen) }

func (o ownService) close() error { return o.app.close() }

// say hands the dialog a message of whoever sits at this machine: the owner.
func (a *app) say(ctx context.Context, m posted) (answer, error) {
	var out answer
	stored, err := a.server.say(ctx, caller{kind: local, shop: homeShop, lang: m.Lang}, m)
	if err != nil {
		return out, err
	}
	return out, json.Unmarshal(stored, &out)
}

// maxNews is how many entries are looked through for news.
const maxNews = 20

// news returns what was said unasked since the last message of a conversation
// of this machine, without what may no longer be shown.
func (a *app) news(ctx context.Context, conversation string) ([]answer, error) {
	list, err := a.store.Transcript(ctx, store.Conversation{Shop: homeShop, ID: conversation}, 0, maxNews)
	var news []answer
	for _, e := range list {
		line, shown, err := shownEntry(e, a.server.now())
		if err != nil {
			return nil, err
		}
		if line.Message != nil {
			news = nil
			continue
		}
		var said answer
		if err := json.Unmarshal(line.Answer, &said); err != nil {
			return nil, err
		}
		if shown {
			news = append(news, said)
		}
	}
	return news, err
}

func (c *deskClient) invite(ctx context.Context, in invitation) (link, error) {
	return deskCall[invitation, link](ctx, c, "/invite", in)
}

func (c *deskClient) devices(ctx context.Context, shop string) ([]device, error) {
	return deskCall[string, []device](ctx, c, "/devices", shop)
}

func (c *deskClient) revoke(ctx context.Context, shop, id string) error {
	_, err := deskCall[revocation, struct{}](ctx, c, "/revoke", revocation{Shop: shop, Device: id})
	return err
}

func (c *deskClient) say(ctx context.Context, m posted) (answer, error) {
	return deskCall[posted, answer](ctx, c, "/say", m)
}

func (c *deskClient) news(ctx context.Context, conversation string) ([]answer, error) {
	return deskCall[string, []answer](ctx, c, "/news", conversation)
}

func (c *deskClient) address() net.Addr {
	at, err := net.ResolveTCPAddr("tcp", c.note.Service)
	if err != nil {
		return &net.TCPAddr{}
	}
	return at
}

func (c *deskClient) close() error {
	c.http.CloseIdleConnections()
	return nil
}
