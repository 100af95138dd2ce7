package main

import (
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"shimwright/bot/channel/webhook"
	"shimwright/bot/testenv"
	"shimwright/dialog"
	"shimwright/store"
	"shimwright/store/redisstore"
	"shimwright/store/redistest"
)

// TestScale stores many idle conversations and as many reminders in Redis, as
// the program itself writes them, and holds what each takes to a limit: 20,000
// of each, a million with SHIMWRIGHT_LONG=1. Most of them are due another day;
// of some it reports how fast they go to a sink in this process when they fall
// due in the same minute, and what a message costs Redis beside all that is
// stored.
//
// What counts as a conversation is its document, its person and its share of the
// shop. The address of a program's is counted beside it. A shop has a reminder
// for each saw and person; where it has only one, the list and its place among
// what falls due are not shared, and it takes more. With a million, Redis keeps
// what falls due in a less packed form than with 20,000: a reminder of four in a
// shop then takes some 210 bytes, 10 more than aimed at.
//
//	SHIMWRIGHT_LONG=1 go test ./bot -run Scale -v -timeout 60m
func TestScale(t *testing.T) {
	testenv.Long(t)
	n, due := 20_000, 1000
	if os.Getenv(longTests) != "" {
		n, due = 1_000_000, 50_000
	}
	like := typical(t)
	t.Run("a shop for each", func(t *testing.T) {
		s := like.stored(t, n, 1)
		s.atMost("conversation", s.conversations, 1024)
		s.t.Logf("and %.0f bytes for its address, %.0f for a reminder, the only one of its shop", s.addresses, s.reminders)
		s.drain(due)
		s.cost()
	})
	t.Run("four in a shop", func(t *testing.T) {
		s := like.stored(t, n, 4)
		s.atMost("conversation", s.conversations, 1024)
		s.atMost("reminder", s.reminders, 220)
	})
}

// pattern is what the program stores of somebody who has levelled a saw and
// asked to be reminded.
type pattern struct {
	conversation string
	docs         store.Documents
}

func typical(t *testing.T) pattern {
	s := newService(t)
	p := pattern{conversation: "tablet-0000000"}
	n := 0
	_, err := newBenchSaw(1).level(func(text string) (answer, error) {
		n++
		s.clock.advance(time.Second)
		return s.post(posted{ID: fmt.Sprint("m-", n), Conversation: p.conversation, Sender: "kim", Text: text}, s.signed), nil
	})
	if err != nil {
		t.Fatal(err)
	}
	shop, err := s.store.Resolve(t.Context(), conversationAddress(p.conversation))
	if err != nil {
		t.Fatal(err)
	}
	p.docs, err = s.store.Load(t.Context(), store.Conversation{Shop: shop, ID: p.conversation}, "")
	if err != nil || len(p.docs.Reminders) != 1 || len(p.docs.Saws) != 1 || len(p.docs.Last) != 1 {
		t.Fatalf("it is not what was thought: %+v %v", p.docs, err)
	}
	return p
}

// scale is a Redis with much in it.
type scale struct {
	t                                   *testing.T
	like                                pattern
	n, each                             int
	server                              *redistest.Server
	store                               store.Store
	due                                 time.Time
	conversations, addresses, reminders float64 // bytes each
}

// stored fills a Redis with n conversations, then n reminders, of which each
// shop has so many.
func (p pattern) stored(t *testing.T, n, each int) *scale {
	s := &scale{t: t, like: p, n: n, each: each, server: redistest.Start(t, "--auto-aof-rewrite-percentage", "0"),
		due: p.docs.Reminders[0].Due.Add(30 * 24 * time.Hour)}
	var err error
	if s.store, err = redisstore.Open(t.Context(), s.server.URL(0)); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.store.Close(); err != nil {
			t.Error(err)
		}
	})
	empty := s.used()
	grown := func(since float64) float64 { return (s.used() - since) / float64(n) }
	dump, lines := io.Pipe()
	go func() { _ = lines.CloseWithError(s.dump(lines)) }()
	if err := s.store.Restore(t.Context(), dump); err != nil {
		t.Fatal(err)
	}
	s.conversations = grown(empty)
	full := s.used()
	if each == 1 {
		s.all(n, func(i int) error {
			return s.store.Point(t.Context(), conversationAddress(s.conversation(i)), "", s.shop(i))
		})
	}
	s.addresses = grown(full)
	full = s.used()
	s.all(n/each, func(i int) error {
		return s.store.Commit(t.Context(), store.Commit{Shop: s.shop(i * each), At: start(), Remind: s.remind(i*each, s.due)})
	})
	s.reminders = grown(full)
	return s
}

