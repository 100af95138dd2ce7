package sms_test

import (
	"fmt"
	"io"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"shimwright/bot/channel"
	"shimwright/bot/channel/sms"
	"shimwright/bot/channel/sms/gsm7"
	"shimwright/bot/channel/sms/kanneltest"
)

// send makes one attempt and fails the test when it fails.
func (u *us) send(m channel.Message) {
	u.t.Helper()
	if err := u.channel.Send(u.t.Context(), "+"+kim, m); err != nil {
		u.t.Fatal(err)
	}
}

func TestKannelTextOut(t *testing.T) {
	t.Parallel()
	u, g := gateway(t, kanneltest.Config{}, nil)
	h := g.Handset()
	for text, want := range map[string]string{
		"Slider height at support 2, blade side?": "Slider height at support 2, blade side?",
		"90° ± 0,01 × 8 µm – “so” … ½":            "90 deg +/- 0,01 x 8 um - \"so\" ... 1/2",
		"äöüß ñ é ¿ £ € [~] {^} \\ |":             "äöüß ñ é ¿ £ € [~] {^} \\ |",
		"+1 & 2 = 3 %41 100% #4;":                 "+1 & 2 = 3 %41 100% #4;",
		"Станок Ивана: 90°":                       "Станок Ивана: 90 deg",
		"two\nlines":                              "two\nlines",
	} {
		u.send(channel.Message{ID: "m", Text: text, Ref: "r"})
		if got := h.Next(); got.Body != want || got.To != "+"+kim || got.From != kanneltest.Number {
			t.Errorf("sent %q, the handset got %q from %s", text, got.Body, got.From)
		}
	}
}

// The parts that we count are those that the gateway makes.
func TestKannelParts(t *testing.T) {
	t.Parallel()
	u, g := gateway(t, kanneltest.Config{}, nil)
	h := g.Handset()
	r := strings.Repeat
	for _, text := range []string{r("a", 160), r("a", 161), r("a", 306), r("a", 307), r("a", 459), r("a", 918), r("€", 80), r("a", 152) + "€" + r("a", 100),
		r("ж", 70), r("ж", 71), r("ж", 134), r("ж", 135)} {
		want := gsm7.Measure(text, gsm7.Ref8).Parts
		u.send(channel.Message{ID: "m", Text: text, Ref: "r"})
		var got strings.Builder
		for range want {
			got.WriteString(h.Next().Body)
		}
		if extra := h.Quiet(200 * time.Millisecond); len(extra) != 0 || got.String() != text {
			t.Errorf("%.4s… of %d characters: counted %d parts, %d came besides; whole: %v",
				text, len([]rune(text)), want, len(extra), got.String() == text)
		}
	}
}

// More parts than max-messages are cut silently, although the call is answered
// with 202; a longer text goes in pieces, and all of it arrives.
func TestKannelCutsSilently(t *testing.T) {
	t.Parallel()
	u, g := gateway(t, kanneltest.Config{Parts: 2}, nil)
	h := g.Handset()
	text := "Unplugged, blade at rest. " + strings.Repeat("Support 2 reads 0.12 mm low. ", 40) + "The end."
	status, _ := post(t, g, text, nil)
	cut := ""
	for _, m := range h.Quiet(time.Second) {
		cut += m.Body
	}
	if status != 202 || len(cut) >= len(text) {
		t.Errorf("a text of %d characters is answered with %d, and %d arrive: the gateway does not cut", len(text), status, len(cut))
	}
	u.send(channel.Message{ID: "m", Text: text, Caution: true, Ref: "r"})
	whole := ""
	for _, m := range h.Quiet(2 * time.Second) {
		whole += m.Body
	}
	if strings.Count(whole, "0.12 mm low") != 40 || !strings.Contains(whole, "The end.") || !strings.HasPrefix(whole, "Unplugged, blade at rest.") {
		t.Errorf("%d of 40 sentences arrive", strings.Count(whole, "0.12 mm low"))
	}
}

