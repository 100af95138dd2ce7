package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"net/netip"
	"syscall"
)

// serve is the command that answers on the network.
func serve(ctx context.Context, c console, _ []string) error {
	cfg, err := LoadConfig()
	if err != nil {
		return err
	}
	log := newLog(c.err, cfg)
	s, err := openStore(ctx, cfg)
	if err != nil {
		return err
	}
	a, err := newApp(cfg, s, clock, log)
	if err != nil {
		return errors.Join(err, s.Close())
	}
	a.follow(s)
	l, err := listen(cfg.Listen)
	if err != nil {
		return errors.Join(err, a.close())
	}
	desk, err := openDesk(a, cfg.Data, l.Addr())
	if err != nil {
		return errors.Join(err, l.Close(), a.close())
	}
	defer desk.close()
	if err := a.announce(ctx, c, l.Addr()); err != nil {
		log.Warn("no pairing link could be made at the start", "error", err)
	}
	err = a.serve(ctx, l)
	log.Info("stopped")
	return err
}

// listen opens the service's port.
func listen(at netip.AddrPort) (net.Listener, error) {
	l, err := net.Listen("tcp", at.String())
	if errors.Is(err, syscall.EADDRINUSE) {
		return nil, fmt.Errorf("something listens on %s already, perhaps another Shimwright; set SHIMWRIGHT_LISTEN to another port", at)
	}
	if errors.Is(err, syscall.EADDRNOTAVAIL) {
		return nil, fmt.Errorf("this machine has no address %s; set SHIMWRIGHT_LISTEN to one of its own, or to 0.0.0.0:%d for all", at.Addr(), at.Port())
	}
	if errors.Is(err, fs.ErrPermission) {
		return nil, fmt.Errorf("this user may not listen on port %d; set SHIMWRIGHT_LISTEN to a port above 1023, and let a proxy pass on to it", at.Port())
	}
	if err != nil {
		return nil, fmt.Errorf("the service cannot listen on %s: %w", at, err)
	}
	return l, nil
}

// announce says where the service is reached and by whom; beyond this machine
// also how a phone gets in.
func (a *app) announce(ctx context.Context, c console, at net.Addr) error {
	fmt.Fprintln(c.out, "Shimwright answers on "+browserURL(at))
	switch {
	case a.cfg.Loopback() && a.cfg.PublicURL == nil:
		fmt.Fprintln(c.out, "Only this machine reaches it. For a phone in the workshop's network, start it with SHIMWRIGHT_LISTEN=0.0.0.0:8080.")
	case a.cfg.Pairing:
		l, err := a.pairing.invite(ctx, invitation{Shop: homeShop})
		if err != nil {
			return err
		}
		printLink(c.out, linkURL(a.cfg, at, l.Token), l, clock())
	}
	return nil
}