func (s *scale) shop(i int) string         { return fmt.Sprintf("s%016d", i/s.each) }
func (s *scale) conversation(i int) string { return fmt.Sprintf("tablet-%07d", i) }

// dump writes the conversations and their people as a backup.
func (s *scale) dump(w io.Writer) error {
	d := store.NewDumpWriter(w)
	p := s.like.docs
	for i := 0; i < s.n && d.Err() == nil; i += s.each {
		d.Write(store.Line{Kind: store.LineShop, Shop: s.shop(i)})
		var people dialog.People
		if err := json.Unmarshal(p.People.Body, &people); err != nil {
			return err
		}
		for j := range s.each {
			one := people.Persons[0]
			one.Addresses = []dialog.Address{one.Addresses[0]}
			one.Addresses[0].Conversation = s.conversation(i + j)
			if j > 0 {
				one.ID = one.ID[:len(one.ID)-1] + strconv.Itoa(j)
				people.Persons = append(people.Persons, one)
			} else {
				people.Persons[0] = one
			}
			d.Write(store.DocLine(s.shop(i), store.Doc{Kind: store.KindConversation, ID: s.conversation(i + j), Version: 2, Body: p.Conversation.Body}))
			d.Write(store.Line{Kind: store.LineConversation, Shop: s.shop(i), Conversation: &store.DumpConversation{ID: s.conversation(i + j), Senders: []string{one.ID}}})
		}
		d.Write(store.DocLine(s.shop(i), store.Doc{Kind: store.KindPeople, Version: 1, Body: encode(people)}))
	}
	return d.End()
}

// remind is the reminders of the shop that begins with conversation i.
func (s *scale) remind(i int, due time.Time) (list []store.Reminder) {
	for j := range s.each {
		r := s.like.docs.Reminders[0]
		r.Conversation, r.Due = s.conversation(i+j), due
		if j > 0 {
			r.ID = r.ID[:len(r.ID)-1] + strconv.Itoa(j)
		}
		list = append(list, r)
	}
	return list
}

// all calls f for every number below n.
func (s *scale) all(n int, f func(i int) error) {
	s.t.Helper()
	const lanes = 32
	var wg sync.WaitGroup
	for lane := range lanes {
		wg.Go(func() {
			for i := lane; i < n; i += lanes {
				if err := f(i); err != nil {
					s.t.Error(err)
					return
				}
			}
		})
	}
	wg.Wait()
	if s.t.Failed() {
		s.t.FailNow()
	}
}

// used is the memory that Redis has in use, in bytes, without what it keeps for
// its clients and for the file for a moment.
func (s *scale) used() float64 {
	s.t.Helper()
	info, err := s.server.Client(s.t).InfoMap(s.t.Context(), "memory").Result()
	if err != nil {
		s.t.Fatal(err)
	}
	size := func(name string) float64 {
		v, err := strconv.ParseFloat(info["Memory"][name], 64)
		if err != nil {
			s.t.Fatal(err)
		}
		return v
	}
	return size("used_memory") - size("mem_clients_normal") - size("mem_aof_buffer")
}

func (s *scale) atMost(what string, took, most float64) {
	s.t.Helper()
	s.t.Logf("%.0f bytes for each %s of %d", took, what, s.n)
	if took > most {
		s.t.Errorf("a %s takes %.0f bytes, and should at most %.0f", what, took, most)
	}
}

// drainTime is how long the reminders may take before the test fails.
const drainTime = 5 * time.Minute

