package webhook

import (
	"encoding/base64"
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"shimwright/bot/channel"
	"shimwright/bot/channel/channeltest"
)

// secret returns a secret made of the canary, so that the suite finds it
// should it ever leak.
func secret(n byte) string {
	return Prefix + channeltest.Canary + base64.StdEncoding.EncodeToString([]byte(strings.Repeat(string('a'+rune(n)), 24)))
}

func keys(t testing.TB, secrets ...string) Keys {
	t.Helper()
	k, err := ParseKeys(secrets...)
	if err != nil {
		t.Fatal(err)
	}
	return k
}

func signed(k Keys, id string, body []byte, at time.Time) channel.Request {
	r := channel.Request{Method: "POST", Path: "/", Header: http.Header{}, Body: body, At: at}
	if err := k.Sign(r.Header, id, at, body); err != nil {
		panic(err)
	}
	return r
}

func clock() time.Time { return time.Date(2026, 3, 2, 9, 14, 5, 0, time.UTC) }

func TestConformance(t *testing.T) {
	k := keys(t, secret(0))
	channeltest.Run(t, channeltest.Rig{
		New: func(t testing.TB, url string) channel.Channel {
			c, err := New(Options{URL: url, Keys: k, Now: clock})
			if err != nil {
				t.Fatal(err)
			}
			return c
		},
		To: "bench-tablet",
		Out: &channeltest.Out{
			Accept: func(w http.ResponseWriter, r *http.Request) { w.WriteHeader(http.StatusNoContent) },
			Seen: func(r *http.Request, body []byte) (string, string, bool) {
				if err := k.Verify(r.Header, body, clock()); err != nil {
					t.Errorf("what was sent does not verify: %v", err)
				}
				var p payload
				if err := json.Unmarshal(body, &p); err != nil || len(p.Replies) != 1 {
					t.Errorf("what was sent is not an answer: %v", err)
					return "", "", false
				}
				if p.Conversation == "" || r.Header.Get("webhook-id") != p.Replies[0].ID {
					t.Errorf("sent %+v with the id %q", p, r.Header.Get("webhook-id"))
				}
				return r.Header.Get("webhook-id"), p.Replies[0].Text, true
			},
			Refuse: func(w http.ResponseWriter, r *http.Request) { w.WriteHeader(http.StatusUnprocessableEntity) },
			Throttle: func(w http.ResponseWriter, r *http.Request) {
				w.Header().Set("Retry-After", "7")
				w.WriteHeader(http.StatusTooManyRequests)
			},
		},
	})
}

// The test vector of the Standard Webhooks reference libraries (the Go
// library's TestWebhookSign).
func TestPublicVector(t *testing.T) {
	const body = `{"test": 2432232314}`
	at := time.Unix(1614265330, 0)
	k := keys(t, "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw")
	h := http.Header{}
	if err := k.Sign(h, "msg_p5jXN8AQM9LWM0D4loKWxJek", at, []byte(body)); err != nil {
		t.Fatal(err)
	}
	if got, want := h.Get("webhook-signature"), "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE="; got != want {
		t.Errorf("signature %s, want %s", got, want)
	}
	if err := k.Verify(h, []byte(body), at.Add(Tolerance)); err != nil {
		t.Error(err)
	}
}

func TestRotation(t *testing.T) {
	before, both, after := keys(t, secret(0)), keys(t, secret(1), secret(0)), keys(t, secret(1))
	body := []byte("{}")
	for _, c := range []struct {
		name         string
		sign, verify Keys
		ok           bool
	}{
		{"old to both", before, both, true}, {"new to both", after, both, true},
		{"both to old", both, before, true}, {"both to new", both, after, true},
		{"old to new", before, after, false},
	} {
		r := signed(c.sign, "m-1", body, clock())
		if err := c.verify.Verify(r.Header, body, clock()); (err == nil) != c.ok {
			t.Errorf("%s: %v", c.name, err)
		}
	}
}

func TestKeysDoNotPrint(t *testing.T) {
	k := keys(t, secret(0))
	c, err := New(Options{URL: "http://shop.example/", Keys: k, Now: clock})
	if err != nil {
		t.Fatal(err)
	}
	raw, _ := base64.StdEncoding.DecodeString(strings.TrimPrefix(secret(0), Prefix))
	for _, v := range []any{k, &k, Options{Keys: k}, c, *c} {
		for _, verb := range []string{"%v", "%+v", "%#v", "%s", "%q", "%x", "%d"} {
			s := fmt.Sprintf(verb, v)
			if strings.Contains(s, channeltest.Canary) || strings.Contains(s, string(raw[:12])) ||
				strings.Contains(s, fmt.Sprintf("%x", raw[:12])) || strings.Contains(s, fmt.Sprint(raw[:12])[1:20]) {
				t.Errorf("%T with %s prints the secret", v, verb)
			}
		}
	}
	for _, bad := range []string{"", "whsec_", "whsec_" + channeltest.Canary, channeltest.Canary + "!!", secret(0)[6:]} {
		if _, err := ParseKeys(secret(1), bad); err == nil {
			t.Errorf("a secret of %d characters is accepted", len(bad))
		} else if strings.Contains(err.Error(), channeltest.Canary) || !strings.Contains(err.Error(), "secret 2 of 2") {
			t.Errorf("the error names the secret, or not its place")
		}
	}
}

