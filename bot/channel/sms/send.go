package sms

import (
	"context"
	"fmt"
	"math"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"unicode/utf8"

	"shimwright/bot/channel"
	"shimwright/bot/channel/sms/gsm7"
)

const gateway = "the text gateway"

// Send implements channel.Channel: one call of sendsms for each piece, in
// order. When a piece fails the whole message counts as not sent, so those
// before it go again with the next attempt.
func (c *Channel) Send(ctx context.Context, to string, m channel.Message) error {
	if !e164.MatchString(to) {
		return channel.Permanent("the address is not a number with its country code")
	}
	for _, piece := range c.pieces(m) {
		if err := c.post(ctx, to, m, piece); err != nil {
			return err
		}
	}
	return nil
}

// post hands one piece to the gateway. A form would be refused with 400; the
// password goes in a header, out of the gateway's access log.
func (c *Channel) post(ctx context.Context, to string, m channel.Message, text string) error {
	req, err := http.NewRequest(http.MethodPost, c.opt.Gateway, strings.NewReader(text))
	if err != nil {
		return channel.Permanent("the gateway's address cannot be called")
	}
	h := req.Header
	h.Set("Content-Type", "text/plain; charset=utf-8")
	h.Set("X-Kannel-Username", c.secrets().User)
	h.Set("X-Kannel-Password", c.secrets().Password)
	h.Set("X-Kannel-To", to)
	if c.opt.From != "" {
		h.Set("X-Kannel-From", c.opt.From)
	}
	// Without it the gateway writes ? for what the default alphabet lacks.
	if gsm7.Measure(text, gsm7.Ref8).Coding == gsm7.UCS2 {
		h.Set("X-Kannel-Coding", "2")
	} else {
		h.Set("X-Kannel-Coding", "0")
	}
	if !m.Expires.IsZero() {
		// The network, too, is to drop a hands-on text that it could not
		// deliver in time (minutes; a network may round up).
		left := math.Max(1, math.Floor(m.Expires.Sub(c.opt.Now()).Minutes()))
		h.Set("X-Kannel-Validity", strconv.Itoa(int(left)))
	}
	h.Set("X-Kannel-DLR-Mask", "27") // 1 delivered, 2 failed, 8 taken by the network, 16 refused by it
	h.Set("X-Kannel-DLR-Url", c.reportURL(m.Ref))
	a, err := c.wire.Do(ctx, req, gateway)
	if err != nil {
		return err
	}
	if a.Status != http.StatusAccepted {
		return channel.Temporary("%s answered with status %d instead of 202", gateway, a.Status)
	}
	return nil
}

// reportURL is where the gateway reports on a message; it fills in %d and %A.
func (c *Channel) reportURL(ref string) string {
	q := url.Values{"ref": {ref}, "sig": {c.sign(ref)}}
	return c.opt.Own + "/report?" + q.Encode() + "&fate=%d&why=%A"
}

// pieces is the message as the person gets it: one text as a rule; a long one
// in several, each within the parts that the gateway joins, because it cuts the
// rest silently. They are marked at their end, so that a caution stays first.
func (c *Channel) pieces(m channel.Message) []string {
	text := compose(m)
	if gsm7.Measure(text, gsm7.Ref8).Parts <= c.opt.Parts {
		return []string{text}
	}
	const mark = " (99/99)"
	var list []string
	for text != "" {
		head := gsm7.Cut(text, c.opt.Parts, gsm7.Ref8)
		if len(head) < len(text) {
			for gsm7.Measure(head+mark, gsm7.Ref8).Parts > c.opt.Parts {
				_, n := utf8.DecodeLastRuneInString(head)
				head = head[:len(head)-n]
			}
			head = atBreak(head)
		}
		list = append(list, strings.TrimSpace(head))
		text = strings.TrimLeft(text[len(head):], " \n")
	}
	for i := range list {
		list[i] += fmt.Sprintf(" (%d/%d)", i+1, len(list))
	}
	return list
}

// atBreak shortens a beginning to its last whole sentence, or else its last
// whole word, unless that would leave less than half of it.
func atBreak(s string) string {
	for _, at := range []string{"\n", ". ", " "} {
		if i := strings.LastIndex(s, at); i > len(s)/2 {
			return s[:i+len(at)]
		}
	}
	return s
}

// compose writes a message as plain text in the default alphabet: its text
// with the caution first, the words that answer it, and the address of its
// picture.
func compose(m channel.Message) string {
	text := strings.TrimSpace(strings.ToValidUTF8(m.Text, ""))
	words, said := choices(m)
	long := gsm7.Plain(text + "\n" + words)
	if words != "" && !(said && (!m.Numbered || gsm7.Measure(long, gsm7.Ref8).Parts > 1)) {
		text += "\n" + words
	}
	for _, p := range m.Media {
		if whole(p.URL) { // a path alone leads a telephone nowhere
			text += "\n" + p.URL
		}
	}
	return gsm7.Plain(text)
}

// choices lists the words that answer a message, with their numbers where a
// number is an answer: "1: level, 2: parallel". said reports whether the text
// has them all already; then they are repeated only for their numbers, and only
// where that costs no further part.
func choices(m channel.Message) (words string, said bool) {
	said = true
	low := strings.ToLower(m.Text)
	list := make([]string, len(m.Choices))
	for i, c := range m.Choices {
		said = said && strings.Contains(low, strings.ToLower(c))
		list[i] = c
		if m.Numbered {
			list[i] = fmt.Sprintf("%d: %s", i+1, c)
		}
	}
	return strings.Join(list, ", "), said
}
