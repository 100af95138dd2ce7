package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strings"
	"time"

	"shimwright/dialog"
	"shimwright/store"
)

// archive is what the commands about a shop's records ask of it: of the
// running service, which has the data file to itself, or of the store.
type archive interface {
	export(ctx context.Context, q exportQuery) (shopCopy, error)
	bringIn(ctx context.Context, in importing) (importSum, error)
	forget(ctx context.Context, f forgetting) error
	reportOf(ctx context.Context, q exportQuery) (dialog.Report, error)
	close() error
}

// openArchive returns the running service, or, where none runs on the data,
// the store.
func openArchive(ctx context.Context, cfg Config) (archive, error) {
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
	return shelf{s}, nil
}

// shelf is a store opened for one command.
type shelf struct{ store store.Store }

func (s shelf) export(ctx context.Context, q exportQuery) (shopCopy, error) {
	return exportShop(ctx, s.store, q, clock())
}

func (s shelf) bringIn(ctx context.Context, in importing) (importSum, error) {
	return bringIn(ctx, s.store, in, clock())
}

func (s shelf) forget(ctx context.Context, f forgetting) error {
	return forgetIn(ctx, s.store, f, clock())
}

func (s shelf) reportOf(ctx context.Context, q exportQuery) (dialog.Report, error) {
	return reportIn(ctx, s.store, q, clock())
}

func (s shelf) close() error { return s.store.Close() }

// maxImport bounds what import takes at once, in bytes.
const maxImport = 64 << 20

// archiveRoutes are the desk's side of it.
func (a *app) archiveRoutes(mux *http.ServeMux) {
	own := shelf{a.store}
	deskRoute(mux, "/export", own.export)
	deskRoute(mux, "/report", own.reportOf)
	deskRoute(mux, "/forget", func(ctx context.Context, f forgetting) (struct{}, error) { return struct{}{}, own.forget(ctx, f) })
	mux.HandleFunc("POST /import", func(w http.ResponseWriter, r *http.Request) {
		_ = http.NewResponseController(w).SetWriteDeadline(time.Time{}) // its sender is a command of this machine
		var in importing
		body, err := readUpTo(w, r, maxImport)
		if err == nil {
			err = json.Unmarshal(body, &in)
		}
		var sum importSum
		if err == nil {
			sum, err = own.bringIn(r.Context(), in)
		}
		if err != nil {
			http.Error(w, err.Error(), http.StatusUnprocessableEntity)
			return
		}
		_, _ = w.Write(encode(sum))
	})
}

func (c *deskClient) export(ctx context.Context, q exportQuery) (shopCopy, error) {
	return deskCall[exportQuery, shopCopy](ctx, c, "/export", q)
}

func (c *deskClient) bringIn(ctx context.Context, in importing) (importSum, error) {
	return deskCall[importing, importSum](ctx, c, "/import", in)
}

func (c *deskClient) forget(ctx context.Context, f forgetting) error {
	_, err := deskCall[forgetting, struct{}](ctx, c, "/forget", f)
	return err
}

func (c *deskClient) reportOf(ctx context.Context, q exportQuery) (dialog.Report, error) {
	return deskCall[exportQuery, dialog.Report](ctx, c, "/report", q)
}

// shopSaws returns the saws of a shop that are not being erased.
func shopSaws(ctx context.Context, s store.Store, shop string) ([]dialog.Saw, map[string]store.Doc, error) {
	docs, err := s.Load(ctx, store.Conversation{Shop: shop, ID: terminalConversation}, "")
	if err != nil {
		return nil, nil, err
	}
	var list []dialog.Saw
	byID := map[string]store.Doc{}
	for _, d := range docs.Saws {
		byID[d.ID] = d
		if string(d.Body) == tombstone {
			continue
		}
		var saw dialog.Saw
		if err := json.Unmarshal(d.Body, &saw); err != nil {
			return nil, nil, fmt.Errorf("the stored saw %s cannot be read: %w", d.ID, err)
		}
		list = append(list, saw)
	}
	return list, byID, nil
}

// oneSaw returns the saw that a person means by a name: its name or its id, or
// the only one in use where nothing is said. One that is still being set up has
// no name and is found by its id alone.
func oneSaw(list []dialog.Saw, name string) (dialog.Saw, error) {
	var names []string
	var used []dialog.Saw
	for _, saw := range list {
		if name != "" && (strings.EqualFold(saw.Profile.Name, name) || saw.ID == name) {
			return saw, nil
		}
		if saw.Profile.Name == "" {
			continue
		}
		names = append(names, saw.Profile.Name)
		if !saw.Retired {
			used = append(used, saw)
		}
	}
	switch {
	case name == "" && len(used) == 1:
		return used[0], nil
	case len(names) == 0:
		return dialog.Saw{}, errors.New("no saw is set up yet")
	case name == "":
		return dialog.Saw{}, fmt.Errorf("say which saw: -saw %q; there are %s", names[0], strings.Join(names, ", "))
	}
	return dialog.Saw{}, fmt.Errorf("there is no saw %q; there are %s", name, strings.Join(names, ", "))
}

// writeOut writes what a command made: to a file, which appears whole or not at
// all and only this user can read, or to standard output.
func writeOut(c console, path string, body []byte) error {
	if path == "" || path == "-" {
		_, err := io.Copy(c.out, bytes.NewReader(body))
		return err
	}
	if err := writePrivate(path, body); err != nil {
		return fmt.Errorf("%s cannot be written: %w", path, err)
	}
	return nil
}
