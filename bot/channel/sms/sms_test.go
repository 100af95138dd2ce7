package sms

import (
	"encoding/hex"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strconv"
	"strings"
	"testing"
	"time"
	"unicode/utf16"

	"shimwright/bot/channel"
	"shimwright/bot/channel/channeltest"
	"shimwright/bot/channel/sms/gsm7"
)

func clock() time.Time { return time.Date(2026, 3, 2, 9, 14, 5, 0, time.UTC) }

func options(gateway string) Options {
	return Options{Gateway: gateway + "/cgi-bin/sendsms", User: "shop", Password: channeltest.Canary + "p", From: "15550100",
		Own: "http://127.0.0.1:8080/v1/channels/sms", Secret: channeltest.Canary + "s", Now: clock}
}

func open(t testing.TB, o Options) *Channel {
	t.Helper()
	c, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// inbound is a call of the gateway for a text, as its post-url asks for it.
func inbound(id, from, text string, at time.Time) channel.Request {
	return channel.Request{Method: "POST", Path: "/in", Header: http.Header{}, At: at, Body: []byte(text), Query: url.Values{
		"key": {channeltest.Canary + "s"}, "id": {id}, "from": {from}, "to": {"15550100"}, "text": {text},
		"ts": {strconv.FormatInt(at.Unix(), 10)}, "coding": {"0"}, "charset": {"UTF-8"}}}
}

func set(r channel.Request, name, value string) channel.Request {
	q := url.Values{}
	for k, v := range r.Query {
		q[k] = v
	}
	q.Set(name, value)
	r.Query = q
	return r
}

func TestConformance(t *testing.T) {
	good := open(t, options("http://127.0.0.1:9"))
	channeltest.Run(t, channeltest.Rig{
		New: func(t testing.TB, url string) channel.Channel { return open(t, options(url)) },
		To:  "+491700000001",
		In: &channeltest.In{
			Text: func(id, text string, at time.Time) channel.Request { return inbound(id, "491700000001", text, at) },
			Raw: func(body []byte, at time.Time) channel.Request {
				r := inbound("raw", "491700000001", "", at)
				r.Query.Del("text")
				r.Body = body
				return r
			},
			Of: map[channel.Kind]func(string, time.Time) channel.Request{
				channel.KindOther: func(id string, at time.Time) channel.Request {
					return set(inbound(id, "491700000001", "\x01\x02", at), "coding", "1")
				},
				channel.KindReceipt: func(id string, at time.Time) channel.Request {
					return channel.Request{Method: "GET", Path: "/report", At: at, Header: http.Header{},
						Query: url.Values{"ref": {"abc"}, "sig": {good.sign("abc")}, "fate": {"8"}, "why": {"ACK/"}}}
				},
			},
			Forge: map[string]func(channel.Request) channel.Request{
				"no key":       func(r channel.Request) channel.Request { return set(r, "key", "") },
				"wrong key":    func(r channel.Request) channel.Request { return set(r, "key", channeltest.Canary+"x") },
				"half the key": func(r channel.Request) channel.Request { return set(r, "key", channeltest.Canary) },
				"other place":  func(r channel.Request) channel.Request { r.Path = "/"; return r },
				"as a report":  func(r channel.Request) channel.Request { r.Path = "/report"; return r },
				"another reference": func(r channel.Request) channel.Request {
					r = set(set(r, "ref", "abd"), "sig", good.sign("abc"))
					r.Path = "/report"
					return r
				},
			},
		},
		Out: &channeltest.Out{
			Pieces: true,
			Accept: func(w http.ResponseWriter, r *http.Request) {
				w.WriteHeader(http.StatusAccepted)
				fmt.Fprint(w, "0: Accepted for delivery")
			},
			Seen: func(r *http.Request, body []byte) (string, string, bool) {
				u, err := url.Parse(r.Header.Get("X-Kannel-DLR-Url"))
				if err != nil {
					t.Fatalf("reports are asked for at an address that cannot be read: %v", err)
				}
				if u.Path != "/v1/channels/sms/report" || !strings.HasSuffix(u.RawQuery, "&fate=%d&why=%A") {
					t.Errorf("reports are asked for at %q", u)
				}
				if strings.Contains(u.String(), channeltest.Canary) || strings.Contains(r.URL.String(), channeltest.Canary) {
					t.Error("a secret stands in an address")
				}
				return refOf(u.RawQuery), string(body), true
			},
			Refuse: func(w http.ResponseWriter, r *http.Request) {
				http.Error(w, "Empty receiver number not allowed, rejected", http.StatusBadRequest)
			},
			Throttle: func(w http.ResponseWriter, r *http.Request) {
				w.Header().Set("Retry-After", "7")
				w.WriteHeader(http.StatusServiceUnavailable)
			},
		},
	})
}

// refOf takes the reference out of a report address, whose %d and %A are
// no valid escapes.
func refOf(query string) string {
	_, rest, _ := strings.Cut(query, "ref=")
	ref, _, _ := strings.Cut(rest, "&")
	return ref
}

func TestInboundEncodings(t *testing.T) {
	c := open(t, options("http://127.0.0.1:9"))
	utf16be := func(s string) string {
		var b []byte
		for _, u := range utf16.Encode([]rune(s)) {
			b = append(b, byte(u>>8), byte(u))
		}
		return string(b)
	}
	for _, x := range []struct{ raw, charset, coding, want string }{
		{"0,12 mm", "UTF-8", "0", "0,12 mm"},
		{utf16be("пр 👍 °"), "UTF-16BE", "2", "пр 👍 °"},
		{utf16be("x") + "\x00", "UTF-16BE", "2", "x"}, // half a unit at the end
		{"\xd8\x3d", "UTF-16BE", "2", "\ufffd"},       // half a pair
		{"3\xb0 t\xe4", "ISO-8859-1", "0", "3° tä"},
		{"3° tä", "ISO-8859-1", "0", "3° tä"}, // some gateways convert and keep the name
		{"a\xffb", "UTF-8", "0", "a\ufffdb"},
		{"a\xffb", "", "", "a\ufffdb"},
	} {
		r := set(set(inbound("m", "491700000001", x.raw, clock()), "charset", x.charset), "coding", x.coding)
		in, _, err := c.Receive(r)
		if err != nil || len(in) != 1 || in[0].Text != x.want || in[0].Kind != channel.KindText {
			t.Errorf("%q in %s: %+v, %v; want %q", x.raw, x.charset, in, err, x.want)
		}
	}
}

func TestInboundNamesWhatIsMissing(t *testing.T) {
	c := open(t, options("http://127.0.0.1:9"))
	for _, name := range []string{"id", "from"} {
		_, _, err := c.Receive(set(inbound("m", "491700000001", "done", clock()), name, ""))
		if re, ok := err.(*channel.RequestError); !ok || re.Status != 400 || !strings.HasPrefix(re.Reason, name+" is missing") {
			t.Errorf("without %s: %v", name, err)
		}
	}
	if _, _, err := c.Receive(channel.Request{Method: "DELETE", Path: "/in"}); err == nil || err.(*channel.RequestError).Status != 405 {
		t.Errorf("DELETE: %v", err)
	}
	in, _, err := c.Receive(set(inbound("m", "491700000001", "done", clock()), "ts", "soon"))
	if err != nil || len(in) != 1 || !in[0].SentAt.IsZero() {
		t.Errorf("without a time: %+v, %v", in, err)
	}
}

// Numbers as gateways write them; the ranges for drama (Ofcom, +44 7700 900…)
// and 555-01xx belong to nobody.
func TestNumber(t *testing.T) {
	for _, x := range []struct{ from, region, want string }{
		{"491700000001", "", "+491700000001"}, {"+491700000001", "", "+491700000001"}, {"00491700000001", "", "+491700000001"},
		{"+49 170 0000001", "", "+491700000001"}, {"12125550123", "", "+12125550123"}, {"+1 (212) 555-0123", "US", "+12125550123"},
		{"2125550123", "US", "+12125550123"}, {"12125550123", "US", "+12125550123"}, {"07700900123", "GB", "+447700900123"},
		{"01700000001", "DE", "+491700000001"}, {"00447700900123", "DE", "+447700900123"}, {"+447700900123", "DE", "+447700900123"},
		{"INFO", "", ""}, {"12345", "", ""}, {"72404", "US", ""}, {"", "", ""}, {"+", "", ""}, {"+49170000000100000", "", ""},
		{"Kim 4917000", "", ""}, {"0", "DE", ""}, {"++491700000001", "", ""}, {"+999000000000", "", ""},
	} {
		got, ok := Number(x.from, x.region)
		if got != x.want || ok != (x.want != "") {
			t.Errorf("%q in %q is %q, want %q", x.from, x.region, got, x.want)
		}
	}
}

// A word or a short code as the sender gets no answer: the two could answer
// each other for ever.
func TestNobodyToAnswer(t *testing.T) {
	c := open(t, options("http://127.0.0.1:9"))
	for _, from := range []string{"INFO", "12345", "Your Bank"} {
		in, ack, err := c.Receive(inbound("m", from, "hello", clock()))
		if err != nil || len(in) != 0 || ack.Status != 200 {
			t.Errorf("from %q: %+v, %v", from, in, err)
		}
	}
}

func TestReports(t *testing.T) {
	c := open(t, options("http://127.0.0.1:9"))
	get := func(fate, why string) ([]channel.Inbound, error) {
		in, _, err := c.Receive(channel.Request{Method: "GET", Path: "/report", Header: http.Header{},
			Query: url.Values{"ref": {"abc"}, "sig": {c.sign("abc")}, "fate": {fate}, "why": {why}}})
		return in, err
	}
	for fate, want := range map[string]channel.Fate{"1": channel.Delivered, "2": channel.Failed, "4": channel.Accepted, "8": channel.Accepted, "16": channel.Failed} {
		in, err := get(fate, "NACK/0x0000000b/Invalid 491700000001 \x00\xff")
		if err != nil || len(in) != 1 || in[0].Receipt.Fate != want || in[0].Receipt.Ref != "abc" {
			t.Errorf("%s: %+v, %v", fate, in, err)
			continue
		}
		if why := in[0].Receipt.Reason; strings.Contains(why, "491700000001") || strings.ContainsRune(why, 0) {
			t.Errorf("the reason %q holds a number or is not printable", why)
		}
	}
	for _, fate := range []string{"", "0", "3", "32", "%d", "-1"} {
		if in, err := get(fate, ""); err != nil || len(in) != 0 {
			t.Errorf("the unknown report %q gives %+v, %v; it is to be taken and forgotten", fate, in, err)
		}
	}
}

func TestOptions(t *testing.T) {
	if _, err := New(options("http://127.0.0.1:9")); err != nil {
		t.Fatal(err)
	}
	for name, spoil := range map[string]func(*Options){
		"sendsms service":       func(o *Options) { o.Gateway = "127.0.0.1:13013" },
		"reaches this program":  func(o *Options) { o.Own = "/v1/channels/sms" },
		"user and password":     func(o *Options) { o.Password = "" },
		"at least 16":           func(o *Options) { o.Secret = channeltest.Canary[:15] },
		"country code of two":   func(o *Options) { o.Region = "Germany" },
		"from 1 to 255 parts":   func(o *Options) { o.Parts = 300 },
		"must be that of its s": func(o *Options) { o.Gateway = "http://shop:" + channeltest.Canary + "@127.0.0.1/" },
	} {
		o := options("http://127.0.0.1:9")
		spoil(&o)
		if _, err := New(o); err == nil || !strings.Contains(err.Error(), name) || strings.Contains(err.Error(), channeltest.Canary[:15]) {
			t.Errorf("%s: %v", name, err)
		}
	}
	c := open(t, options("http://127.0.0.1:9"))
	for _, verb := range []string{"%v", "%+v", "%#v", "%s", "%x"} {
		if s := fmt.Sprintf(verb, *c) + fmt.Sprintf(verb, c); strings.Contains(s, channeltest.Canary) || strings.Contains(s, hex.EncodeToString([]byte(channeltest.Canary))) {
			t.Errorf("%s prints a secret", verb)
		}
	}
}

func TestCompose(t *testing.T) {
	for _, x := range []struct {
		m    channel.Message
		want string
	}{
		{channel.Message{Text: "Slider height at support 2, 90° side?"}, "Slider height at support 2, 90 deg side?"},
		{channel.Message{Text: "Which unit?", Choices: []string{"mm", "inch"}, Numbered: true}, "Which unit?\n1: mm, 2: inch"},
		{channel.Message{Text: "Type unplugged when it is so.", Choices: []string{"unplugged"}}, "Type unplugged when it is so."},
		{channel.Message{Text: "Raise 3 by 1⁄8 turn.", Choices: []string{"done", "3 stuck"}}, "Raise 3 by 1/8 turn.\ndone, 3 stuck"},
		{channel.Message{Text: "Check now, or later?", Choices: []string{"check now", "later"}, Numbered: true}, "Check now, or later?\n1: check now, 2: later"},
		{channel.Message{Text: "Check now, or later? " + strings.Repeat("x", 120), Choices: []string{"check now", "later"}, Numbered: true},
			"Check now, or later? " + strings.Repeat("x", 120)},
		{channel.Message{Text: "See the drawing.", Media: []channel.Media{{URL: "https://saw.example.org/v1/media/t", Alt: "x"}}},
			"See the drawing.\nhttps://saw.example.org/v1/media/t"},
		{channel.Message{Text: "See the drawing.", Media: []channel.Media{{URL: "/v1/media/t", Alt: "x"}}}, "See the drawing."},
	} {
		if got := compose(x.m); got != x.want {
			t.Errorf("got  %q\nwant %q", got, x.want)
		}
	}
}

// Every piece of a long message stays within the parts that the gateway joins,
// the pieces hold all of it, in order, and the first begins with the caution.
func TestPieces(t *testing.T) {
	c := open(t, options("http://127.0.0.1:9"))
	caution := "Unplugged, blade at rest, plug in your pocket. "
	for name, text := range map[string]string{
		"sentences":    caution + strings.Repeat("Support 2 reads 0.12 mm low. ", 100),
		"words":        caution + strings.Repeat("word ", 600),
		"one word":     caution + strings.Repeat("x", 3000),
		"euros":        caution + strings.Repeat("€", 1500),
		"two alphabet": caution + strings.Repeat("опора два ниже. ", 150),
		"emoji":        caution + strings.Repeat("😀", 700),
		"just over":    strings.Repeat("a", 153*6+1),
		"just fits":    strings.Repeat("a", 153*6),
	} {
		list := c.pieces(channel.Message{Text: text, Caution: true})
		var all strings.Builder
		for i, p := range list {
			if n := gsm7.Measure(p, gsm7.Ref8).Parts; n > DefaultParts {
				t.Errorf("%s: piece %d takes %d parts", name, i+1, n)
			}
			if len(list) > 1 {
				mark := fmt.Sprintf(" (%d/%d)", i+1, len(list))
				if !strings.HasSuffix(p, mark) {
					t.Errorf("%s: piece %d does not end in %q", name, i+1, mark)
				}
				p = strings.TrimSuffix(p, mark)
			}
			all.WriteString(p)
		}
		bare := func(s string) string { return strings.Join(strings.Fields(s), "") }
		if bare(all.String()) != bare(text) {
			t.Errorf("%s: the pieces do not hold the whole text", name)
		}
		if strings.HasPrefix(text, caution) && !strings.HasPrefix(list[0], strings.TrimSpace(caution)) {
			t.Errorf("%s: the first piece begins %.50q", name, list[0])
		}
		if name == "just fits" && len(list) != 1 || name == "just over" && len(list) != 2 {
			t.Errorf("%s: %d pieces", name, len(list))
		}
	}
}

// serving returns the address of a gateway that accepts everything.
func serving(t *testing.T, see func(*http.Request)) string {
	s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		see(r)
		w.WriteHeader(http.StatusAccepted)
	}))
	t.Cleanup(s.Close)
	return s.URL
}

// The network is told how long a hands-on text is worth delivering.
func TestValidity(t *testing.T) {
	var got []string
	n := serving(t, func(r *http.Request) { got = append(got, r.Header.Get("X-Kannel-Validity")) })
	c := open(t, options(n))
	for _, left := range []time.Duration{0, 30 * time.Second, 29*time.Minute + 59*time.Second, 2 * time.Hour} {
		m := channel.Message{ID: "m", Text: "x"}
		if left > 0 {
			m.Expires = clock().Add(left)
		}
		if err := c.Send(t.Context(), "+491700000001", m); err != nil {
			t.Fatal(err)
		}
	}
	if want := []string{"", "1", "29", "120"}; fmt.Sprint(got) != fmt.Sprint(want) {
		t.Errorf("validity %q, want %q", got, want)
	}
	for _, to := range []string{"", "491700000001", "+4917", "+49170000000100000", "+49170;x", "kim"} {
		if err := c.Send(t.Context(), to, channel.Message{Text: "x"}); err == nil || err.(*channel.SendError).Temporary {
			t.Errorf("to %q: %v", to, err)
		}
	}
}
