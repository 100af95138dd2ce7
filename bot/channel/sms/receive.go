package sms

import (
	"crypto/hmac"
	"net/http"
	"regexp"
	"strconv"
	"strings"
	"time"
	"unicode/utf16"
	"unicode/utf8"

	"shimwright/bot/channel"
)

// maxText is the longest text that is taken, in bytes: a message of 100 parts.
const maxText = 16 << 10

// Receive implements channel.Channel. The gateway calls two addresses: in, for
// each text, and report, for each report on a message of ours.
func (c *Channel) Receive(r channel.Request) ([]channel.Inbound, channel.Ack, error) {
	// An empty body: whatever is in it would be sent to the person.
	ack := channel.Ack{Status: http.StatusOK, Type: "text/plain; charset=utf-8"}
	if r.Method != http.MethodGet && r.Method != http.MethodPost {
		return nil, ack, channel.Refuse(http.StatusMethodNotAllowed, "the gateway calls by GET or POST")
	}
	var in []channel.Inbound
	var err error
	switch r.Path {
	case "/in":
		if !hmac.Equal([]byte(r.Query.Get("key")), []byte(c.secrets().Secret)) {
			return nil, ack, forged()
		}
		in, err = c.text(r)
	case "/report":
		if !hmac.Equal([]byte(r.Query.Get("sig")), []byte(c.sign(r.Query.Get("ref")))) {
			return nil, ack, forged()
		}
		in = report(r)
	default:
		return nil, ack, channel.Refuse(http.StatusNotFound, "there is no such address")
	}
	return in, ack, err
}

func forged() error {
	return channel.Refuse(http.StatusUnauthorized, "the secret in the address is missing or wrong")
}

// text reads an incoming text.
func (c *Channel) text(r channel.Request) ([]channel.Inbound, error) {
	q := r.Query
	for _, name := range []string{"id", "from"} {
		if v := q.Get(name); v == "" || len(v) > 128 {
			return nil, channel.Refuse(http.StatusBadRequest,
				"%s is missing; the gateway's post-url must have id=%%I&from=%%p&ts=%%T&coding=%%c&charset=%%C&key=…", name)
		}
	}
	raw := string(r.Body)
	if q.Has("text") {
		raw = q.Get("text")
	}
	if len(raw) > 2*maxText {
		return nil, channel.Refuse(http.StatusRequestEntityTooLarge, "the text has more than %d bytes", maxText)
	}
	sender, ok := Number(q.Get("from"), c.opt.Region)
	if !ok {
		return nil, nil // nobody to answer
	}
	in := channel.Inbound{ID: clean(q.Get("id")), Kind: channel.KindText, Sender: sender, Conversation: sender}
	if sec, err := strconv.ParseInt(q.Get("ts"), 10, 64); err == nil && sec > 0 && sec < 1<<40 {
		in.SentAt = time.Unix(sec, 0).UTC()
	}
	if q.Get("coding") == "1" || r.Header.Get("X-Kannel-UDH") != "" && q.Get("coding") != "0" && q.Get("coding") != "2" {
		in.Kind = channel.KindOther // a picture, a ring tone, a visiting card: 8-bit data
		return []channel.Inbound{in}, nil
	}
	in.Text = decode(raw, q.Get("charset"))
	if len(in.Text) > maxText {
		return nil, channel.Refuse(http.StatusRequestEntityTooLarge, "the text has more than %d bytes", maxText)
	}
	return []channel.Inbound{in}, nil
}

// decode turns a text into UTF-8. The gateway says its character set; what is
// not in it becomes the replacement character.
func decode(raw, charset string) string {
	switch strings.ToUpper(charset) {
	case "UTF-16BE", "UCS-2", "UCS2", "ISO-10646-UCS-2":
		units := make([]uint16, 0, len(raw)/2)
		for i := 0; i+1 < len(raw); i += 2 {
			units = append(units, uint16(raw[i])<<8|uint16(raw[i+1]))
		}
		return string(utf16.Decode(units))
	case "ISO-8859-1", "LATIN1", "WINDOWS-1252":
		if !utf8.ValidString(raw) {
			runes := make([]rune, len(raw))
			for i := range len(raw) {
				runes[i] = rune(raw[i])
			}
			return string(runes)
		}
	}
	return strings.ToValidUTF8(raw, "\ufffd")
}

// clean keeps the letters, digits and signs of which a message id is made.
func clean(id string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r >= 'a' && r <= 'z', r >= 'A' && r <= 'Z', r >= '0' && r <= '9', strings.ContainsRune("-_.:", r):
			return r
		}
		return '_'
	}, id)
}

// report reads a delivery report: %d of the gateway is a bit of
// 1 delivered, 2 failed, 4 held back, 8 taken by the network, 16 refused by it.
// The two of one message come in either order.
func report(r channel.Request) []channel.Inbound {
	fate := map[string]channel.Fate{"1": channel.Delivered, "2": channel.Failed,
		"4": channel.Accepted, "8": channel.Accepted, "16": channel.Failed}[r.Query.Get("fate")]
	if fate == "" {
		return nil
	}
	ref := r.Query.Get("ref")
	return []channel.Inbound{{ID: "report-" + r.Query.Get("fate") + "-" + ref, Kind: channel.KindReceipt,
		Receipt: channel.Receipt{Ref: ref, Fate: fate, Reason: reason(r.Query.Get("why"))}}}
}

var longNumber = regexp.MustCompile(`[0-9]{5,}`)

// reason makes what the network said fit for a log: short, printable, and
// without a number that could be somebody's.
func reason(s string) string {
	s = strings.Map(func(r rune) rune {
		if r < ' ' || r > '~' {
			return -1
		}
		return r
	}, s)
	return longNumber.ReplaceAllString(s[:min(len(s), 80)], "…")
}
