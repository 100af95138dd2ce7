package main

import (
	"fmt"
	"net/http"
	"os"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"
)

// TestFigures reports how long the built program takes from its start to its
// first answer, and how much memory it holds: idle, and after conversations
// with 10,000 people (200 unless SHIMWRIGHT_LONG is set). It holds nothing to a
// limit.
func TestFigures(t *testing.T) {
	conversations := 200
	if os.Getenv(longTests) != "" {
		conversations = 10000
	}
	client := &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: connections}}
	defer client.CloseIdleConnections()
	programPath(t) // built beforehand
	settings := []string{prefix + "_WEBHOOK_SECRETS=" + testSecret, prefix + "_LOG=error", prefix + "_RATE=10000", prefix + "_BURST=100000"}
	var starts []time.Duration
	for range 5 {
		began := time.Now()
		p := startProgram(t, t.TempDir(), settings...)
		if _, err := postTo(client, p.url, posted{ID: "m-1", Conversation: "bench", Text: "menu"}); err != nil {
			t.Fatal(err)
		}
		starts = append(starts, time.Since(began))
		p.kill()
	}
	slices.Sort(starts)
	t.Logf("start to first answer: median %v, worst %v", starts[2], starts[4])
	dir := t.TempDir()
	p := startProgram(t, dir, settings...)
	if _, err := postTo(client, p.url, posted{ID: "m-1", Conversation: "bench", Text: "menu"}); err != nil {
		t.Fatal(err)
	}
	t.Logf("resident, idle: %s", residentMemory(t, p.cmd.Process.Pid))
	var next atomic.Int64
	var wg sync.WaitGroup
	for range connections {
		wg.Go(func() {
			for {
				i := next.Add(1)
				if i > int64(conversations) {
					return
				}
				for n, text := range []string{"level", "ok", "Bench saw", "ok", "ok"} {
					m := posted{ID: fmt.Sprint("m-", n), Conversation: fmt.Sprint("talk-", i), Sender: "kim", Text: text}
					if _, err := postTo(client, p.url, m, sign(t, testSecret, time.Now())); err != nil {
						t.Error(err)
						return
					}
				}
			}
		})
	}
	wg.Wait()
	t.Logf("resident, after %d conversations: %s; files %.1f MB", conversations, residentMemory(t, p.cmd.Process.Pid), filesMB(t, dir))
}

// residentMemory is what Linux says a process holds: all of it, and the part
// that is not the mapped data file.
func residentMemory(t *testing.T, pid int) string {
	t.Helper()
	status, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	if err != nil {
		return "not known on this system"
	}
	var parts []string
	for line := range strings.Lines(string(status)) {
		if f := strings.Fields(line); len(f) == 3 && (f[0] == "VmRSS:" || f[0] == "RssAnon:" || f[0] == "RssFile:") {
			kb, _ := strconv.Atoi(f[1])
			parts = append(parts, fmt.Sprintf("%s %.1f MB", strings.TrimSuffix(f[0], ":"), float64(kb)/1024))
		}
	}
	return strings.Join(parts, ", ")
}

// filesMB is the size of the files in a directory.
func filesMB(t *testing.T, dir string) (sum float64) {
	t.Helper()
	list, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range list {
		if i, err := e.Info(); err == nil && !i.IsDir() {
			sum += float64(i.Size()) / (1 << 20)
		}
	}
	return sum
}
