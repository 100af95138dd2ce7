// Package redistest starts real Redis servers for tests: one, one with
// replicas under Sentinel, or a cluster. They listen on free ports of 127.0.0.1
// only, keep their files in the test's temporary folder and end with the test.
// Where Redis is not installed the test is left out (see testenv.Need).
package redistest

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strconv"
	"sync"
	"testing"
	"time"

	"github.com/redis/go-redis/v9"

	"shimwright/bot/testenv"
)

// patience is how long anything may take before the test fails.
const patience = 30 * time.Second

// Server is a running redis-server or redis-sentinel.
type Server struct {
	Addr string // 127.0.0.1:port
	Dir  string // its files

	program string
	args    []string
	cmd     *exec.Cmd
	ended   chan struct{}
	log     *logged
}

// Start starts a redis-server with an append-only file that is synced every
// second. More settings are given as on its command line ("--appendfsync",
// "always").
func Start(t testing.TB, settings ...string) *Server {
	t.Helper()
	return start(t, testenv.Program(t, "redis-server"), settings...)
}

func start(t testing.TB, program string, settings ...string) *Server {
	t.Helper()
	port := testenv.FreePorts(t, 1)[0]
	s := &Server{
		Addr:    net.JoinHostPort("127.0.0.1", strconv.Itoa(port)),
		Dir:     t.TempDir(),
		program: program,
	}
	s.args = append([]string{
		"--port", strconv.Itoa(port), "--bind", "127.0.0.1", "--dir", s.Dir, "--daemonize", "no",
		"--save", "", "--appendonly", "yes", "--appendfsync", "everysec", "--databases", "1000",
		// Uncompressed, so that a search through what the server keeps finds text.
		"--rdbcompression", "no",
		// A replica need not wait for others that might come.
		"--repl-diskless-sync-delay", "0",
	}, settings...)
	t.Cleanup(s.Kill)
	s.Restart(t)
	return s
}

// URL is what redisstore.Open takes. db is the number of a database.
func (s *Server) URL(db int) string { return fmt.Sprintf("redis://%s/%d", s.Addr, db) }

// Client returns a client that ends with the test.
func (s *Server) Client(t testing.TB) *redis.Client {
	c := redis.NewClient(&redis.Options{Addr: s.Addr, MaxRetries: -1})
	t.Cleanup(func() { _ = c.Close() })
	return c
}

// Restart starts the server again on the same port with the same files, and
// waits until it answers.
func (s *Server) Restart(t testing.TB) {
	t.Helper()
	s.launch(t)
	c := redis.NewClient(&redis.Options{Addr: s.Addr, MaxRetries: -1})
	defer func() { _ = c.Close() }()
	Eventually(t, "the server on "+s.Addr+" to answer", func() error {
		select {
		case <-s.ended:
			t.Fatalf("%s ended at once:\n%s", filepath.Base(s.program), s.log)
		default:
		}
		err := c.Ping(context.Background()).Err()
		if redis.HasErrorPrefix(err, "NOAUTH") {
			return nil // it answers
		}
		return err
	})
}

// launch starts the process. The goroutine that starts it stays on its thread
// until the process ends, because the kernel ends the process with that thread
// (see endWithUs).
func (s *Server) launch(t testing.TB) {
	t.Helper()
	s.log, s.ended = &logged{}, make(chan struct{})
	cmd := exec.Command(s.program, s.args...)
	cmd.Stdout, cmd.Stderr = s.log, s.log
	endWithUs(cmd)
	started := make(chan error)
	ended := s.ended
	go func() {
		runtime.LockOSThread()
		defer runtime.UnlockOSThread()
		err := cmd.Start()
		started <- err
		if err == nil {
			_ = cmd.Wait()
		}
		close(ended)
	}()
	if err := <-started; err != nil {
		t.Fatalf("starting %s: %v", s.program, err)
	}
	s.cmd = cmd
}

// Kill ends the process at once (SIGKILL) and waits until it is gone.
func (s *Server) Kill() {
	if s.cmd == nil {
		return
	}
	_ = s.cmd.Process.Kill()
	<-s.ended
	s.cmd = nil
}

// Pause stops the process without ending it (SIGSTOP), as a network that drops
// everything would look; Continue lets it go on.
func (s *Server) Pause(t testing.TB) { s.signal(t, stopSignal) }

// Continue ends a Pause.
func (s *Server) Continue(t testing.TB) { s.signal(t, continueSignal) }

func (s *Server) signal(t testing.TB, sig os.Signal) {
	t.Helper()
	if err := s.cmd.Process.Signal(sig); err != nil {
		t.Fatal(err)
	}
}

// Eventually calls fn until it returns nil, and fails the test when that takes
// too long.
func Eventually(t testing.TB, what string, fn func() error) {
	t.Helper()
	deadline := time.Now().Add(patience)
	for {
		err := fn()
		if err == nil {
			return
		}
		if time.Now().After(deadline) {
			t.Fatalf("waited in vain for %s: %v", what, err)
		}
		time.Sleep(20 * time.Millisecond)
	}
}

// logged keeps the end of what a server says.
type logged struct {
	sync.Mutex
	buf bytes.Buffer
}

func (l *logged) Write(p []byte) (int, error) {
	l.Lock()
	defer l.Unlock()
	return l.buf.Write(p)
}

// String returns the last lines.
func (l *logged) String() string {
	l.Lock()
	defer l.Unlock()
	var lines []string
	for sc := bufio.NewScanner(bytes.NewReader(l.buf.Bytes())); sc.Scan(); {
		lines = append(lines, sc.Text())
	}
	return fmt.Sprint(lines[max(0, len(lines)-12):])
}

// Raw returns every key and value that the servers hold, as their own dump
// format writes them.
func Raw(t testing.TB, clients ...*redis.Client) []byte {
	t.Helper()
	ctx := context.Background()
	var raw []byte
	for _, c := range clients {
		for it := c.Scan(ctx, 0, "*", 1000).Iterator(); it.Next(ctx); {
			raw = append(append(raw, it.Val()...), '\n')
			dump, err := c.Dump(ctx, it.Val()).Result()
			if err != nil && err != redis.Nil {
				t.Fatal(err)
			}
			raw = append(raw, dump...)
		}
	}
	return raw
}
