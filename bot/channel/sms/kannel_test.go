package sms_test

import (
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"shimwright/bot/channel"
	"shimwright/bot/channel/sms"
	"shimwright/bot/channel/sms/kanneltest"
)

// These tests hold what a real gateway does under fault, and that the adapter
// lives with it. Each runs its own bearerbox and smsbox.

const (
	kim    = "491700000001"
	secret = "0123456789abcdef"
)

// us is our side of the gateway: an HTTP server in front of the adapter.
type us struct {
	*httptest.Server
	t       *testing.T
	channel *sms.Channel
	answer  func(n int, in []channel.Inbound) int // status of the nth call that brings a text; nil: 200

	mu    sync.Mutex
	texts []channel.Inbound // of every call, repeated ones too
	fates []channel.Receipt
	raw   int // calls that the adapter refused
	news  chan struct{}
}

// gateway starts our side and a gateway that calls it.
func gateway(t *testing.T, c kanneltest.Config, answer func(n int, in []channel.Inbound) int) (*us, *kanneltest.Gateway) {
	t.Helper()
	u := &us{t: t, answer: answer, news: make(chan struct{}, 1<<16)}
	u.Server = httptest.NewServer(http.HandlerFunc(u.serve))
	t.Cleanup(u.Close)
	c.Inbound = u.URL + "/v1/channels/sms/in?key=" + secret
	g := kanneltest.Start(t, c)
	ch, err := sms.New(sms.Options{Gateway: g.SendSMS, User: kanneltest.User, Password: kanneltest.Password,
		Own: u.URL + "/v1/channels/sms", Secret: secret, Parts: c.Parts, Now: time.Now})
	if err != nil {
		t.Fatal(err)
	}
	u.mu.Lock()
	u.channel = ch
	u.mu.Unlock()
	return u, g
}

func (u *us) serve(w http.ResponseWriter, r *http.Request) {
	body, _ := io.ReadAll(r.Body)
	u.mu.Lock()
	ch := u.channel
	u.mu.Unlock()
	in, ack, err := ch.Receive(channel.Request{Method: r.Method, Path: strings.TrimPrefix(r.URL.Path, "/v1/channels/sms"),
		Query: r.URL.Query(), Header: r.Header, Body: body, At: time.Now()})
	if err != nil {
		u.mu.Lock()
		u.raw++
		u.mu.Unlock()
		http.Error(w, err.Error(), err.(*channel.RequestError).Status)
		return
	}
	status, n := ack.Status, 0
	u.mu.Lock()
	for _, m := range in {
		if m.Kind == channel.KindReceipt {
			u.fates = append(u.fates, m.Receipt)
		} else {
			u.texts = append(u.texts, m)
			n = len(u.texts)
		}
	}
	u.mu.Unlock()
	if n > 0 && u.answer != nil {
		status = u.answer(n, in)
	}
	u.news <- struct{}{}
	w.WriteHeader(status)
}

// wait waits until a condition on what came holds.
func (u *us) wait(what string, ok func() bool) {
	u.t.Helper()
	end := time.After(30 * time.Second)
	for {
		u.mu.Lock()
		done := ok()
		u.mu.Unlock()
		if done {
			return
		}
		select {
		case <-u.news:
		case <-end:
			u.t.Fatalf("%s did not come", what)
		}
	}
}

// settled returns the calls when no further one has come for a while.
func (u *us) settled(quiet time.Duration) []channel.Inbound {
	for {
		select {
		case <-u.news:
		case <-time.After(quiet):
			u.mu.Lock()
			defer u.mu.Unlock()
			return slices.Clone(u.texts)
		}
	}
}

func texts(list []channel.Inbound) (s []string) {
	for _, m := range list {
		s = append(s, m.Text)
	}
	return s
}

