package matrix

import (
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"shimwright/bot/channel"
	"shimwright/bot/channel/channeltest"
)

const (
	us   = "@shimwright:shop.test"
	kim  = "@kim:shop.test"
	room = "!bench:shop.test"
)

func options(home string) Options {
	return Options{Homeserver: home, User: us, ASToken: channeltest.Canary + "as", HSToken: channeltest.Canary + "hs", Now: time.Now}
}

func open(t testing.TB, o Options) *Channel {
	t.Helper()
	c, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

type object = map[string]any

// put is a transaction of the homeserver.
func put(body []byte, at time.Time) channel.Request {
	return channel.Request{Method: "PUT", Path: "/_matrix/app/v1/transactions/7", At: at, Query: url.Values{}, Body: body,
		Header: http.Header{"Authorization": {"Bearer " + channeltest.Canary + "hs"}}}
}

func transaction(at time.Time, events ...object) channel.Request {
	b, err := json.Marshal(object{"events": events})
	if err != nil {
		panic(err)
	}
	return put(b, at)
}

// happened is an event from kim.
func happened(id, kind string, content object, at time.Time) object {
	return object{"event_id": "$" + id, "type": kind, "room_id": room, "sender": kim, "origin_server_ts": at.UnixMilli(), "content": content}
}

func said(id, text string, at time.Time) object {
	return happened(id, "m.room.message", object{"msgtype": "m.text", "body": text}, at)
}

func TestConformance(t *testing.T) {
	channeltest.Run(t, channeltest.Rig{
		New: func(t testing.TB, url string) channel.Channel { return open(t, options(url)) },
		To:  room,
		In: &channeltest.In{
			Text: func(id, text string, at time.Time) channel.Request { return transaction(at, said(id, text, at)) },
			Batch: func(ids, texts []string, at time.Time) channel.Request {
				var all []object
				for i := range ids {
					all = append(all, said(ids[i], texts[i], at))
				}
				return transaction(at, all...)
			},
			Raw: put,
			Of: map[channel.Kind]func(string, time.Time) channel.Request{
				channel.KindEdit: func(id string, at time.Time) channel.Request {
					return transaction(at, happened(id, "m.room.message", object{"msgtype": "m.text", "body": "* 0.05",
						"m.new_content": object{"msgtype": "m.text", "body": "0.05"},
						"m.relates_to":  object{"rel_type": "m.replace", "event_id": "$first"}}, at))
				},
				channel.KindPicture: func(id string, at time.Time) channel.Request {
					return transaction(at, happened(id, "m.room.message", object{"msgtype": "m.image", "body": "a.jpg", "url": "mxc://x/y"}, at))
				},
				channel.KindRecording: func(id string, at time.Time) channel.Request {
					return transaction(at, happened(id, "m.room.message", object{"msgtype": "m.audio", "body": "a.ogg"}, at))
				},
				channel.KindOther: func(id string, at time.Time) channel.Request {
					return transaction(at, happened(id, "m.sticker", object{"body": "thumb"}, at))
				},
				channel.KindSecret: func(id string, at time.Time) channel.Request {
					return transaction(at, happened(id, "m.room.encrypted", object{"algorithm": "m.megolm.v1.aes-sha2"}, at))
				},
				channel.KindInvite: func(id string, at time.Time) channel.Request {
					e := happened(id, "m.room.member", object{"membership": "invite", "is_direct": true}, at)
					e["state_key"] = us
					return transaction(at, e)
				},
			},
			Forge: map[string]func(channel.Request) channel.Request{
				"no token":    func(r channel.Request) channel.Request { r.Header.Del("Authorization"); return r },
				"wrong token": func(r channel.Request) channel.Request { r.Header.Set("Authorization", "Bearer x"); return r },
				"our own token": func(r channel.Request) channel.Request {
					r.Header.Set("Authorization", "Bearer "+channeltest.Canary+"as")
					return r
				},
				"wrong token in the query": func(r channel.Request) channel.Request {
					r.Header.Del("Authorization")
					r.Query = url.Values{"access_token": {"x"}}
					return r
				},
				"other place": func(r channel.Request) channel.Request { r.Path = "/"; return r },
				"other way":   func(r channel.Request) channel.Request { r.Method = "POST"; return r },
			},
		},
		Out: &channeltest.Out{
			Accept: func(w http.ResponseWriter, r *http.Request) { fmt.Fprint(w, `{"event_id":"$e"}`) },
			Seen: func(r *http.Request, body []byte) (string, string, bool) {
				if r.Header.Get("Authorization") != "Bearer "+channeltest.Canary+"as" || r.URL.Query().Get("user_id") != us {
					t.Errorf("called as %q", r.URL.Query().Get("user_id"))
				}
				at := strings.Split(r.URL.EscapedPath(), "/")
				if !strings.Contains(r.URL.Path, "/send/") {
					return "", "", false
				}
				if r.URL.Path != "/_matrix/client/v3/rooms/"+room+"/send/m.room.message/"+at[len(at)-1] {
					t.Errorf("called %s", r.URL.Path)
				}
				var m text
				if err := json.Unmarshal(body, &m); err != nil || m.Kind != "m.text" || m.Format == "" || m.Formatted == "" {
					t.Errorf("sent %s: %v", body, err)
				}
				return at[len(at)-1], m.Body, true
			},
			Refuse: refusing("M_FORBIDDEN"),
			Throttle: func(w http.ResponseWriter, r *http.Request) {
				w.WriteHeader(http.StatusTooManyRequests)
				fmt.Fprint(w, `{"errcode":"M_LIMIT_EXCEEDED","error":"Too many requests","retry_after_ms":7000}`)
			},
		},
	})
}

func refusing(code string) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		w.WriteHeader(http.StatusForbidden)
		fmt.Fprintf(w, `{"errcode":%q,"error":"no"}`, code)
	}
}

