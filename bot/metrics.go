package main

import (
	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
)

// meters are the figures that the service publishes about itself. None holds a
// person, a saw or a conversation.
type meters struct {
	registry *prometheus.Registry
	requests *prometheus.CounterVec
	seconds  *prometheus.HistogramVec
	again    prometheus.Counter
	stale    prometheus.Counter
	sent     *prometheus.CounterVec
}

func newMeters() *meters {
	m := &meters{
		registry: prometheus.NewRegistry(),
		requests: prometheus.NewCounterVec(prometheus.CounterOpts{Name: "shimwright_http_requests_total",
			Help: "Requests answered, by route, method and status."}, []string{"route", "method", "status"}),
		seconds: prometheus.NewHistogramVec(prometheus.HistogramOpts{Name: "shimwright_http_request_seconds",
			Help: "Time to answer a request, by route; waiting for news is left out.", Buckets: prometheus.ExponentialBuckets(0.0005, 2, 15)},
			[]string{"route"}),
		again: prometheus.NewCounter(prometheus.CounterOpts{Name: "shimwright_messages_again_total",
			Help: "Messages that were answered from the store because they had been handled before."}),
		stale: prometheus.NewCounter(prometheus.CounterOpts{Name: "shimwright_commits_stale_total",
			Help: "Commits that came too late and were tried on the fresh state."}),
	}
	m.sent = prometheus.NewCounterVec(prometheus.CounterOpts{Name: "shimwright_outgoing_total",
		Help: "Attempts to send an outgoing message, by channel and outcome."}, []string{"channel", "outcome"})
	m.registry.MustRegister(m.requests, m.seconds, m.again, m.stale, m.sent,
		collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	return m
}

// delivered counts how an attempt to send ended.
func (m *meters) delivered(channel string, r deliveryResult) {
	m.sent.WithLabelValues(channel, string(r)).Inc()
}