func TestKannelTextIn(t *testing.T) {
	t.Parallel()
	u, g := gateway(t, kanneltest.Config{}, nil)
	h := g.Handset()
	long := strings.Repeat("0,12 mm zu tief. ", 8)
	h.Send(kim, "3 thou low")
	u.wait("the text", func() bool { return len(u.texts) == 1 })
	h.Send(kim, "äöüß ñ é £ € [~] +1&2=3 %41")
	u.wait("the text", func() bool { return len(u.texts) == 2 })
	h.SendUCS2(kim, "пр 👍 90°")
	u.wait("the text", func() bool { return len(u.texts) == 3 })
	h.SendData(kim, []byte{1, 2, 3, 0xff})
	u.wait("the data", func() bool { return len(u.texts) == 4 })
	h.Send(kim, long)
	u.wait("the text", func() bool { return len(u.texts) == 5 })
	h.Send("INFO", "win a saw")
	h.Send(kim, "")
	u.settled(500 * time.Millisecond)
	got := u.texts
	want := []string{"3 thou low", "äöüß ñ é £ € [~] +1&2=3 %41", "пр 👍 90°", "", strings.TrimSpace(long)}
	if s := texts(got[:5]); !slices.Equal(append(s[:4:4], strings.TrimSpace(s[4])), want) {
		t.Errorf("received %q\nwant     %q", s, want)
	}
	for i, m := range got {
		if m.Sender != "+"+kim || m.ID == "" || m.SentAt.IsZero() || time.Since(m.SentAt) > time.Minute {
			t.Errorf("text %d: %+v", i+1, m)
		}
	}
	if got[3].Kind != channel.KindOther {
		t.Errorf("8-bit data is received as %q", got[3].Kind)
	}
	if u.raw != 0 {
		t.Errorf("%d calls were refused", u.raw)
	}
}

// A long message comes in parts and is brought joined, in one call.
func TestKannelJoinsParts(t *testing.T) {
	t.Parallel()
	u, g := gateway(t, kanneltest.Config{}, nil)
	h := g.Handset()
	h.SendPart(kim, 42, 2, 2, "support 2 0.12 low")
	h.SendPart(kim, 42, 2, 1, "support 1 0.05 high, ")
	got := u.settled(time.Second)
	if len(got) != 1 || got[0].Text != "support 1 0.05 high, support 2 0.12 low" {
		t.Errorf("received %q, want one text, joined in order", texts(got))
	}
}

// Only 200 and 202 count as taken, and what does not is brought again with the
// same id, while retries are left.
func TestKannelRepeats(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ status, retries, calls int }{
		{200, 1, 1}, {202, 1, 1}, {204, 1, 2}, {201, 1, 2}, {404, 1, 2}, {500, 2, 3}, {503, 1, 2},
		{500, 0, 1}, // without retries one failure loses the message
	} {
		t.Run(fmt.Sprintf("%d with %d retries", c.status, c.retries), func(t *testing.T) {
			t.Parallel()
			u, g := gateway(t, kanneltest.Config{Retries: c.retries}, func(int, []channel.Inbound) int { return c.status })
			g.Handset().Send(kim, "done")
			u.wait("the text", func() bool { return len(u.texts) >= c.calls })
			got := u.settled(2500 * time.Millisecond)
			if len(got) != c.calls {
				t.Errorf("%d calls, want %d", len(got), c.calls)
			}
			for _, m := range got {
				if m.ID != got[0].ID || m.Text != "done" {
					t.Errorf("a repeated call brings %q %q, the first one %q", m.ID, m.Text, got[0].ID)
				}
			}
		})
	}
}

// A 500 from us and the gateway's repeat: the message arrives after all.
func TestKannelRepeatSucceeds(t *testing.T) {
	t.Parallel()
	u, g := gateway(t, kanneltest.Config{Retries: 3}, func(n int, _ []channel.Inbound) int {
		if n < 3 {
			return 500
		}
		return 200
	})
	g.Handset().Send(kim, "done")
	u.wait("the third call", func() bool { return len(u.texts) == 3 })
	if got := u.settled(2 * time.Second); len(got) != 3 {
		t.Errorf("%d calls, want 3", len(got))
	}
}

// While nobody listens at our address, as when the service is started anew, the
// gateway tries again, and the text arrives when somebody does.
func TestKannelBringsAgainWhatWasRefused(t *testing.T) {
	t.Parallel()
	u, g := gateway(t, kanneltest.Config{Retries: 20}, nil)
	at := u.Listener.Addr().String()
	u.Close()
	h := g.Handset()
	h.Send(kim, "done")
	time.Sleep(1500 * time.Millisecond)
	l, err := net.Listen("tcp", at)
	if err != nil {
		t.Skipf("left out: the port is taken meanwhile: %v", err)
	}
	back := httptest.NewUnstartedServer(http.HandlerFunc(u.serve))
	_ = back.Listener.Close()
	back.Listener = l
	back.Start()
	t.Cleanup(back.Close)
	u.wait("the text", func() bool { return len(u.texts) == 1 })
	if got := u.settled(2 * time.Second); len(got) != 1 || got[0].Text != "done" {
		t.Errorf("received %q", texts(got))
	}
}

