package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"shimwright/bot/testenv"
	"shimwright/store"
	"shimwright/store/boltstore"
	"shimwright/store/redistest"
	"shimwright/store/storetest"
)

// runWith runs the program with settings, and wants it to succeed or not.
func runWith(t *testing.T, good bool, folder string, settings []string, args ...string) string {
	t.Helper()
	cmd := exec.Command(programPath(t), args...)
	cmd.Env = botEnv(folder, settings...)
	out, err := cmd.CombinedOutput()
	if (err == nil) != good {
		t.Fatalf("%v: %v\n%s", args, err, out)
	}
	return string(out)
}

// stores opens the two engines on fresh data.
func fillFile(t *testing.T, folder string) {
	t.Helper()
	if err := os.MkdirAll(folder, 0o700); err != nil {
		t.Fatal(err)
	}
	s, err := boltstore.Open(filepath.Join(folder, dataFile))
	if err != nil {
		t.Fatal(err)
	}
	storetest.Fill(t, s, time.Now().UTC().Truncate(time.Millisecond))
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
}

// TestBackupWhileItRuns: what was acknowledged before a backup of the running
// service is in it, and is back after a restore elsewhere.
func TestBackupWhileItRuns(t *testing.T) {
	folder, target := t.TempDir(), filepath.Join(t.TempDir(), "target")
	file := filepath.Join(t.TempDir(), "copy.jsonl")
	p := startProgram(t, folder)
	client := &http.Client{Transport: &http.Transport{}}
	defer client.CloseIdleConnections()
	var want []byte
	for i, text := range []string{"menu", "level", "mm"} {
		var err error
		if want, err = postTo(client, p.url, posted{ID: fmt.Sprint("m-", i), Conversation: "bench", Text: text}); err != nil {
			t.Fatal(err)
		}
	}
	if out := runWith(t, true, folder, nil, "backup", file); !strings.Contains(out, "1 shop, ") || !strings.Contains(out, "3 messages handled") {
		t.Errorf("the backup says %q", out)
	}
	if i, err := os.Stat(file); err != nil || i.Mode().Perm() != 0o600 {
		t.Errorf("the backup can be read by others: %v, %v", i.Mode(), err)
	}
	if out := runWith(t, false, folder, nil, "restore", file); !strings.Contains(out, "stop it") {
		t.Errorf("a restore under a running service says %q", out)
	}
	runWith(t, true, target, nil, "restore", file)
	if out := runWith(t, false, target, nil, "restore", file); !strings.Contains(out, "empty") {
		t.Errorf("a second restore says %q", out)
	}
	q := startProgram(t, target)
	got, err := postTo(client, q.url, posted{ID: "m-2", Conversation: "bench", Text: "mm"})
	if err != nil || !bytes.Equal(got, want) {
		t.Errorf("the same message is answered differently after the restore: %v\n%s\n%s", err, got, want)
	}
}

