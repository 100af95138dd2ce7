package wire

import (
	"context"
	"errors"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"shimwright/bot/channel"
)

// The first two are the examples of RFC 9110, section 10.2.3.
func TestRetryAfter(t *testing.T) {
	now := time.Date(1999, 12, 31, 23, 58, 0, 0, time.UTC)
	for field, want := range map[string]time.Duration{
		"Fri, 31 Dec 1999 23:59:59 GMT":  119 * time.Second,
		"120":                            2 * time.Minute,
		"":                               0,
		"0":                              0,
		"-5":                             0,
		" 7 ":                            7 * time.Second,
		"1.5":                            1500 * time.Millisecond, // not allowed, but seen
		"999999999999":                   MaxPause,
		"1e300":                          MaxPause,
		"NaN":                            0,
		"Inf":                            MaxPause,
		"soon":                           0,
		"Fri, 31 Dec 1999 23:00:00 GMT":  0,
		"Sat, 31 Dec 2099 23:59:59 GMT":  MaxPause,
		"Friday, 31-Dec-99 23:59:59 GMT": 119 * time.Second, // the two obsolete forms of a date
		"Fri Dec 31 23:59:59 1999":       119 * time.Second,
	} {
		if got := RetryAfter(field, now); got != want {
			t.Errorf("%q asks for %v, understood %v", field, want, got)
		}
	}
}

// What a person reads in the log says what to do, and no address: it may hold
// a secret.
func TestCauses(t *testing.T) {
	tls := httptest.NewTLSServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) {}))
	defer tls.Close()
	tls.Config.ErrorLog = nil
	cut, cancel := context.WithCancel(t.Context())
	cancel()
	for _, c := range []struct {
		name, url, want string
		ctx             context.Context
	}{
		{"no such host", "http://no-such-host.invalid/?key=canary", "has a host name that cannot be found", t.Context()},
		{"a certificate of nobody's", tls.URL + "/?key=canary", "certificate that this machine does not trust", t.Context()},
		{"nobody there", "http://127.0.0.1:1/?key=canary", "cannot be reached", t.Context()},
		{"stopping", "http://127.0.0.1:1/?key=canary", "was not waited for", cut},
	} {
		req, err := http.NewRequest("GET", c.url, nil)
		if err != nil {
			t.Fatal(err)
		}
		client := New(time.Now)
		_, err = client.Do(c.ctx, req, "the gateway")
		client.Close()
		var e *channel.SendError
		if !errors.As(err, &e) || !e.Temporary || e.Unsure || !strings.Contains(e.Reason, c.want) || strings.Contains(e.Reason, "canary") {
			t.Errorf("%s: %+v, want %q", c.name, err, c.want)
		}
	}
}

// What each status means to a message that waits.
func TestStatuses(t *testing.T) {
	for status, temporary := range map[int]bool{
		200: true, 204: true, 301: true, 302: true, 400: false, 401: true, 403: true, 404: true, 405: false, 408: true, 409: true,
		410: false, 413: false, 415: false, 422: false, 425: true, 429: true, 500: true, 501: true, 502: true, 503: true, 504: true,
	} {
		s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { w.WriteHeader(status) }))
		req, _ := http.NewRequest("POST", s.URL, strings.NewReader("x"))
		a, err := New(time.Now).Do(t.Context(), req, "the gateway")
		var e *channel.SendError
		switch {
		case status < 300:
			if err != nil || a.Status != status {
				t.Errorf("%d: %v", status, err)
			}
		case !errors.As(err, &e) || e.Temporary != temporary || a.Status != status:
			t.Errorf("%d: %v, want temporary %v", status, err, temporary)
		}
		s.Close()
	}
}

// FuzzRetryAfter: whatever a network asks for, the pause is neither negative
// nor longer than its bound.
func FuzzRetryAfter(f *testing.F) {
	for _, s := range []string{"3", " 1.5 ", "1e300", "-1", "NaN", "Inf", "Mon, 02 Mar 2026 12:00:10 GMT", "soon"} {
		f.Add(s)
	}
	now := time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
	f.Fuzz(func(t *testing.T, field string) {
		if d := RetryAfter(field, now); d < 0 || d > MaxPause {
			t.Fatalf("%q is a pause of %s", field, d)
		}
	})
}
