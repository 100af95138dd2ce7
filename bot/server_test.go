package main

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"
)

// TestHeaders: what every answer carries, whatever it is.
func TestHeaders(t *testing.T) {
	s := newService(t)
	for _, path := range []string{"/healthz", "/v1/openapi.yaml", "/v1/conversations/none", "/nowhere", "/pair/x"} {
		res := s.request("GET", path, "")
		h := res.Header
		policy := h.Get("Content-Security-Policy")
		if !strings.HasPrefix(policy, "default-src 'none'") || strings.Contains(policy, "unsafe") || !strings.Contains(policy, "frame-ancestors 'none'") ||
			h.Get("X-Content-Type-Options") != "nosniff" || h.Get("Referrer-Policy") != "no-referrer" || h.Get("X-Request-Id") != "req-1" {
			t.Errorf("%s: headers %v", path, h)
		}
	}
	res := s.request("GET", "/healthz", "", header("X-Request-Id", "a b\x09c"))
	if id := res.Header.Get("X-Request-Id"); len(id) != 16 {
		t.Errorf("a request id of somebody's own making became %q", id)
	}
}

// TestHostsAndOrigins: names that are ours, and pages that are.
func TestHostsAndOrigins(t *testing.T) {
	s := newService(t, func(c *Config) { c.Hosts = []string{"bench.local"} })
	at := strings.TrimPrefix(s.url, "http://")
	_, port, _ := net.SplitHostPort(at)
	for _, c := range []struct {
		name string
		edit []func(*http.Request)
		want int
	}{
		{"by address", nil, 200},
		{"localhost", []func(*http.Request){header("Host", "localhost:"+port)}, 200},
		{"IPv6", []func(*http.Request){header("Host", "[::1]:"+port)}, 200},
		{"capitals and a final dot", []func(*http.Request){header("Host", "LOCALHOST.:"+port)}, 200},
		{"a rebound name", []func(*http.Request){header("Host", "evil.example:"+port)}, 421},
		{"a name that begins like ours", []func(*http.Request){header("Host", "localhost.evil.example")}, 421},
		{"our own page", []func(*http.Request){header("Origin", "http://"+at)}, 200},
		{"another port of this machine", []func(*http.Request){header("Origin", "http://127.0.0.1:1")}, 403},
		{"another site", []func(*http.Request){header("Origin", "http://evil.example")}, 403},
		{"a picture on another site's page", []func(*http.Request){header("Sec-Fetch-Site", "cross-site"), header("Sec-Fetch-Mode", "no-cors")}, 403},
		{"a link on another site", []func(*http.Request){header("Sec-Fetch-Site", "cross-site"), header("Sec-Fetch-Mode", "navigate")}, 200},
		// A configured name is ours, but it is not this machine's browser.
		{"a configured name", []func(*http.Request){header("Host", "bench.local:"+port)}, 401},
		{"forwarded", []func(*http.Request){header("Forwarded", "for=203.0.113.9")}, 401},
	} {
		t.Run(c.name, func(t *testing.T) {
			if res := s.request("GET", "/v1/openapi.yaml", "", c.edit...); res.StatusCode != c.want {
				t.Errorf("status %d, want %d", res.StatusCode, c.want)
			}
		})
	}
	t.Run("behind a proxy under its public name", func(t *testing.T) {
		s := newService(t, func(c *Config) {
			c.PublicURL = webURL(&faults{}, "PUBLIC_URL", "https://saw.example.org", "")
			c.LocalOwner = false
		})
		cookie := s.pairDevice(invitation{})
		edit := []func(*http.Request){cookie, header("Host", "127.0.0.1:8080"), header("Origin", "https://saw.example.org"), header("X-Forwarded-For", "203.0.113.9")}
		if res := s.request("GET", "/v1/openapi.yaml", "", edit...); res.StatusCode != 200 {
			t.Errorf("status %d: %s", res.StatusCode, res.body)
		}
	})
}

