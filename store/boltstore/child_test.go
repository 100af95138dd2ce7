package boltstore

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"strings"
	"sync"
	"testing"

	"go.uber.org/goleak"

	"shimwright/store"
	"shimwright/store/storetest"
)

// The test binary runs itself as another process when this is set: what to do,
// and the file.
const childEnv = "SHIMWRIGHT_BOLTSTORE_CHILD"

func TestMain(m *testing.M) {
	if task := os.Getenv(childEnv); task != "" {
		what, path, _ := strings.Cut(task, " ")
		if err := child(what, path); err != nil {
			fmt.Println("failed", err)
			os.Exit(1)
		}
		return
	}
	goleak.VerifyTestMain(m)
}

func child(what, path string) error {
	// It ends with the test: the other end of its input closes then.
	go func() {
		_, _ = io.Copy(io.Discard, os.Stdin)
		os.Exit(3)
	}()
	if what == "fill" {
		return fillUp(path)
	}
	s, err := Open(path)
	if err != nil {
		return err
	}
	fmt.Println("open")
	if what == "load" {
		load(s)
	}
	select {}
}

// childLanes is how many conversations the child writes to at once.
const childLanes = 8

// load commits messages without end, several conversations at once, and says
// each that was acknowledged, in one write of a line each.
func load(s store.Store) {
	var wg sync.WaitGroup
	for lane := range childLanes {
		wg.Add(1)
		go func() {
			defer wg.Done()
			c := store.Conversation{Shop: fmt.Sprint("shop-", lane%3), ID: fmt.Sprint("c-", lane)}
			for {
				if err := message(s, c, lane); err != nil && !errors.Is(err, store.ErrStale) {
					fmt.Println("failed", err)
					return
				}
			}
		}()
	}
	wg.Wait()
}

// message handles the next message of a conversation: it counts in the
// document, keeps a record, sets a reminder and sends something.
func message(s store.Store, c store.Conversation, lane int) error {
	d, err := s.Load(context.Background(), c, "")
	if err != nil {
		return err
	}
	n := 1
	if d.Conversation.Version > 0 {
		if _, err := fmt.Sscan(string(d.Conversation.Body), &n); err != nil {
			return err
		}
		n++
	}
	id := fmt.Sprintf("%d-%d", lane, n)
	d.Conversation.Body = fmt.Appendf(nil, "%d %s", n, strings.Repeat("answers ", 200))
	commit := store.Commit{
		Shop: c.Shop, Conversation: c.ID, At: storetest.Noon,
		Inbound: store.Handled{ID: id, Hash: []byte(id), Text: []byte("text"), From: "kim"},
		Answer:  fmt.Appendf(nil, "answer to %s", id),
		Put:     []store.Doc{d.Conversation},
		Records: []store.Record{{ID: id, Saw: "s", Characteristic: c.ID, At: storetest.Noon}},
		Remind:  []store.Reminder{{ID: c.ID, Due: storetest.Noon}},
	}
	// Somebody takes the messages out again, so that the queue does not fill.
	if claimed, err := s.Claim(context.Background(), storetest.Noon, 0, 1); err == nil && len(claimed) == 1 {
		_ = s.Settle(context.Background(), claimed[0], store.Sent, storetest.Noon, "")
	}
	if n%2 == 0 {
		commit.Outbox = []store.Out{{ID: id, Conversation: c.ID, Channel: "x"}}
	}
	if err := s.Commit(context.Background(), commit); err != nil {
		return err
	}
	_, err = os.Stdout.WriteString("ack " + id + "\n")
	return err
}

// other is the test binary as another process.
type other struct {
	cmd    *exec.Cmd
	stdin  io.Closer
	out    *bufio.Reader
	killed bool
}

func startChild(t testing.TB, what, path string) *other {
	t.Helper()
	exe, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(exe)
	cmd.Env = append(os.Environ(), childEnv+"="+what+" "+path)
	cmd.Stderr = os.Stderr
	stdin, err := cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	c := &other{cmd: cmd, stdin: stdin, out: bufio.NewReader(out)}
	t.Cleanup(c.kill)
	return c
}

// line reads a line of what it says.
func (c *other) line(t testing.TB) string {
	t.Helper()
	line, err := c.out.ReadString('\n')
	if err != nil || strings.HasPrefix(line, "failed") {
		t.Fatalf("the other process: %q %v", line, err)
	}
	return strings.TrimSpace(line)
}

// kill ends it at once (SIGKILL).
func (c *other) kill() {
	if !c.killed {
		c.killed = true
		_ = c.cmd.Process.Kill()
	}
}

// rest reads what it said before it was killed. The last line may be cut.
func (c *other) rest() []string {
	all, _ := io.ReadAll(c.out)
	_ = c.cmd.Wait()
	lines := bytes.Split(all, []byte("\n"))
	var whole []string
	for _, l := range lines[:len(lines)-1] {
		whole = append(whole, string(l))
	}
	return whole
}
