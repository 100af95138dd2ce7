package main

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"shimwright/store"
	"shimwright/store/boltstore"
	"shimwright/store/redisstore"
	"shimwright/store/redistest"
)

// writeStored makes the fixture of the present version anew.
var writeStored = flag.Bool("write-stored", false, "write what this version stores to testdata/stored")

// storedFolder holds what each version wrote: a backup, and the file of each
// engine.
const storedFolder = "../testdata/stored"

// storedClock is the time at which the fixtures end.
var storedClock = time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)

// TestStoredVersions: what every version since the first has stored is read by
// this one, from each engine's own file and from a backup, and goes on: the
// same message gets the same answer, the device is still paired, the job goes
// on, the records are there.
func TestStoredVersions(t *testing.T) {
	newest := 1
	for _, changes := range storedVersions() {
		newest = max(newest, len(changes)+1)
	}
	if *writeStored {
		writeVersion(t, filepath.Join(storedFolder, fmt.Sprint("v", newest)))
	}
	for n := 1; n <= newest; n++ {
		folder := filepath.Join(storedFolder, fmt.Sprint("v", n))
		dump := unzipped(t, filepath.Join(folder, "backup.jsonl.gz"))
		t.Run(fmt.Sprint("v", n, " file"), func(t *testing.T) {
			path := filepath.Join(t.TempDir(), dataFile)
			if err := os.WriteFile(path, unzipped(t, filepath.Join(folder, "shimwright.db.gz")), 0o600); err != nil {
				t.Fatal(err)
			}
			s, err := boltstore.Open(path)
			goesOn(t, s, err, dump)
		})
		t.Run(fmt.Sprint("v", n, " backup into a file"), func(t *testing.T) {
			s, err := boltstore.Open(filepath.Join(t.TempDir(), dataFile))
			if err == nil {
				err = s.Restore(t.Context(), bytes.NewReader(dump))
			}
			goesOn(t, s, err, dump)
		})
		t.Run(fmt.Sprint("v", n, " Redis"), func(t *testing.T) {
			dir := t.TempDir()
			if err := os.WriteFile(filepath.Join(dir, "dump.rdb"), unzipped(t, filepath.Join(folder, "redis.rdb.gz")), 0o600); err != nil {
				t.Fatal(err)
			}
			server := redistest.Start(t, "--appendonly", "no", "--dir", dir)
			s, err := redisstore.Open(t.Context(), server.URL(0))
			goesOn(t, s, err, dump)
		})
		t.Run(fmt.Sprint("v", n, " backup into Redis"), func(t *testing.T) {
			s, err := redisstore.Open(t.Context(), redistest.Start(t).URL(0))
			if err == nil {
				err = s.Restore(t.Context(), bytes.NewReader(dump))
			}
			goesOn(t, s, err, dump)
		})
	}
}