func TestBackupOfNothing(t *testing.T) {
	folder := t.TempDir()
	out := runWith(t, false, folder, nil, "backup", filepath.Join(folder, "x"))
	if !strings.Contains(out, "there is no data file") {
		t.Errorf("it says %q", out)
	}
	if list, _ := os.ReadDir(folder); len(list) > 0 {
		t.Errorf("it left %v", list)
	}
	for _, args := range [][]string{{"backup"}, {"restore"}, {"move", "file"}, {"dead", "x"}, {"restore", "/no/such/file"}} {
		if out := runWith(t, false, folder, nil, args...); !strings.HasPrefix(out, "shimwright: ") {
			t.Errorf("%v: %q", args, out)
		}
	}
	cut := filepath.Join(folder, "cut")
	if err := os.WriteFile(cut, []byte(`{"kind":"backup","format":1}`+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if out := runWith(t, false, filepath.Join(folder, "new"), nil, "restore", cut); !strings.Contains(out, "cut short") {
		t.Errorf("a backup that is cut short: %q", out)
	}
}

// TestMoveThereAndBack: the file to Redis and back to another file: the last
// backup is the first, byte for byte.
func TestMoveThereAndBack(t *testing.T) {
	server := redistest.Start(t)
	folder, back := t.TempDir(), filepath.Join(t.TempDir(), "back")
	fillFile(t, folder)
	redis := []string{prefix + "_REDIS_URL=" + server.URL(0)}
	before := runWith(t, true, folder, nil, "backup", "-")
	if out := runWith(t, true, folder, redis, "move", "file", "redis"); !strings.Contains(out, "Moved and compared: ") {
		t.Errorf("it says %q", out)
	}
	if out := runWith(t, false, folder, redis, "move", "file", "redis"); !strings.Contains(out, "empty") {
		t.Errorf("moved onto what was there: %q", out)
	}
	if there := runWith(t, true, folder, redis, "backup", "-"); there != before {
		t.Error("the backup from Redis differs")
	}
	runWith(t, true, folder, nil, "move", server.URL(0), back)
	if after := runWith(t, true, back, nil, "backup", "-"); after != before {
		t.Error("the backup differs after the way back")
	}
	startProgram(t, back)
	if out := runWith(t, false, back, redis, "move", "file", "redis"); !strings.Contains(out, "stop it first") {
		t.Errorf("moved from under a running service: %q", out)
	}
}

// writingStore is a store into which a service still writes while it is moved.
type writingStore struct {
	store.Store
	once bool
}

func (w *writingStore) Backup(ctx context.Context, to io.Writer) error {
	err := w.Store.Backup(ctx, to)
	if err == nil && !w.once {
		w.once = true
		err = w.Point(ctx, "late", "", "shop")
	}
	return err
}

// TestMoveNoticesAWriter: what is written during a move is not lost in silence.
func TestMoveNoticesAWriter(t *testing.T) {
	open := func(name string) store.Store {
		s, err := boltstore.Open(filepath.Join(t.TempDir(), name))
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { _ = s.Close() })
		return s
	}
	from := open("from")
	storetest.Fill(t, from, time.Now().UTC().Truncate(time.Millisecond))
	if _, err := move(t.Context(), &writingStore{Store: from}, open("to")); err == nil || !strings.Contains(err.Error(), "meanwhile") {
		t.Errorf("a write during the move: %v", err)
	}
}

// TestDeadCommand lists a message that was given up, masked, and sends it
// again through the running service, and without one.
func TestDeadCommand(t *testing.T) {
	for _, running := range []bool{false, true} {
		t.Run(fmt.Sprint("running ", running), func(t *testing.T) {
			folder := t.TempDir()
			s, err := boltstore.Open(filepath.Join(folder, dataFile))
			if err != nil {
				t.Fatal(err)
			}
			now := clock()
			err = s.Commit(t.Context(), store.Commit{Shop: homeShop, At: now, Outbox: []store.Out{{ID: "o-1", Conversation: "c",
				Channel: "gone", To: "+4915550000001", Body: []byte(`{"text":"words of somebody"}`)}}})
			if err != nil {
				t.Fatal(err)
			}
			list, err := s.Claim(t.Context(), now, time.Minute, 1)
			if err != nil || len(list) != 1 {
				t.Fatal(list, err)
			}
			if err := s.Settle(t.Context(), list[0], store.Dead, now, "nobody lives there"); err != nil {
				t.Fatal(err)
			}
			if err := s.Close(); err != nil {
				t.Fatal(err)
			}
			if running {
				startProgram(t, folder)
			}
			out := runWith(t, true, folder, nil, "dead")
			if !strings.Contains(out, "o-1") || !strings.Contains(out, "+***01") || !strings.Contains(out, "nobody lives there") ||
				strings.Contains(out, "5550000") || strings.Contains(out, "words of") {
				t.Errorf("the list is %q", out)
			}
			runWith(t, false, folder, nil, "dead", "resend", "o-2")
			if out := runWith(t, true, folder, nil, "dead", "resend", "all"); !strings.Contains(out, "1 put back") {
				t.Errorf("sending again: %q", out)
			}
			if out := runWith(t, true, folder, nil, "dead"); !strings.Contains(out, "No message was given up.") {
				t.Errorf("afterwards: %q", out)
			}
		})
	}
}

// TestHealthCommand: alive while it runs, and not before or after.
func TestHealthCommand(t *testing.T) {
	folder := t.TempDir()
	at := "127.0.0.1:" + freePort(t)
	settings := []string{prefix + "_LISTEN=" + at}
	if out := runWith(t, false, folder, settings, "health"); !strings.Contains(out, "does not answer") {
		t.Errorf("before: %q", out)
	}
	p := startProgram(t, folder, settings...)
	runWith(t, true, folder, settings, "health")
	// As in a container: it listens everywhere and is asked on loopback.
	runWith(t, true, folder, []string{prefix + "_LISTEN=0.0.0.0" + at[strings.Index(at, ":"):]}, "health")
	if err := p.interrupt(); err != nil {
		t.Fatal(err)
	}
	runWith(t, false, folder, settings, "health")
}

func freePort(t testing.TB) string {
	t.Helper()
	return strconv.Itoa(testenv.FreePorts(t, 1)[0])
}

// TestDeskIsForThisUserOnly: the desk's addresses want its token.
func TestDeskIsForThisUserOnly(t *testing.T) {
	folder := t.TempDir()
	startProgram(t, folder)
	note, err := readDesk(folder)
	if err != nil {
		t.Fatal(err)
	}
	client := directClient()
	defer client.CloseIdleConnections()
	for _, path := range []string{"/backup", "/dead", "/resend", "/invite", "/say"} {
		for _, token := range []string{"", "Bearer ", "Bearer x", "Bearer " + note.Token[:42]} {
			r, _ := http.NewRequest("POST", note.Address+path, strings.NewReader("{}"))
			r.Header.Set("Authorization", token)
			res, err := client.Do(r)
			if err != nil {
				t.Fatal(err)
			}
			var p struct{ Status int }
			_ = json.NewDecoder(res.Body).Decode(&p)
			res.Body.Close()
			if res.StatusCode != http.StatusUnauthorized || p.Status != 401 {
				t.Errorf("%s with %q: %d", path, token, res.StatusCode)
			}
		}
	}
}

// quietLog throws away what a test server says about callers it refused.
func quietLog() *log.Logger { return log.New(io.Discard, "", 0) }
