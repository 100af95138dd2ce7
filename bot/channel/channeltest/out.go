package channeltest

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"shimwright/bot/channel"
	"shimwright/bot/testenv"
)

func runOut(t *testing.T, rig Rig) {
	t.Run("accepted", func(t *testing.T) { accepted(t, rig) })
	t.Run("words of the message", func(t *testing.T) { words(t, rig) })
	t.Run("network down", func(t *testing.T) { down(t, rig) })
	t.Run("slow", func(t *testing.T) { slow(t, rig) })
	t.Run("answer lost", func(t *testing.T) { lost(t, rig) })
	t.Run("nonsense answers", func(t *testing.T) { nonsenseAnswers(t, rig) })
	t.Run("redirect", func(t *testing.T) { redirect(t, rig) })
	t.Run("throttled", func(t *testing.T) { throttled(t, rig) })
	t.Run("refused for good", func(t *testing.T) { refusedForGood(t, rig) })
}

// network is a server that keeps what it was sent.
type network struct {
	*httptest.Server
	mu    sync.Mutex
	ids   []string
	texts []string
	calls int
}

// serve starts a server that records each message and answers by h.
func serve(t *testing.T, rig Rig, h http.HandlerFunc) *network {
	n := &network{}
	n.Server = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		body := read(r)
		id, text, ok := rig.Out.Seen(r, body)
		n.mu.Lock()
		n.calls++
		if ok {
			n.ids, n.texts = append(n.ids, id), append(n.texts, text)
		}
		n.mu.Unlock()
		h(w, r)
	}))
	t.Cleanup(n.Close)
	return n
}

func (n *network) seen() (ids, texts []string, calls int) {
	n.mu.Lock()
	defer n.mu.Unlock()
	return append([]string(nil), n.ids...), append([]string(nil), n.texts...), n.calls
}

// attempt sends one message within a bound.
func attempt(t *testing.T, rig Rig, url string, m channel.Message) error {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
	defer cancel()
	err := rig.New(t, url).Send(ctx, rig.To, m)
	clean(t, rig, err)
	return err
}

func accepted(t *testing.T, rig Rig) {
	n := serve(t, rig, rig.Out.Accept)
	for range 3 {
		if err := attempt(t, rig, n.URL, message("m-7", "Slider height at support 2?")); err != nil {
			t.Fatal(err)
		}
	}
	ids, texts, _ := n.seen()
	if len(ids) != 3 || ids[0] == "" || ids[0] != ids[1] || ids[1] != ids[2] {
		t.Errorf("three attempts carried the ids %q; want one and the same", ids)
	}
	if len(texts) == 3 && (texts[0] != texts[1] || texts[1] != texts[2]) {
		t.Errorf("three attempts carried different texts: %q", texts)
	}
	if err := attempt(t, rig, n.URL, message("m-8", "Next?")); err != nil {
		t.Fatal(err)
	}
	if ids, _, _ = n.seen(); ids[3] == ids[0] {
		t.Error("two messages carry the same id")
	}
}

// words: text, choices, the picture's link and its words reach the person, and
// a caution stays first and whole however long the rest is.
func words(t *testing.T, rig Rig) {
	n := serve(t, rig, rig.Out.Accept)
	l := rig.New(t, n.URL).Limits()
	m := message("m-9", "Unplugged, blade at rest. Raise support 2 by 1/8 turn.")
	m.Caution = true
	m.Media = []channel.Media{{URL: "http://shop.example/v1/media/d-1", Type: "image/png", Alt: "the slider from above"}}
	if err := attempt(t, rig, n.URL, m); err != nil {
		t.Fatal(err)
	}
	_, texts, _ := n.seen()
	got := strings.Join(texts, "\n")
	if !strings.HasPrefix(got, "Unplugged, blade at rest.") || !strings.Contains(got, "1/8 turn") {
		t.Errorf("the person gets %q; want the caution first", got)
	}
	if !l.Choices && (!strings.Contains(got, "done") || !strings.Contains(got, "stuck")) {
		t.Errorf("the person gets %q, without the choices", got)
	}
	if !l.Pictures && !strings.Contains(got, m.Media[0].URL) {
		t.Errorf("the person gets %q, without the picture's link", got)
	}
	long := message("m-10", "Unplugged, blade at rest, plug in your pocket. "+strings.Repeat("Support 2 reads 0.12 mm low. ", 60)+"The end.")
	long.Caution = true
	if err := attempt(t, rig, n.URL, long); err != nil {
		t.Fatalf("a long message with a caution: %v", err)
	}
	_, texts, _ = n.seen()
	texts = texts[1:]
	if len(texts) > 1 && !rig.Out.Pieces {
		t.Errorf("a long message became %d", len(texts))
	}
	if !strings.HasPrefix(texts[0], "Unplugged, blade at rest, plug in your pocket.") {
		t.Errorf("a long message does not begin with its caution: %.80q", texts[0])
	}
	if all := strings.Join(texts, " "); strings.Count(all, "0.12 mm low") != 60 || !strings.Contains(all, "The end.") {
		t.Errorf("of a long message %d of 60 sentences arrive, the last: %v",
			strings.Count(all, "0.12 mm low"), strings.Contains(all, "The end."))
	}
}

