package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"go.uber.org/goleak"

	"shimwright/bot/channel/webhook"
	"shimwright/dialog"
	"shimwright/store"
	"shimwright/store/boltstore"
)

func TestMain(m *testing.M) {
	os.Setenv("LC_ALL", "C") // the terminal speaks the language of whoever runs the tests
	goleak.VerifyTestMain(m, goleak.Cleanup(func(code int) {
		os.RemoveAll(buildFolder())
		os.Exit(code)
	}))
}

// testClock is a clock that a test moves.
type testClock struct{ ms atomic.Int64 }

func newTestClock() *testClock {
	c := &testClock{}
	c.set(time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC))
	return c
}

func (c *testClock) now() time.Time          { return time.UnixMilli(c.ms.Load()).UTC() }
func (c *testClock) set(t time.Time)         { c.ms.Store(t.UnixMilli()) }
func (c *testClock) advance(d time.Duration) { c.ms.Add(d.Milliseconds()) }

// testSecret is a secret made up for the tests.
const testSecret = "whsec_c2hpbXdyaWdodC10ZXN0LXNlY3JldC0wMDAx"

// testConfig is the configuration of a service under test.
func testConfig() Config {
	return Config{Pairing: true, LocalOwner: true, Rate: 1e6, Burst: 1e6, Zone: "Europe/Berlin",
		Shutdown: 10 * time.Second, WebhookSecrets: []Secret{NewSecret(testSecret)}}
}

// service is the whole service on a port of loopback and a store of its own.
type service struct {
	*testing.T
	app   *app
	store *faultyStore
	clock *testClock
	web   *httptest.Server
	url   string
	log   *lockedBuffer
	plain *http.Client
}

// newService starts one; change edits its configuration first.
func newService(t *testing.T, change ...func(*Config)) *service {
	t.Helper()
	return newServiceOn(t, filepath.Join(t.TempDir(), "test.db"), newTestClock(), change...)
}

// newServiceOn starts one on a data file.
func newServiceOn(t *testing.T, path string, clock *testClock, change ...func(*Config)) *service {
	t.Helper()
	inner, err := boltstore.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	return newServiceWith(t, inner, clock, change...)
}

// newServiceWith starts one on an open store, which it closes.
func newServiceWith(t *testing.T, inner store.Store, clock *testClock, change ...func(*Config)) *service {
	t.Helper()
	cfg := testConfig()
	for _, f := range change {
		f(&cfg)
	}
	var err error
	s := &service{T: t, store: &faultyStore{Store: inner}, clock: clock, log: &lockedBuffer{},
		plain: &http.Client{Transport: &http.Transport{}, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}}
	s.app, err = newApp(cfg, s.store, clock.now, slog.New(slog.NewJSONHandler(s.log, &slog.HandlerOptions{Level: slog.LevelDebug})))
	if err != nil {
		t.Fatal(err)
	}
	s.app.handler.dialog = s.watchedStep
	s.web = httptest.NewUnstartedServer(nil)
	s.web.Config = httpServer(s.app.server.routes(), s.app.log)
	s.web.Start()
	s.url = s.web.URL
	t.Cleanup(func() {
		s.app.stop()
		s.plain.CloseIdleConnections()
		s.web.Close()
		if err := s.app.close(); err != nil {
			t.Errorf("closing: %v", err)
		}
	})
	return s
}

// watchedStep is a step of the dialog that must change nothing it looks at:
// what it looks at is shared with the steps after it.
func (s *service) watchedStep(v dialog.View, st dialog.State, in dialog.Input, now time.Time) dialog.Result {
	look := []any{v.People, v.Saws, v.Last, v.History, v.Due, st}
	before := string(encode(look))
	res := dialog.Step(v, st, in, now)
	if after := string(encode(look)); after != before {
		s.Errorf("the step on %+v changed what it looked at from\n%s\nto\n%s", in, before, after)
	}
	return res
}

// storeHook is what a test does before a commit.
func storeHook(f func()) func(store.Commit) { return func(store.Commit) { f() } }

// faultyStore is a real store that can be made to fail.
type faultyStore struct {
	store.Store
	down   atomic.Bool                        // every call fails as if the engine were away
	before atomic.Pointer[func(store.Commit)] // called before each commit
}

func (f *faultyStore) away() error {
	if f.down.Load() {
		return fmt.Errorf("%w: taken away by the test", store.ErrUnavailable)
	}
	return nil
}

