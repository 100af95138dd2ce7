package dendritetest

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strconv"
	"sync/atomic"
	"time"
)

// Person is somebody with an account and a client.
type Person struct {
	ID string

	s     *Server
	token string
	since string
	n     atomic.Int64
	seen  []Event
	read  map[string]string // by user: the last event that they marked as read
}

// Read is the last event that a user has marked as read, as far as was synced.
func (p *Person) Read(user string) string { return p.read[user] }

// Event is an event as a person's client sees it.
type Event struct {
	ID      string         `json:"event_id"`
	Type    string         `json:"type"`
	Sender  string         `json:"sender"`
	Room    string         `json:"-"`
	Content map[string]any `json:"content"`
}

// Body is the text of a message.
func (e Event) Body() string { s, _ := e.Content["body"].(string); return s }

// Person makes an account and logs in.
func (s *Server) Person(name string) *Person {
	s.t.Helper()
	s.run("create-account", "--config", s.config(), "--username", name, "--password", "a-long-password-1", "--url", s.URL)
	p := &Person{ID: "@" + name + ":" + ServerName, s: s}
	var login struct {
		Token string `json:"access_token"`
	}
	p.Call("POST", "/_matrix/client/v3/login", map[string]any{"type": "m.login.password",
		"identifier": map[string]any{"type": "m.id.user", "user": name}, "password": "a-long-password-1"}, &login)
	p.token = login.Token
	p.Sync(0)
	return p
}

// Call makes a call of the client-server API that must succeed.
func (p *Person) Call(method, path string, body, out any) {
	p.s.t.Helper()
	b, err := json.Marshal(body)
	if err != nil {
		p.s.t.Fatal(err)
	}
	req, err := http.NewRequest(method, p.s.URL+path, bytes.NewReader(b))
	if err != nil {
		p.s.t.Fatal(err)
	}
	req.Header.Set("Content-Type", "application/json")
	if p.token != "" {
		req.Header.Set("Authorization", "Bearer "+p.token)
	}
	res, err := http.DefaultClient.Do(req)
	if err != nil {
		p.s.t.Fatalf("%s %s: %v", method, path, err)
	}
	defer res.Body.Close()
	got, _ := io.ReadAll(res.Body)
	if res.StatusCode != http.StatusOK {
		p.s.t.Fatalf("%s %s: %d %s", method, path, res.StatusCode, got)
	}
	if out != nil {
		if err := json.Unmarshal(got, out); err != nil {
			p.s.t.Fatalf("%s %s: %v in %s", method, path, err, got)
		}
	}
}

// Room makes a private room and invites somebody; encrypted from the start
// when asked.
func (p *Person) Room(invite string, encrypted bool) string {
	p.s.t.Helper()
	body := map[string]any{"preset": "private_chat", "is_direct": true, "invite": []string{invite}}
	if encrypted {
		body["initial_state"] = []any{map[string]any{"type": "m.room.encryption", "state_key": "",
			"content": map[string]any{"algorithm": "m.megolm.v1.aes-sha2"}}}
	}
	var r struct {
		ID string `json:"room_id"`
	}
	p.Call("POST", "/_matrix/client/v3/createRoom", body, &r)
	return r.ID
}

// RoomWith opens a room and invites somebody with words of invitation.
func (p *Person) RoomWith(invite, words string) string {
	p.s.t.Helper()
	var r struct {
		ID string `json:"room_id"`
	}
	p.Call("POST", "/_matrix/client/v3/createRoom", map[string]any{"preset": "private_chat"}, &r)
	p.Call("POST", "/_matrix/client/v3/rooms/"+r.ID+"/invite", map[string]any{"user_id": invite, "reason": words}, nil)
	return r.ID
}

// Say sends a text and returns its event id.
func (p *Person) Say(room, text string) string {
	return p.Send(room, "m.room.message", map[string]any{"msgtype": "m.text", "body": text})
}

