package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"math/rand/v2"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"time"

	"shimwright/bot/channel"
	"shimwright/bot/channel/page"
	"shimwright/bot/channel/webhook"
	"shimwright/dialog"
	"shimwright/store"
	"shimwright/store/boltstore"
)

// app is the program put together. This file is the only place where its parts
// meet, and where the clock is read.
type app struct {
	cfg       Config
	log       *slog.Logger
	clock     *sharedClock
	store     store.Store
	server    *server
	handler   *handler
	pairing   *pairing
	deliverer *deliverer
	reminders *reminders

	closing context.Context // ends when the service begins to stop
	stop    context.CancelFunc
	workers sync.WaitGroup
}

// clock is the time, to the millisecond: no store keeps it finer.
func clock() time.Time { return time.Now().Truncate(time.Millisecond).UTC() }

// dataFile is the name of the embedded store in the data folder.
const dataFile = "shimwright.db"

// openStore opens the store that the settings name.
func openStore(ctx context.Context, cfg Config) (store.Store, error) {
	if !cfg.RedisURL.Empty() {
		s, err := openRedis(ctx, cfg.RedisURL)
		if err != nil {
			return nil, fmt.Errorf("%w; SHIMWRIGHT_REDIS_URL says where Redis is, and the command doctor looks what is wrong there", err)
		}
		return s, nil
	}
	if err := os.MkdirAll(cfg.Data, 0o700); err != nil {
		return nil, fmt.Errorf("the data folder cannot be made: %w; set SHIMWRIGHT_DATA to one that can", err)
	}
	path := filepath.Join(cfg.Data, dataFile)
	s, err := boltstore.Open(path)
	switch {
	case errors.Is(err, store.ErrLocked):
		return nil, fmt.Errorf("%w (SHIMWRIGHT_DATA names its folder)", err)
	case err != nil:
		return nil, fmt.Errorf("the data file %s cannot be opened: %w", path, err)
	}
	return s, nil
}

// newApp puts the program together on an open store, which it then owns.
func newApp(cfg Config, s store.Store, own func() time.Time, log *slog.Logger) (*app, error) {
	keys, err := webhook.ParseKeys(reveal(cfg.WebhookSecrets)...)
	if err != nil {
		return nil, err
	}
	out, err := newWebhook(cfg, own)
	if err != nil {
		return nil, err
	}
	shared := &sharedClock{own: own}
	clock := shared.now
	meter := newMeters()
	meter.registry.MustRegister(newQueues(s, shared))
	s = versionedStore{timedStore{s, meter}, storedVersions()}
	a := &app{cfg: cfg, log: log, clock: shared, store: s}
	a.closing, a.stop = context.WithCancel(context.Background())
	people := newcomers{newID: newID}
	a.pairing = &pairing{store: s, now: clock, people: people, token: newToken}
	pages := page.New()
	nets, err := networks(cfg, s, clock)
	if err != nil {
		return nil, err
	}
	channels := append([]channel.Channel{pageChannel{Channel: pages, store: s, now: clock}, out}, nets...)
	a.deliverer = newDeliverer(s, channels, clock, rand.Float64, log)
	a.deliverer.count = meter.delivered
	a.deliverer.silenced = silenced(s, telephones(channels))
	a.handler = &handler{store: s, now: clock, people: people, networks: channelNames(nets), zone: cfg.Zone, token: newToken, limits: limitsOf(channels), phone: telephones(channels), reports: reporters(channels),
		wake: pages.Wake, sends: a.deliverer.kick, absolute: absolute(cfg),
		base: knownBase(cfg), dialog: dialog.Step, cache: newCache(), lanes: newLanes(),
		room: make(chan struct{}, maxAtOnce), log: log, meter: meter}
	moves := newMover(s, a.handler, clock, log)
	a.reminders = newReminders(s, a.handler.fire, clock, rand.Float64, log)
	machine, _ := os.Hostname() // without it, browsers use the address in numbers
	a.server = &server{
		store: s, handler: a.handler, pairing: a.pairing, page: pages, home: homePage(),
		guard: &guard{store: s, keys: keys, pairing: cfg.Pairing, owner: cfg.LocalOwner,
			hosts: newHosts(cfg, machine), now: own},
		mover:   moves,
		places:  directory{store: s, newID: newID},
		intake:  newIntake(cfg, nets, a.handler, moves, a.deliverer, s, clock, log),
		limiter: newLimiter(s, "posted", cfg.Rate, cfg.Burst),
		easels:  make(chan struct{}, runtime.GOMAXPROCS(0)),
		secure:  cfg.PublicURL != nil && cfg.PublicURL.Scheme == "https",
		closing: a.closing, now: clock, ahead: shared.ahead, stopwatch: time.Now, requests: newID, log: log, meter: meter,
	}
	return a, nil
}

