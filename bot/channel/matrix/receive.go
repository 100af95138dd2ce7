package matrix

import (
	"cmp"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/json"
	"net/http"
	"strings"
	"time"

	"shimwright/bot/channel"
)

// maxText is the longest text that is taken, in bytes; an event is at most
// 64 KiB.
const maxText = 16 << 10

// Receive implements channel.Channel. The homeserver brings transactions, asks
// whether a user or an alias of ours exists, and pings.
func (c *Channel) Receive(r channel.Request) ([]channel.Inbound, channel.Ack, error) {
	ack := channel.Ack{Status: http.StatusOK, Type: "application/json", Body: []byte("{}")}
	if !c.fromHome(r) {
		return nil, ack, channel.Refuse(http.StatusForbidden, "the homeserver's token is missing or wrong")
	}
	// Homeservers before v1.4 of the specification leave the prefix out.
	path := strings.TrimPrefix(r.Path, "/_matrix/app/v1")
	kind, _, _ := strings.Cut(strings.TrimPrefix(path, "/"), "/")
	switch {
	case kind == "transactions" && r.Method == http.MethodPut:
		in, err := c.transaction(r.Body)
		return in, ack, err
	case kind == "ping" && r.Method == http.MethodPost:
		return nil, ack, nil
	case kind == "users" && r.Method == http.MethodGet && strings.HasSuffix(path, "/"+c.user):
		return nil, ack, nil
	}
	return nil, ack, channel.Refuse(http.StatusNotFound, "there is nothing at this address")
}

// fromHome reports whether a request carries the homeserver's token: in a
// header, or in the query as before v1.4.
func (c *Channel) fromHome(r channel.Request) bool {
	token, ok := strings.CutPrefix(r.Header.Get("Authorization"), "Bearer ")
	if !ok {
		token = r.Query.Get("access_token")
	}
	_, hs := c.tokens()
	// Of equal length whatever was sent, so that the time says nothing.
	a, b := sha256.Sum256([]byte(token)), sha256.Sum256([]byte(hs))
	return hmac.Equal(a[:], b[:])
}

// transaction reads a batch of events. One event that cannot be read is left
// out: a refused transaction would be brought again for ever, and hold up all
// that comes behind it.
func (c *Channel) transaction(body []byte) ([]channel.Inbound, error) {
	var t struct {
		Events *[]json.RawMessage `json:"events"`
	}
	if err := json.Unmarshal(body, &t); err != nil || t.Events == nil {
		return nil, channel.Refuse(http.StatusBadRequest, "a transaction is a JSON object with events")
	}
	var list []channel.Inbound
	for _, raw := range *t.Events {
		var e event
		if json.Unmarshal(raw, &e) != nil || e.ID == "" || e.Room == "" || e.Sender == "" || e.Sender == c.user {
			continue
		}
		if len(e.ID) > 255 || len(e.Room) > 255 || len(e.Sender) > 255 { // limits of the specification
			continue
		}
		if in, ok := c.inbound(e); ok {
			list = append(list, in)
		}
	}
	return list, nil
}

// event is as much of an event as is looked at.
type event struct {
	ID       string  `json:"event_id"`
	Type     string  `json:"type"`
	Room     string  `json:"room_id"`
	Sender   string  `json:"sender"`
	StateKey *string `json:"state_key"`
	At       float64 `json:"origin_server_ts"` // ms; some servers send a float
	Redacts  string  `json:"redacts"`          // before v11 of rooms; later in the content
	Content  content `json:"content"`
}

type content struct {
	message
	Redacts    string   `json:"redacts"`
	Membership string   `json:"membership"`
	Reason     string   `json:"reason"` // of an invitation: it may bring a code
	New        *message `json:"m.new_content"`
	Relates    struct {
		Type    string `json:"rel_type"`
		Event   string `json:"event_id"`
		InReply *struct {
			Event string `json:"event_id"`
		} `json:"m.in_reply_to"`
	} `json:"m.relates_to"`
}

