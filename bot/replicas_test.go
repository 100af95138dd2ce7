package main

import (
	"context"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"shimwright/bot/channel"
	"shimwright/bot/channel/webhook"
	"shimwright/store"
	"shimwright/store/redisstore"
	"shimwright/store/redistest"
)

// The environment of a replica's process.
const (
	replicaStore = "BOT_TEST_REPLICA_STORE"
	replicaURL   = "BOT_TEST_REPLICA_URL"
	replicaOff   = "BOT_TEST_REPLICA_OFF" // how far its clock is off
)

// TestReplicaProcess is one replica: it reminds and sends until its input
// ends. By itself it does nothing.
func TestReplicaProcess(t *testing.T) {
	url := os.Getenv(replicaStore)
	if url == "" {
		return
	}
	s, err := redisstore.Open(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	off, err := time.ParseDuration(os.Getenv(replicaOff))
	if err != nil {
		t.Fatal(err)
	}
	now := shift(off)
	d := newDeliverer(s, []channel.Channel{webhookTo(t, os.Getenv(replicaURL), now)}, now, rand.Float64, quiet())
	fire := fireOn(s, now, webhook.Name)
	r := newReminders(s, func(ctx context.Context, due store.DueReminder) error {
		err := fire(ctx, due)
		d.kick()
		return err
	}, now, rand.Float64, quiet())
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan struct{}, 2)
	go func() { r.run(ctx); done <- struct{}{} }()
	go func() { d.run(ctx); done <- struct{}{} }()
	_, _ = io.Copy(io.Discard, os.Stdin)
	cancel()
	<-done
	<-done
	d.close()
	if err := s.Close(); err != nil {
		t.Error(err)
	}
}

// Five processes on one Redis, two of them with clocks 20 s slow and fast, and
// fifty reminders due: fifty texts.
func TestFiveProcessesOneText(t *testing.T) {
	server := redistest.Start(t)
	s, err := redisstore.Open(t.Context(), server.URL(0))
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	cb := newCallback(t, time.Now)
	remindAt(t, s, time.Now(), 50, func(int) time.Time { return time.Now().Add(-time.Minute) })

	var input []io.Closer
	var replicas []*exec.Cmd
	var output []*strings.Builder
	for i := range 5 {
		off := []string{"0s", "-20s", "20s", "0s", "0s"}[i]
		cmd := exec.Command(os.Args[0], "-test.run=^TestReplicaProcess$")
		cmd.Env = append(os.Environ(), replicaStore+"="+server.URL(0), replicaURL+"="+cb.URL, replicaOff+"="+off)
		out := &strings.Builder{}
		cmd.Stdout, cmd.Stderr = out, out
		in, err := cmd.StdinPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		input, replicas, output = append(input, in), append(replicas, cmd), append(output, out)
	}
	redistest.Eventually(t, "fifty texts", func() error {
		if ids, _ := cb.got(); len(ids) < 50 {
			return fmt.Errorf("%d so far", len(ids))
		}
		return nil
	})
	time.Sleep(2 * time.Second) // for one too many
	for i := range replicas {
		_ = input[i].Close()
		if err := replicas[i].Wait(); err != nil {
			t.Errorf("replica %d: %v\n%s", i+1, err, output[i])
		}
	}
	ids, bodies := cb.got()
	seen := map[string]bool{}
	for _, id := range ids {
		seen[id] = true
	}
	if len(ids) != 50 || len(seen) != 50 {
		t.Errorf("%d texts, %d different; want 50 once each\n%s", len(ids), len(seen), bodies)
	}
	if st, err := s.Stats(t.Context(), time.Now()); err != nil || st.Due != 0 || st.Waiting != 0 || st.Dead != 0 {
		t.Errorf("left over: %+v, %v", st, err)
	}
}
