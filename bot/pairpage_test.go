package main

import (
	"net/http"
	"strings"
	"testing"
)

// TestPairingPageLanguages: what a pairing link opens, and each of its errors, is
// a page in the language that the browser asks for (RFC 9110, section 12.5.4),
// and says so (HTML, section 3.2.6.2); a program gets the problem document.
func TestPairingPageLanguages(t *testing.T) {
	s := newService(t)
	kim, err := s.app.pairing.invite(t.Context(), invitation{Name: "Kim & <Söhne>"})
	if err != nil {
		t.Fatal(err)
	}
	owner, err := s.app.pairing.invite(t.Context(), invitation{})
	if err != nil {
		t.Fatal(err)
	}
	shown := func(method, token, accept string, edit ...func(*http.Request)) (int, string) {
		edit = append(edit, header("Accept-Language", accept), header("Accept", "text/html,application/xhtml+xml,*/*;q=0.8"))
		res := s.request(method, "/pair/"+token, "", edit...)
		if kind := res.Header.Get("Content-Type"); kind != "text/html; charset=utf-8" {
			t.Errorf("%s in %s: status %d as %q", token, accept, res.StatusCode, kind)
		}
		if vary := strings.Join(res.Header.Values("Vary"), ","); !strings.Contains(vary, "Accept-Language") {
			t.Errorf("it may be kept for whoever asks for another language: Vary %q", vary)
		}
		return res.StatusCode, string(res.body)
	}
	for _, c := range []struct{ accept, lang, kim, owner, spent, off, host, away string }{
		{"en-GB,en;q=0.9", "en", "It will speak for Kim &amp; &lt;Söhne&gt;,", "for the owner of the shop", "This link is used up", "Pairing is off", "Not by this address", "cannot answer now"},
		{"de-AT,de;q=0.9,en;q=0.5", "de", "Es spricht dann für Kim &amp; &lt;Söhne&gt;,", "für den Besitzer der Werkstatt", "Dieser Link ist verbraucht", "Das Koppeln ist abgeschaltet", "Nicht unter dieser Adresse", "gerade nicht antworten"},
		{"fr,es-MX;q=0.7,en;q=0.5", "es", "Hablará por Kim &amp; &lt;Söhne&gt;,", "por el dueño del taller", "Este enlace ya no sirve", "El emparejamiento está desactivado", "No por esta dirección", "no puede responder ahora"},
		{"ja", "en", "It will speak for", "for the owner of the shop", "This link is used up", "Pairing is off", "Not by this address", "cannot answer now"},
	} {
		check := func(what string, wantStatus int, want string, status int, body string) {
			t.Helper()
			if status != wantStatus || !strings.Contains(body, want) || !strings.Contains(body, `<html lang="`+c.lang+`">`) {
				t.Errorf("%s in %s: status %d, want %d with %q\n%s", what, c.accept, status, wantStatus, want, body)
			}
		}
		status, body := shown("GET", kim.Token, c.accept)
		check("Kim's link", 200, c.kim, status, body)
		if strings.Count(body, "<button") != 1 {
			t.Errorf("no button: %s", body)
		}
		status, body = shown("GET", owner.Token, c.accept)
		check("the owner's link", 200, c.owner, status, body)
		for _, method := range []string{"GET", "POST"} {
			status, body = shown(method, "nonsense", c.accept)
			check(method+" of no link", 410, c.spent, status, body)
			status, body = shown(method, kim.Token, c.accept, header("Host", "elsewhere.example"))
			check(method+" under another name", 421, c.host, status, body)
			s.store.down.Store(true)
			status, body = shown(method, kim.Token, c.accept)
			s.store.down.Store(false)
			check(method+" without a store", 503, c.away, status, body)
			s.app.server.guard.pairing = false
			status, body = shown(method, kim.Token, c.accept)
			s.app.server.guard.pairing = true
			check(method+" with pairing off", 404, c.off, status, body)
		}
		status, body = shown("POST", kim.Token, c.accept, header("Origin", "https://elsewhere.example"))
		check("from a page of another site", 403, c.host, status, body)
	}
	for _, accept := range []string{"", "*/*", "application/json"} {
		res := s.request("GET", "/pair/x", "", header("Host", "elsewhere.example"), header("Accept", accept))
		if kind := res.Header.Get("Content-Type"); res.StatusCode != 421 || kind != "application/problem+json" {
			t.Errorf("a program that takes %q gets %d as %q", accept, res.StatusCode, kind)
		}
	}
	s.store.down.Store(true)
	defer s.store.down.Store(false)
	if res := s.request("GET", "/pair/"+kim.Token, "", header("Accept", "text/html")); res.Header.Get("Retry-After") == "" {
		t.Error("nothing says when to come again")
	}
}

// TestPairingPageOwnLanguage: where the browser's languages are none of ours, it
// is that of the person whom the link is for.
func TestPairingPageOwnLanguage(t *testing.T) {
	s := newService(t)
	s.sayHome("deutsch")
	l, err := s.app.pairing.invite(t.Context(), invitation{})
	if err != nil {
		t.Fatal(err)
	}
	for accept, want := range map[string]string{"ja": "de", "": "de", "es": "es"} {
		res := s.request("GET", "/pair/"+l.Token, "", header("Accept-Language", accept))
		if !strings.Contains(string(res.body), `<html lang="`+want+`">`) {
			t.Errorf("asked in %q: %s", accept, res.body)
		}
	}
}