type message struct {
	Kind     string `json:"msgtype"`
	Body     string `json:"body"`
	Filename string `json:"filename"`
}

// inbound turns an event into what it means to us; false when it means
// nothing: a notice (another program's), a reaction, somebody else's arrival.
func (c *Channel) inbound(e event) (channel.Inbound, bool) {
	in := channel.Inbound{ID: e.ID, Sender: e.Sender, Conversation: e.Room}
	if e.At > 0 && e.At < 1e14 {
		in.SentAt = time.UnixMilli(int64(e.At)).UTC()
	}
	switch e.Type {
	case "m.room.message":
		return c.said(in, e.Content)
	case "m.sticker":
		in.Kind = channel.KindOther
		return in, true
	case "m.room.encrypted", "m.room.encryption":
		in.Kind = channel.KindSecret
		return in, true
	case "m.room.redaction":
		in.Kind, in.Edits = channel.KindRedact, cmp.Or(e.Content.Redacts, e.Redacts)
		return in, in.Edits != ""
	case "m.room.member":
		in.Kind, in.Text = channel.KindInvite, e.Content.Reason
		if !fits(in.Text) {
			in.Text = ""
		}
		return in, e.Content.Membership == "invite" && e.StateKey != nil && *e.StateKey == c.user
	}
	return in, false
}

// said reads a message.
func (c *Channel) said(in channel.Inbound, m content) (channel.Inbound, bool) {
	if m.Relates.Type == "m.replace" {
		if m.New == nil || m.New.Kind != "m.text" && m.New.Kind != "m.emote" || m.Relates.Event == "" {
			return in, false
		}
		in.Kind, in.Edits, in.Text = channel.KindEdit, m.Relates.Event, c.toUs(m.New.Body)
		if strings.HasPrefix(in.Text, "> <") { // the edit does not say that it is one of a reply
			in.Text = c.toUs(withoutQuote(in.Text))
		}
		return in, fits(in.Text)
	}
	switch m.Kind {
	case "m.text", "m.emote":
		in.Kind, in.Text = channel.KindText, m.Body
		if m.Relates.InReply != nil {
			in.Text = withoutQuote(in.Text)
		}
		in.Text = c.toUs(in.Text)
	case "m.image":
		in.Kind = channel.KindPicture
		if m.Filename != "" && m.Filename != m.Body {
			in.Text = m.Body // otherwise it is the name of the file
		}
	case "m.audio", "m.video":
		in.Kind = channel.KindRecording
	case "m.file", "m.location":
		in.Kind = channel.KindOther
	default: // a notice above all: programs do not answer each other
		return in, false
	}
	if !fits(in.Text) {
		in.Kind, in.Text = channel.KindOther, "" // no answer is that long
	}
	return in, true
}

func fits(s string) bool { return len(s) <= maxText }

// withoutQuote takes off the lines of the quoted message that clients before
// v1.13 of the specification put in front of a reply. Some leave an empty line of
// it without its space.
func withoutQuote(s string) string {
	rest := s
	for strings.HasPrefix(rest, ">") {
		_, after, ok := strings.Cut(rest, "\n")
		if !ok {
			return s
		}
		rest = after
	}
	return strings.TrimPrefix(rest, "\n")
}

// toUs takes off our own name, which clients put in front of what is said to one of
// several in a room: "shimwright: 0.05".
func (c *Channel) toUs(s string) string {
	name, _, _ := strings.Cut(strings.TrimPrefix(c.user, "@"), ":")
	for _, called := range []string{c.user, "@" + name, name} {
		if len(s) > len(called) && strings.EqualFold(s[:len(called)], called) && strings.ContainsRune(":, ", rune(s[len(called)])) {
			return strings.TrimLeft(s[len(called):], ":, ")
		}
	}
	return s
}
