package main

import (
	"context"
	"net/http"
	"time"
)

// readyTime is how long a dependency may take to answer.
const readyTime = 2 * time.Second

// maxSkew is how far the clock of the store may be from ours before it is
// worth a look.
const maxSkew = 5 * time.Second

// getHealth is GET /healthz: the process is alive.
func (s *server) getHealth(w http.ResponseWriter, r *http.Request) error {
	return writeJSON(w, map[string]string{"status": "ok"})
}

// readiness is GET /readyz.
type readiness struct {
	Status  string             `json:"status"`
	Store   string             `json:"store"`
	Skew    float64            `json:"skew_seconds"` // the store's clock minus ours
	Warning string             `json:"warning,omitempty"`
	Waiting map[string]float64 `json:"waiting,omitempty"`
}

// getReady is GET /readyz: whether messages can be handled, and if not, which
// dependency is missing.
func (s *server) getReady(w http.ResponseWriter, r *http.Request) error {
	if s.closing.Err() != nil {
		return notReady("service", "The service is stopping.", s.closing.Err())
	}
	ctx, cancel := context.WithTimeout(r.Context(), readyTime)
	defer cancel()
	if err := s.store.Ping(ctx); err != nil {
		return notReady("store", "The store does not answer.", err)
	}
	stats, err := s.store.Stats(ctx, s.now())
	if err != nil {
		// A part of a cluster is away. The shops of the others are served, which
		// a replica that takes itself out could not do.
		s.log.Warn("a part of the store does not answer", "error", err)
		return writeJSON(w, readiness{Status: "ready", Store: "in part",
			Warning: "A part of the store does not answer; the shops in it have to wait."})
	}
	skew := stats.Skew + s.ahead() // of this machine's clock
	ready := readiness{Status: "ready", Store: "ok", Skew: skew.Seconds(), Waiting: map[string]float64{
		"outgoing": float64(stats.Waiting), "outgoing_oldest_seconds": stats.OldestWait.Seconds(),
		"dead": float64(stats.Dead), "due": float64(stats.Due), "due_late_seconds": stats.Late.Seconds(),
	}}
	if skew.Abs() > maxSkew {
		ready.Warning = "The clocks of this machine and of the store differ."
	}
	return writeJSON(w, ready)
}

func notReady(missing, detail string, err error) error {
	return (&problem{Code: "not-ready", Status: http.StatusServiceUnavailable, Title: "A dependency is missing",
		Detail: detail, Missing: []string{missing}, After: readyTime}).because(err)
}
