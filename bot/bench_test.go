package main

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/gorilla/mux"
	bolt "go.etcd.io/bbolt"

	"shimwright/dialog"
	"shimwright/store"
)

// connections is how many clients speak at once in the benchmarks.
const connections = 32

// BenchmarkMessages measures POST /v1/messages over loopback TCP with the
// embedded store, with whole levelling conversations of 32 programs as the
// mix, against a bare handler behind the same router that does one durable
// bbolt transaction of the same bytes, batched as the store batches.
//
//	go test ./bot -run XXX -bench Messages$ -benchtime 16000x
func BenchmarkMessages(b *testing.B) {
	s := newBenchService(b, openBolt(b))
	ours, bare := side{clients: s.holders(b)}, side{name: "bare-", clients: bareOnBolt(b)}
	s.steps, s.planning, s.plans = 0, 0, 0
	inTurns(b, &ours, &bare)
	b.ReportMetric(float64(s.steps.Microseconds())/float64(max(1, b.N)), "µs-step/msg")
	b.ReportMetric(100*s.planning.Seconds()/max(1e-9, s.steps.Seconds()), "%-of-step-planning")
}

// benchServer is a service whose steps are timed.
type benchServer struct {
	app      *app
	url      string
	mu       sync.Mutex
	steps    time.Duration // in the dialog
	planning time.Duration // of that, in steps that gave advice
	plans    int
	record   func(store.Commit, string) // called with each commit, when set
}

// newBenchService starts one on an open store, which it closes.
func newBenchService(b *testing.B, inner store.Store, change ...func(*Config)) *benchServer {
	s := &benchServer{}
	tap := &faultyStore{Store: inner}
	cfg := testConfig()
	for _, f := range change {
		f(&cfg)
	}
	a, err := newApp(cfg, tap, clock, slog.New(slog.NewTextHandler(io.Discard, &slog.HandlerOptions{Level: slog.LevelError})))
	if err != nil {
		b.Fatal(err)
	}
	a.handler.dialog = func(v dialog.View, st dialog.State, in dialog.Input, now time.Time) dialog.Result {
		began := time.Now()
		res := dialog.Step(v, st, in, now)
		s.mu.Lock()
		defer s.mu.Unlock()
		took := time.Since(began)
		s.steps += took
		if len(res.Turn.Advice) > 0 {
			s.planning, s.plans = s.planning+took, s.plans+1
		}
		return res
	}
	hook := func(c store.Commit) {
		if s.record != nil {
			s.record(c, "")
		}
	}
	tap.before.Store(&hook)
	web := httptest.NewUnstartedServer(nil)
	web.Config = httpServer(a.server.routes(), a.log)
	web.Start()
	a.start()
	s.url, s.app = web.URL, a
	b.Cleanup(func() {
		a.stop()
		web.Close()
		if err := a.close(); err != nil {
			b.Error(err)
		}
	})
	return s
}

func (s *benchServer) holders(b *testing.B) []func() error {
	clients := make([]func() error, connections)
	for i := range clients {
		clients[i] = s.holder(b, i)
	}
	return clients
}

// holder returns what says the next message of a client that holds one
// levelling conversation after the other.
func (s *benchServer) holder(b *testing.B, i int) func() error {
	c := &talker{name: fmt.Sprint("bench-", i), seed: uint64(i), acked: map[string][]string{}}
	c.client = &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: 1}}
	b.Cleanup(c.client.CloseIdleConnections)
	c.begin()
	signs := sign(b, testSecret, time.Now())
	return func() error {
		body, err := postTo(c.client, s.url, c.now, signs)
		if err != nil {
			return err
		}
		c.acked[c.now.Conversation] = append(c.acked[c.now.Conversation], c.now.ID)
		text, err := c.bench.reply(decodeAnswer(b, body))
		if err != nil {
			return err
		}
		if text == "" {
			delete(c.acked, c.now.Conversation)
			c.begin()
			return nil
		}
		c.say(text)
		return nil
	}
}

// recordedMessage is one message as it was: what came in, how much was stored, what
// was answered.
type recordedMessage struct {
	request string
	stored  int
	answer  []byte
}

// recorded holds levelling conversations with the service and returns their
// messages.
func recorded(b *testing.B) []recordedMessage {
	s := newBenchService(b, openBolt(b))
	stored := 0
	s.record = func(c store.Commit, _ string) { stored = committedBytes(c) }
	var list []recordedMessage
	for seed := range 4 {
		n := 0
		client := &http.Client{Transport: &http.Transport{}}
		_, err := newBenchSaw(uint64(seed)).level(func(text string) (answer, error) {
			n++
			m := posted{ID: fmt.Sprint("m-", n), Conversation: fmt.Sprint("rec-", seed), Sender: "kim", Text: text}
			body, err := postTo(client, s.url, m, sign(b, testSecret, time.Now()))
			if err != nil {
				return answer{}, err
			}
			list = append(list, recordedMessage{bodyOf(m), stored, body})
			return decodeAnswer(b, body), nil
		})
		client.CloseIdleConnections()
		if err != nil {
			b.Fatal(err)
		}
	}
	return list
}