func (f *faultyStore) Load(ctx context.Context, c store.Conversation, id string) (store.Documents, error) {
	if err := f.away(); err != nil {
		return store.Documents{}, err
	}
	return f.Store.Load(ctx, c, id)
}

func (f *faultyStore) Commit(ctx context.Context, c store.Commit) error {
	if err := f.away(); err != nil {
		return err
	}
	if hook := f.before.Load(); hook != nil {
		(*hook)(c)
	}
	return f.Store.Commit(ctx, c)
}

func (f *faultyStore) Get(ctx context.Context, shop string, k store.Kind, id string) (store.Doc, error) {
	if err := f.away(); err != nil {
		return store.Doc{}, err
	}
	return f.Store.Get(ctx, shop, k, id)
}

func (f *faultyStore) Resolve(ctx context.Context, address string) (string, error) {
	if err := f.away(); err != nil {
		return "", err
	}
	return f.Store.Resolve(ctx, address)
}

func (f *faultyStore) Take(ctx context.Context, name string, r store.Rate, want int, now time.Time) (int, time.Duration, error) {
	if err := f.away(); err != nil {
		return 0, 0, err
	}
	return f.Store.Take(ctx, name, r, want, now)
}

func (f *faultyStore) Ping(ctx context.Context) error {
	if err := f.away(); err != nil {
		return err
	}
	return f.Store.Ping(ctx)
}

// response is an answer of the service, its body read.
type response struct {
	*http.Response
	body []byte
}

// request makes a request; edit changes it before it is sent. Every exchange
// is checked against the description of the interface.
func (s *service) request(method, path, body string, edit ...func(*http.Request)) response {
	s.Helper()
	req, err := http.NewRequest(method, s.url+path, strings.NewReader(body))
	if err != nil {
		s.Fatal(err)
	}
	if method == http.MethodPost {
		req.Header.Set("Content-Type", "application/json")
	}
	req.Header.Set("X-Request-Id", "req-1")
	for _, f := range edit {
		f(req)
	}
	res, err := s.plain.Do(req)
	if err != nil {
		s.Fatalf("%s %s: %v", method, path, err)
	}
	defer res.Body.Close()
	got, err := io.ReadAll(res.Body)
	if err != nil {
		s.Fatalf("%s %s: %v", method, path, err)
	}
	conform(s, req, body, res, got)
	return response{res, got}
}

// post sends a message and returns its answer, which must be a 200.
func (s *service) post(m posted, edit ...func(*http.Request)) answer {
	s.Helper()
	res := s.request("POST", "/v1/messages", bodyOf(m), edit...)
	if res.StatusCode != http.StatusOK {
		s.Fatalf("status %d: %s", res.StatusCode, res.body)
	}
	return decodeAnswer(s, res.body)
}

func decodeAnswer(t testing.TB, body []byte) answer {
	t.Helper()
	var a answer
	if err := json.Unmarshal(body, &a); err != nil {
		t.Fatalf("%v in %s", err, body)
	}
	return a
}

// bodyOf is a message as JSON.
func bodyOf(m posted) string {
	fields := map[string]string{"id": m.ID, "conversation": m.Conversation, "text": m.Text}
	if m.Sender != "" {
		fields["sender"] = m.Sender
	}
	if !m.SentAt.IsZero() {
		fields["sent_at"] = m.SentAt.Format(time.RFC3339Nano)
	}
	return string(encode(fields))
}

// signed signs a request, as a program does, at the service's time.
func (s *service) signed(r *http.Request) { sign(s, testSecret, s.clock.now())(r) }

func sign(t testing.TB, secret string, at time.Time) func(*http.Request) {
	return func(r *http.Request) {
		t.Helper()
		keys, err := webhook.ParseKeys(secret)
		if err != nil {
			t.Fatal(err)
		}
		var body []byte
		if r.GetBody != nil {
			b, err := r.GetBody()
			if err != nil {
				t.Fatal(err)
			}
			body, _ = io.ReadAll(b)
		}
		if err := keys.Sign(r.Header, "msg_"+newID(), at, body); err != nil {
			t.Fatal(err)
		}
	}
}

// header sets a header of a request.
func header(name, value string) func(*http.Request) {
	return func(r *http.Request) {
		if name == "Host" {
			r.Host = value
			return
		}
		r.Header.Set(name, value)
	}
}

// lockedBuffer is a buffer that many may write.
type lockedBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lockedBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *lockedBuffer) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}
