package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/netip"
	"slices"
	"time"

	"shimwright/bot/channel/webhook"
	"shimwright/dialog"
	"shimwright/store"
)

// cookieName is that of the device cookie.
const cookieName = "shimwright_device"

// guard decides who a request comes from.
type guard struct {
	store   store.Store
	keys    webhook.Keys // of programs; none: no program may speak
	pairing bool
	owner   bool // a browser on this machine needs no pairing
	hosts   hosts
	now     func() time.Time
}

// identify returns who makes a request whose body has been read. Its error is
// a *problem.
//
// A signature is looked at first and stands or falls by itself. Everything
// else is taken for a browser: its Host and Origin must be ours, so that no
// other site can speak through it, by a form, a script or a rebound name.
func (g *guard) identify(r *http.Request, body []byte) (caller, error) {
	if r.Header.Get("webhook-signature") != "" {
		if g.keys.Len() == 0 {
			return caller{}, unauthorized("The request is signed, but the service has no secret to check it with (SHIMWRIGHT_WEBHOOK_SECRETS).")
		}
		if err := g.keys.Verify(r.Header, body, g.now()); err != nil {
			return caller{}, unauthorized("The signature is missing, wrong or older than five minutes; it covers id.timestamp.body as Standard Webhooks describes.")
		}
		return caller{kind: program}, nil
	}
	if err := g.hosts.check(r); err != nil {
		return caller{}, err
	}
	if cookie, err := r.Cookie(cookieName); err == nil && g.pairing {
		c, err := g.device(r.Context(), cookie.Value)
		if !errors.Is(err, errRevoked) || !g.isLocal(r) {
			return c, deviceProblem(err)
		}
		// A stale cookie on the owner's own machine shuts nobody out.
	}
	if g.isLocal(r) {
		return caller{kind: local, shop: homeShop}, nil
	}
	return caller{}, unauthorized("Open the one-time link that the service prints (or %s), or sign the request.", "go run ./bot pair")
}

// isLocal reports whether the request comes from a browser of this machine,
// directly: the peer and the name called are both loopback, and no proxy says
// that it passes on somebody else's request. No browser speaks HTTP/1.0, but a
// proxy that nobody told anything may (nginx does by default), and as from here to here.
func (g *guard) isLocal(r *http.Request) bool {
	if !g.owner || !r.ProtoAtLeast(1, 1) || !isLoopback(r.RemoteAddr) || !loopbackHost(hostName(r.Host)) {
		return false
	}
	for _, h := range []string{"Forwarded", "X-Forwarded-For", "X-Forwarded-Host", "X-Real-Ip", "Via"} {
		if r.Header.Get(h) != "" {
			return false
		}
	}
	return true
}

func isLoopback(remote string) bool {
	at, err := netip.ParseAddrPort(remote)
	return err == nil && at.Addr().Unmap().IsLoopback()
}

// device returns the caller that a device cookie stands for; errRevoked when
// it stands for none.
func (g *guard) device(ctx context.Context, token string) (caller, error) {
	hash := tokenHash(token)
	shop, err := g.store.Resolve(ctx, deviceAddress(hash))
	if errors.Is(err, store.ErrNotFound) {
		return caller{}, errRevoked
	}
	if err != nil {
		return caller{}, err
	}
	people, _, err := loadPeople(ctx, g.store, shop)
	if err != nil {
		return caller{}, err
	}
	if _, ok := deviceOwner(people, hash); !ok {
		return caller{}, errRevoked
	}
	return caller{kind: paired, shop: shop, device: hash}, nil
}

// deviceOwner returns the index of the person whose device it is.
func deviceOwner(people dialog.People, hash string) (int, bool) {
	i := slices.IndexFunc(people.Persons, func(p dialog.Person) bool {
		return !p.Removed && slices.ContainsFunc(p.Devices, func(d dialog.Device) bool {
			return d.Hash == hash && !d.Revoked
		})
	})
	return i, i >= 0
}

func deviceProblem(err error) error {
	if errors.Is(err, errRevoked) {
		return unauthorized("This device is no longer paired; ask for a new link.").because(err)
	}
	return storeProblem(err)
}

// loadPeople returns the people of a shop and the version of their document; a
// shop that does not exist yet has none.
func loadPeople(ctx context.Context, s store.Store, shop string) (dialog.People, uint64, error) {
	var people dialog.People
	d, err := s.Get(ctx, shop, store.KindPeople, "")
	if errors.Is(err, store.ErrNotFound) {
		return people, 0, nil
	}
	if err != nil {
		return people, 0, err
	}
	if err := json.Unmarshal(d.Body, &people); err != nil {
		return people, 0, fmt.Errorf("the stored people of a shop cannot be read: %w", err)
	}
	return people, d.Version, nil
}
