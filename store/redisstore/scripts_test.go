package redisstore

import (
	"bufio"
	"context"
	"fmt"
	"net"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/redis/go-redis/v9"

	"shimwright/store"
	"shimwright/store/redistest"
	"shimwright/store/storetest"
)

// before calls a function before every command.
type before func(ctx context.Context, cmd redis.Cmder)

func (b before) DialHook(next redis.DialHook) redis.DialHook { return next }

func (b before) ProcessHook(next redis.ProcessHook) redis.ProcessHook {
	return func(ctx context.Context, cmd redis.Cmder) error {
		b(ctx, cmd)
		return next(ctx, cmd)
	}
}

func (b before) ProcessPipelineHook(next redis.ProcessPipelineHook) redis.ProcessPipelineHook {
	return func(ctx context.Context, cmds []redis.Cmder) error {
		for _, cmd := range cmds {
			b(ctx, cmd)
		}
		return next(ctx, cmds)
	}
}

// The failure: NOSCRIPT after a Redis restart. SCRIPT FLUSH before every call
// of a script is the worst of it.
func TestNOSCRIPTBetweenAnyTwoCalls(t *testing.T) {
	server := redistest.Start(t)
	admin := server.Client(t)
	var flushed atomic.Int64
	d := &databases{server: server, hook: before(func(ctx context.Context, cmd redis.Cmder) {
		if cmd.Name() == "evalsha" {
			flushed.Add(1)
			if err := admin.ScriptFlush(context.Background()).Err(); err != nil {
				t.Error(err)
			}
		}
	})}
	storetest.Run(t, d.engine())
	if flushed.Load() == 0 {
		t.Error("no script was called by its hash")
	}
}

// The failure: CROSSSLOT, undeclared keys. Every key of every script has one
// hash tag, and a script touches no key that it does not declare.
func TestCROSSSLOTAndUndeclaredKeys(t *testing.T) {
	server := redistest.Start(t)
	var scripts atomic.Int64
	d := &databases{server: server, hook: before(func(_ context.Context, cmd redis.Cmder) {
		if !strings.HasPrefix(cmd.Name(), "eval") {
			return
		}
		scripts.Add(1)
		keys := scriptKeys(cmd.Args())
		for _, k := range keys[1:] {
			if tag(k) != tag(keys[0]) {
				t.Errorf("keys of one script in two slots: %q and %q", keys[0], k)
			}
		}
	})}
	watched := monitor(t, server)
	storetest.Run(t, d.engine())
	if n := watched.ended(t, d); n == 0 || scripts.Load() == 0 {
		t.Error("no script was seen")
	}
}

// scriptKeys returns the KEYS of EVAL or EVALSHA.
func scriptKeys(args []any) (keys []string) {
	n, _ := strconv.Atoi(fmt.Sprint(args[2]))
	for _, k := range args[3 : 3+n] {
		keys = append(keys, fmt.Sprint(k))
	}
	return keys
}

// tag is the part of a key that decides its slot (Redis cluster specification:
// between the first { and the first } after it, unless that is empty).
func tag(key string) string {
	_, rest, ok := strings.Cut(key, "{")
	inner, _, ok2 := strings.Cut(rest, "}")
	if !ok || !ok2 || inner == "" {
		return key
	}
	return inner
}

// watch follows MONITOR and compares what scripts do with what they declare.
type watch struct {
	sync.Mutex
	calls int
	last  map[string]bool // the keys of the script that runs
	quit  chan struct{}
}

func monitor(t *testing.T, server *redistest.Server) *watch {
	t.Helper()
	conn, err := net.Dial("tcp", server.Addr)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = conn.Close() })
	if _, err := conn.Write([]byte("MONITOR\r\n")); err != nil {
		t.Fatal(err)
	}
	w := &watch{quit: make(chan struct{})}
	r := bufio.NewReaderSize(conn, 1<<20)
	if ok, err := r.ReadString('\n'); err != nil || !strings.HasPrefix(ok, "+OK") {
		t.Fatalf("MONITOR: %q %v", ok, err)
	}
	go func() {
		defer close(w.quit)
		for {
			line, err := r.ReadString('\n')
			if err != nil || strings.Contains(line, `"the end"`) {
				return
			}
			w.line(t, line)
		}
	}()
	return w
}

func (w *watch) line(t *testing.T, line string) {
	_, rest, _ := strings.Cut(line, "[")
	from, rest, _ := strings.Cut(rest, "] ")
	args := quoted(rest, 9)
	if len(args) > 2 && strings.HasPrefix(args[0], "eval") {
		keys, _ := strconv.Atoi(args[2])
		args = quoted(rest, 3+keys)
	}
	w.Lock()
	defer w.Unlock()
	switch {
	case len(args) > 2 && (args[0] == "evalsha" || args[0] == "eval"):
		w.calls++
		w.last = map[string]bool{}
		list := make([]any, len(args))
		for i := range args {
			list[i] = args[i]
		}
		for _, k := range scriptKeys(list) {
			w.last[k] = true
		}
	case strings.HasSuffix(from, "lua"):
		keys := args[1:min(len(args), 2)]
		switch args[0] {
		case "TIME":
			keys = nil
		case "DEL":
			keys = args[1:]
		}
		for _, k := range keys {
			if !w.last[k] {
				t.Errorf("a script called %s on %q, which is not in its KEYS", args[0], k)
			}
		}
	}
}

// quoted takes a list of quoted words apart, up to n.
func quoted(s string, n int) (words []string) {
	for len(words) < n {
		q, err := strconv.QuotedPrefix(strings.TrimLeft(s, " "))
		if err != nil {
			return words
		}
		word, _ := strconv.Unquote(q)
		words = append(words, word)
		s = strings.TrimLeft(s, " ")[len(q):]
	}
	return words
}

// ended waits until everything that was done has been watched.
func (w *watch) ended(t *testing.T, d *databases) int {
	t.Helper()
	if err := d.server.Client(t).Echo(context.Background(), "the end").Err(); err != nil {
		t.Fatal(err)
	}
	select {
	case <-w.quit:
	case <-time.After(30 * time.Second):
		t.Fatal("MONITOR fell behind")
	}
	w.Lock()
	defer w.Unlock()
	return w.calls
}

// The spans that the scripts know are those of the interface.
func TestSpansInScripts(t *testing.T) {
	want := fmt.Sprintf("local KEEP, SWEEP = %d, %d", store.KeepIDs.Milliseconds(), store.SweepAfter.Milliseconds())
	if !strings.Contains(luaFields, want) {
		t.Errorf("the scripts should have %q", want)
	}
	for name, c := range map[string]struct {
		text  string
		limit int
		times int
	}{
		"commit": {commit.text, store.MaxQueue, 2}, "resend": {resend.text, store.MaxQueue, 1}, "settle": {settle.text, store.MaxDead, 1},
	} {
		if n := strings.Count(c.text, fmt.Sprintf("> %d then", c.limit)); n != c.times {
			t.Errorf("%s has the limit %d %d times", name, c.limit, n)
		}
	}
}