// What smsbox is still retrying when it dies is lost: nothing on our side can
// bring it back, so the guide says so.
func TestKannelLosesWhatItRetriesWhenKilled(t *testing.T) {
	t.Parallel()
	u, g := gateway(t, kanneltest.Config{Retries: 20, Pause: 3 * time.Second}, func(n int, _ []channel.Inbound) int {
		return 500
	})
	h := g.Handset()
	h.Send(kim, "lost")
	u.wait("the first call", func() bool { return len(u.texts) == 1 })
	g.KillSMSBox()
	g.StartSMSBox()
	if got := u.settled(4 * time.Second); len(got) != 1 {
		t.Errorf("the text was brought %d times: the gateway keeps it after all, and the guide can say so", len(got))
	}
	u.answer = nil
	h.Send(kim, "found")
	u.wait("the next text", func() bool { return slices.Contains(texts(u.texts), "found") })
}

// A handler slower than the gateway's patience is called again while it still
// runs: the calls overlap and carry the same id.
func TestKannelCallsASlowHandlerAgain(t *testing.T) {
	t.Parallel()
	var mu sync.Mutex
	under, most := 0, 0
	u, g := gateway(t, kanneltest.Config{Retries: 3, Timeout: time.Second}, func(int, []channel.Inbound) int {
		mu.Lock()
		under++
		most = max(most, under)
		mu.Unlock()
		time.Sleep(3500 * time.Millisecond)
		mu.Lock()
		under--
		mu.Unlock()
		return 200
	})
	g.Handset().Send(kim, "done")
	u.wait("a second call", func() bool { return len(u.texts) >= 2 })
	got := u.settled(5 * time.Second)
	mu.Lock()
	defer mu.Unlock()
	if most < 2 {
		t.Errorf("%d calls, %d at once; want them to overlap", len(got), most)
	}
	for _, m := range got {
		if m.ID != got[0].ID {
			t.Errorf("an overlapping call brings another id: %q and %q", m.ID, got[0].ID)
		}
	}
}

// The gateway calls for several texts at once, so two that were sent quickly
// may arrive in the other order. With max-pending-requests = 1 it brings them
// one by one, in order.
func TestKannelOrder(t *testing.T) {
	t.Parallel()
	const n = 30
	for _, one := range []bool{false, true} {
		t.Run(fmt.Sprintf("one by one %v", one), func(t *testing.T) {
			var mu sync.Mutex
			under, most := 0, 0
			u, g := gateway(t, kanneltest.Config{OneByOne: one}, func(n int, in []channel.Inbound) int {
				mu.Lock()
				under++
				most = max(most, under)
				mu.Unlock()
				time.Sleep(time.Duration(n%3) * 10 * time.Millisecond)
				mu.Lock()
				under--
				mu.Unlock()
				return 200
			})
			h := g.Handset()
			var want []string
			for i := range n {
				want = append(want, fmt.Sprint(i+1))
				h.Send(kim, want[i])
			}
			u.wait("every text", func() bool { return len(u.texts) == n })
			got := texts(u.settled(300 * time.Millisecond))
			switch ordered := slices.Equal(got, want); {
			case one && (!ordered || most != 1):
				t.Errorf("%d at once, order %q", most, got)
			case !one && most < 2:
				t.Errorf("the gateway called one by one without being told to")
			case !one:
				t.Logf("up to %d calls at once; in order: %v", most, ordered)
			}
			slices.Sort(got)
			slices.Sort(want)
			if !slices.Equal(got, want) {
				t.Errorf("%d different texts, want %d", len(slices.Compact(got)), n)
			}
		})
	}
}

// Whoever does not know the secret is refused, at the very address.
func TestKannelStranger(t *testing.T) {
	t.Parallel()
	u, _ := gateway(t, kanneltest.Config{}, nil)
	for _, q := range []string{"", "?key=", "?key=" + strings.Repeat("0", 16), "?key=" + secret[:15]} {
		res, err := http.Get(u.URL + "/v1/channels/sms/in" + q)
		if err != nil {
			t.Fatal(err)
		}
		_ = res.Body.Close()
		if res.StatusCode != 401 {
			t.Errorf("%q is answered with %d", q, res.StatusCode)
		}
	}
}
