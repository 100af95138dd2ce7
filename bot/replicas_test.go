package main

import (
	"fmt"
	"strconv"
	"strings"
	"sync"
	"testing"

	"shimwright/store/redisstore"
	"shimwright/store/redistest"
)

// replicas starts services that share one real Redis.
func replicas(t *testing.T, n int) []*service {
	t.Helper()
	server := redistest.Start(t)
	clock := newTestClock()
	list := make([]*service, n)
	for i := range list {
		s, err := redisstore.Open(t.Context(), server.URL(0))
		if err != nil {
			t.Fatal(err)
		}
		list[i] = newServiceWith(t, s, clock)
	}
	return list
}

// TestFourLanesOnTwoReplicas: four people of one shop speak at once, each
// message going to another replica than the one before. Everything is there,
// once and in order, although the replicas know nothing of each other.
func TestFourLanesOnTwoReplicas(t *testing.T) {
	both := replicas(t, 2)
	const each = 25
	var wg sync.WaitGroup
	for c := range 4 {
		wg.Go(func() {
			for i := range each {
				both[(c+i)%2].post(posted{ID: fmt.Sprint("m-", i), Conversation: fmt.Sprint("lane-", c), Text: strconv.Itoa(i)})
			}
		})
	}
	wg.Wait()
	for c := range 4 {
		list := both[c%2].transcript(fmt.Sprintf("/v1/conversations/lane-%d?max=200", c)).Entries
		if len(list) != each {
			t.Fatalf("lane %d has %d entries", c, len(list))
		}
		for i, e := range list {
			if e.Message.Text != strconv.Itoa(i) {
				t.Errorf("lane %d, place %d: %q", c, i, e.Message.Text)
			}
		}
	}
}

// TestTheSameMessageToTwoReplicas at once, ten times to each, has one effect
// and one answer.
func TestTheSameMessageToTwoReplicas(t *testing.T) {
	both := replicas(t, 2)
	m := posted{ID: "m-1", Conversation: "rig", Sender: "kim", Text: "level"}
	answers := make(chan string, 20)
	for i := range cap(answers) {
		s := both[i%2]
		go func() { answers <- string(s.request("POST", "/v1/messages", bodyOf(m), s.signed).body) }()
	}
	first := <-answers
	for range cap(answers) - 1 {
		if a := <-answers; a != first {
			t.Errorf("one answer was\n%s\nanother\n%s", first, a)
		}
	}
	if n := len(both[0].transcript("/v1/conversations/rig", both[0].signed).Entries); n != 1 {
		t.Errorf("%d entries", n)
	}
}

// TestAJobOnTwoReplicas: a job goes on at whichever replica the next message
// comes to.
func TestAJobOnTwoReplicas(t *testing.T) {
	both := replicas(t, 2)
	n := 0
	all, err := newBenchSaw(4).level(func(text string) (answer, error) {
		n++
		return both[n%2].post(posted{ID: fmt.Sprint("m-", n), Conversation: "bench", Text: text}), nil
	})
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("%d messages", len(all))
}

// TestRedisThroughTheSettings: the program chosen by SHIMWRIGHT_REDIS_URL holds
// its sessions there, and nothing in its data folder.
func TestRedisThroughTheSettings(t *testing.T) {
	server := redistest.Start(t)
	cleanEnv(t)
	t.Setenv("SHIMWRIGHT_REDIS_URL", server.URL(0))
	cfg, err := LoadConfig()
	if err != nil {
		t.Fatal(err)
	}
	s, err := openStore(t.Context(), cfg)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if _, ok := s.(*redisstore.Store); !ok {
		t.Errorf("the store is a %T", s)
	}
	t.Setenv("SHIMWRIGHT_REDIS_URL", "redis://:hunter2@127.0.0.1:1/0")
	if cfg, err = LoadConfig(); err != nil {
		t.Fatal(err)
	}
	if _, err := openStore(t.Context(), cfg); err == nil || strings.Contains(err.Error(), "hunter2") {
		t.Errorf("error %v", err)
	}
}