// goesOn holds a store against the backup that was written with it, and goes
// on from there.
func goesOn(t *testing.T, inner store.Store, err error, dump []byte) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
	clock := newTestClock()
	clock.set(storedClock)
	s := newServiceWith(t, inner, clock)
	if faults, err := inner.Check(t.Context()); err != nil || len(faults) > 0 {
		t.Errorf("the store is not consistent: %v, %v", faults, err)
	}
	var last store.DumpEntry
	lines := map[string]int{}
	err = store.ReadDump(bytes.NewReader(dump), func(l store.Line) error {
		lines[l.Kind]++
		if l.Kind == store.LineEntry && l.Entry.Conversation == "bench" && l.Entry.ID != "" {
			last = *l.Entry
		}
		return nil
	})
	if err != nil || last.ID == "" || lines[store.LineRecord] == 0 || lines[store.LineDead] == 0 || lines[store.LineAddress] == 0 {
		t.Fatalf("the backup lacks something: %v, %v", err, lines)
	}
	got := s.request("POST", "/v1/messages", bodyOf(posted{ID: last.ID, Conversation: "bench", Text: string(last.Text)}))
	if got.StatusCode != http.StatusOK || !bytes.Equal(bytes.TrimSpace(got.body), bytes.TrimSpace(last.Answer)) {
		t.Errorf("the last message again: %d %s\nthen: %s", got.StatusCode, got.body, last.Answer)
	}
	records := s.request("GET", "/v1/machines/saw-1/records", "")
	if !strings.Contains(string(records.body), `"slider.level"`) {
		t.Errorf("the records: %s", records.body)
	}
	paired := &http.Cookie{Name: cookieName, Value: storedDevice}
	if res := s.request("GET", "/v1/openapi.yaml", "", header("X-Forwarded-For", "203.0.113.9"), func(r *http.Request) { r.AddCookie(paired) }); res.StatusCode != http.StatusOK {
		t.Errorf("the paired device: %d", res.StatusCode)
	}
	for i, text := range []string{"menu", "history", "resume", "where"} {
		a := s.post(posted{ID: fmt.Sprint("after-", i), Conversation: "underway", Text: text})
		if len(a.Replies) == 0 {
			t.Errorf("%q gets no reply", text)
		}
		if text == "where" && a.Prompt.Job == "" {
			t.Errorf("the job under way is gone: %+v", a.Prompt)
		}
	}
}

// storedDevice is the cookie of the device in the fixtures: made up, and good
// for nothing else.
const storedDevice = "c3RvcmVkLWRldmljZS1vZi10aGUtZml4dHVyZXMtMDAx"

// writeVersion stores what this version stores of a shop with a bit of
// everything.
func writeVersion(t *testing.T, folder string) {
	clock := newTestClock()
	path := filepath.Join(t.TempDir(), dataFile)
	inner, err := boltstore.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	s := newServiceWith(t, inner, clock)
	s.levelled("bench", 9)
	for i, text := range []string{"parallel", "ok", "unplugged"} {
		s.post(posted{ID: fmt.Sprint("u-", i), Conversation: "underway", Text: text})
	}
	l, err := s.app.pairing.invite(t.Context(), invitation{})
	if err != nil {
		t.Fatal(err)
	}
	s.app.pairing.token = func() string { return storedDevice }
	if _, err := s.app.pairing.accept(t.Context(), l.Token, "a tablet"); err != nil {
		t.Fatal(err)
	}
	now := clock.now()
	err = s.store.Commit(t.Context(), store.Commit{Shop: homeShop, At: now, Outbox: []store.Out{
		{ID: "o-1", Conversation: "c", Channel: "webhook", To: "c", Body: []byte(`{"text":"x"}`)},
		{ID: "o-2", Conversation: "d", Channel: "webhook", To: "d", Body: []byte(`{"text":"y"}`)}}})
	if err != nil {
		t.Fatal(err)
	}
	list, err := s.store.Claim(t.Context(), now, time.Minute, 1)
	if err == nil && len(list) == 1 {
		err = s.store.Settle(t.Context(), list[0], store.Dead, now, "nobody lives there")
	}
	if err != nil {
		t.Fatal(err)
	}
	if now.After(storedClock) {
		t.Fatal("the fixture goes on after its end")
	}
	var dump bytes.Buffer
	if err := inner.Backup(t.Context(), &dump); err != nil {
		t.Fatal(err)
	}
	if err := os.MkdirAll(folder, 0o755); err != nil {
		t.Fatal(err)
	}
	file, err := boltstore.Open(filepath.Join(t.TempDir(), "copy.db"))
	if err == nil {
		err = errors.Join(file.Restore(t.Context(), bytes.NewReader(dump.Bytes())), file.Close())
	}
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	server := redistest.Start(t, "--appendonly", "no", "--dir", dir)
	r, err := redisstore.Open(t.Context(), server.URL(0))
	if err == nil {
		err = errors.Join(r.Restore(t.Context(), bytes.NewReader(dump.Bytes())), r.Close(), server.Client(t).Save(t.Context()).Err())
	}
	if err != nil {
		t.Fatal(err)
	}
	rdb, err := os.ReadFile(filepath.Join(dir, "dump.rdb"))
	if err != nil {
		t.Fatal(err)
	}
	db, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	zipped(t, filepath.Join(folder, "backup.jsonl.gz"), dump.Bytes())
	zipped(t, filepath.Join(folder, "shimwright.db.gz"), db)
	zipped(t, filepath.Join(folder, "redis.rdb.gz"), rdb)
}

