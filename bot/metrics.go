package main

import (
	"context"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"

	"shimwright/bot/channel/webhook"
	"shimwright/dialog"
	"shimwright/store"
)

// meters are the figures that the service publishes about itself. None holds a
// person, a saw or a conversation, and every label has few values, all of the
// program's own.
type meters struct {
	registry *prometheus.Registry
	requests *prometheus.CounterVec
	seconds  *prometheus.HistogramVec
	again    prometheus.Counter
	stale    prometheus.Counter
	sent     *prometheus.CounterVec
	messages *prometheus.CounterVec
	steps    *prometheus.CounterVec
	handling prometheus.Histogram
	verdicts *prometheus.CounterVec
	advice   *prometheus.CounterVec
	reminded prometheus.Counter
	stores   *prometheus.HistogramVec
	failures *prometheus.CounterVec
}

// fineBuckets are those of what takes from 0.1 ms to 3 s.
var fineBuckets = prometheus.ExponentialBuckets(0.0001, 2, 16)

func newMeters() *meters {
	counters := func(name, help string, labels ...string) *prometheus.CounterVec {
		return prometheus.NewCounterVec(prometheus.CounterOpts{Name: "shimwright_" + name, Help: help}, labels)
	}
	counter := func(name, help string) prometheus.Counter {
		return prometheus.NewCounter(prometheus.CounterOpts{Name: "shimwright_" + name, Help: help})
	}
	m := &meters{
		registry: prometheus.NewRegistry(),
		requests: counters("http_requests_total", "Requests answered, by route, method and status; left where nobody waited for the answer any more.", "route", "method", "status"),
		seconds: prometheus.NewHistogramVec(prometheus.HistogramOpts{Name: "shimwright_http_request_seconds",
			Help: "Time to answer a request, by route; waiting for news is left out.", Buckets: prometheus.ExponentialBuckets(0.0005, 2, 15)},
			[]string{"route"}),
		again:    counter("messages_again_total", "Messages that were answered from the store because they had been handled before."),
		stale:    counter("commits_stale_total", "Commits that came too late and were tried on the fresh state."),
		sent:     counters("outgoing_total", "Attempts to send an outgoing message, by channel and outcome.", "channel", "outcome"),
		messages: counters("messages_total", "Messages handled and stored, by channel.", "channel"),
		steps:    counters("steps_total", "Steps of the dialog that were stored, by the kind of question that they end with.", "prompt"),
		handling: prometheus.NewHistogram(prometheus.HistogramOpts{Name: "shimwright_message_seconds",
			Help: "Time from a message's turn to its stored answer.", Buckets: fineBuckets}),
		verdicts: counters("verdicts_total", "Verdicts on a characteristic, by decision.", "decision"),
		advice:   counters("advice_total", "Moves advised, by what is moved where.", "move"),
		reminded: counter("reminders_total", "Reminders handled."),
		stores: prometheus.NewHistogramVec(prometheus.HistogramOpts{Name: "shimwright_store_seconds",
			Help: "Time that the store takes, by operation.", Buckets: fineBuckets}, []string{"operation"}),
		failures: counters("store_failures_total", "Operations of the store that failed, by operation and reason.", "operation", "reason"),
	}
	m.registry.MustRegister(m.requests, m.seconds, m.again, m.stale, m.sent, m.messages, m.steps, m.handling,
		m.verdicts, m.advice, m.reminded, m.stores, m.failures,
		collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	m.zero()
	return m
}

// The values that the dialog gives to labels; another one counts as "other".
var (
	decisions = []string{"within", "outside", "undecided", "open"}
	moves     = []string{"raise", "lower", "left", "right", "forward", "back", "tilt-more", "tilt-less", "turn", "wider", "narrower"}
	prompts   = []string{"reading", "choice", "confirm", "text", "idle"}
)

// zero makes the series that alerts rest on exist from the start: the first
// failure would otherwise be no increase.
func (m *meters) zero() {
	for _, d := range decisions {
		m.verdicts.WithLabelValues(d)
	}
	for _, p := range prompts {
		m.steps.WithLabelValues(p)
	}
	for _, to := range moves {
		m.advice.WithLabelValues(to)
	}
	for _, r := range []deliveryResult{wasSent, wasRetried, wasDead} {
		m.sent.WithLabelValues(webhook.Name, string(r))
	}
	for _, reason := range []string{"unavailable", "full", "other"} {
		m.failures.WithLabelValues("commit", reason)
		m.failures.WithLabelValues("load", reason)
	}
}

// oneOf keeps a label to the values that are known.
func oneOf(known []string, s string) string {
	for _, k := range known {
		if s == k {
			return s
		}
	}
	return "other"
}

// delivered counts how an attempt to send ended.
func (m *meters) delivered(channel string, r deliveryResult) {
	m.sent.WithLabelValues(channel, string(r)).Inc()
}

// handled counts a message or reminder whose answer is stored. The channel is
// one that is set up, never a client's word.
func (m *meters) handled(e event, t dialog.Turn, took time.Duration) {
	if e.speaker == nil {
		m.reminded.Inc()
	} else {
		m.messages.WithLabelValues(e.channel).Inc()
		m.handling.Observe(took.Seconds())
	}
	m.steps.WithLabelValues(oneOf(prompts, string(t.Prompt.Kind))).Inc()
	if t.Verdict != nil {
		m.verdicts.WithLabelValues(oneOf(decisions, t.Verdict.Decision)).Inc()
	}
	for _, a := range t.Advice {
		m.advice.WithLabelValues(oneOf(moves, a.Move)).Inc()
	}
}

// queues publishes how deep the store's queues are when it is asked.
type queues struct {
	store                                      store.Store
	clock                                      *sharedClock
	up, waiting, oldest, dead, due, late, skew *prometheus.Desc
}

func newQueues(s store.Store, clock *sharedClock) *queues {
	desc := func(name, help string) *prometheus.Desc {
		return prometheus.NewDesc("shimwright_"+name, help, nil, nil)
	}
	return &queues{store: s, clock: clock,
		up:      desc("store_up", "1 when the store answers, else 0."),
		waiting: desc("outgoing_waiting", "Outgoing messages that are not settled."),
		oldest:  desc("outgoing_oldest_seconds", "Age of the oldest outgoing message that should have gone."),
		dead:    desc("dead_letters", "Outgoing messages that were given up."),
		due:     desc("reminders_due", "Reminders that are due and not handled."),
		late:    desc("reminders_late_seconds", "Lateness of the longest due reminder."),
		skew:    desc("store_skew_seconds", "The store's clock minus this machine's."),
	}
}

// Describe implements prometheus.Collector.
func (q *queues) Describe(c chan<- *prometheus.Desc) {
	for _, d := range []*prometheus.Desc{q.up, q.waiting, q.oldest, q.dead, q.due, q.late, q.skew} {
		c <- d
	}
}

// Collect implements prometheus.Collector. Without a store only that is told:
// a depth that is not known is not zero.
func (q *queues) Collect(c chan<- prometheus.Metric) {
	ctx, cancel := context.WithTimeout(context.Background(), readyTime)
	defer cancel()
	gauge := func(d *prometheus.Desc, v float64) { c <- prometheus.MustNewConstMetric(d, prometheus.GaugeValue, v) }
	stats, err := q.store.Stats(ctx, q.clock.now())
	if err == nil {
		err = q.store.Ping(ctx)
	}
	if err != nil {
		gauge(q.up, 0)
		return
	}
	gauge(q.up, 1)
	gauge(q.waiting, float64(stats.Waiting))
	gauge(q.oldest, stats.OldestWait.Seconds())
	gauge(q.dead, float64(stats.Dead))
	gauge(q.due, float64(stats.Due))
	gauge(q.late, stats.Late.Seconds())
	gauge(q.skew, (stats.Skew + q.clock.ahead()).Seconds())
}
