package main

import (
	"encoding/json"
	"net/http"
	"strings"
	"testing"

	"shimwright/store"
)

func TestMessageIsAnsweredAndStored(t *testing.T) {
	s := newService(t)
	m := posted{ID: "m-102", Conversation: "bench-tablet", Sender: "kim", Text: "menu"}
	first := s.request("POST", "/v1/messages", bodyOf(m))
	a := decodeAnswer(t, first.body)
	if a.Conversation != "bench-tablet" || a.InReplyTo != "m-102" || len(a.Replies) == 0 || a.Replies[0].ID != "r-102-1" {
		t.Fatalf("answer %s", first.body)
	}
	s.clock.advance(6 * 24 * 60 * 60 * 1e9)
	again := s.request("POST", "/v1/messages", bodyOf(m))
	if string(again.body) != string(first.body) {
		t.Errorf("the same id got\n%s\nfirst it got\n%s", again.body, first.body)
	}
	list, err := s.store.Transcript(t.Context(), store.Conversation{Shop: homeShop, ID: "bench-tablet"}, 0, 10)
	if err != nil || len(list) != 1 {
		t.Errorf("%d entries (%v), want one", len(list), err)
	}
	m.Text = "another text"
	if res := s.request("POST", "/v1/messages", bodyOf(m)); res.StatusCode != http.StatusConflict {
		t.Errorf("another text under the same id: %d %s", res.StatusCode, res.body)
	}
}