// post calls sendsms directly.
func post(t *testing.T, g *kanneltest.Gateway, body string, change func(*http.Request)) (int, string) {
	t.Helper()
	req, err := http.NewRequest("POST", g.SendSMS, strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	for k, v := range map[string]string{"Content-Type": "text/plain; charset=utf-8", "X-Kannel-Username": kanneltest.User,
		"X-Kannel-Password": kanneltest.Password, "X-Kannel-To": "+" + kim} {
		req.Header.Set(k, v)
	}
	if change != nil {
		change(req)
	}
	res, err := http.DefaultClient.Do(req)
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	b, _ := io.ReadAll(res.Body)
	return res.StatusCode, string(b)
}

// What the gateway refuses, and what it spoils, that the adapter avoids.
func TestKannelSendSMS(t *testing.T) {
	t.Parallel()
	u, g := gateway(t, kanneltest.Config{}, nil)
	h := g.Handset()
	form := url.Values{"username": {kanneltest.User}, "password": {kanneltest.Password}, "to": {"+" + kim}, "text": {"x"}}.Encode()
	if status, _ := post(t, g, form, func(r *http.Request) {
		r.Header = http.Header{"Content-Type": {"application/x-www-form-urlencoded"}}
	}); status != 400 {
		t.Errorf("a form is answered with %d, want 400", status)
	}
	if status, _ := post(t, g, "", func(r *http.Request) { // by GET, which puts the password into logs
		r.Method, r.Body, r.ContentLength, r.URL.RawQuery = "GET", nil, 0, form
		r.Header = http.Header{}
	}); status != 202 || h.Next().Body != "x" {
		t.Errorf("a GET is answered with %d", status)
	}
	if status, body := post(t, g, "x", nil); status != 202 || strings.Contains(body, "-") {
		t.Errorf("sendsms answers %d %q; want 202 and no id in it", status, body)
	}
	h.Next()
	if status, _ := post(t, g, "90° µ – λ", func(r *http.Request) { r.Header.Set("X-Kannel-Coding", "0") }); status != 202 {
		t.Errorf("answered with %d", status)
	}
	if got := h.Next().Body; !strings.Contains(got, "?") || strings.Contains(got, "λ") {
		t.Errorf("without 16-bit coding %q arrives; want ? for what the alphabet lacks", got)
	}
	wrong, err := sms.New(sms.Options{Gateway: g.SendSMS, User: kanneltest.User, Password: "wrong", Own: u.URL, Secret: secret, Now: time.Now})
	if err != nil {
		t.Fatal(err)
	}
	err = wrong.Send(t.Context(), "+"+kim, channel.Message{Text: "x"})
	if e, ok := err.(*channel.SendError); !ok || !e.Temporary || strings.Contains(err.Error(), "wrong") {
		t.Errorf("with a wrong password: %v; want a temporary error, an operator's to cure", err)
	}
}

// Two reports come for one message, in either order, both with our reference.
func TestKannelReports(t *testing.T) {
	t.Parallel()
	u, g := gateway(t, kanneltest.Config{}, nil)
	g.Handset()
	const n = 20
	for i := range n {
		u.send(channel.Message{ID: "m", Text: "x", Ref: fmt.Sprintf("ref-%d_A", i)})
	}
	u.wait("every report", func() bool { return len(u.fates) == 2*n })
	first := map[channel.Fate]int{}
	seen := map[string][]channel.Fate{}
	for _, r := range u.fates {
		if len(seen[r.Ref]) == 0 {
			first[r.Fate]++
		}
		seen[r.Ref] = append(seen[r.Ref], r.Fate)
	}
	for i := range n {
		fates := seen[fmt.Sprintf("ref-%d_A", i)]
		slices.Sort(fates)
		if !slices.Equal(fates, []channel.Fate{channel.Accepted, channel.Delivered}) {
			t.Errorf("message %d has the reports %q", i, fates)
		}
	}
	t.Logf("reported first: %v", first)
	if u.raw != 0 {
		t.Errorf("%d reports were refused", u.raw)
	}
}

// Five hundred texts in, five hundred out, none lost, none doubled.
func TestKannelManyRoundTrips(t *testing.T) {
	if testing.Short() {
		t.Skip("left out: a long test, under -short")
	}
	const n = 500
	u, g := gateway(t, kanneltest.Config{}, nil)
	h := g.Handset()
	for i := range n {
		h.Send(kim, fmt.Sprint("in ", i))
	}
	u.wait("every text", func() bool { return len(u.texts) == n })
	var wg sync.WaitGroup
	for lane := range 8 {
		wg.Go(func() {
			for i := lane; i < n; i += 8 {
				if err := u.channel.Send(t.Context(), "+"+kim, channel.Message{ID: "m", Text: fmt.Sprint("out ", i), Ref: "r"}); err != nil {
					t.Error(err)
				}
			}
		})
	}
	wg.Wait()
	in, out := texts(u.texts), make([]string, n)
	for i := range out {
		out[i] = h.Next().Body
	}
	slices.Sort(in)
	slices.Sort(out)
	if len(slices.Compact(in)) != n || len(slices.Compact(out)) != n {
		t.Errorf("%d different texts in, %d out", len(slices.Compact(in)), len(slices.Compact(out)))
	}
}
