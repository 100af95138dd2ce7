package sms

import (
	"errors"
	"net/http"
	"net/url"
	"testing"
	"unicode/utf8"

	"shimwright/bot/channel"
	"shimwright/bot/channel/channeltest"
)

// FuzzReceive: whatever the gateway calls with, it is taken or refused with a
// reason, and what is taken is text of a bounded length.
func FuzzReceive(f *testing.F) {
	f.Add("id=1&from=491700000001&ts=1772442845&coding=0&charset=UTF-8&text=3+thou+low", []byte("x"), "")
	f.Add("id=1&from=%2B491700000001&charset=UTF-16BE&coding=2", []byte{0xd8, 0x3d, 0xdc, 0x4d, 0}, "0608")
	f.Add("id=1&from=0170&charset=ISO-8859-1", []byte{0xe4, 0xff}, "")
	f.Add("ref=x&fate=2&why=blocked+12345678", []byte{}, "")
	c := open(f, options("http://127.0.0.1:9"))
	f.Fuzz(func(t *testing.T, query string, body []byte, header string) {
		q, err := url.ParseQuery(query)
		if err != nil {
			return
		}
		q.Set("key", channeltest.Canary+"s")
		q.Set("sig", c.sign(q.Get("ref")))
		for _, path := range []string{"/in", "/report"} {
			list, ack, err := c.Receive(channel.Request{Method: "POST", Path: path, Query: q, Body: body, At: clock(),
				Header: http.Header{"X-Kannel-Udh": {header}}})
			if err != nil {
				if len(list) > 0 || !errors.As(err, new(*channel.RequestError)) {
					t.Fatalf("%v with %d messages", err, len(list))
				}
				continue
			}
			if ack.Status != 200 || len(ack.Body) > 0 {
				t.Fatalf("acknowledged with %d %q", ack.Status, ack.Body)
			}
			for _, in := range list {
				if !utf8.ValidString(in.Text) || len(in.Text) > maxText || in.ID == "" || in.Kind != channel.KindReceipt && in.Sender == "" {
					t.Fatalf("taken: %+v", in)
				}
			}
		}
	})
}