// TestBadRequests tries every bad input that the interface names, and compares
// the whole problem document.
func TestBadRequests(t *testing.T) {
	const good = `{"id":"m-1","conversation":"bench","sender":"kim","text":"menu"}`
	names := "1 to 128 letters, digits, or any of . _ : @ + -, the first no dot."
	for _, c := range []struct {
		name   string
		method string
		path   string
		body   string
		edit   func(*http.Request)
		want   string // the problem document
	}{
		{"not JSON", "POST", "/v1/messages", `text=hello`, nil,
			`{"type":"urn:shimwright:problem:not-json","title":"The body is not the JSON object that is asked for","status":400,"detail":"The body must be one JSON object, such as {\"id\":\"m-102\",\"conversation\":\"bench-tablet\",\"sender\":\"kim\",\"text\":\"3 thou low\"}.","request_id":"req-1"}`},
		{"empty", "POST", "/v1/messages", ``, nil,
			`{"type":"urn:shimwright:problem:not-json","title":"The body is not the JSON object that is asked for","status":400,"detail":"The body must be one JSON object, such as {\"id\":\"m-102\",\"conversation\":\"bench-tablet\",\"sender\":\"kim\",\"text\":\"3 thou low\"}.","request_id":"req-1"}`},
		{"a list", "POST", "/v1/messages", `[` + good + `]`, nil,
			`{"type":"urn:shimwright:problem:not-json","title":"The body is not the JSON object that is asked for","status":400,"detail":"The body must be one JSON object, such as {\"id\":\"m-102\",\"conversation\":\"bench-tablet\",\"sender\":\"kim\",\"text\":\"3 thou low\"}.","request_id":"req-1"}`},
		{"cut off", "POST", "/v1/messages", good[:30], nil,
			`{"type":"urn:shimwright:problem:not-json","title":"The body is not the JSON object that is asked for","status":400,"detail":"The body ends in the middle of its JSON object.","request_id":"req-1"}`},
		{"a comma too many", "POST", "/v1/messages", `{"id":"m-1",}`, nil,
			`{"type":"urn:shimwright:problem:not-json","title":"The body is not the JSON object that is asked for","status":400,"detail":"The body is not JSON: invalid character '}' looking for beginning of object key string, after byte 12.","request_id":"req-1"}`},
		{"two objects", "POST", "/v1/messages", good + good, nil,
			`{"type":"urn:shimwright:problem:not-json","title":"The body is not the JSON object that is asked for","status":400,"detail":"The body goes on after its JSON object.","request_id":"req-1"}`},
		{"not UTF-8", "POST", "/v1/messages", strings.Replace(good, "menu", "\xff", 1), nil,
			`{"type":"urn:shimwright:problem:not-json","title":"The body is not the JSON object that is asked for","status":400,"detail":"The body is not valid UTF-8.","request_id":"req-1"}`},
		{"unknown field", "POST", "/v1/messages", strings.Replace(good, "sender", "user", 1), nil,
			`{"type":"urn:shimwright:problem:bad-field","title":"A field cannot be used","status":400,"detail":"The field \"user\" is unknown; a message has id, conversation, sender, text and sent_at.","field":"user","request_id":"req-1"}`},
		{"field in capitals", "POST", "/v1/messages", strings.Replace(good, `"text"`, `"Text"`, 1), nil,
			`{"type":"urn:shimwright:problem:bad-field","title":"A field cannot be used","status":400,"detail":"The field \"Text\" is unknown; a message has id, conversation, sender, text and sent_at.","field":"Text","request_id":"req-1"}`},
		{"field twice", "POST", "/v1/messages", strings.Replace(good, `"id":"m-1"`, `"id":"m-1","id":"m-2"`, 1), nil,
			`{"type":"urn:shimwright:problem:bad-field","title":"A field cannot be used","status":400,"detail":"The field \"id\" is given twice.","field":"id","request_id":"req-1"}`},
		{"wrong type", "POST", "/v1/messages", strings.Replace(good, `"menu"`, `3`, 1), nil,
			`{"type":"urn:shimwright:problem:bad-field","title":"A field cannot be used","status":400,"detail":"The field \"text\" must be a string.","field":"text","request_id":"req-1"}`},
		{"null", "POST", "/v1/messages", strings.Replace(good, `"kim"`, `null`, 1), nil,
			`{"type":"urn:shimwright:problem:bad-field","title":"A field cannot be used","status":400,"detail":"The field \"sender\" must be a string.","field":"sender","request_id":"req-1"}`},
		{"no text", "POST", "/v1/messages", `{"id":"m-1","conversation":"bench"}`, nil,
			`{"type":"urn:shimwright:problem:bad-field","title":"A field cannot be used","status":400,"detail":"The field \"text\" is missing.","field":"text","request_id":"req-1"}`},
		{"empty id", "POST", "/v1/messages", strings.Replace(good, `"m-1"`, `""`, 1), nil,
			`{"type":"urn:shimwright:problem:bad-field","title":"A field cannot be used","status":400,"detail":"The id must have ` + names + `","field":"id","request_id":"req-1"}`},
		{"id too long", "POST", "/v1/messages", strings.Replace(good, "m-1", strings.Repeat("m", 129), 1), nil,
			`{"type":"urn:shimwright:problem:bad-field","title":"A field cannot be used","status":400,"detail":"The id must have ` + names + `","field":"id","request_id":"req-1"}`},
		{"path as conversation", "POST", "/v1/messages", strings.Replace(good, "bench", "../x", 1), nil,
			`{"type":"urn:shimwright:problem:bad-field","title":"A field cannot be used","status":400,"detail":"The conversation must have ` + names + `","field":"conversation","request_id":"req-1"}`},
		{"control character in sender", "POST", "/v1/messages", strings.Replace(good, "kim", `k\u0007m`, 1), nil,
			`{"type":"urn:shimwright:problem:bad-field","title":"A field cannot be used","status":400,"detail":"The sender must have 1 to 128 bytes without control characters.","field":"sender","request_id":"req-1"}`},
		{"no time", "POST", "/v1/messages", strings.Replace(good, `"text"`, `"sent_at":"yesterday","text"`, 1), nil,
			`{"type":"urn:shimwright:problem:bad-field","title":"A field cannot be used","status":400,"detail":"The field \"sent_at\" must be a time as RFC 3339 writes it, e.g. 2026-03-02T09:14:05Z.","field":"sent_at","request_id":"req-1"}`},
		{"text too long", "POST", "/v1/messages", strings.Replace(good, "menu", strings.Repeat("a", 16385), 1), nil,
			`{"type":"urn:shimwright:problem:bad-field","title":"A field cannot be used","status":400,"detail":"The text has 16385 bytes; a message may have 16384.","field":"text","request_id":"req-1"}`},
		{"body too large", "POST", "/v1/messages", strings.Replace(good, "menu", strings.Repeat("a", 64<<10), 1), nil,
			`{"type":"urn:shimwright:problem:too-large","title":"The body is too large","status":413,"detail":"A body may have 65536 bytes.","request_id":"req-1"}`},
		{"not declared as JSON", "POST", "/v1/messages", good, header("Content-Type", "text/plain"),
			`{"type":"urn:shimwright:problem:wrong-type","title":"The body is not declared as JSON","status":415,"detail":"Send the header Content-Type: application/json.","request_id":"req-1"}`},
		{"rebound name", "POST", "/v1/messages", good, header("Host", "attacker.example:8080"),
			`{"type":"urn:shimwright:problem:wrong-host","title":"The service does not go by this name","status":421,"detail":"Use its address, or add the name to SHIMWRIGHT_HOSTS.","request_id":"req-1"}`},
		{"another site's page", "POST", "/v1/messages", good, header("Origin", "https://attacker.example"),
			`{"type":"urn:shimwright:problem:forbidden","title":"Not from here","status":403,"detail":"A page of https://attacker.example asked for this; only the service's own page may.","request_id":"req-1"}`},
		{"a page without an origin", "POST", "/v1/messages", good, header("Origin", "null"),
			`{"type":"urn:shimwright:problem:forbidden","title":"Not from here","status":403,"detail":"A page of null asked for this; only the service's own page may.","request_id":"req-1"}`},
		{"through a proxy, unpaired", "POST", "/v1/messages", good, header("X-Forwarded-For", "203.0.113.9"),
			`{"type":"urn:shimwright:problem:unauthorized","title":"Neither signed nor paired","status":401,"detail":"Open the one-time link that the service prints (or go run ./bot pair), or sign the request.","request_id":"req-1"}`},
		{"wrong signature", "POST", "/v1/messages", good, header("webhook-signature", "v1,AAAA"),
			`{"type":"urn:shimwright:problem:unauthorized","title":"Neither signed nor paired","status":401,"detail":"The signature is missing, wrong or older than five minutes; it covers id.timestamp.body as Standard Webhooks describes.","request_id":"req-1"}`},
		{"unknown conversation", "GET", "/v1/conversations/nobody", ``, nil,
			`{"type":"urn:shimwright:problem:not-found","title":"There is nothing here","status":404,"detail":"There is no conversation of this name; the first message makes it.","request_id":"req-1"}`},
		{"unknown saw", "GET", "/v1/machines/none/records", ``, nil,
			`{"type":"urn:shimwright:problem:not-found","title":"There is nothing here","status":404,"detail":"There is no saw of this name.","request_id":"req-1"}`},
		{"since when", "GET", "/v1/machines/none/records?since=monday", ``, nil,
			`{"type":"urn:shimwright:problem:bad-field","title":"A field cannot be used","status":400,"detail":"The parameter \"since\" must be a time as RFC 3339 writes it, e.g. 2026-03-02T09:14:05Z.","field":"since","request_id":"req-1"}`},
		{"a negative place", "GET", "/v1/conversations/bench?after=-1", ``, nil,
			`{"type":"urn:shimwright:problem:bad-field","title":"A field cannot be used","status":400,"detail":"The parameter \"after\" must be a whole number, at most 4611686018427387904.","field":"after","request_id":"req-1"}`},
		{"none at all", "GET", "/v1/conversations/bench?max=0", ``, nil,
			`{"type":"urn:shimwright:problem:bad-field","title":"A field cannot be used","status":400,"detail":"The parameter \"max\" must be a whole number, at most 200.","field":"max","request_id":"req-1"}`},
		{"a wait too long", "GET", "/v1/conversations/bench?wait=3600", ``, nil,
			`{"type":"urn:shimwright:problem:bad-field","title":"A field cannot be used","status":400,"detail":"The parameter \"wait\" must be a whole number, at most 25.","field":"wait","request_id":"req-1"}`},
		{"unknown picture", "GET", "/v1/media/home.none.png", ``, nil,
			`{"type":"urn:shimwright:problem:not-found","title":"There is nothing here","status":404,"detail":"There is no such picture, or its time is over; ask again with the word where.","request_id":"req-1"}`},
		{"unknown address", "GET", "/v2/messages", ``, nil,
			`{"type":"urn:shimwright:problem:not-found","title":"There is nothing here","status":404,"detail":"There is no such address; GET /v1/openapi.yaml lists all.","request_id":"req-1"}`},
		{"wrong method", "DELETE", "/v1/messages", ``, nil,
			`{"type":"urn:shimwright:problem:wrong-method","title":"Not with this method","status":405,"detail":"DELETE is not possible here; the Allow header lists what is.","request_id":"req-1"}`},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := newService(t)
			var edit []func(*http.Request)
			if c.edit != nil {
				edit = append(edit, c.edit)
			}
			res := s.request(c.method, c.path, c.body, edit...)
			if got := strings.TrimSpace(string(res.body)); got != c.want {
				t.Errorf("got\n%s\nwant\n%s", got, c.want)
			}
			var p struct{ Status int }
			if err := json.Unmarshal(res.body, &p); err != nil || p.Status != res.StatusCode {
				t.Errorf("the document says status %d (%v), the answer %d", p.Status, err, res.StatusCode)
			}
			if k := res.Header.Get("Content-Type"); k != "application/problem+json" {
				t.Errorf("Content-Type %q", k)
			}
			if res.StatusCode == 405 && res.Header.Get("Allow") != "POST" {
				t.Errorf("Allow %q", res.Header.Get("Allow"))
			}
			// Nothing was half done.
			list, err := s.store.Shops(t.Context(), "", 10)
			if err != nil || len(list) != 0 {
				t.Errorf("shops %v (%v), want none", list, err)
			}
		})
	}
}
