package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"time"

	"shimwright/store"
)

// keeper is what the commands that look after the data ask of it: of the
// running service, which has the data file to itself, or of the store.
type keeper interface {
	backup(ctx context.Context, w io.Writer) error
	dead(ctx context.Context, max int) ([]letter, error)
	resend(ctx context.Context, l letter) error
	// tidy goes through some shops after one; see tidyFrom.
	tidy(ctx context.Context, after string) (tidied, error)
	close() error
}

// letter is a dead letter as it is listed: nothing of what it says, its
// address masked.
type letter struct {
	Shop     string    `json:"shop"`
	ID       string    `json:"id"`
	Channel  string    `json:"channel"`
	To       string    `json:"to"`
	Attempts int       `json:"attempts"`
	Reason   string    `json:"reason"`
	At       time.Time `json:"at"`
}

// openKeeper returns what keeps the data of the settings. Redis answers the
// commands beside the services; a data file only through the one that has it.
func openKeeper(ctx context.Context, cfg Config) (keeper, error) {
	if cfg.RedisURL.Empty() {
		running, err := findDesk(cfg.Data)
		if err == nil {
			return running, nil
		}
		if !errors.Is(err, errNotRunning) {
			return nil, err
		}
		if err := existing(cfg.Data); err != nil {
			return nil, err
		}
	}
	s, err := openStore(ctx, cfg)
	if err != nil {
		return nil, err
	}
	return ownStore{s}, nil
}

// existing reports that a folder holds no data file, which opening would make.
func existing(folder string) error {
	path := filepath.Join(folder, dataFile)
	if _, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("there is no data file %s; set SHIMWRIGHT_DATA to the folder that holds it, or SHIMWRIGHT_REDIS_URL", path)
	}
	return nil
}

// ownStore is a store opened for one command.
type ownStore struct{ store store.Store }

func (o ownStore) backup(ctx context.Context, w io.Writer) error { return o.store.Backup(ctx, w) }

func (o ownStore) dead(ctx context.Context, max int) ([]letter, error) {
	return deadLetters(ctx, o.store, max)
}

func (o ownStore) resend(ctx context.Context, l letter) error {
	return o.store.Resend(ctx, l.Shop, l.ID, clock())
}

func (o ownStore) tidy(ctx context.Context, after string) (tidied, error) {
	return tidyFrom(ctx, o.store, after, clock())
}

func (o ownStore) close() error { return o.store.Close() }

func deadLetters(ctx context.Context, s store.Store, max int) ([]letter, error) {
	list, err := s.Dead(ctx, "", max)
	letters := make([]letter, len(list))
	for i, d := range list {
		letters[i] = letter{Shop: d.Shop, ID: d.Out.ID, Channel: d.Out.Channel, To: mask(d.Out.To),
			Attempts: d.Attempt, Reason: d.Reason, At: d.At}
	}
	return letters, err
}

// keeperRoutes are the desk's side of it.
func (a *app) keeperRoutes(mux *http.ServeMux) {
	deskRoute(mux, "/dead", func(ctx context.Context, max int) ([]letter, error) { return deadLetters(ctx, a.store, max) })
	deskRoute(mux, "/resend", func(ctx context.Context, l letter) (struct{}, error) {
		err := a.store.Resend(ctx, l.Shop, l.ID, clock())
		a.deliverer.kick()
		return struct{}{}, err
	})
	deskRoute(mux, "/tidy", func(ctx context.Context, after string) (tidied, error) {
		return tidyFrom(ctx, a.store, after, a.server.now())
	})
	mux.HandleFunc("POST /backup", func(w http.ResponseWriter, r *http.Request) {
		// As long as it takes: its reader is a command of this machine.
		_ = http.NewResponseController(w).SetWriteDeadline(time.Time{})
		if err := a.store.Backup(r.Context(), w); err != nil {
			a.log.Error("a backup failed", "error", err)
			panic(http.ErrAbortHandler) // the reader sees that it is cut short
		}
	})
}

func (c *deskClient) dead(ctx context.Context, max int) ([]letter, error) {
	return deskCall[int, []letter](ctx, c, "/dead", max)
}

func (c *deskClient) resend(ctx context.Context, l letter) error {
	_, err := deskCall[letter, struct{}](ctx, c, "/resend", l)
	return err
}

func (c *deskClient) tidy(ctx context.Context, after string) (tidied, error) {
	return deskCall[string, tidied](ctx, c, "/tidy", after)
}

func (c *deskClient) backup(ctx context.Context, w io.Writer) error {
	r, err := http.NewRequestWithContext(ctx, http.MethodPost, c.note.Address+"/backup", nil)
	if err != nil {
		return err
	}
	r.Header.Set("Authorization", "Bearer "+c.note.Token)
	patient := http.Client{Transport: c.http.Transport} // without the limit of the short calls
	res, err := patient.Do(r)
	if err != nil {
		return fmt.Errorf("the running service did not answer: %w", err)
	}
	defer res.Body.Close()
	if res.StatusCode != http.StatusOK {
		return fmt.Errorf("the running service answered with status %d", res.StatusCode)
	}
	if _, err := io.Copy(w, res.Body); err != nil {
		return fmt.Errorf("the running service broke the backup off; its log says why: %w", err)
	}
	return nil
}

// deadCommand lists the messages that were given up, or sends them again.
func deadCommand(ctx context.Context, c console, args []string) (err error) {
	again := len(args) == 2 && args[0] == "resend"
	if len(args) > 0 && !again {
		return errors.New("give nothing to list the messages that were given up, or: dead resend ID, or: dead resend all")
	}
	cfg, err := LoadConfig()
	if err != nil {
		return err
	}
	k, err := openKeeper(ctx, cfg)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, k.close()) }()
	list, err := k.dead(ctx, store.MaxStats)
	if err != nil {
		return err
	}
	if !again {
		return printDead(c.out, list)
	}
	return resendDead(ctx, c.out, k, list, args[1])
}

func printDead(w io.Writer, list []letter) error {
	if len(list) == 0 {
		fmt.Fprintln(w, "No message was given up.")
	}
	for _, l := range list {
		fmt.Fprintf(w, "%s  %s  %s to %s, %s: %s\n", printable(l.ID), l.At.Local().Format("2006-01-02 15:04"),
			printable(l.Channel), printable(l.To), some(l.Attempts, "attempt"), printable(l.Reason))
	}
	return nil
}

func resendDead(ctx context.Context, w io.Writer, k keeper, list []letter, id string) error {
	if id != "all" {
		list = slices.DeleteFunc(list, func(l letter) bool { return l.ID != id })
		if len(list) == 0 {
			return fmt.Errorf("no message that was given up has the id %q; `dead` lists them", id)
		}
	}
	sent := 0
	slices.Reverse(list) // the oldest first, as they were meant to come
	for _, l := range list {
		switch err := k.resend(ctx, l); {
		case errors.Is(err, store.ErrNotFound): // another command was first
		case err != nil:
			return fmt.Errorf("%d of %d were put back; then %s failed: %w", sent, len(list), l.ID, err)
		default:
			sent++
		}
	}
	fmt.Fprintf(w, "%d put back in line. One whose time is over is not sent any more.\n", sent)
	return nil
}
