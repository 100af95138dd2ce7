package main

import (
	"context"
	"encoding/json"
	"net"
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

func (o ownService) address() net.Addr { return net.TCPAddrFromAddrPort(o.app.cfg.Listen) }

func (o ownService) close() error { return o.app.close() }

// say hands the dialog a message of whoever sits at this machine: the owner.
func (a *app) say(ctx context.Context, m posted) (answer, error) {
	var out answer
	stored, err := a.server.say(ctx, caller{kind: local, shop: homeShop}, m)
	if err != nil {
		return out, err
	}
	return out, json.Unmarshal(stored, &out)
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