// drain lets some reminders fall due in the same minute, on one replica that
// does nothing else, with a sink that takes no time.
func (s *scale) drain(n int) {
	p, at := s.like.docs, s.like.docs.Reminders[0].Due
	s.all(n, func(i int) error {
		saw, last := p.Saws[0], p.Last[0]
		saw.Version = 0
		return s.store.Commit(s.t.Context(), store.Commit{Shop: s.shop(i), At: at, Put: []store.Doc{saw}, Records: []store.Record{last},
			Remind: s.remind(i, at.Add(time.Duration(i%60)*time.Second))})
	})
	now := at.Add(time.Minute)
	a, err := newApp(testConfig(), unclosed{s.store}, func() time.Time { return now }, quiet())
	if err != nil {
		s.t.Fatal(err)
	}
	sink := newFake(webhook.Name, nil)
	a.deliverer.routes[webhook.Name] = newRoute(sink)
	began, here, there := time.Now(), processorTime(), serverTime(s.t, s.server)
	a.start()
	// A look at what is due would cost the server as much as the work itself.
	// The clock stands still: what fails once, say because the server is stalled for
	// seconds, is not tried again, and this fails.
	for until := began.Add(drainTime); sink.count() < 2*n && time.Now().Before(until); {
		time.Sleep(5 * time.Millisecond)
	}
	took := time.Since(began).Seconds()
	here, there = processorTime()-here, serverTime(s.t, s.server)-there
	redistest.Eventually(s.t, "the reminders to be sent", func() error {
		st, err := s.store.Stats(s.t.Context(), now)
		if err == nil && (st.Due > 0 || st.Waiting > 0) {
			err = fmt.Errorf("%d are due and %d texts wait", st.Due, st.Waiting)
		}
		return err
	})
	if err := a.close(); err != nil {
		s.t.Fatal(err)
	}
	times := map[string]int{}
	for _, m := range sink.sent() {
		times[m.id]++
	}
	if len(times) != len(sink.sent()) || len(times) < n {
		s.t.Errorf("of %d reminders came %d texts, %d different", n, len(sink.sent()), len(times))
	}
	s.t.Logf("%d reminders due in the same minute, beside %d others: %.0f reminders/s, %.0f texts/s; %d µs of processor here and %d in Redis for each",
		n, s.n-n, float64(n)/took, float64(len(times))/took, here.Microseconds()/int64(n), there.Microseconds()/int64(n))
}

// unclosed is a store that somebody else closes.
type unclosed struct{ store.Store }

func (unclosed) Close() error { return nil }

// cost holds the same conversations on this Redis and on an empty one.
func (s *scale) cost() {
	messages := 0
	each := func(server *redistest.Server) float64 {
		inner, err := redisstore.Open(s.t.Context(), server.URL(0))
		if err != nil {
			s.t.Fatal(err)
		}
		a, err := newApp(testConfig(), inner, clock, slog.New(slog.NewTextHandler(io.Discard, &slog.HandlerOptions{Level: slog.LevelError})))
		if err != nil {
			s.t.Fatal(err)
		}
		routes := a.server.routes()
		before := serverTime(s.t, server)
		messages = 0
		for seed := range uint64(20) {
			n := 0
			_, err := newBenchSaw(seed).level(func(text string) (answer, error) {
				n++
				m := posted{ID: fmt.Sprint("m-", n), Conversation: fmt.Sprint("cost-", seed), Sender: "kim", Text: text}
				q, err := http.NewRequest("POST", "/v1/messages", strings.NewReader(bodyOf(m)))
				if err != nil {
					return answer{}, err
				}
				q.Header.Set("Content-Type", "application/json")
				sign(s.t, testSecret, time.Now())(q)
				w := httptest.NewRecorder()
				routes.ServeHTTP(w, q)
				if w.Code != 200 {
					return answer{}, fmt.Errorf("status %d: %s", w.Code, w.Body)
				}
				return decodeAnswer(s.t, w.Body.Bytes()), nil
			})
			if err != nil {
				s.t.Fatal(err)
			}
			messages += n
		}
		took := serverTime(s.t, server) - before
		if err := a.close(); err != nil {
			s.t.Fatal(err)
		}
		return float64(took.Microseconds()) / float64(messages)
	}
	empty := redistest.Start(s.t)
	each(empty) // for the scripts, and the caches of this process
	few, many := each(redistest.Start(s.t)), each(s.server)
	s.t.Logf("a message costs Redis %.0f µs of processor beside %d conversations, %.0f µs alone (%d messages)", many, s.n, few, messages)
	if many > 2*few {
		s.t.Errorf("a message costs %.1f times as much beside %d conversations", many/few, s.n)
	}
}
