package main

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"net"
	"net/http"
	"os"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"shimwright/bot/channel/webhook"
	"shimwright/bot/testenv"
	"shimwright/store/redisstore"
	"shimwright/store/redistest"
)

// TestLoad holds levelling conversations with two replicas of the built program
// on one Redis: 300 at once for some seconds, or 20,000 for ten minutes with
// SHIMWRIGHT_LONG=1. Each message goes to either replica. Again and again it
// finds out how many messages a second they can answer, and then sends 60 % of
// that for a while, at even distances, whether or not the ones before are
// answered. In the second half the callback address takes connections and answers
// none of the texts that wait for it. In the end more callers come than there is
// room for.
//
// No message may fail and no answer may differ when its message is sent again,
// to the other replica. In the long form memory must not grow, nor the 99th
// percentile; in the short one it is too short to tell.
//
//	SHIMWRIGHT_LONG=1 go test ./bot -run TestLoad -v -timeout 30m
func TestLoad(t *testing.T) {
	testenv.Long(t)
	conversations, turns, probes, lasts, callers := 300, 2, 1000, 2*time.Second, 1300
	long := os.Getenv(longTests) != ""
	if long {
		conversations, turns, probes, lasts, callers = 20_000, 12, 3000, 24*time.Second, 3000
	}
	l := newLoad(t, conversations)
	halves, ceiling := [2]span{}, 0.0
	for i := range halves {
		if i == 1 {
			queueMany(t, l.store, time.Now(), webhook.Name, 300, 1)
		}
		list := make([]span, turns)
		for j := range list {
			ceiling = l.ceiling(probes)
			list[j] = l.pace(0.6*ceiling, lasts)
			t.Logf("ceiling %.0f messages/s; at 60 %% of it %s", ceiling, list[j])
		}
		halves[i] = together(list)
		t.Logf("half %d: %s", i+1, halves[i])
	}
	if n := waiting(t, l.store, time.Now()); n == 0 {
		t.Error("the texts to the callback address that is dead have gone")
	}
	if long {
		halves[0].steady(t, halves[1])
	}
	l.flood(callers)
	after := l.pace(0.3*ceiling, lasts/2)
	t.Logf("afterwards: %s", after)

	if e := l.errors.Load(); e > 0 || l.differing.Load() > 0 {
		t.Errorf("%d of %d messages failed, the first: %v; %d answers differed of %d asked for again",
			e, l.said.Load(), l.first.Load(), l.differing.Load(), l.again.Load())
	}
	t.Logf("%d messages in %d conversations, %d of them to their end, %d asked for again", l.said.Load(), conversations, l.ended.Load(), l.again.Load())
	if faults, err := l.store.Check(t.Context()); err != nil || len(faults) > 0 {
		t.Errorf("the store's own check: %v %v", faults, err)
	}
}

// load is two replicas and those who talk to them.
type load struct {
	t        *testing.T
	store    *redisstore.Store
	replicas [2]*process
	client   *http.Client
	idle     chan *talker // who may say the next message

	said, ended, again, differing, errors atomic.Int64
	first                                 atomic.Pointer[error]
}

func newLoad(t *testing.T, conversations int) *load {
	server := redistest.Start(t)
	s, err := redisstore.Open(t.Context(), server.URL(0))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = s.Close() })
	l := &load{t: t, store: s.(*redisstore.Store), idle: make(chan *talker, conversations),
		client: &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: 2 * connections}}}
	t.Cleanup(l.client.CloseIdleConnections)
	dead := deaf(t)
	for i := range l.replicas {
		l.replicas[i] = startProgram(t, t.TempDir(), prefix+"_REDIS_URL="+server.URL(0), prefix+"_WEBHOOK_SECRETS="+testSecret,
			prefix+"_CALLBACK_URL="+dead, prefix+"_LOG=error", prefix+"_RATE=10000", prefix+"_BURST=100000")
	}
	for i := range conversations {
		l.idle <- newTalker(i, 2026)
	}
	return l
}

// deaf returns the address of a server that takes connections and never answers.
func deaf(t *testing.T) string {
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = listener.Close() })
	return "http://" + listener.Addr().String() + "/"
}

// say posts the next message of somebody who is idle, to either replica, and
// now and then once more to the other one.
func (l *load) say() error {
	c := <-l.idle
	defer func() { l.idle <- c }()
	at := rand.IntN(2)
	n := l.said.Add(1)
	signs := sign(l.t, testSecret, time.Now())
	body, err := postTo(l.client, l.replicas[at].url, c.now, signs)
	if err != nil {
		l.failed(err)
		return err
	}
	if n%50 == 0 {
		l.again.Add(1)
		if same, err := postTo(l.client, l.replicas[1-at].url, c.now, signs); err != nil || string(same) != string(body) {
			l.differing.Add(1)
		}
	}
	c.acked[c.now.Conversation] = append(c.acked[c.now.Conversation], c.now.ID)
	text, err := c.bench.reply(decodeAnswer(l.t, body))
	switch {
	case err != nil:
		l.failed(err)
	case text == "":
		l.ended.Add(1)
		clear(c.acked)
		c.begin()
	default:
		c.say(text)
	}
	return err
}

