package main

import (
	"context"
	"net/http"
	"strings"
	"testing"
	"time"

	"shimwright/bot/channel/webhook"
)

// TestPublicSignatureVector: the vector of the reference implementations'
// tests of Standard Webhooks 1.0.0, through the service's own check.
func TestPublicSignatureVector(t *testing.T) {
	keys, err := webhook.ParseKeys("whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw")
	if err != nil {
		t.Fatal(err)
	}
	const body = `{"test": 2432232314}`
	g := &guard{keys: keys, now: func() time.Time { return time.Unix(1614265330, 0) }}
	r, _ := http.NewRequest("POST", "http://shimwright.example/v1/messages", strings.NewReader(body))
	r.Header.Set("webhook-id", "msg_p5jXN8AQM9LWM0D4loKWxJek")
	r.Header.Set("webhook-timestamp", "1614265330")
	r.Header.Set("webhook-signature", "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE=")
	if c, err := g.identify(r, []byte(body)); err != nil || c.kind != program {
		t.Errorf("caller %v, error %v", c, err)
	}
	if _, err := g.identify(r, []byte(body+" ")); err == nil {
		t.Error("another body passed")
	}
}

// TestSignatures tries what a signature has to survive and what it has to
// refuse, over HTTP.
func TestSignatures(t *testing.T) {
	const second = "whsec_c2hpbXdyaWdodC10ZXN0LXNlY3JldC0wMDAy"
	s := newService(t, func(c *Config) {
		c.WebhookSecrets = []Secret{NewSecret(testSecret), NewSecret(second)}
	})
	at := s.clock.now()
	body := bodyOf(posted{ID: "m-1", Conversation: "rig", Sender: "rig", Text: "menu"})
	for _, c := range []struct {
		name string
		edit []func(*http.Request)
		want int
	}{
		{"first secret", []func(*http.Request){sign(t, testSecret, at)}, 200},
		{"second secret, during rotation", []func(*http.Request){sign(t, second, at)}, 200},
		{"several signatures, one of them ours", []func(*http.Request){sign(t, testSecret, at), func(r *http.Request) {
			r.Header.Set("webhook-signature", "v1a,xyz v1,AAAA "+r.Header.Get("webhook-signature"))
		}}, 200},
		{"behind a proxy under another name", []func(*http.Request){sign(t, testSecret, at), header("Host", "anything.example"),
			header("X-Forwarded-For", "203.0.113.9"), header("X-Forwarded-Proto", "https")}, 200},
		{"four minutes old", []func(*http.Request){sign(t, testSecret, at.Add(-4*time.Minute))}, 200},
		{"four minutes early", []func(*http.Request){sign(t, testSecret, at.Add(4*time.Minute))}, 200},
		{"six minutes old", []func(*http.Request){sign(t, testSecret, at.Add(-6*time.Minute))}, 401},
		{"six minutes early", []func(*http.Request){sign(t, testSecret, at.Add(6*time.Minute))}, 401},
		{"a secret of somebody else", []func(*http.Request){sign(t, "whsec_c2hpbXdyaWdodC10ZXN0LXNlY3JldC0wMDA5", at)}, 401},
		{"another id", []func(*http.Request){sign(t, testSecret, at), header("webhook-id", "msg_other")}, 401},
		{"no timestamp", []func(*http.Request){sign(t, testSecret, at), header("webhook-timestamp", "")}, 401},
		{"another version of the scheme", []func(*http.Request){sign(t, testSecret, at), func(r *http.Request) {
			r.Header.Set("webhook-signature", "v2"+strings.TrimPrefix(r.Header.Get("webhook-signature"), "v1"))
		}}, 401},
	} {
		t.Run(c.name, func(t *testing.T) {
			if res := s.request("POST", "/v1/messages", body, c.edit...); res.StatusCode != c.want {
				t.Errorf("status %d, want %d: %s", res.StatusCode, c.want, res.body)
			}
		})
	}
	t.Run("a GET is signed over an empty body", func(t *testing.T) {
		if res := s.request("GET", "/v1/conversations/rig", "", s.signed); res.StatusCode != 200 {
			t.Errorf("status %d: %s", res.StatusCode, res.body)
		}
		if res := s.request("GET", "/v1/conversations/unheard-of", "", s.signed); res.StatusCode != 404 {
			t.Errorf("unknown: status %d", res.StatusCode)
		}
	})
	t.Run("without a secret no signature counts", func(t *testing.T) {
		s := newService(t, func(c *Config) { c.WebhookSecrets = nil })
		if res := s.request("POST", "/v1/messages", body, sign(t, testSecret, at)); res.StatusCode != 401 {
			t.Errorf("status %d", res.StatusCode)
		}
	})
	t.Run("a program says for whom it speaks", func(t *testing.T) {
		res := s.request("POST", "/v1/messages", bodyOf(posted{ID: "m-2", Conversation: "rig", Text: "menu"}), s.signed)
		if res.StatusCode != 400 || !strings.Contains(string(res.body), `"field":"sender"`) {
			t.Errorf("status %d: %s", res.StatusCode, res.body)
		}
	})
}

// pairDevice makes a link and opens it, as a phone would, and returns what sets
// its cookie on a request.
func (s *service) pairDevice(in invitation) func(*http.Request) {
	s.Helper()
	l, err := s.app.pairing.invite(context.Background(), in)
	if err != nil {
		s.Fatal(err)
	}
	res := s.request("POST", "/pair/"+l.Token, "", header("Content-Type", "application/x-www-form-urlencoded"),
		header("User-Agent", "Mozilla/5.0 (Linux; Android 14) Test"))
	if res.StatusCode != http.StatusSeeOther || len(res.Cookies()) != 1 {
		s.Fatalf("pairing: status %d, %d cookies", res.StatusCode, len(res.Cookies()))
	}
	return func(r *http.Request) { r.AddCookie(res.Cookies()[0]) }
}