// Edit edits a text that was sent.
func (p *Person) Edit(room, event, text string) string {
	return p.Send(room, "m.room.message", map[string]any{"msgtype": "m.text", "body": "* " + text,
		"m.new_content": map[string]any{"msgtype": "m.text", "body": text},
		"m.relates_to":  map[string]any{"rel_type": "m.replace", "event_id": event}})
}

// Send sends any event.
func (p *Person) Send(room, kind string, content map[string]any) string {
	p.s.t.Helper()
	var r struct {
		ID string `json:"event_id"`
	}
	p.Call("PUT", fmt.Sprintf("/_matrix/client/v3/rooms/%s/send/%s/t%d", url.PathEscape(room), kind, p.n.Add(1)), content, &r)
	return r.ID
}

// Sync asks what is new and keeps it.
func (p *Person) Sync(wait time.Duration) {
	p.s.t.Helper()
	q := url.Values{"timeout": {strconv.Itoa(int(wait.Milliseconds()))}}
	if p.since != "" {
		q.Set("since", p.since)
	}
	var r struct {
		Next  string `json:"next_batch"`
		Rooms struct {
			Join map[string]struct {
				Timeline struct {
					Events []Event `json:"events"`
				} `json:"timeline"`
				Ephemeral struct {
					Events []struct {
						Type    string `json:"type"`
						Content map[string]map[string]map[string]any
					} `json:"events"`
				} `json:"ephemeral"`
			} `json:"join"`
		} `json:"rooms"`
	}
	p.Call("GET", "/_matrix/client/v3/sync?"+q.Encode(), nil, &r)
	p.since = r.Next
	for room, j := range r.Rooms.Join {
		for _, e := range j.Ephemeral.Events {
			if e.Type != "m.receipt" {
				continue
			}
			for event, kinds := range e.Content {
				for user := range kinds["m.read"] {
					if p.read == nil {
						p.read = map[string]string{}
					}
					p.read[user] = event
				}
			}
		}
		for _, e := range j.Timeline.Events {
			e.Room = room
			p.seen = append(p.seen, e)
		}
	}
}

// Next returns the next message of somebody else in a room, or fails after a
// while.
func (p *Person) Next(room string) Event {
	p.s.t.Helper()
	for end := time.Now().Add(60 * time.Second); time.Now().Before(end); {
		if e, ok := p.take(room); ok {
			return e
		}
		p.Sync(2 * time.Second)
	}
	p.s.t.Fatalf("no message came to %s\n%s", room, p.s.Log())
	return Event{}
}

// Quiet returns the messages of others that come within a time.
func (p *Person) Quiet(room string, d time.Duration) (list []Event) {
	p.s.t.Helper()
	for end := time.Now().Add(d); time.Now().Before(end); {
		p.Sync(min(d, 500*time.Millisecond))
	}
	for {
		e, ok := p.take(room)
		if !ok {
			return list
		}
		list = append(list, e)
	}
}

// take takes the oldest message of somebody else out of what was seen.
func (p *Person) take(room string) (Event, bool) {
	for i, e := range p.seen {
		if e.Room == room && e.Sender != p.ID && e.Type == "m.room.message" {
			p.seen = append(p.seen[:i:i], p.seen[i+1:]...)
			return e, true
		}
	}
	return Event{}, false
}

// Members lists who is in a room.
func (p *Person) Members(room string) map[string]string {
	p.s.t.Helper()
	var r struct {
		Chunk []struct {
			StateKey string `json:"state_key"`
			Content  struct {
				Membership string `json:"membership"`
			} `json:"content"`
		} `json:"chunk"`
	}
	p.Call("GET", "/_matrix/client/v3/rooms/"+url.PathEscape(room)+"/members", nil, &r)
	m := map[string]string{}
	for _, e := range r.Chunk {
		m[e.StateKey] = e.Content.Membership
	}
	return m
}
