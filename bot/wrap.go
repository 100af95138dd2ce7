package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"runtime/debug"
	"strconv"
	"strings"
	"time"

	"github.com/gorilla/mux"
)

// requestInfo is what is noted of a request while it is answered.
type requestInfo struct {
	id      string
	problem *problem
	attrs   []slog.Attr // for the log: never a text, a token or a whole number
	route   string      // the pattern that the address matched, "" when none
	waited  time.Duration
}

type infoKey struct{}

// info returns the notes of a request that came through wrap.
func info(r *http.Request) *requestInfo {
	if i, ok := r.Context().Value(infoKey{}).(*requestInfo); ok {
		return i
	}
	return &requestInfo{}
}

// traceOf returns the id under which a request, or what follows from it, is
// logged; a new one for what nobody asked for.
func traceOf(ctx context.Context) string {
	if i, ok := ctx.Value(infoKey{}).(*requestInfo); ok && i.id != "" {
		return i.id
	}
	return newID()
}

// traceParent returns the trace id of a traceparent header (W3C Trace Context,
// section 3.2), so that a program finds its own trace in the log; "" when there
// is none.
func traceParent(header string) string {
	parts := strings.Split(header, "-")
	if len(parts) < 4 || len(parts[0]) != 2 || len(parts[1]) != 32 ||
		strings.Trim(parts[1], "0123456789abcdef") != "" || strings.Trim(parts[1], "0") == "" {
		return ""
	}
	return parts[1]
}

// contentPolicy lets a page load its own files and nothing else: no inline
// script or style, no other site, no frame around it.
const contentPolicy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; font-src 'self'; " +
	"connect-src 'self'; manifest-src 'self'; worker-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

// wrap adds to a handler what every answer has: headers, a request id, a line
// in the log, its figures, and a problem document where the handler panics.
func (s *server) wrap(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		began := s.stopwatch()
		i := &requestInfo{id: r.Header.Get("X-Request-Id")}
		if i.id == "" {
			i.id = traceParent(r.Header.Get("Traceparent"))
		}
		if !plainName(i.id) || len(i.id) > 64 {
			i.id = s.requests()
		}
		r = r.WithContext(context.WithValue(r.Context(), infoKey{}, i))
		h := w.Header()
		h.Set("X-Request-Id", i.id)
		h.Set("Content-Security-Policy", contentPolicy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Permissions-Policy", "camera=(), geolocation=(), microphone=(), screen-wake-lock=(self)")
		note := &statusWriter{ResponseWriter: w}
		defer func() {
			if p := recover(); p != nil {
				s.panicked(note, r, p)
			}
			s.note(note.status, r, s.stopwatch().Sub(began))
		}()
		next.ServeHTTP(note, r)
	})
}

// panicked answers a request whose handler panicked, where nothing was written
// yet.
func (s *server) panicked(w *statusWriter, r *http.Request, p any) {
	if p == http.ErrAbortHandler {
		panic(p)
	}
	i := info(r)
	i.problem = internal(fmt.Errorf("panic: %v", p))
	s.log.Error("a request met a fault of the program", "request", i.id, "panic", p, "stack", string(debug.Stack()))
	if w.status == 0 {
		i.problem.write(w, i.id)
	}
}

// note logs and counts an answer. The path is logged as its route: an address
// may hold a token.
func (s *server) note(status int, r *http.Request, took time.Duration) {
	if status == 0 {
		status = http.StatusOK
	}
	i := info(r)
	route := i.route
	if route == "" {
		route = "other"
	}
	// Phones go out of reach all the time: an answer that nobody waits for any
	// more is no fault of the service.
	left := i.problem != nil && errors.Is(i.problem.cause, context.Canceled) && r.Context().Err() != nil
	counted := strconv.Itoa(status)
	if left {
		counted = "left"
	}
	s.meter.requests.WithLabelValues(route, methodOf(r), counted).Inc()
	s.meter.seconds.WithLabelValues(route).Observe((took - i.waited).Seconds())
	var level slog.Level
	switch {
	case left:
		level = slog.LevelDebug
	case status >= 500:
		level = slog.LevelError
	case status >= 400:
		level = slog.LevelWarn
	default: // a message that was handled has its line already
		level = slog.LevelDebug
	}
	if !s.log.Enabled(r.Context(), level) {
		return
	}
	attrs := append([]slog.Attr{
		slog.String("request", i.id), slog.String("method", methodOf(r)), slog.String("route", route),
		slog.Int("status", status), slog.Duration("took", took.Round(time.Microsecond)),
	}, i.attrs...)
	if i.problem != nil {
		attrs = append(attrs, slog.String("problem", i.problem.Code))
		if i.problem.cause != nil {
			attrs = append(attrs, slog.String("cause", i.problem.cause.Error()))
		}
	}
	s.log.LogAttrs(r.Context(), level, "answered", attrs...)
}

// methodOf is the request's method; one that HTTP does not know is "other", so
// that nobody can fill the metrics with names.
func methodOf(r *http.Request) string {
	switch r.Method {
	case http.MethodGet, http.MethodHead, http.MethodPost, http.MethodPut, http.MethodPatch, http.MethodDelete, http.MethodOptions:
		return r.Method
	}
	return "other"
}

// patternOf is the pattern of the route that the router chose, "" outside it.
func patternOf(r *http.Request) string {
	if route := mux.CurrentRoute(r); route != nil {
		if t, err := route.GetPathTemplate(); err == nil {
			return t
		}
	}
	return ""
}

// statusWriter notes the status of an answer.
type statusWriter struct {
	http.ResponseWriter
	status int
}

func (w *statusWriter) WriteHeader(status int) {
	if w.status == 0 {
		w.status = status
	}
	w.ResponseWriter.WriteHeader(status)
}

func (w *statusWriter) Write(b []byte) (int, error) {
	if w.status == 0 {
		w.status = http.StatusOK
	}
	return w.ResponseWriter.Write(b)
}

// Unwrap lets http.ResponseController reach the connection.
func (w *statusWriter) Unwrap() http.ResponseWriter { return w.ResponseWriter }
