package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/base64"
	"fmt"
	"io"
	"math"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/gorilla/mux"

	"shimwright/bot/channel"
)

// TestHeadersOnEveryRoute asks for every route that there is.
func TestHeadersOnEveryRoute(t *testing.T) {
	s := newService(t)
	var routes []string
	inner := s.app.server.router()
	err := inner.Walk(func(route *mux.Route, _ *mux.Router, _ []*mux.Route) error {
		path, err := route.GetPathTemplate()
		methods, _ := route.GetMethods()
		for _, m := range methods {
			routes = append(routes, m+" "+regexp.MustCompile(`\{[^}]*\}`).ReplaceAllString(path, "x"))
		}
		return err
	})
	if err != nil || len(routes) < 20 {
		t.Fatalf("%v, %d routes", err, len(routes))
	}
	for _, route := range routes {
		method, path, _ := strings.Cut(route, " ")
		res := s.plainRequest(method, path)
		h := res.Header
		policy := h.Get("Content-Security-Policy")
		for _, bad := range []string{"unsafe", "*", "http:", "https:"} {
			if strings.Contains(policy, bad) {
				t.Errorf("%s: the content policy has %s: %s", route, bad, policy)
			}
		}
		if !strings.HasPrefix(policy, "default-src 'none'") || !strings.Contains(policy, "frame-ancestors 'none'") ||
			h.Get("X-Content-Type-Options") != "nosniff" || h.Get("Referrer-Policy") != "no-referrer" ||
			h.Get("Cross-Origin-Opener-Policy") != "same-origin" || h.Get("X-Request-Id") == "" || h.Get("Server") != "" {
			t.Errorf("%s (%d): headers %v", route, res.StatusCode, h)
		}
	}
}

// plainRequest is a request whose answer is not held against the description.
func (s *service) plainRequest(method, path string) *http.Response {
	s.Helper()
	req, err := http.NewRequest(method, s.url+path, strings.NewReader("{}"))
	if err != nil {
		s.Fatal(err)
	}
	res, err := s.plain.Do(req)
	if err != nil {
		s.Fatal(err)
	}
	_, _ = io.Copy(io.Discard, res.Body)
	res.Body.Close()
	return res
}

// TestSlowHeaders: many connections that send a byte of their header now and
// then are cut off, and who behaves is served meanwhile. The time is cut short
// for the test; that it is set at all is checked too.
func TestSlowHeaders(t *testing.T) {
	s := newService(t)
	web := httptest.NewUnstartedServer(nil)
	web.Config = httpServer(s.app.server.routes(), s.app.log)
	if c := web.Config; c.ReadHeaderTimeout <= 0 || c.ReadTimeout <= 0 || c.WriteTimeout <= 0 || c.IdleTimeout <= 0 || c.MaxHeaderBytes <= 0 {
		t.Errorf("a limit of the server is not set: %+v", c)
	}
	web.Config.ReadHeaderTimeout = 300 * time.Millisecond
	web.Start()
	defer web.Close()
	const many = 100
	var cut atomic.Int32
	done := make(chan bool)
	for range many {
		go func() {
			defer func() { done <- true }()
			c, err := net.Dial("tcp", strings.TrimPrefix(web.URL, "http://"))
			if err != nil {
				return
			}
			defer c.Close()
			_, _ = io.WriteString(c, "GET /healthz HTTP/1.1\r\nHost: 127.0.0.1\r\n")
			ended := make(chan bool)
			go func() { _, _ = io.Copy(io.Discard, bufio.NewReader(c)); close(ended) }()
			for range 200 {
				select {
				case <-ended:
					cut.Add(1)
					return
				case <-time.After(50 * time.Millisecond):
					_, _ = io.WriteString(c, "X")
				}
			}
		}()
	}
	res, err := s.plain.Get(web.URL + "/healthz")
	if err != nil || res.StatusCode != http.StatusOK {
		t.Errorf("who behaves is not served: %v", err)
	} else {
		res.Body.Close()
	}
	for range many {
		<-done
	}
	if cut.Load() != many {
		t.Errorf("%d of %d slow connections were cut off", cut.Load(), many)
	}
}