func (l *load) failed(err error) {
	l.errors.Add(1)
	l.first.CompareAndSwap(nil, &err)
}

// ceiling returns how many messages a second are answered when each of many
// callers sends its next as soon as it has an answer.
func (l *load) ceiling(n int) float64 {
	clients := make([]func() error, connections)
	for i := range clients {
		clients[i] = l.say
	}
	began := time.Now()
	done := spread(l.t, n, clients)
	return float64(len(done)) / time.Since(began).Seconds()
}

// span is what was seen of a time at an even rate.
type span struct {
	sent     int
	p50, p99 time.Duration
	memory   []float64 // resident MB of both replicas together, by looks
}

func (s span) String() string {
	return fmt.Sprintf("%d messages, median %v, 99 of 100 within %v, replicas hold %.1f MB", s.sent,
		s.p50.Round(10*time.Microsecond), s.p99.Round(10*time.Microsecond), middle(s.memory))
}

// together is the spans of a half: the middle one of their times, so that a
// moment in which the machine did something else does not count for the rest.
func together(list []span) (s span) {
	var p50, p99 []time.Duration
	for _, o := range list {
		s.sent += o.sent
		p50, p99, s.memory = append(p50, o.p50), append(p99, o.p99), append(s.memory, o.memory...)
	}
	slices.Sort(p50)
	slices.Sort(p99)
	s.p50, s.p99 = p50[len(p50)/2], p99[len(p99)/2]
	return s
}

// steady reports what grew from one span to the next.
func (s span) steady(t *testing.T, next span) {
	t.Helper()
	if a, b := middle(s.memory), middle(next.memory); b > 1.3*a+24 {
		t.Errorf("memory grew from %.1f to %.1f MB", a, b)
	}
	if next.p99 > 2*s.p99 {
		t.Errorf("the 99th percentile grew from %v to %v", s.p99, next.p99)
	}
}

func middle(list []float64) float64 {
	if len(list) == 0 {
		return 0
	}
	sorted := slices.Sorted(slices.Values(list))
	return sorted[len(sorted)/2]
}

// pace sends messages at even distances. A message's time counts from when it
// was to be sent, so that one which waits for those before it is seen to wait.
func (l *load) pace(rate float64, lasts time.Duration) span {
	n := int64(rate * lasts.Seconds())
	began := time.Now()
	var next atomic.Int64
	var mu sync.Mutex
	var times []time.Duration
	var wg sync.WaitGroup
	for range 4 * connections {
		wg.Go(func() {
			for {
				i := next.Add(1) - 1
				if i >= n {
					return
				}
				due := began.Add(time.Duration(float64(i) / rate * float64(time.Second)))
				time.Sleep(time.Until(due))
				err := l.say()
				mu.Lock()
				if err == nil {
					times = append(times, time.Since(due))
				}
				mu.Unlock()
			}
		})
	}
	var s span
	ended := make(chan struct{})
	go func() { wg.Wait(); close(ended) }()
	for look := time.NewTicker(lasts / 10); ; {
		select {
		case <-look.C:
			s.memory = append(s.memory, l.memory())
			continue
		case <-ended:
			look.Stop()
		}
		break
	}
	slices.Sort(times)
	s.sent, s.p50, s.p99 = len(times), quantile(times, 0.50), quantile(times, 0.99)
	return s
}

// memory is what both replicas hold, in MB, as they say themselves.
func (l *load) memory() (sum float64) {
	for _, p := range l.replicas {
		text, err := get(l.client, p.url+"/metrics")
		if err != nil {
			l.t.Error(err)
			return 0
		}
		_, after, _ := strings.Cut(text, "\nprocess_resident_memory_bytes ")
		line, _, _ := strings.Cut(after, "\n")
		bytes, _ := strconv.ParseFloat(line, 64)
		sum += bytes / (1 << 20)
	}
	return sum
}

// flood lets more callers come at once than there is room for, each with a
// conversation of its own and no patience. Each gets an answer, or is asked to
// come again.
func (l *load) flood(callers int) {
	l.t.Helper()
	client := &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: callers}}
	defer client.CloseIdleConnections()
	const each = 4
	var answered, later atomic.Int64
	signs := sign(l.t, testSecret, time.Now())
	var wg sync.WaitGroup
	for i := range callers {
		wg.Go(func() {
			for n := range each {
				m := posted{ID: fmt.Sprint("m-", n), Conversation: fmt.Sprint("flood-", i), Sender: "kim", Text: "menu"}
				_, err := postTo(client, l.replicas[i%2].url, m, signs)
				var p *statusError
				switch {
				case err == nil:
					answered.Add(1)
				case errors.As(err, &p) && (p.status == 429 || p.status == 503) && p.retry != "":
					later.Add(1)
				default:
					l.t.Errorf("beyond what there is room for: %v", err)
					return
				}
			}
		})
	}
	wg.Wait()
	l.t.Logf("%d callers at once: %d messages answered, %d asked to come again", callers, answered.Load(), later.Load())
	if answered.Load() == 0 {
		l.t.Error("nobody was answered")
	}
	for i, p := range l.replicas {
		if _, err := get(client, p.url+"/readyz"); err != nil {
			l.t.Errorf("replica %d after that: %v", i+1, err)
		}
	}
}
