package main

import (
	"bytes"
	"context"
	"crypto/subtle"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"time"
)

// The desk is where the commands of this machine reach a running service, which
// has the data file to itself: a port of loopback's own choosing, named with a
// token in a file beside the data that only this user can read.

// deskFile is the name of that file in the data folder.
const deskFile = "running.json"

// deskNote is what it holds.
type deskNote struct {
	Address string `json:"address"`
	Service string `json:"service"` // where the service itself listens
	Token   string `json:"token"`
}

// desk is the service's side.
type desk struct {
	web  *http.Server
	done chan struct{}
	path string
	note deskNote
}

// openDesk starts the desk. Without a data folder (a service on Redis alone)
// there is none, and the commands go to the store themselves.
func openDesk(a *app, folder string, service net.Addr) (*desk, error) {
	d := &desk{done: make(chan struct{})}
	if folder == "" || os.MkdirAll(folder, 0o700) != nil {
		close(d.done)
		return d, nil
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return nil, fmt.Errorf("no port of this machine is free for its own commands: %w", err)
	}
	d.path = filepath.Join(folder, deskFile)
	d.note = deskNote{Address: "http://" + l.Addr().String(), Service: service.String(), Token: newToken()}
	if err := writePrivate(d.path, encode(d.note)); err != nil {
		return nil, errors.Join(fmt.Errorf("the data folder takes no file: %w", err), l.Close())
	}
	d.web = httpServer(a.deskRoutes(d.note.Token), a.log)
	go func() {
		defer close(d.done)
		_ = d.web.Serve(l)
	}()
	return d, nil
}

// close ends the desk and removes its file, unless another service has written
// its own meanwhile.
func (d *desk) close() {
	if d.web != nil {
		_ = d.web.Close()
		if note, err := readDesk(filepath.Dir(d.path)); err == nil && note.Token == d.note.Token {
			_ = os.Remove(d.path)
		}
	}
	<-d.done
}

// writePrivate replaces a file by one that only this user can read.
func writePrivate(path string, body []byte) error {
	f, err := os.CreateTemp(filepath.Dir(path), ".new-*") // mode 0600
	if err != nil {
		return err
	}
	defer os.Remove(f.Name())
	_, err = f.Write(body)
	if err = errors.Join(err, f.Close()); err != nil {
		return err
	}
	return os.Rename(f.Name(), path)
}

func readDesk(folder string) (deskNote, error) {
	var n deskNote
	b, err := os.ReadFile(filepath.Join(folder, deskFile))
	if err != nil {
		return n, err
	}
	return n, json.Unmarshal(b, &n)
}

// deskRoutes answers the commands. Each is a POST of its arguments as JSON.
func (a *app) deskRoutes(token string) http.Handler {
	mux := http.NewServeMux()
	deskRoute(mux, "/invite", a.pairing.invite)
	deskRoute(mux, "/devices", a.pairing.devices)
	deskRoute(mux, "/revoke", func(ctx context.Context, in revocation) (struct{}, error) {
		return struct{}{}, a.pairing.revoke(ctx, in.Shop, in.Device)
	})
	deskRoute(mux, "/say", a.say)
	deskRoute(mux, "/news", a.news)
	a.archiveRoutes(mux)
	a.keeperRoutes(mux)
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		given := strings.TrimPrefix(r.Header.Get("Authorization"), "Bearer ")
		if subtle.ConstantTimeCompare([]byte(given), []byte(token)) != 1 {
			unauthorized("The token is that of another run.").write(w, "")
			return
		}
		mux.ServeHTTP(w, r)
	})
}

type revocation struct {
	Shop   string `json:"shop"`
	Device string `json:"device"`
}

// deskRoute makes a function an address of the desk.
func deskRoute[In, Out any](mux *http.ServeMux, path string, f func(context.Context, In) (Out, error)) {
	mux.HandleFunc("POST "+path, func(w http.ResponseWriter, r *http.Request) {
		var in In
		body, err := readBody(w, r)
		if err == nil {
			err = json.Unmarshal(body, &in)
		}
		var out Out
		if err == nil {
			out, err = f(r.Context(), in)
		}
		if err != nil {
			http.Error(w, err.Error(), http.StatusUnprocessableEntity)
			return
		}
		_, _ = w.Write(encode(out))
	})
}

// errNotRunning: no service answers at the desk.
var errNotRunning = errors.New("no service runs on this data")

// deskClient is a command's side.
type deskClient struct {
	note deskNote
	http *http.Client
}

// findDesk returns the desk of the service that runs on a data folder;
// errNotRunning when there is none, or only the note of one that was killed.
func findDesk(folder string) (*deskClient, error) {
	note, err := readDesk(folder)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, errNotRunning
	}
	if err != nil {
		return nil, fmt.Errorf("the note of the running service cannot be read: %w", err)
	}
	address := strings.TrimPrefix(note.Address, "http://")
	c, err := net.DialTimeout("tcp", address, time.Second)
	if err != nil {
		return nil, errNotRunning
	}
	c.Close()
	return &deskClient{note: note, http: &http.Client{Timeout: 30 * time.Second}}, nil
}

// deskCall calls the desk.
func deskCall[In, Out any](ctx context.Context, c *deskClient, path string, in In) (out Out, err error) {
	r, err := http.NewRequestWithContext(ctx, http.MethodPost, c.note.Address+path, bytes.NewReader(encode(in)))
	if err != nil {
		return out, err
	}
	r.Header.Set("Authorization", "Bearer "+c.note.Token)
	res, err := c.http.Do(r)
	if err != nil {
		return out, fmt.Errorf("the running service did not answer: %w", err)
	}
	defer res.Body.Close()
	body, err := io.ReadAll(res.Body)
	if err != nil {
		return out, err
	}
	if res.StatusCode != http.StatusOK {
		return out, errors.New(strings.TrimSpace(string(body)))
	}
	return out, json.Unmarshal(body, &out)
}
