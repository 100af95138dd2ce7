package main

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"net/http"
	"os"
	"strings"
	"time"

	"github.com/gorilla/mux"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"shimwright/bot/channel/page"
	"shimwright/dialog"
	"shimwright/store"
)

// Limits of a connection: who sends or reads slowly holds nothing up for long.
const (
	headerTime = 5 * time.Second
	readTime   = 15 * time.Second
	writeTime  = 20 * time.Second
	idleTime   = 2 * time.Minute
	maxHeader  = 16 << 10 // bytes
)

// server is the HTTP side of the service.
type server struct {
	store    store.Store
	handler  *handler
	guard    *guard
	places   directory
	mover    *mover
	pairing  *pairing
	intake   *intake
	limiter  *limiter
	page     *page.Channel // whom to wake when a conversation goes on
	home     http.Handler  // the chat page and its files
	easels   chan struct{} // held while a picture is drawn
	secure   bool          // the public address is https: cookies go over nothing else
	closing  context.Context
	now      func() time.Time
	ahead    func() time.Duration // of this machine's clock
	requests func() string        // a new request id
	// stopwatch is for figures only, finer than now.
	stopwatch func() time.Time
	log       *slog.Logger
	meter     *meters
}

// routes returns the handler of every address.
func (s *server) routes() http.Handler { return s.wrap(s.router()) }

// router knows every address.
func (s *server) router() *mux.Router {
	r := mux.NewRouter()
	r.NotFoundHandler = s.plain(func(http.ResponseWriter, *http.Request) error {
		return notFound("There is no such address; GET /v1/openapi.yaml lists all.")
	})
	r.MethodNotAllowedHandler = s.plain(func(w http.ResponseWriter, q *http.Request) error {
		w.Header().Set("Allow", strings.Join(allowed(r, q), ", "))
		return wrongMethod(q.Method)
	})
	handle := func(method, path string, f func(http.ResponseWriter, *http.Request) error) {
		methods := []string{method}
		if method == http.MethodGet {
			methods = append(methods, http.MethodHead)
		}
		r.Handle(path, s.plain(f)).Methods(methods...)
	}
	handle("POST", "/v1/messages", s.postMessage)
	for _, method := range []string{"GET", "POST", "PUT"} { // each network has its own way
		r.PathPrefix(intakePath + "{channel}/").Handler(s.plain(s.intake.call)).Methods(method)
	}
	handle("GET", "/v1/conversations/{id}", s.getConversation)
	handle("GET", "/v1/media/{token}", s.getMedia)
	handle("GET", picturePath+"{token}", s.getPicture)
	handle("GET", "/v1/machines/{id}/records", s.getRecords)
	handle("GET", dialog.ReportPath+"{token}", s.getReport)
	handle("GET", "/v1/openapi.yaml", s.getOpenAPI)
	handle("GET", "/pair.css", s.getPairStyle)
	handle("GET", "/pair/{token}", s.getPair)
	handle("POST", "/pair/{token}", s.postPair)
	handle("GET", "/healthz", s.getHealth)
	handle("GET", "/readyz", s.getReady)
	metrics := promhttp.HandlerFor(s.meter.registry, promhttp.HandlerOpts{})
	handle("GET", "/metrics", func(w http.ResponseWriter, q *http.Request) error {
		if err := s.guard.hosts.check(q); err != nil {
			return err
		}
		metrics.ServeHTTP(w, q)
		return nil
	})
	// The page and its files hold nothing of anybody; what they ask for does.
	for _, path := range homePaths() {
		handle("GET", path, func(w http.ResponseWriter, q *http.Request) error {
			if err := s.guard.hosts.check(q); err != nil {
				return err
			}
			s.home.ServeHTTP(w, q)
			return nil
		})
	}
	return r
}

// allowed lists the methods with which an address can be called.
func allowed(r *mux.Router, q *http.Request) []string {
	var list []string
	for _, m := range []string{http.MethodGet, http.MethodHead, http.MethodPost} {
		try := q.Clone(q.Context())
		try.Method = m
		var match mux.RouteMatch
		if r.Match(try, &match) && match.MatchErr == nil {
			list = append(list, m)
		}
	}
	return list
}

// plain turns a function that may fail into a handler: its error becomes a
// problem document.
func (s *server) plain(f func(http.ResponseWriter, *http.Request) error) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		i := info(r)
		i.route = patternOf(r)
		if err := f(w, r); err != nil {
			i.problem = asProblem(err)
			i.problem.write(w, i.id)
		}
	})
}

// httpServer returns the server of a handler with its limits.
func httpServer(h http.Handler, log *slog.Logger) *http.Server {
	return &http.Server{
		Handler:           h,
		ReadHeaderTimeout: headerTime,
		ReadTimeout:       readTime,
		WriteTimeout:      writeTime,
		IdleTimeout:       idleTime,
		MaxHeaderBytes:    maxHeader,
		ErrorLog:          slog.NewLogLogger(log.Handler(), slog.LevelDebug),
	}
}

// readBody returns the body of a request. Its error is a *problem.
func readBody(w http.ResponseWriter, r *http.Request) ([]byte, error) {
	body, err := io.ReadAll(http.MaxBytesReader(w, r.Body, maxBody))
	var large *http.MaxBytesError
	switch {
	case err == nil:
		return body, nil
	case errors.As(err, &large):
		return nil, tooLarge()
	case errors.Is(err, os.ErrDeadlineExceeded):
		return nil, tooSlow()
	}
	return nil, notJSON("The body ended before it was complete.").because(err)
}
