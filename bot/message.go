package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"io"
	"strings"
	"time"
	"unicode/utf8"

	"shimwright/store"
)

// Limits of a message by POST /v1/messages.
const (
	maxBody = 64 << 10 // bytes of a body
	maxName = 128      // bytes of an id, a conversation or a sender
)

// posted is a message as a client posts it.
type posted struct {
	ID           string
	Conversation string
	Sender       string
	Text         string
	SentAt       time.Time
	Lang         string // that a terminal's environment asks for, "" otherwise
}

// parsePosted reads a message strictly: one JSON object, each field once, of
// its type, and no other. Its error is a *problem that names the field.
func parsePosted(body []byte) (posted, error) {
	var m posted
	if !utf8.Valid(body) {
		return m, notJSON("The body is not valid UTF-8.")
	}
	d := json.NewDecoder(bytes.NewReader(body))
	if t, err := d.Token(); err != nil || t != json.Delim('{') {
		return m, notJSON("The body must be one JSON object, such as %s.", example)
	}
	seen := map[string]bool{}
	for d.More() {
		t, err := d.Token()
		if err != nil {
			return m, jsonFault(err)
		}
		name := t.(string)
		if seen[name] {
			return m, badField(name, "The field %q is given twice.", name)
		}
		seen[name] = true
		if err := m.field(d, name); err != nil {
			return m, err
		}
	}
	if _, err := d.Token(); err != nil {
		return m, jsonFault(err)
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return m, notJSON("The body goes on after its JSON object.")
	}
	return m, m.check(seen)
}

// example is a message as it should be.
const example = `{"id":"m-102","conversation":"bench-tablet","sender":"kim","text":"3 thou low"}`

// field reads one field.
func (m *posted) field(d *json.Decoder, name string) error {
	var into *string
	var sent string
	switch name {
	case "id":
		into = &m.ID
	case "conversation":
		into = &m.Conversation
	case "sender":
		into = &m.Sender
	case "text":
		into = &m.Text
	case "sent_at":
		into = &sent
	default:
		return badField(clip(name), "The field %q is unknown; a message has id, conversation, sender, text and sent_at.", clip(name))
	}
	var raw json.RawMessage
	if err := d.Decode(&raw); err != nil {
		return jsonFault(err)
	}
	if len(raw) == 0 || raw[0] != '"' {
		return badField(name, "The field %q must be a string.", name)
	}
	if err := json.Unmarshal(raw, into); err != nil {
		return badField(name, "The field %q is not a string that can be read.", name)
	}
	if name != "sent_at" {
		return nil
	}
	at, err := time.Parse(time.RFC3339Nano, sent)
	if err != nil {
		return badField(name, "The field %q must be a time as RFC 3339 writes it, e.g. 2026-03-02T09:14:05Z.", name)
	}
	m.SentAt = at.UTC()
	return nil
}

// check looks at what the fields hold.
func (m *posted) check(seen map[string]bool) error {
	for _, name := range []string{"id", "conversation", "text"} {
		if !seen[name] {
			return badField(name, "The field %q is missing.", name)
		}
	}
	if !plainName(m.ID) {
		return badField("id", "The id must have 1 to %d letters, digits, or any of . _ : @ + -, the first no dot.", maxName)
	}
	if !plainName(m.Conversation) {
		return badField("conversation", "The conversation must have 1 to %d letters, digits, or any of . _ : @ + -, the first no dot.", maxName)
	}
	if seen["sender"] && (m.Sender == "" || len(m.Sender) > maxName || strings.ContainsFunc(m.Sender, control)) {
		return badField("sender", "The sender must have 1 to %d bytes without control characters.", maxName)
	}
	if len(m.Text) > store.MaxInbound {
		return badField("text", "The text has %d bytes; a message may have %d.", len(m.Text), store.MaxInbound)
	}
	return nil
}

// hash is that of what may not differ when the same id comes again.
func (m posted) hash(from string) []byte {
	h := sha256.New()
	io.WriteString(h, from)
	h.Write([]byte{0})
	io.WriteString(h, m.Text)
	return h.Sum(nil)
}

// plainName reports whether s can be an id: short, visible, and safe in a path.
func plainName(s string) bool {
	if s == "" || len(s) > maxName {
		return false
	}
	for i := range len(s) {
		c := s[i]
		alnum := c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9'
		if !alnum && (i == 0 && c == '.' || !strings.ContainsRune("._:@+-", rune(c))) {
			return false
		}
	}
	return true
}

func control(r rune) bool { return r < ' ' || r == 0x7f }

// clip shortens what a client sent before it is quoted to them.
func clip(s string) string {
	if len(s) <= 40 {
		return s
	}
	cut := 40
	for !utf8.RuneStart(s[cut]) {
		cut--
	}
	return s[:cut] + "…"
}

func jsonFault(err error) *problem {
	var syntax *json.SyntaxError
	switch {
	case errors.As(err, &syntax):
		return notJSON("The body is not JSON: %s, after byte %d.", strings.TrimPrefix(syntax.Error(), "json: "), syntax.Offset)
	case errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF):
		return notJSON("The body ends in the middle of its JSON object.")
	}
	return notJSON("The body is not JSON.")
}