// A new timestamp for every attempt, or a late retry would be refused; the id
// and the bytes stay.
func TestEveryAttemptIsSignedAfresh(t *testing.T) {
	k := keys(t, secret(0))
	now := clock()
	var heads []http.Header
	var bodies []string
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		b := make([]byte, r.ContentLength)
		_, _ = r.Body.Read(b)
		if err := k.Verify(r.Header, b, now); err != nil {
			t.Errorf("attempt %d: %v", len(heads)+1, err)
		}
		heads, bodies = append(heads, r.Header.Clone()), append(bodies, string(b))
		w.WriteHeader(500)
	}))
	defer srv.Close()
	c, err := New(Options{URL: srv.URL, Keys: k, Now: func() time.Time { return now }})
	if err != nil {
		t.Fatal(err)
	}
	for range 3 {
		_ = c.Send(t.Context(), "bench", channel.Message{ID: "m-1", Text: "Time to check the slider.",
			Turn: json.RawMessage(`{"prompt":{"kind":"idle"}}`)})
		now = now.Add(time.Hour)
	}
	if len(heads) != 3 || heads[0].Get("webhook-id") != "m-1" || heads[2].Get("webhook-id") != "m-1" ||
		bodies[0] != bodies[2] || heads[0].Get("webhook-timestamp") == heads[2].Get("webhook-timestamp") {
		t.Errorf("%d attempts, %v, %q", len(heads), heads, bodies)
	}
	if want := `{"conversation":"bench","replies":[{"id":"m-1","text":"Time to check the slider."}],"prompt":{"kind":"idle"}}`; bodies[0] != want {
		t.Errorf("sent %s\nwant %s", bodies[0], want)
	}
}

func TestForged(t *testing.T) {
	k := keys(t, secret(0))
	body := []byte(`{"text":"done"}`)
	good := func() channel.Request { return signed(k, "m-1", body, clock()) }
	for name, spoil := range map[string]func(*channel.Request){
		"unsigned":            func(r *channel.Request) { r.Header.Del("webhook-signature") },
		"no id":               func(r *channel.Request) { r.Header.Del("webhook-id") },
		"no timestamp":        func(r *channel.Request) { r.Header.Del("webhook-timestamp") },
		"odd timestamp":       func(r *channel.Request) { r.Header.Set("webhook-timestamp", "now") },
		"huge timestamp":      func(r *channel.Request) { r.Header.Set("webhook-timestamp", "9223372036854775807") },
		"other body":          func(r *channel.Request) { r.Body = append([]byte(" "), r.Body...) },
		"no body":             func(r *channel.Request) { r.Body = nil },
		"other id":            func(r *channel.Request) { r.Header.Set("webhook-id", "x") },
		"late":                func(r *channel.Request) { r.At = r.At.Add(Tolerance + time.Second) },
		"early":               func(r *channel.Request) { r.At = r.At.Add(-Tolerance - time.Second) },
		"other secret":        func(r *channel.Request) { *r = signed(keys(t, secret(1)), "m-1", r.Body, r.At) },
		"another version":     func(r *channel.Request) { sig(r, "v1,", "v1a,") },
		"cut signature":       func(r *channel.Request) { r.Header.Set("webhook-signature", sig(r, "", "")[:20]) },
		"signature of spaces": func(r *channel.Request) { r.Header.Set("webhook-signature", "   ") },
	} {
		r := good()
		spoil(&r)
		if err := k.Verify(r.Header, r.Body, r.At); err != ErrSignature {
			t.Errorf("%s: %v", name, err)
		}
	}
	r := good()
	if err := k.Verify(r.Header, r.Body, r.At); err != nil {
		t.Errorf("a good request: %v", err)
	}
	if err := (Keys{}).Verify(r.Header, r.Body, r.At); err == nil {
		t.Error("without a secret everything verifies")
	}
}

// sig replaces a part of the signature field and returns the whole.
func sig(r *channel.Request, from, to string) string {
	s := strings.Replace(r.Header.Get("webhook-signature"), from, to, 1)
	r.Header.Set("webhook-signature", s)
	return s
}

func TestOptions(t *testing.T) {
	k := keys(t, secret(0))
	for url, want := range map[string]string{
		"shop.example/x":            "must be a whole one",
		"ftp://shop.example/":       "must be a whole one",
		"http://":                   "must be a whole one",
		"https://u:p@shop.example/": "must not hold a user name",
		"https://shop.example/#x":   "must not have a part after #",
		"http://shop.example/\x00":  "must be a whole one",
	} {
		if _, err := New(Options{URL: url, Keys: k, Now: clock}); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %q", url, err, want)
		}
	}
	if _, err := New(Options{URL: "http://127.0.0.1:1/", Now: clock}); err == nil {
		t.Error("a callback without a secret is accepted")
	}
	c, err := New(Options{Now: clock})
	if err != nil {
		t.Fatal(err)
	}
	if err := c.Send(t.Context(), "x", channel.Message{ID: "1"}); err == nil || err.(*channel.SendError).Temporary {
		t.Errorf("sending without an address: %v", err)
	}
}