func zipped(t *testing.T, path string, b []byte) {
	t.Helper()
	var out bytes.Buffer
	z, _ := gzip.NewWriterLevel(&out, gzip.BestCompression)
	if _, err := z.Write(b); err != nil || z.Close() != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, out.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
}

func unzipped(t *testing.T, path string) []byte {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	z, err := gzip.NewReader(f)
	if err != nil {
		t.Fatal(err)
	}
	b, err := io.ReadAll(z)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// TestUpgrade: a document goes through every change that it has not had, once;
// one of a later version is refused and stays.
func TestUpgrade(t *testing.T) {
	v := versions{store.KindSaw: {
		func(f map[string]json.RawMessage) error { f["name"] = f["title"]; delete(f, "title"); return nil },
		func(f map[string]json.RawMessage) error {
			if f["name"] == nil {
				return errors.New("no name")
			}
			f["list"] = json.RawMessage("[" + string(f["name"]) + "]")
			return nil
		},
	}}
	for in, want := range map[string]string{
		`{"id":"saw-1","schema":1,"title":"Blue","kept":{"a":[1.50]}}`: `{"id":"saw-1","kept":{"a":[1.50]},"list":["Blue"],"name":"Blue","schema":3}`,
		`{"title":"Blue"}`:                      `{"list":["Blue"],"name":"Blue","schema":3}`,
		`{"schema":2,"name":"Blue"}`:            `{"list":["Blue"],"name":"Blue","schema":3}`,
		`{"sub":{"schema":9},"schema":3,"a":1}`: `{"sub":{"schema":9},"schema":3,"a":1}`,
		tombstone:                               tombstone,
		"":                                      "",
	} {
		d := store.Doc{Kind: store.KindSaw, ID: "saw-1", Body: []byte(in)}
		if err := v.upgrade(&d); err != nil || string(d.Body) != want {
			t.Errorf("%s became %s, want %s (%v)", in, d.Body, want, err)
		}
	}
	for _, in := range []string{`{"schema":4}`, `{"schema":2}`} {
		d := store.Doc{Kind: store.KindSaw, ID: "saw-1", Body: []byte(in)}
		err := v.upgrade(&d)
		if err == nil || errors.Is(err, store.ErrNewer) != (in == `{"schema":4}`) || string(d.Body) != in {
			t.Errorf("%s: %v, left as %s", in, err, d.Body)
		}
	}
}

// TestNewerDocument: while replicas are replaced one after another, an old one
// that meets what a new one wrote says so with a 503, which a proxy takes to
// another, and changes nothing.
func TestNewerDocument(t *testing.T) {
	s := newService(t)
	s.post(posted{ID: "m-1", Conversation: "bench", Text: "menu"})
	d, err := s.store.Get(t.Context(), homeShop, store.KindConversation, "bench")
	if err != nil {
		t.Fatal(err)
	}
	newer := bytes.Replace(d.Body, []byte(`"schema":1`), []byte(`"schema":2`), 1)
	err = s.store.Commit(t.Context(), store.Commit{Shop: homeShop, At: s.clock.now(), Put: []store.Doc{{Kind: d.Kind, ID: d.ID, Version: d.Version, Body: newer}}})
	if err != nil {
		t.Fatal(err)
	}
	before := dumped(t, s)
	if res := s.request("POST", "/v1/messages", bodyOf(posted{ID: "m-2", Conversation: "bench", Text: "menu"})); res.StatusCode != http.StatusServiceUnavailable {
		t.Errorf("status %d: %s", res.StatusCode, res.body)
	}
	if dumped(t, s) != before {
		t.Error("it changed something")
	}
}