// TestLogHoldsNoWordOfAnybody: no text, no token, no whole number.
func TestLogHoldsNoWordOfAnybody(t *testing.T) {
	s := newService(t)
	l, err := s.app.pairing.invite(t.Context(), invitation{})
	if err != nil {
		t.Fatal(err)
	}
	s.request("POST", "/v1/messages", bodyOf(posted{ID: "m-4915112345678", Conversation: "+4915112345678", Sender: "+4915112345678", Text: "my secret words"}), s.signed)
	s.request("POST", "/v1/messages", bodyOf(posted{ID: "m-2", Conversation: "c", Text: "my secret words"}), header("X-Forwarded-For", "1.2.3.4"))
	s.request("GET", "/pair/"+l.Token, "")
	s.request("POST", "/pair/"+l.Token, "")
	s.request("GET", "/v1/media/home.tokenofapicture", "")
	log := s.log.String()
	for _, word := range []string{"secret words", "4915112345678", l.Token, "tokenofapicture", testSecret, strings.TrimPrefix(testSecret, "whsec_")} {
		if strings.Contains(log, word) {
			t.Errorf("the log holds %q", word)
		}
	}
	for _, word := range []string{`"conversation":"+***78"`, `"route":"/pair/{token}"`, `"status":401`} {
		if !strings.Contains(log, word) {
			t.Errorf("the log lacks %s:\n%s", word, log)
		}
	}
}

func TestMask(t *testing.T) {
	for in, want := range map[string]string{"+4915112345678": "+***78", "bench-12": "bench-12", "12345": "***45", "a1234b56789c": "a1234b***89c", "": ""} {
		if got := mask(in); got != want {
			t.Errorf("%q is shown as %q, want %q", in, got, want)
		}
	}
}

// TestMetrics: figures by route, not by address.
func TestMetrics(t *testing.T) {
	s := newService(t)
	s.post(posted{ID: "m-1", Conversation: "bench", Text: "menu"})
	s.post(posted{ID: "m-1", Conversation: "bench", Text: "menu"})
	s.request("GET", "/v1/conversations/none", "")
	s.request("GET", "/made/up", "")
	body := string(s.request("GET", "/metrics", "").body)
	for _, line := range []string{
		`shimwright_http_requests_total{method="POST",route="/v1/messages",status="200"} 2`,
		`shimwright_http_requests_total{method="GET",route="/v1/conversations/{id}",status="404"} 1`,
		`shimwright_http_requests_total{method="GET",route="other",status="404"} 1`,
		`shimwright_messages_again_total 1`,
		`shimwright_commits_stale_total 0`,
	} {
		if !strings.Contains(body, line+"\n") {
			t.Errorf("the metrics lack %s", line)
		}
	}
	// Whoever goes out of reach before the answer makes no fault of the service.
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	gone := httptest.NewRequest("GET", "http://127.0.0.1/v1/conversations/bench", nil).WithContext(ctx)
	gone.RemoteAddr = "127.0.0.1:4000"
	s.app.server.routes().ServeHTTP(httptest.NewRecorder(), gone)
	body = string(s.request("GET", "/metrics", "").body)
	if !strings.Contains(body, `shimwright_http_requests_total{method="GET",route="/v1/conversations/{id}",status="left"} 1`+"\n") || strings.Contains(body, `status="503"`) {
		t.Error("a caller that left counts as a fault")
	}
	if strings.Contains(s.log.String(), "level=ERROR") {
		t.Errorf("the log has an error:\n%s", s.log.String())
	}
	if res := s.request("GET", "/metrics", "", header("Host", "evil.example")); res.StatusCode != 421 {
		t.Errorf("under a rebound name: %d", res.StatusCode)
	}
}

// TestPanicIsAnswered: a fault of the program is a problem document for the
// client and a stack for the log.
func TestPanicIsAnswered(t *testing.T) {
	s := newService(t)
	s.app.server.home = http.HandlerFunc(func(http.ResponseWriter, *http.Request) { panic("a fault") })
	res := s.request("GET", "/", "")
	if res.StatusCode != 500 || !strings.Contains(string(res.body), `"type":"urn:shimwright:problem:internal"`) || strings.Contains(string(res.body), "a fault") {
		t.Errorf("status %d: %s", res.StatusCode, res.body)
	}
	if log := s.log.String(); !strings.Contains(log, "a fault") || !strings.Contains(log, "server_test.go") {
		t.Errorf("the log lacks the fault: %s", log)
	}
}