// TestCallbackLeadsNowhereElse: a callback that answers with a redirect to an
// inside address makes nobody call that, and nothing of the message goes there.
func TestCallbackLeadsNowhereElse(t *testing.T) {
	var inside atomic.Int32
	secret := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { inside.Add(1) }))
	defer secret.Close()
	for _, status := range []int{301, 302, 303, 307, 308} {
		outside := httptest.NewServer(http.RedirectHandler(secret.URL+"/admin", status))
		c := webhookTo(t, outside.URL, clock)
		err := c.Send(t.Context(), "bench", channel.Message{ID: "o-1", Conversation: "bench", Text: "hello"})
		if err == nil || !strings.Contains(err.Error(), "redirects are not followed") {
			t.Errorf("status %d: %v", status, err)
		}
		outside.Close()
	}
	if inside.Load() > 0 {
		t.Errorf("the inside address was called %d times", inside.Load())
	}
}

// TestNoAddressFromAMessage: whatever address a message holds, nobody calls it.
func TestNoAddressFromAMessage(t *testing.T) {
	var called atomic.Int32
	trap := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { called.Add(1) }))
	defer trap.Close()
	s := newService(t)
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan bool)
	go func() { s.app.deliverer.run(ctx); close(ended) }()
	for i, text := range []string{trap.URL, "<img src=" + trap.URL + ">", "callback " + trap.URL, "![x](" + trap.URL + ")"} {
		s.request("POST", "/v1/messages", bodyOf(posted{ID: fmt.Sprint("m-", i), Conversation: "bench", Sender: trap.URL, Text: text}))
	}
	time.Sleep(50 * time.Millisecond)
	cancel()
	<-ended
	if called.Load() > 0 {
		t.Error("an address from a message was called")
	}
}

// TestTokenEntropy: tokens and ids have the bits that they promise, none comes
// twice, and each bit is as often set as not: of 2,000 draws, within five
// standard deviations (chance of a false alarm below 1 in 10,000 over all bits).
func TestTokenEntropy(t *testing.T) {
	const draws = 2000
	seen := map[string]bool{}
	var ones [256]int
	for range draws {
		token := newToken()
		b, err := base64.RawURLEncoding.DecodeString(token)
		if err != nil || len(b) != 32 || seen[token] {
			t.Fatalf("%q: %v, %d bytes, twice: %v", token, err, len(b), seen[token])
		}
		seen[token] = true
		for i := range ones {
			if b[i/8]>>(i%8)&1 == 1 {
				ones[i]++
			}
		}
		if id := newID(); len(id) != 16 || seen[id] {
			t.Fatalf("id %q", id)
		} else {
			seen[id] = true
		}
	}
	limit := 5 * math.Sqrt(draws) / 2
	for i, n := range ones {
		if math.Abs(float64(n)-draws/2) > limit {
			t.Errorf("bit %d was set %d times of %d", i, n, draws)
		}
	}
}

// TestSecretsAreComparedInConstantTime: no source compares a secret, token or
// signature with == or bytes.Equal. What is compared by hash, or looked up by
// hash in the store, says nothing by its time.
func TestSecretsAreComparedInConstantTime(t *testing.T) {
	bad := regexp.MustCompile(`(?i)(bytes\.Equal\([^)]*(token|secret|signature|mac\b)|\b\w*(secret|password|signature|hstoken|astoken)\w*(\(\))? [!=]= [^"n\s])`)
	err := filepath.WalkDir(".", func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return err
		}
		b, err := os.ReadFile(path)
		for i, line := range bytes.Split(b, []byte("\n")) {
			if bad.Match(line) && !bytes.Contains(line, []byte("o.ASToken == o.HSToken")) { // two settings of the operator's
				t.Errorf("%s:%d: %s", path, i+1, bytes.TrimSpace(line))
			}
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	if !bad.MatchString(`if given == cfg.Secret {`) && !bad.MatchString(`if secret == given {`) {
		t.Error("the pattern finds nothing")
	}
}