// wantTemporary checks an attempt that failed and may succeed later.
func wantTemporary(t *testing.T, err error, what string) *channel.SendError {
	t.Helper()
	var e *channel.SendError
	if !errors.As(err, &e) {
		t.Fatalf("%s: %v; want a *channel.SendError", what, err)
	}
	if !e.Temporary {
		t.Errorf("%s counts as permanent (%v); another attempt may succeed", what, err)
	}
	return e
}

func down(t *testing.T, rig Rig) {
	url := fmt.Sprintf("http://127.0.0.1:%d", testenv.FreePorts(t, 1)[0])
	e := wantTemporary(t, attempt(t, rig, url, message("m-1", "?")), "a closed port")
	if e.Unsure {
		t.Error("nothing was sent to a closed port, yet the error is unsure")
	}
}

func slow(t *testing.T, rig Rig) {
	release := make(chan struct{})
	n := serve(t, rig, func(w http.ResponseWriter, r *http.Request) {
		select {
		case <-release:
		case <-r.Context().Done():
		}
	})
	defer close(release)
	c := rig.New(t, n.URL)
	ctx, cancel := context.WithTimeout(t.Context(), 200*time.Millisecond)
	defer cancel()
	done := make(chan error, 1)
	go func() { done <- c.Send(ctx, rig.To, message("m-1", "?")) }()
	select {
	case err := <-done:
		clean(t, rig, err)
		if e := wantTemporary(t, err, "a network that does not answer"); !e.Unsure {
			t.Error("the message was written and no answer came: the error must be unsure")
		}
	case <-time.After(20 * time.Second):
		t.Fatal("Send does not return when its context ends")
	}
}

// lost: the network took the message and the connection broke before the
// answer. The next attempt carries the same id and text.
func lost(t *testing.T, rig Rig) {
	var first atomic.Bool
	n := serve(t, rig, func(w http.ResponseWriter, r *http.Request) {
		if first.CompareAndSwap(false, true) {
			hangUp(w)
			return
		}
		rig.Out.Accept(w, r)
	})
	m := message("m-1", "Slider height at support 2?")
	if e := wantTemporary(t, attempt(t, rig, n.URL, m), "a lost answer"); !e.Unsure {
		t.Error("the answer was lost, yet the error is sure")
	}
	if err := attempt(t, rig, n.URL, m); err != nil {
		t.Fatal(err)
	}
	ids, texts, _ := n.seen()
	if len(ids) != 2 || ids[0] != ids[1] || texts[0] != texts[1] {
		t.Errorf("the two attempts carried %q %q", ids, texts)
	}
}

func hangUp(w http.ResponseWriter) {
	if h, ok := w.(http.Hijacker); ok {
		if conn, _, err := h.Hijack(); err == nil {
			_ = conn.Close()
		}
	}
}

func nonsenseAnswers(t *testing.T, rig Rig) {
	for name, h := range map[string]http.HandlerFunc{
		"500":         func(w http.ResponseWriter, r *http.Request) { http.Error(w, "boom "+rig.To, 500) },
		"502 in HTML": func(w http.ResponseWriter, r *http.Request) { w.WriteHeader(502); fmt.Fprint(w, "<html>") },
		"endless": func(w http.ResponseWriter, r *http.Request) {
			for {
				if _, err := w.Write(make([]byte, 32<<10)); err != nil {
					return
				}
			}
		},
		"half an answer": func(w http.ResponseWriter, r *http.Request) {
			w.Header().Set("Content-Length", "1000")
			_, _ = w.Write([]byte("0: Acc"))
		},
		"not HTTP": func(w http.ResponseWriter, r *http.Request) {
			if conn, _, err := w.(http.Hijacker).Hijack(); err == nil {
				_, _ = conn.Write([]byte("\x00\x01 hello\r\n\r\n"))
				_ = conn.Close()
			}
		},
	} {
		t.Run(name, func(t *testing.T) {
			n := serve(t, rig, h)
			wantTemporary(t, attempt(t, rig, n.URL, message("m-1", "?")), name)
			if _, _, calls := n.seen(); calls != 1 {
				t.Errorf("one attempt called the network %d times", calls)
			}
		})
	}
}

func redirect(t *testing.T, rig Rig) {
	other := serve(t, rig, rig.Out.Accept)
	for _, status := range []int{301, 302, 307, 308} {
		n := serve(t, rig, func(w http.ResponseWriter, r *http.Request) {
			http.Redirect(w, r, other.URL+"/elsewhere", status)
		})
		if attempt(t, rig, n.URL, message("m-1", "?")) == nil {
			t.Errorf("a redirect with %d counts as sent", status)
		}
	}
	if _, _, calls := other.seen(); calls != 0 {
		t.Errorf("%d redirects were followed", calls)
	}
}

func throttled(t *testing.T, rig Rig) {
	n := serve(t, rig, rig.Out.Throttle)
	e := wantTemporary(t, attempt(t, rig, n.URL, message("m-1", "?")), "being asked for a pause")
	if e.After != 7*time.Second {
		t.Errorf("asked for a pause of 7 s, understood %v", e.After)
	}
}

func refusedForGood(t *testing.T, rig Rig) {
	if rig.Out.Refuse == nil {
		return
	}
	n := serve(t, rig, rig.Out.Refuse)
	var e *channel.SendError
	if err := attempt(t, rig, n.URL, message("m-1", "?")); !errors.As(err, &e) || e.Temporary {
		t.Errorf("a refusal for good gave %v; want a permanent *channel.SendError", err)
	}
}
