package redisstore

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"shimwright/store"
	"shimwright/store/redistest"
	"shimwright/store/storetest"
)

// long returns how often to do something: more with SHIMWRIGHT_LONG=1.
//
//	SHIMWRIGHT_LONG=1 go test -timeout 60m ./store/redisstore
func long(short, long int) int {
	if os.Getenv("SHIMWRIGHT_LONG") != "" {
		return long
	}
	return short
}

func openURL(t testing.TB, url string) store.Store {
	t.Helper()
	var s store.Store
	redistest.Eventually(t, "the store to open", func() (err error) {
		s, err = Open(context.Background(), url)
		return err
	})
	t.Cleanup(func() { _ = s.Close() })
	return s
}

// Redis is killed and started again under load. With appendfsync always nothing
// acknowledged is lost.
func TestRedisKilledAlways(t *testing.T) {
	server := redistest.Start(t, "--appendfsync", "always")
	sum := killed(t, server)
	if sum.lost+sum.differing+sum.twice+sum.unordered > 0 {
		t.Errorf("with appendfsync always: %+v", sum)
	}
}

// With appendfsync everysec a kill of the process may lose what Redis had not
// yet handed to the operating system: nothing as a rule, up to about two
// seconds while the disk is slow, as it then puts off its writes. Whatever is
// lost, each commit is there whole or not at all.
func TestRedisKilledEverysec(t *testing.T) {
	server := redistest.Start(t, "--appendfsync", "everysec")
	sum := killed(t, server)
	if sum.twice > 0 {
		t.Errorf("with appendfsync everysec: %+v", sum)
	}
	t.Logf("appendfsync everysec: %d of %d acknowledged messages lost", sum.lost, sum.acked)
}

func killed(t *testing.T, server *redistest.Server) tally {
	random := rand.New(rand.NewPCG(1, 2026))
	w := begin(t, 6, openURL(t, server.URL(0)), openURL(t, server.URL(0)))
	for range long(4, 60) {
		w.progress(20)
		time.Sleep(time.Duration(random.IntN(30_000)) * time.Microsecond)
		server.Kill()
		server.Restart(t)
	}
	w.progress(20)
	return w.end(openURL(t, server.URL(0)))
}

// Without an append-only file a kill loses what was acknowledged: the tests
// above can tell.
func TestRedisKilledWithoutALogLosesAll(t *testing.T) {
	server := redistest.Start(t, "--appendonly", "no")
	w := begin(t, 4, openURL(t, server.URL(0)))
	w.progress(40)
	server.Kill()
	server.Restart(t)
	w.progress(10)
	if sum := w.end(openURL(t, server.URL(0))); sum.lost < 36 {
		t.Errorf("a server without a log lost %d of %d", sum.lost, sum.acked)
	}
}

// A loss of power may cut the append-only file anywhere. What is left is whole
// commits: the newest are missing, none is half done.
func TestLogCutAnywhere(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 2026))
	server := redistest.Start(t)
	s := openURL(t, server.URL(0))
	w := begin(t, 4, s)
	w.progress(100)
	w.end(s)
	server.Kill()
	logs, err := filepath.Glob(filepath.Join(server.Dir, "appendonlydir", "*.incr.aof"))
	if err != nil || len(logs) != 1 {
		t.Fatalf("append-only files %v %v", logs, err)
	}
	cuts := make([]int64, long(6, 200))
	for i := range cuts {
		cuts[i] = random.Int64N(fileSize(t, logs[0]))
	}
	slices.Sort(cuts)
	for i, cut := range slices.Backward(cuts) { // each before the last
		if err := os.Truncate(logs[0], min(cut, fileSize(t, logs[0]))); err != nil {
			t.Fatal(err)
		}
		server.Restart(t)
		s := openURL(t, server.URL(0))
		if faults, err := s.Check(t.Context()); err != nil || len(faults) > 0 {
			t.Errorf("cut %d: %v %v", i, faults, err)
		}
		var sum tally
		for lane := range w.lanes {
			whole(t, s, conversation(lane), &sum)
		}
		if sum.twice > 0 {
			t.Errorf("cut %d: %+v", i, sum)
		}
		server.Kill()
	}
}

func fileSize(t *testing.T, path string) int64 {
	t.Helper()
	info, err := os.Stat(path)
	if err != nil {
		t.Fatal(err)
	}
	return info.Size()
}

// whole checks that the entries of a conversation are the first ones, without a
// gap, and that document and records agree.
func whole(t *testing.T, s store.Store, c store.Conversation, sum *tally) {
	t.Helper()
	entries, err := s.Transcript(t.Context(), c, 0, 1<<20)
	if err != nil {
		t.Fatal(err)
	}
	records, err := s.Records(t.Context(), store.RecordQuery{Shop: c.Shop, Characteristic: c.ID})
	if err != nil {
		t.Fatal(err)
	}
	d, err := s.Load(t.Context(), c, "")
	if err != nil {
		t.Fatal(err)
	}
	for i, e := range entries {
		if !strings.HasSuffix(e.Inbound.ID, fmt.Sprint("-", i+1)) {
			t.Errorf("%v: entry %d is %s", c, i+1, e.Inbound.ID)
		}
	}
	if string(d.Conversation.Body) != fmt.Sprint(len(entries)) && len(entries) > 0 || len(records) != len(entries) {
		sum.twice++
	}
}