// TestSlowBody: a body that does not come is not waited for. The time is cut
// short for the test.
func TestSlowBody(t *testing.T) {
	s := newService(t)
	web := httptest.NewUnstartedServer(nil)
	web.Config = httpServer(s.app.server.routes(), s.app.log)
	web.Config.ReadTimeout = 100 * time.Millisecond
	web.Start()
	defer web.Close()
	c, err := net.Dial("tcp", strings.TrimPrefix(web.URL, "http://"))
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	io.WriteString(c, "POST /v1/messages HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: application/json\r\nContent-Length: 100\r\n\r\n{\"id\"")
	res, err := http.ReadResponse(bufio.NewReader(c), nil)
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	body, _ := io.ReadAll(res.Body)
	if res.StatusCode != http.StatusRequestTimeout || !strings.Contains(string(body), "too-slow") {
		t.Errorf("status %d: %s", res.StatusCode, body)
	}
}

// TestLongWaitOutlivesTheReadLimit: who was asked to wait is not cut off by
// the limit for those who send slowly.
func TestLongWaitOutlivesTheReadLimit(t *testing.T) {
	s := newService(t)
	s.post(posted{ID: "m-1", Conversation: "bench", Text: "menu"})
	web := httptest.NewUnstartedServer(nil)
	web.Config = httpServer(s.app.server.routes(), s.app.log)
	web.Config.ReadTimeout = 100 * time.Millisecond
	web.Config.WriteTimeout = 100 * time.Millisecond
	web.Start()
	defer web.Close()
	end := s.transcript("/v1/conversations/bench").Next
	res, err := s.plain.Get(web.URL + fmt.Sprintf("/v1/conversations/bench?after=%d&wait=1", end))
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	body, err := io.ReadAll(res.Body)
	if err != nil || res.StatusCode != 200 || !strings.Contains(string(body), `"entries":[]`) {
		t.Errorf("status %d, %v: %s", res.StatusCode, err, body)
	}
}

// TestHeadersTooLarge are refused before anything is read.
func TestHeadersTooLarge(t *testing.T) {
	s := newService(t)
	res, err := s.plain.Do(withHeader(s.url+"/healthz", header("X-Fill", strings.Repeat("a", maxHeader+8192))))
	if err != nil {
		t.Fatal(err)
	}
	res.Body.Close()
	if res.StatusCode != http.StatusRequestHeaderFieldsTooLarge {
		t.Errorf("status %d", res.StatusCode)
	}
}

func withHeader(url string, edit func(*http.Request)) *http.Request {
	r := httptest.NewRequest("GET", url, nil)
	r.RequestURI = ""
	edit(r)
	return r
}

// TestHomePage: the chat page is served with its files, without pairing: it
// holds nothing of anybody.
func TestHomePage(t *testing.T) {
	s := newService(t, func(c *Config) { c.LocalOwner = false })
	res := s.request("GET", "/", "")
	if res.StatusCode != 200 || !strings.HasPrefix(res.Header.Get("Content-Type"), "text/html") {
		t.Fatalf("status %d, %s", res.StatusCode, res.Header.Get("Content-Type"))
	}
	if res := s.request("GET", "/page/page.css", ""); res.StatusCode != 200 || !strings.HasPrefix(res.Header.Get("Content-Type"), "text/css") {
		t.Errorf("its style: status %d", res.StatusCode)
	}
	if res := s.request("GET", "/pair.css", ""); res.StatusCode != 200 {
		t.Errorf("the style of the pairing page: status %d", res.StatusCode)
	}
	if res := s.request("GET", "/", "", header("Host", "evil.example")); res.StatusCode != 421 {
		t.Errorf("under a rebound name: status %d", res.StatusCode)
	}
}