// What is not for us, or not from a person, gives nothing; a bad event takes
// no good one with it.
func TestIgnores(t *testing.T) {
	c := open(t, options("http://127.0.0.1:9"))
	at := time.Now()
	own := said("own", "hello", at)
	own["sender"] = us
	other := happened("m", "m.room.member", object{"membership": "invite"}, at)
	other["state_key"] = "@sam:shop.test"
	joined := happened("j", "m.room.member", object{"membership": "join"}, at)
	joined["state_key"] = us
	in, _, err := c.Receive(transaction(at, own, other, joined,
		happened("n", "m.room.message", object{"msgtype": "m.notice", "body": "beep"}, at),
		happened("r", "m.reaction", object{"m.relates_to": object{"rel_type": "m.annotation", "event_id": "$x", "key": "👍"}}, at),
		happened("d", "m.room.redaction", object{}, at),
		happened("t", "m.room.topic", object{"topic": "x"}, at),
		happened("k", "m.room.message", object{"msgtype": "m.key.verification.request", "body": "x"}, at),
		happened("x", "m.room.message", object{}, at),
		object{"event_id": 7, "type": "m.room.message"},
		object{"type": "m.room.message", "sender": kim, "room_id": room},
		said("good", "done", at),
	))
	if err != nil || len(in) != 1 || in[0].Text != "done" {
		t.Errorf("received %+v, %v; want the one good message", in, err)
	}
	for _, path := range []string{"/_matrix/app/v1/users/" + us, "/users/" + us} {
		r := put(nil, at)
		r.Method, r.Path = "GET", path
		if _, ack, err := c.Receive(r); err != nil || ack.Status != 200 {
			t.Errorf("GET %s: %v", path, err)
		}
		r.Path = strings.Replace(path, "shimwright", "someone", 1)
		if _, _, err := c.Receive(r); err == nil {
			t.Errorf("GET %s: we are that user too", r.Path)
		}
	}
	ping := put([]byte(`{"transaction_id":"x"}`), at)
	ping.Method, ping.Path = "POST", "/_matrix/app/v1/ping"
	if _, ack, err := c.Receive(ping); err != nil || string(ack.Body) != "{}" {
		t.Errorf("a ping is answered %s, %v", ack.Body, err)
	}
	old := transaction(at, said("old", "done", at))
	old.Header, old.Path, old.Query = http.Header{}, "/transactions/7", url.Values{"access_token": {channeltest.Canary + "hs"}}
	if in, _, err := c.Receive(old); err != nil || len(in) != 1 {
		t.Errorf("in the way of an old homeserver: %+v, %v", in, err)
	}
}