func newWebhook(cfg Config, clock func() time.Time) (*webhook.Channel, error) {
	o := webhook.Options{Now: clock}
	if cfg.CallbackURL != nil {
		o.URL = cfg.CallbackURL.String()
		keys, err := webhook.ParseKeys(reveal(cfg.CallbackSecrets)...)
		if err != nil {
			return nil, err
		}
		o.Keys = keys
	}
	return webhook.New(o)
}

func reveal(secrets []Secret) []string {
	list := make([]string, len(secrets))
	for i, s := range secrets {
		list[i] = s.Reveal()
	}
	return list
}

// limitsOf tells the dialog what each channel can carry.
func limitsOf(channels []channel.Channel) func(string) dialog.Limits {
	m := map[string]dialog.Limits{}
	for _, c := range channels {
		l := c.Limits()
		m[c.Name()] = dialog.Limits{Segment: l.Segment, Plain: l.Alphabet == channel.GSM7, Pictures: l.Pictures, OneMove: l.OneMove}
	}
	return func(name string) dialog.Limits { return m[name] }
}

// absolute returns what makes a path of the service an address that others can
// call: its public one, or else the path alone.
func absolute(cfg Config) func(string) string {
	base := ""
	if cfg.PublicURL != nil {
		base = strings.TrimSuffix(cfg.PublicURL.String(), "/")
	}
	return func(path string) string { return base + path }
}

// follow keeps to the clock of a store that has one; call it before start.
func (a *app) follow(s store.Store) {
	if k, ok := s.(timekeeper); ok {
		a.clock.follow(a.closing, k, a.log, func(f func()) { a.workers.Go(f) })
	}
}

// start begins the work that nobody asks for: sending and reminding.
func (a *app) start() {
	a.workers.Go(func() { a.deliverer.run(a.closing) })
	a.workers.Go(func() { a.reminders.run(a.closing) })
}

// serve answers on a listener until ctx ends, then finishes what was begun,
// within the time that the settings give, and closes the store.
func (a *app) serve(ctx context.Context, l net.Listener) error {
	web := httpServer(a.server.routes(), a.log)
	a.start()
	failed := make(chan error, 1)
	go func() { failed <- web.Serve(l) }()
	var err error
	select {
	case err = <-failed:
	case <-ctx.Done():
	}
	a.stop() // readers that wait for news go home, workers end
	bounded, cancel := context.WithTimeout(context.WithoutCancel(ctx), a.cfg.Shutdown)
	defer cancel()
	if e := web.Shutdown(bounded); e != nil {
		a.log.Error("some requests did not end in time", "after", a.cfg.Shutdown)
		_ = web.Close()
	}
	if err == nil {
		err = <-failed
	}
	if errors.Is(err, http.ErrServerClosed) {
		err = nil
	}
	return errors.Join(err, a.closeWithin(bounded))
}

// close ends the work in the background and closes the store.
func (a *app) close() error { return a.closeWithin(context.Background()) }

// closeWithin is close that waits for the work in the background until ctx
// ends. What is being sent then is not settled: the next worker sends it again
// under the same id.
func (a *app) closeWithin(ctx context.Context) error {
	a.stop()
	ended := make(chan struct{})
	go func() {
		a.workers.Wait()
		a.server.intake.busy.Wait()
		close(ended)
	}()
	select {
	case <-ended:
	case <-ctx.Done():
		a.log.Error("what was being sent did not end in time; it is sent again, with the same id", "after", a.cfg.Shutdown)
	}
	a.deliverer.close()
	return a.store.Close()
}

// newLog returns the program's log: to w, in the form that the settings ask
// for.
func newLog(w io.Writer, cfg Config) *slog.Logger {
	o := &slog.HandlerOptions{Level: cfg.Log}
	if cfg.LogJSON {
		return slog.New(slog.NewJSONHandler(w, o))
	}
	return slog.New(slog.NewTextHandler(w, o))
}
