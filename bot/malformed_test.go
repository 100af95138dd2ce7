package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"
)

// long is the environment variable that asks for the long form of a test.
const long = "SHIMWRIGHT_LONG"

// badCaller makes requests of which each has at least one fault, from the
// description of the interface: addresses, parameters, headers and bodies.
type badCaller struct {
	*rand.Rand
	doc   *openapi3.T
	paths []string // in order
}

// nasty are texts that have broken parsers before.
var nasty = []string{"", ".", "..", "../../etc/passwd", "%00", "\x00", "\r\nX-Injected: 1", "' OR 1=1 --", "{{7*7}}", "<script>", "a b",
	"\u202e", "\ufeff", "é", "\xff\xfe", "-1", "1e309", "NaN", "9223372036854775808", "00", "+4915550000001", "null", "true", "[]", "{}",
	strings.Repeat("a", 129), strings.Repeat("%", 300), strings.Repeat("9", 400), "home.", ".home", "home.x.y"}

func pick[T any](r *badCaller, list ...T) T { return list[r.IntN(len(list))] }

// request makes the next one.
func (r *badCaller) request() *http.Request {
	path := pick(r, r.paths...)
	item := r.doc.Paths.Value(path)
	methods := []string{}
	for m := range item.Operations() {
		methods = append(methods, m)
	}
	slices.Sort(methods)
	method := pick(r, methods...)
	op := item.Operations()[method]
	address := r.address(path)
	query := r.query(op)
	var body []byte
	if op.RequestBody != nil {
		body = r.body(op.RequestBody.Value.Content.Get("application/json").Schema.Value)
	}
	if r.IntN(10) == 0 {
		method = pick(r, "PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "CONNECT", "GE T", "get", strings.Repeat("M", 50))
	}
	u := &url.URL{Scheme: "http", Host: "127.0.0.1", Path: address, RawQuery: query}
	q := &http.Request{Method: method, URL: u, Host: "127.0.0.1", Header: http.Header{}, RemoteAddr: "127.0.0.1:9",
		Proto: "HTTP/1.1", ProtoMajor: 1, ProtoMinor: 1, ContentLength: int64(len(body)), RequestURI: u.RequestURI()}
	q.Body = http.NoBody
	if body != nil {
		q.Body = readCloser{bytes.NewReader(body)}
	}
	r.headers(q)
	return q
}

type readCloser struct{ *bytes.Reader }

func (readCloser) Close() error { return nil }

// address fills the places of a path with what leads nowhere.
func (r *badCaller) address(path string) string {
	for strings.Contains(path, "{") {
		i, j := strings.Index(path, "{"), strings.Index(path, "}")
		path = path[:i] + strings.NewReplacer("{", "(", "}", ")").Replace(pick(r, nasty...)) + path[j+1:]
	}
	if r.IntN(20) == 0 {
		path += pick(r, "/", "//", "/..", ";x", "/"+pick(r, nasty...))
	}
	return path
}

func (r *badCaller) query(op *openapi3.Operation) string {
	v := url.Values{}
	for _, p := range op.Parameters {
		if p.Value.In == "query" && r.IntN(2) == 0 {
			text := pick(r, nasty...)
			if p.Value.Name == "wait" && strings.Trim(text, "0123456789") == "" {
				text = "-" + text // nobody waits for it
			}
			v.Add(p.Value.Name, text)
		}
	}
	if r.IntN(5) == 0 {
		return pick(r, "%zz", "a=%", ";;;", strings.Repeat("a=1&", 200), "wait=x&wait=0")
	}
	return v.Encode()
}

func (r *badCaller) headers(q *http.Request) {
	if q.Method == http.MethodPost {
		q.Header.Set("Content-Type", pick(r, "application/json", "application/json; charset=utf-8", "text/plain", "", "a/b/c", "application/json;;;"))
	}
	for range r.IntN(4) {
		name := pick(r, "Accept", "Cookie", "Origin", "Sec-Fetch-Site", "X-Request-Id", "Traceparent", "If-None-Match", "Range",
			"webhook-id", "webhook-timestamp", "webhook-signature", "X-Forwarded-For", "Forwarded", "Authorization", "Content-Encoding")
		value := pick(r, nasty...)
		if name == "Cookie" {
			value = cookieName + "=" + value
		}
		q.Header[http.CanonicalHeaderKey(name)] = []string{value}
	}
	if r.IntN(10) == 0 {
		q.Host = pick(r, nasty...)
	}
}

// body is a message by its schema in which one thing is broken.
func (r *badCaller) body(schema *openapi3.Schema) []byte {
	names := make([]string, 0, len(schema.Properties))
	m := map[string]any{}
	for name, p := range schema.Properties {
		names = append(names, name)
		m[name] = "x1"
		if p.Value.Format == "date-time" {
			m[name] = "2026-03-02T09:14:05Z"
		}
	}
	slices.Sort(names)
	switch r.IntN(8) {
	case 0:
		delete(m, pick(r, schema.Required...))
	case 1:
		m[pick(r, names...)] = pick[any](r, nil, 1, -1.5e300, true, []any{}, map[string]any{"a": 1}, []any{[]any{[]any{}}})
	case 2:
		m[pick(r, nasty...)+"?"] = "unknown"
	case 3:
		m[pick(r, "id", "conversation")] = pick(r, "", "..", "a b", "\x00", strings.Repeat("a", 129), "é", ".x", "a/b")
	case 4:
		m["sent_at"] = pick(r, "yesterday", "2026-13-40T00:00:00Z", "", "0", "2026-03-02")
	case 5:
		m["text"] = strings.Repeat("t", pick(r, 16<<10+1, 64<<10))
	case 6:
		m["sender"] = pick(r, "", "\x00", strings.Repeat("s", 129), "a\nb")
	}
	b, err := json.Marshal(m)
	if err != nil {
		panic(err)
	}
	// The last kind, and now and then another: the bytes themselves are broken.
	if bad := r.IntN(8) == 0; bad || !r.faulty(m, schema) {
		switch r.IntN(6) {
		case 0:
			b = b[:r.IntN(len(b))]
		case 1:
			b = append(b, pick(r, "x", "{}", "]", "\x00")...)
		case 2:
			b = bytes.Replace(b, []byte(`"x1"`), []byte("\"\xff\""), 1)
		case 3:
			b = []byte(strings.Repeat("[", 1+r.IntN(60000)))
		case 4:
			b = bytes.Replace(b, []byte(`{`), []byte(`{"id":"m-1",`), 1) // twice
		case 5:
			b = bytes.Repeat([]byte("a"), maxBody+1+r.IntN(1000))
		}
	}
	return b
}

// faulty reports whether a message already breaks a rule of its schema.
func (r *badCaller) faulty(m map[string]any, schema *openapi3.Schema) bool {
	return schema.VisitJSON(m) != nil || len(fmt.Sprint(m["text"])) > 16<<10 || strings.Contains(fmt.Sprint(m["sent_at"]), "2026-13") ||
		m["sent_at"] == "yesterday" || m["sent_at"] == "" || m["sent_at"] == "0" || m["sent_at"] == "2026-03-02"
}

// TestMalformedRequests: whatever comes, no 5xx, no panic, and nothing stored.
// Some faults hurt nobody (a header that a page ignores); the number is of
// those that are refused.
func TestMalformedRequests(t *testing.T) {
	n := 3000
	if os.Getenv(long) != "" {
		n = 100_000
	}
	s := newService(t)
	s.post(posted{ID: "m-1", Conversation: "bench", Text: "menu"})
	doc, err := openapi3.NewLoader().LoadFromData(openAPI)
	if err != nil {
		t.Fatal(err)
	}
	paths := doc.Paths.InMatchingOrder()
	slices.Sort(paths)
	r := &badCaller{rand.New(rand.NewPCG(4, 11)), doc, paths}
	before := dumped(t, s)
	h := s.app.server.routes()
	statuses, refused := map[int]int{}, 0
	for i := 0; refused < n; i++ {
		q := r.request()
		what := fmt.Sprintf("%d: %s %q", i, q.Method, q.RequestURI)
		w := httptest.NewRecorder()
		h.ServeHTTP(w, q)
		statuses[w.Code]++
		if w.Code >= 400 {
			refused++
		}
		body := w.Body.String()
		if w.Code >= 500 {
			t.Fatalf("%s: status %d: %s\n%s", what, w.Code, body, s.log)
		}
		if w.Header().Get("X-Injected") != "" || strings.Contains(body, "<script>") {
			t.Fatalf("%s: what was sent came back as markup or as a header: %s", what, body)
		}
		if w.Code >= 400 && w.Header().Get("Content-Type") != "application/problem+json" && !strings.HasPrefix(w.Header().Get("Content-Type"), "text/html") {
			t.Fatalf("%s: status %d as %q", what, w.Code, w.Header().Get("Content-Type"))
		}
	}
	t.Logf("%d requests refused; by status: %v", refused, statuses)
	if after := dumped(t, s); after != before {
		t.Errorf("something was stored by requests of which none was right:\n%s\nbefore:\n%s", after, before)
	}
	if statuses[400] < n/20 || statuses[404] < n/20 || len(statuses) < 6 {
		t.Errorf("the requests are not as various as they should be: %v", statuses)
	}
	s.post(posted{ID: "m-2", Conversation: "bench", Text: "menu"})
}

// dumped is all that the store holds.
func dumped(t *testing.T, s *service) string {
	t.Helper()
	var b bytes.Buffer
	if err := s.store.Backup(t.Context(), &b); err != nil {
		t.Fatal(err)
	}
	return b.String()
}
