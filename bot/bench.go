package main

import (
	"errors"
	"io"
	"log/slog"
	"net/http"
	"os"
	"path/filepath"
	"sync/atomic"
	"time"

	"shimwright/bot/virtualsaw"
	"shimwright/store/boltstore"
)

// bench is the whole service in this process, on a data file of its own and on
// a clock that goes on as the simulated people work. It is reached through its
// HTTP interface, without a network.
type bench struct {
	app    *app
	folder string
	client *virtualsaw.Client
	ms     atomic.Int64
}

// benchSecret signs what the simulated people's program posts. It guards
// nothing: that service is reached from within this process only.
const benchSecret = "whsec_c2ltdWxhdGVkLXNhd3MtbmVlZC1uby1zZWNyZXQ="

// newBench starts a service that is empty.
func newBench() (*bench, error) {
	folder, err := os.MkdirTemp(memory(), "shimwright-bench-")
	if err != nil {
		return nil, err
	}
	s, err := boltstore.Open(filepath.Join(folder, dataFile))
	if err != nil {
		return nil, errors.Join(err, os.RemoveAll(folder))
	}
	b := &bench{folder: folder}
	b.ms.Store(time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC).UnixMilli())
	cfg := Config{LocalOwner: true, Rate: 1e9, Burst: 1e9, Zone: "UTC", Shutdown: time.Second, WebhookSecrets: []Secret{NewSecret(benchSecret)}}
	b.app, err = newApp(cfg, s, b.now, slog.New(slog.NewTextHandler(io.Discard, nil)))
	if err != nil {
		return nil, errors.Join(err, s.Close(), os.RemoveAll(folder))
	}
	b.client = &virtualsaw.Client{URL: "http://127.0.0.1", Secret: benchSecret, Now: b.now,
		HTTP: &http.Client{Transport: virtualsaw.Direct{Handler: b.app.server.routes()}}}
	return b, nil
}

// memory is a folder that no disk slows down, where the system has one: nobody
// keeps these data.
func memory() string {
	const shared = "/dev/shm" // of Linux
	if s, err := os.Stat(shared); err == nil && s.IsDir() {
		return shared
	}
	return ""
}

func (b *bench) now() time.Time { return time.UnixMilli(b.ms.Load()).UTC() }

// Client returns a client of the service.
func (b *bench) Client() *virtualsaw.Client { return b.client }

// Pass lets the service's clock go on.
func (b *bench) Pass(d time.Duration) { b.ms.Add(d.Milliseconds()) }

// close stops the service and throws its data away.
func (b *bench) close() error { return errors.Join(b.app.close(), os.RemoveAll(b.folder)) }