// The failure: NOSCRIPT after a Redis restart.
func TestNOSCRIPTAfterARedisRestart(t *testing.T) {
	server := redistest.Start(t, "--appendfsync", "always")
	s := openURL(t, server.URL(0))
	c := store.Conversation{Shop: "shop", ID: "c"}
	for i := range 3 {
		if _, err := deliver(s, c, fmt.Sprint("1-", i+1)); err != nil {
			t.Fatal(err)
		}
		server.Kill()
		server.Restart(t)
	}
	if d, err := s.Load(t.Context(), c, "1-3"); err != nil || string(d.Conversation.Body) != "3" || d.Seen == nil {
		t.Errorf("after the restarts: %+v %v", d, err)
	}
}

// Out of memory (maxmemory with noeviction): a commit is refused whole with
// ErrFull; what was there stays readable, and it goes on when there is room.
func TestOutOfMemoryLeavesNothingHalfDone(t *testing.T) {
	server := redistest.Start(t)
	s := openURL(t, server.URL(0))
	admin := server.Client(t)
	c := store.Conversation{Shop: "shop", ID: "c"}
	stored := 0
	grow := func() error {
		body := []byte(strings.Repeat("x", 100<<10))
		return s.Commit(t.Context(), store.Commit{
			Shop: c.Shop, Conversation: c.ID, At: storetest.Noon, Answer: []byte("a"),
			Inbound: store.Handled{ID: fmt.Sprint(stored), Hash: []byte("h")},
			Put:     []store.Doc{{Kind: store.KindReport, ID: fmt.Sprint(stored), Body: body}},
			Records: []store.Record{{ID: fmt.Sprint(stored), At: storetest.Noon}},
			Outbox:  []store.Out{{ID: fmt.Sprint(stored), Conversation: "c", Channel: "x"}},
			Remind:  []store.Reminder{{ID: fmt.Sprint(stored), Due: storetest.Noon}},
		})
	}
	if err := admin.ConfigSet(t.Context(), "maxmemory", "8mb").Err(); err != nil {
		t.Fatal(err)
	}
	var err error
	for ; stored < 1000; stored++ {
		if err = grow(); err != nil {
			break
		}
	}
	if !errors.Is(err, store.ErrFull) {
		t.Fatalf("after %d: %v, want ErrFull", stored, err)
	}
	agree := func() {
		t.Helper()
		entries, _ := s.Transcript(t.Context(), c, 0, 2000)
		records, _ := s.Records(t.Context(), store.RecordQuery{Shop: c.Shop})
		due, _ := s.Due(t.Context(), storetest.Noon, 2000)
		st, err := s.Stats(t.Context(), storetest.Noon)
		if err != nil || len(entries) != stored || len(records) != stored || len(due) != stored || st.Waiting != stored {
			t.Errorf("of %d: %d entries, %d records, %d due, %d waiting, %v", stored, len(entries), len(records), len(due), st.Waiting, err)
		}
	}
	agree()
	if faults, err := s.Check(t.Context()); err != nil || len(faults) > 0 {
		t.Errorf("Check: %v %v", faults, err)
	}
	if err := admin.ConfigSet(t.Context(), "maxmemory", "0").Err(); err != nil {
		t.Fatal(err)
	}
	if err := grow(); err != nil {
		t.Fatal(err)
	}
	stored++
	agree()
}

// A network pause longer than a lease: the message goes to another worker and
// the first one's settle is refused, or took effect before; never both.
func TestNetworkPauseLongerThanALease(t *testing.T) {
	server := redistest.Start(t)
	slow, fast := openURL(t, server.URL(0)), openURL(t, server.URL(0))
	out := store.Out{ID: "o", Conversation: "c", Channel: "x"}
	err := slow.Commit(t.Context(), store.Commit{Shop: "shop", Conversation: "c", At: storetest.Noon, Outbox: []store.Out{out}})
	if err != nil {
		t.Fatal(err)
	}
	first, err := slow.Claim(t.Context(), storetest.Noon, time.Minute, 1)
	if err != nil || len(first) != 1 {
		t.Fatal(first, err)
	}
	server.Pause(t)
	ctx, cancel := context.WithTimeout(t.Context(), 200*time.Millisecond)
	defer cancel()
	if _, err := fast.Load(ctx, store.Conversation{Shop: "shop", ID: "c"}, ""); !errors.Is(err, store.ErrUnavailable) {
		t.Errorf("while the server is silent: %v", err)
	}
	server.Continue(t)
	second, err := fast.Claim(t.Context(), storetest.Noon.Add(2*time.Minute), time.Minute, 1)
	if err != nil || len(second) != 1 || second[0].Attempt != 2 || second[0].Out.ID != "o" {
		t.Fatal(second, err)
	}
	if err := slow.Settle(t.Context(), first[0], store.Sent, storetest.Noon, ""); !errors.Is(err, store.ErrLost) {
		t.Errorf("the late settle: %v", err)
	}
	if err := fast.Settle(t.Context(), second[0], store.Sent, storetest.Noon, ""); err != nil {
		t.Error(err)
	}
}
