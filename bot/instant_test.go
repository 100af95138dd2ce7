package main

import (
	"context"
	"fmt"
	"net/http"
	"os"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/redis/go-redis/v9"

	"shimwright/store"
	"shimwright/store/redisstore"
	"shimwright/store/redistest"
)

// replicaOn starts the whole service on a Redis.
func replicaOn(t *testing.T, server *redistest.Server, clock *testClock) *service {
	t.Helper()
	s, err := redisstore.Open(t.Context(), server.URL(0))
	if err != nil {
		t.Fatal(err)
	}
	return newServiceWith(t, s, clock)
}

// TestTheSameMessageAtThreeReplicasAtTheSameInstant: each message of whole
// levelling conversations is delivered to three replicas at once, 200 times, or
// 10,000 with SHIMWRIGHT_LONG=1. Whichever handles it, all three answer the same,
// byte for byte, and it is in the transcript once.
//
//	SHIMWRIGHT_LONG=1 go test ./bot -run AtThreeReplicas -v -timeout 30m
func TestTheSameMessageAtThreeReplicasAtTheSameInstant(t *testing.T) {
	times := 200
	if os.Getenv(longTests) != "" {
		times = 10_000
	}
	server, clock := redistest.Start(t), newTestClock()
	var replicas [3]*service
	for i := range replicas {
		replicas[i] = replicaOn(t, server, clock)
	}
	client := &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: len(replicas)}}
	defer client.CloseIdleConnections()
	delivered, differing, conversations := 0, 0, 0
	for delivered < times {
		conversation, n := fmt.Sprint("tablet-", conversations), 0
		_, err := newBenchSaw(uint64(conversations)).level(func(text string) (answer, error) {
			n++
			clock.advance(time.Second)
			m := posted{ID: fmt.Sprint("m-", n), Conversation: conversation, Sender: "kim", Text: text}
			answers, err := atOnce(client, replicas, m)
			if err != nil {
				return answer{}, err
			}
			for _, a := range answers[1:] {
				if a != answers[0] {
					differing++
					t.Errorf("%s %s: one replica answers\n%s\nanother\n%s", conversation, m.ID, answers[0], a)
				}
			}
			delivered++
			return decodeAnswer(t, []byte(answers[0])), nil
		})
		if err != nil {
			t.Fatal(err)
		}
		checkOnce(t, replicas[0].store.Store, conversation, n)
		conversations++
	}
	t.Logf("%d messages in %d conversations, each to three replicas at once: %d answers differ", delivered, conversations, differing)
	if faults, err := replicas[0].store.Store.Check(t.Context()); err != nil || len(faults) > 0 {
		t.Errorf("the store's own check: %v %v", faults, err)
	}
}

// atOnce posts a message to every replica at the same instant.
func atOnce(client *http.Client, replicas [3]*service, m posted) (answers [3]string, err error) {
	var wg sync.WaitGroup
	var errs [3]error
	ready := make(chan struct{})
	for i, r := range replicas {
		wg.Go(func() {
			<-ready
			var body []byte
			body, errs[i] = postTo(client, r.url, m, r.signed)
			answers[i] = string(body)
		})
	}
	close(ready)
	wg.Wait()
	for _, e := range errs {
		if e != nil {
			return answers, e
		}
	}
	return answers, nil
}

// checkOnce: each message of a conversation had one effect. Each is in the
// transcript once, and the levelling that they make up is on record once.
func checkOnce(t *testing.T, s store.Store, conversation string, messages int) {
	t.Helper()
	shop, err := s.Resolve(t.Context(), conversationAddress(conversation))
	if err != nil {
		t.Fatal(err)
	}
	list := wholeTranscript(t, s, store.Conversation{Shop: shop, ID: conversation})
	for i, e := range list {
		if want := fmt.Sprint("m-", i+1); e.Inbound.ID != want {
			t.Errorf("%s: entry %d is %s", conversation, i+1, e.Inbound.ID)
		}
	}
	records, err := s.Records(t.Context(), store.RecordQuery{Shop: shop})
	if err != nil || len(list) != messages || len(records) != 1 {
		t.Errorf("%s: %d entries of %d messages, %d records (%v)", conversation, len(list), messages, len(records), err)
	}
}

// TestRoundTrips counts what a message asks of Redis: one round trip to read and
// one to commit. A program's also looks up the shop of its conversation, which
// lies in a slot of its own because it may lead to any shop. The message that
// ends a job, and those that set a date, read the records of the saw too.
func TestRoundTrips(t *testing.T) {
	server := redistest.Start(t)
	o, err := redis.ParseURL(server.URL(0))
	if err != nil {
		t.Fatal(err)
	}
	client, trips := redis.NewClient(o), &tripCounter{}
	client.AddHook(trips)
	inner, err := redisstore.New(t.Context(), client, 0)
	if err != nil {
		t.Fatal(err)
	}
	histories := &historyCounter{Store: inner}
	s := newServiceWith(t, histories, newTestClock())
	if _, err := inner.Records(t.Context(), store.RecordQuery{Shop: "none"}); err != nil { // loads the script
		t.Fatal(err)
	}
	for _, c := range []struct {
		name string
		edit func(*http.Request)
		want int64
	}{{"browser of this machine", func(*http.Request) {}, 2}, {"program", s.signed, 3}} {
		n, more := 0, int64(0)
		_, err := newBenchSaw(5).level(func(text string) (answer, error) {
			n++
			before, read := trips.n.Load(), histories.n.Load()
			a := s.post(posted{ID: fmt.Sprint("m-", n), Conversation: "tablet", Sender: "kim", Text: text}, c.edit)
			read = histories.n.Load() - read
			if took := trips.n.Load() - before; n > 1 && took != c.want+read { // the first also founds the shop, and loads its scripts
				t.Errorf("%s: message %d, %q, took %d round trips, want %d and %d for records", c.name, n, text, took, c.want, read)
			}
			more += read
			return a, nil
		})
		if err != nil {
			t.Fatal(err)
		}
		if more > 3 {
			t.Errorf("%s: the records were read %d times in one conversation", c.name, more)
		}
		t.Logf("%s: %d messages, %d round trips each, and %d in all for records", c.name, n, c.want, more)
	}
}

// historyCounter counts how often records are read.
type historyCounter struct {
	store.Store
	n atomic.Int64
}

func (h *historyCounter) Records(ctx context.Context, q store.RecordQuery) ([]store.Record, error) {
	h.n.Add(1)
	return h.Store.Records(ctx, q)
}

// tripCounter counts round trips: a command, or a pipeline of them.
type tripCounter struct{ n atomic.Int64 }

func (c *tripCounter) DialHook(next redis.DialHook) redis.DialHook { return next }

func (c *tripCounter) ProcessHook(next redis.ProcessHook) redis.ProcessHook {
	return func(ctx context.Context, cmd redis.Cmder) error {
		c.n.Add(1)
		return next(ctx, cmd)
	}
}

func (c *tripCounter) ProcessPipelineHook(next redis.ProcessPipelineHook) redis.ProcessPipelineHook {
	return func(ctx context.Context, cmds []redis.Cmder) error {
		c.n.Add(1)
		return next(ctx, cmds)
	}
}
