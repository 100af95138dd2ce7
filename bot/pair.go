package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"

	"shimwright/dialog"
)

// reception is what the commands ask of the service: the one that runs, or one
// put together for the command.
type reception interface {
	invite(ctx context.Context, in invitation) (link, error)
	devices(ctx context.Context, shop string) ([]device, error)
	revoke(ctx context.Context, shop, id string) error
	say(ctx context.Context, m posted) (answer, error)
	// news is what was said unasked since a conversation's last message.
	news(ctx context.Context, conversation string) ([]answer, error)
	// address is where browsers find the service.
	address() net.Addr
	close() error
}

// receive returns the running service, or, where none runs on the data, one
// that is opened for the command.
func receive(ctx context.Context, c console, cfg Config) (reception, error) {
	running, err := findDesk(cfg.Data)
	if err == nil {
		return running, nil
	}
	if !errors.Is(err, errNotRunning) {
		return nil, err
	}
	s, err := openStore(ctx, cfg)
	if err != nil {
		return nil, err
	}
	if cfg.Log == slog.LevelInfo {
		cfg.Log = slog.LevelWarn // a person reads this terminal: no line between theirs
	}
	a, err := newApp(cfg, s, clock, newLog(c.err, cfg))
	if err != nil {
		return nil, errors.Join(err, s.Close())
	}
	return ownService{a}, nil
}

// pair is the command that lets a phone or tablet in, lists those that are,
// and shuts one out.
func pair(ctx context.Context, c console, args []string) (err error) {
	cfg, err := LoadConfig()
	if err != nil {
		return err
	}
	if !cfg.Pairing {
		return errors.New("pairing is off; SHIMWRIGHT_PAIRING=on allows it")
	}
	r, err := receive(ctx, c, cfg)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, r.close()) }()
	switch {
	case len(args) == 1 && args[0] == "list":
		return printDevices(ctx, c, r)
	case len(args) == 2 && args[0] == "revoke":
		if err := r.revoke(ctx, homeShop, args[1]); err != nil {
			return err
		}
		fmt.Fprintln(c.out, "The device is shut out.")
		return nil
	case len(args) > 2:
		return errors.New("too many words; write a name of several words in quotes: pair \"Kim Example\" setter")
	}
	return printInvitation(ctx, c, cfg, r, args)
}

func printInvitation(ctx context.Context, c console, cfg Config, r reception, args []string) error {
	in := invitation{Shop: homeShop}
	if len(args) > 0 {
		in.Name = args[0]
	}
	if len(args) > 1 {
		in.Role = dialog.Role(args[1])
	}
	l, err := r.invite(ctx, in)
	if err != nil {
		return err
	}
	printLink(c.out, linkURL(cfg, r.address(), l.Token), l, clock())
	if cfg.Loopback() && cfg.PublicURL == nil {
		fmt.Fprintln(c.out, "The service listens on this machine only, so the link works here and not on a phone. "+
			"Start it with SHIMWRIGHT_LISTEN=0.0.0.0:8080 for the workshop's network.")
	}
	return nil
}

func printDevices(ctx context.Context, c console, r reception) error {
	list, err := r.devices(ctx, homeShop)
	if err != nil {
		return err
	}
	if len(list) == 0 {
		fmt.Fprintln(c.out, "No device is paired.")
	}
	for _, d := range list {
		state := ""
		if d.Revoked {
			state = "  (shut out)"
		}
		fmt.Fprintf(c.out, "%s  %s  %-20s %s%s\n", d.ID, d.Created.Local().Format("2006-01-02 15:04"), d.Person, d.Label, state)
	}
	return nil
}