func TestPairing(t *testing.T) {
	s := newService(t, func(c *Config) { c.LocalOwner = false })
	l, err := s.app.pairing.invite(t.Context(), invitation{Name: "Kim", Role: "setter"})
	if err != nil {
		t.Fatal(err)
	}
	for range 2 { // a preview in a messenger fetches a link, and spends nothing
		if res := s.request("GET", "/pair/"+l.Token, ""); res.StatusCode != 200 || !strings.Contains(string(res.body), "Kim") {
			t.Fatalf("the link's page: %d %s", res.StatusCode, res.body)
		}
	}
	res := s.request("POST", "/pair/"+l.Token, "", header("User-Agent", "Mozilla/5.0 (Linux; Android 14) Test"))
	if res.StatusCode != http.StatusSeeOther || res.Header.Get("Location") != "/" {
		t.Fatalf("status %d to %q", res.StatusCode, res.Header.Get("Location"))
	}
	c := res.Cookies()[0]
	if !c.HttpOnly || c.SameSite != http.SameSiteStrictMode || c.Secure || c.Path != "/" || len(c.Value) < 43 {
		t.Errorf("cookie %v", c)
	}
	if res := s.request("POST", "/pair/"+l.Token, ""); res.StatusCode != http.StatusGone {
		t.Errorf("the link works twice: %d", res.StatusCode)
	}
	cookie := func(r *http.Request) { r.AddCookie(c) }
	s.post(posted{ID: "m-1", Conversation: "phone", Sender: "somebody else", Text: "menu"}, cookie)
	s.checkSpeaker("phone", "Kim")
	if strings.Contains(s.storedPeople(homeShop), c.Value) {
		t.Error("the token itself is stored")
	}
	list, err := s.app.pairing.devices(t.Context(), homeShop)
	if err != nil || len(list) != 1 || list[0].Label != "Linux; Android 14" || list[0].Person != "Kim" {
		t.Fatalf("devices %+v (%v)", list, err)
	}
	if err := s.app.pairing.revoke(t.Context(), homeShop, list[0].ID); err != nil {
		t.Fatal(err)
	}
	if res := s.request("POST", "/v1/messages", bodyOf(posted{ID: "m-2", Conversation: "phone", Text: "menu"}), cookie); res.StatusCode != 401 {
		t.Errorf("a revoked device: status %d", res.StatusCode)
	}
}

// checkSpeaker checks who spoke last in a conversation of the home shop.
func (s *service) checkSpeaker(conversation, name string) {
	s.Helper()
	people, _, err := loadPeople(context.Background(), s.store, homeShop)
	if err != nil {
		s.Fatal(err)
	}
	for _, p := range people.Persons {
		for _, a := range p.Addresses {
			if a.Conversation == conversation {
				if nameOf(p) != name {
					s.Errorf("%s spoke in %s, want %s", nameOf(p), conversation, name)
				}
				return
			}
		}
	}
	s.Errorf("nobody spoke in %s", conversation)
}

func (s *service) storedPeople(shop string) string {
	s.Helper()
	d, err := s.store.Get(context.Background(), shop, "people", "")
	if err != nil {
		s.Fatal(err)
	}
	return string(d.Body)
}

func TestPairingLinkEnds(t *testing.T) {
	s := newService(t)
	l, err := s.app.pairing.invite(t.Context(), invitation{})
	if err != nil {
		t.Fatal(err)
	}
	s.clock.advance(linkLife)
	if res := s.request("GET", "/pair/"+l.Token, ""); res.StatusCode != http.StatusGone {
		t.Errorf("the page of an old link: %d", res.StatusCode)
	}
	if res := s.request("POST", "/pair/"+l.Token, ""); res.StatusCode != http.StatusGone || len(res.Cookies()) != 0 {
		t.Errorf("an old link: %d", res.StatusCode)
	}
	if res := s.request("POST", "/pair/nonsense", ""); res.StatusCode != http.StatusGone {
		t.Errorf("no link at all: %d", res.StatusCode)
	}
	if _, err := s.app.pairing.invite(t.Context(), invitation{Name: "Lee", Role: "king"}); err == nil {
		t.Error("a role that does not exist was given")
	}
}

func TestPairingOff(t *testing.T) {
	s := newService(t)
	cookie := s.pairDevice(invitation{})
	s.app.server.guard.pairing = false
	s.app.server.guard.owner = false
	if res := s.request("GET", "/pair/x", ""); res.StatusCode != 404 {
		t.Errorf("the page: %d", res.StatusCode)
	}
	if res := s.request("GET", "/v1/openapi.yaml", "", cookie); res.StatusCode != 401 {
		t.Errorf("an old cookie: %d", res.StatusCode)
	}
}

// TestPairedBrowserElsewhere: a device of one shop sees nothing of another.
func TestPairedBrowserElsewhere(t *testing.T) {
	s := newService(t)
	s.post(posted{ID: "m-1", Conversation: "rig", Sender: "rig", Text: "menu"}, s.signed)
	cookie := s.pairDevice(invitation{})
	if res := s.request("GET", "/v1/conversations/rig", "", cookie); res.StatusCode != 404 {
		t.Errorf("status %d: %s", res.StatusCode, res.body)
	}
}