func TestTexts(t *testing.T) {
	c := open(t, options("http://127.0.0.1:9"))
	at := time.Now()
	reply := object{"m.in_reply_to": object{"event_id": "$x"}}
	for _, x := range []struct {
		content object
		kind    channel.Kind
		want    string
	}{
		{object{"msgtype": "m.text", "body": "0.05"}, channel.KindText, "0.05"},
		{object{"msgtype": "m.emote", "body": "is done"}, channel.KindText, "is done"},
		{object{"msgtype": "m.text", "body": "> <@shimwright:shop.test> How high?\n> Low is minus.\n\n0.05", "m.relates_to": reply}, channel.KindText, "0.05"},
		{object{"msgtype": "m.text", "body": "0.05", "m.relates_to": reply}, channel.KindText, "0.05"},
		{object{"msgtype": "m.text", "body": "> 0.05"}, channel.KindText, "> 0.05"},
		{object{"msgtype": "m.text", "body": "> 0.05", "m.relates_to": reply}, channel.KindText, "> 0.05"},
		{object{"msgtype": "m.text", "body": "> <@shimwright:shop.test> Unplugged.\n>\n> Support 2, at 0.03 mm: how high?\n\n0.05", "m.relates_to": reply}, channel.KindText, "0.05"},
		{object{"msgtype": "m.text", "body": "Shimwright: 0.05"}, channel.KindText, "0.05"},
		{object{"msgtype": "m.text", "body": us + " done"}, channel.KindText, "done"},
		{object{"msgtype": "m.text", "body": "@shimwright, done", "m.relates_to": reply}, channel.KindText, "done"},
		{object{"msgtype": "m.text", "body": "shimwrights"}, channel.KindText, "shimwrights"},
		{object{"msgtype": "m.text", "body": "shimwright"}, channel.KindText, "shimwright"},
		{object{"msgtype": "m.text", "body": "* 0.05", "m.relates_to": object{"rel_type": "m.replace", "event_id": "$x"},
			"m.new_content": object{"msgtype": "m.text", "body": "> <@shimwright:shop.test> 1: 0.02 mm high.\n\nshimwright: 0.05"}}, channel.KindEdit, "0.05"},
		{object{"msgtype": "m.image", "body": "dial.jpg", "filename": "dial.jpg"}, channel.KindPicture, ""},
		{object{"msgtype": "m.image", "body": "3 thou low", "filename": "dial.jpg"}, channel.KindPicture, "3 thou low"},
		{object{"msgtype": "m.video", "body": "x"}, channel.KindRecording, ""},
		{object{"msgtype": "m.file", "body": "x"}, channel.KindOther, ""},
		{object{"msgtype": "m.text", "body": strings.Repeat("x", 20_000)}, channel.KindOther, ""},
	} {
		in, _, err := c.Receive(transaction(at, happened("e", "m.room.message", x.content, at)))
		if err != nil || len(in) != 1 || in[0].Kind != x.kind || in[0].Text != x.want {
			t.Errorf("%v gives %+v, %v; want %s %q", x.content, in, err, x.kind, x.want)
		}
	}
	// A redaction names its event in the content, in older rooms beside it.
	older := happened("o", "m.room.redaction", object{}, at)
	older["redacts"] = "$x"
	for _, e := range []object{older, happened("n", "m.room.redaction", object{"redacts": "$x"}, at)} {
		if in, _, err := c.Receive(transaction(at, e)); err != nil || len(in) != 1 || in[0].Kind != channel.KindRedact || in[0].Edits != "$x" {
			t.Errorf("%v gives %+v, %v", e, in, err)
		}
	}
	float := said("f", "x", at)
	float["origin_server_ts"] = 1.5e12
	if in, _, _ := c.Receive(transaction(at, float)); len(in) != 1 || in[0].SentAt.UnixMilli() != 1.5e12 {
		t.Errorf("a time as a float: %+v", in)
	}
}

func TestAllowed(t *testing.T) {
	list := []string{kim, "friends.example", "other.example:8448"}
	for user, want := range map[string]bool{kim: true, "@sam:shop.test": false, "@a:friends.example": true, "@a:Friends.Example": true,
		"@a:notfriends.example": false, "@a:other.example:8448": true, "@a:other.example": false, "friends.example": false, "": false,
		"@kim:shop.test:443": false} {
		if Allowed(list, user) != want {
			t.Errorf("%s: allowed %v", user, !want)
		}
	}
	for entry, ok := range map[string]bool{kim: true, "shop.test": true, "@kim": false, "*": false, "": false, "shop.test/x": false} {
		if (CheckAllowed(entry) == nil) != ok {
			t.Errorf("%q: %v", entry, CheckAllowed(entry))
		}
	}
}

func TestOptions(t *testing.T) {
	for want, spoil := range map[string]func(*Options){
		"address must be a whole": func(o *Options) { o.Homeserver = "shop.test" },
		"must be a whole one":     func(o *Options) { o.Homeserver = "http://x:" + channeltest.Canary + "@shop.test" },
		"our name on Matrix":      func(o *Options) { o.User = "shimwright" },
		"two tokens":              func(o *Options) { o.HSToken = "short" },
		"different":               func(o *Options) { o.HSToken = o.ASToken },
	} {
		o := options("http://127.0.0.1:9")
		spoil(&o)
		if _, err := New(o); err == nil || !strings.Contains(err.Error(), want) || strings.Contains(err.Error(), channeltest.Canary) {
			t.Errorf("%s: %v", want, err)
		}
	}
	c := open(t, options("http://127.0.0.1:9"))
	for _, verb := range []string{"%v", "%+v", "%#v", "%s", "%x"} {
		if s := fmt.Sprintf(verb, *c) + fmt.Sprintf(verb, c); strings.Contains(s, channeltest.Canary) {
			t.Errorf("%s prints a token", verb)
		}
	}
}

func TestRegistration(t *testing.T) {
	b, err := Registration{URL: "http://127.0.0.1:8080/v1/channels/matrix", User: us, ASToken: "a\"b", HSToken: "h"}.YAML()
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"url: \"http://127.0.0.1:8080/v1/channels/matrix\"\n", `as_token: "a\"b"`, `hs_token: "h"`,
		`sender_localpart: "shimwright"`, `regex: "@shimwright:shop\\.test"`} {
		if !strings.Contains(string(b), want) {
			t.Errorf("the file lacks %s:\n%s", want, b)
		}
	}
	if _, err := (Registration{User: "shimwright"}).YAML(); err == nil {
		t.Error("a user without a server is registered")
	}
	if slices.Contains(strings.Split(string(b), "\n"), "") && strings.Count(string(b), "\n\n") > 0 {
		t.Error("the file has empty lines")
	}
}