// committedBytes is how many bytes a commit writes, without their keys.
func committedBytes(c store.Commit) int {
	n := len(c.Answer) + len(c.Inbound.Text) + len(c.Inbound.Hash)
	for _, d := range c.Put {
		n += len(d.Body)
	}
	for _, r := range c.Records {
		n += len(r.Body)
	}
	for _, o := range c.Outbox {
		n += len(o.Body)
	}
	for _, r := range c.Remind {
		n += len(r.Body)
	}
	return n
}

// bareOnBolt are clients of the bare handler on one bbolt file.
func bareOnBolt(b *testing.B) []func() error {
	db, err := bolt.Open(filepath.Join(b.TempDir(), "bare.db"), 0o600, &bolt.Options{FreelistType: bolt.FreelistMapType})
	if err != nil {
		b.Fatal(err)
	}
	writer := newBareWriter(b, db)
	b.Cleanup(func() {
		writer.close()
		db.Close()
	})
	return bareClients(b, func(_ *http.Request, value []byte) error { return writer.put(value) })
}

// bareClients are clients of a handler behind the same router that only stores
// as many bytes as the service would, with put, and answers what it would.
func bareClients(b *testing.B, put func(r *http.Request, value []byte) error) []func() error {
	list := recorded(b)
	r := mux.NewRouter()
	r.HandleFunc("/v1/messages", func(w http.ResponseWriter, q *http.Request) {
		body, err := io.ReadAll(q.Body)
		if err != nil || len(body) == 0 {
			http.Error(w, "no body", http.StatusBadRequest)
			return
		}
		i, _ := strconv.Atoi(q.Header.Get("Exchange"))
		if err := put(q, bytes.Repeat([]byte("x"), list[i].stored)); err != nil {
			http.Error(w, err.Error(), http.StatusInternalServerError)
			return
		}
		w.Header().Set("Content-Type", "application/json")
		_, _ = w.Write(list[i].answer)
	}).Methods("POST")
	web := httptest.NewServer(r)
	b.Cleanup(web.Close)
	clients := make([]func() error, connections)
	for i := range clients {
		client := &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: 1}}
		b.Cleanup(client.CloseIdleConnections)
		next := i * len(list) / connections
		signs := sign(b, testSecret, time.Now())
		clients[i] = func() error {
			x := next % len(list)
			next++
			// The client does the same work as the other one's.
			req, err := http.NewRequest("POST", web.URL+"/v1/messages", strings.NewReader(list[x].request))
			if err != nil {
				return err
			}
			req.Header.Set("Content-Type", "application/json")
			req.Header.Set("Exchange", strconv.Itoa(x))
			signs(req)
			res, err := client.Do(req)
			if err != nil {
				return err
			}
			defer res.Body.Close()
			body, err := io.ReadAll(res.Body)
			decodeAnswer(b, body)
			return err
		}
	}
	return clients
}

// bareWriter writes values in batches: all that wait go in one transaction, and
// after one of four or more it gives its callers 5 ms to come back, as the
// embedded store does.
type bareWriter struct {
	jobs  chan bareJob
	ended chan struct{}
}

type bareJob struct {
	value []byte
	done  chan error
}

func newBareWriter(b *testing.B, db *bolt.DB) *bareWriter {
	w := &bareWriter{jobs: make(chan bareJob, 256), ended: make(chan struct{})}
	bucket := []byte("data")
	if err := db.Update(func(tx *bolt.Tx) error { _, err := tx.CreateBucket(bucket); return err }); err != nil {
		b.Fatal(err)
	}
	go func() {
		defer close(w.ended)
		last, n := 1, uint64(0)
		for first := range w.jobs {
			batch := w.gather(first, last)
			last = len(batch)
			err := db.Update(func(tx *bolt.Tx) error {
				for _, j := range batch {
					n++
					if err := tx.Bucket(bucket).Put(binary.BigEndian.AppendUint64(nil, n), j.value); err != nil {
						return err
					}
				}
				return nil
			})
			for _, j := range batch {
				j.done <- err
			}
		}
	}()
	return w
}

func (w *bareWriter) gather(first bareJob, last int) []bareJob {
	batch := []bareJob{first}
	var wait <-chan time.Time
	for len(batch) < 512 {
		select {
		case j := <-w.jobs:
			batch = append(batch, j)
			continue
		default:
		}
		if len(batch) >= last || last < 4 {
			break
		}
		if wait == nil {
			wait = time.After(5 * time.Millisecond)
		}
		select {
		case j := <-w.jobs:
			batch = append(batch, j)
			continue
		case <-wait:
		}
		break
	}
	return batch
}

func (w *bareWriter) put(value []byte) error {
	done := make(chan error, 1)
	w.jobs <- bareJob{value, done}
	return <-done
}

func (w *bareWriter) close() {
	close(w.jobs)
	<-w.ended
}
