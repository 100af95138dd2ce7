package matrix

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"

	"shimwright/bot/channel"
)

// home is a homeserver that does as it is told, and remembers.
type home struct {
	*httptest.Server
	mu     sync.Mutex
	calls  []string
	bodies []string
}

func newHome(t *testing.T, answer func(n int, r *http.Request) (int, string)) *home {
	h := &home{}
	h.Server = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		var b strings.Builder
		_, _ = fmt.Fprint(&b, r.Method, " ", r.URL.Path)
		body := make([]byte, max(0, r.ContentLength))
		_, _ = r.Body.Read(body)
		h.mu.Lock()
		h.calls, h.bodies = append(h.calls, b.String()), append(h.bodies, string(body))
		n := len(h.calls)
		h.mu.Unlock()
		status, say := answer(n, r)
		w.WriteHeader(status)
		fmt.Fprint(w, say)
	}))
	t.Cleanup(h.Close)
	return h
}

// Where we are only invited, answering joins first; where we may not, the
// message is given up.
func TestJoinsByAnswering(t *testing.T) {
	joined := false
	h := newHome(t, func(n int, r *http.Request) (int, string) {
		switch {
		case strings.Contains(r.URL.Path, "/join/"):
			joined = true
			return 200, `{"room_id":"!bench:shop.test"}`
		case !joined:
			return 403, `{"errcode":"M_FORBIDDEN","error":"not in the room"}`
		}
		return 200, `{"event_id":"$e"}`
	})
	c := open(t, options(h.URL))
	for i := range 2 {
		if err := c.Send(t.Context(), room, channel.Message{ID: fmt.Sprint("m-", i), Text: "Hello."}); err != nil {
			t.Fatal(err)
		}
	}
	if len(h.calls) != 4 || !strings.Contains(h.calls[1], "/join/"+room) || h.calls[0] != h.calls[2] {
		t.Errorf("called %q", h.calls)
	}
}

func TestWhatEndsAMessage(t *testing.T) {
	for _, x := range []struct {
		status    int
		code      string
		temporary bool
	}{
		{403, "M_FORBIDDEN", false}, {404, "M_NOT_FOUND", false}, {413, "M_TOO_LARGE", false},
		{401, "M_UNKNOWN_TOKEN", true}, {404, "", true}, {500, "M_UNKNOWN", true}, {429, "M_LIMIT_EXCEEDED", true}, {403, "M_USER_DEACTIVATED", true},
	} {
		h := newHome(t, func(int, *http.Request) (int, string) { return x.status, fmt.Sprintf(`{"errcode":%q}`, x.code) })
		err := open(t, options(h.URL)).Send(t.Context(), room, channel.Message{ID: "m", Text: "x"})
		var e *channel.SendError
		if !errors.As(err, &e) || e.Temporary != x.temporary || !strings.Contains(err.Error(), x.code) {
			t.Errorf("%d %s: %v, temporary %v", x.status, x.code, err, e != nil && e.Temporary)
		}
	}
	err := open(t, options("http://127.0.0.1:9")).Send(t.Context(), kim, channel.Message{ID: "m"})
	if e, ok := err.(*channel.SendError); !ok || e.Temporary {
		t.Errorf("to a person instead of a room: %v", err)
	}
}

// The text comes first, the picture after it as an event with words and size;
// an attempt that failed in between brings nothing twice.
func TestPictures(t *testing.T) {
	// The smallest PNG: one pixel.
	pixel := []byte("\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR\x00\x00\x00\x01\x00\x00\x00\x01\x08\x06\x00\x00\x00\x1f\x15\xc4\x89" +
		"\x00\x00\x00\rIDATx\x9cc\xf8\xff\xff?\x00\x05\xfe\x02\xfe\xa75\x81\x84\x00\x00\x00\x00IEND\xaeB`\x82")
	fail := true
	h := newHome(t, func(n int, r *http.Request) (int, string) {
		if strings.HasSuffix(r.URL.Path, "/upload") {
			if fail {
				fail = false
				return 502, "<html>"
			}
			return 200, `{"content_uri":"mxc://shop.test/abc"}`
		}
		return 200, `{"event_id":"$e"}`
	})
	o := options(h.URL)
	o.Picture = func(context.Context, channel.Media) ([]byte, error) { return pixel, nil }
	c := open(t, o)
	m := channel.Message{ID: "m", Text: "Unplugged.\nRaise 2 & 3 <now>.", Caution: true,
		Media: []channel.Media{{URL: "/picture/x", Type: "image/png", Alt: "raise support 2"}}}
	if err := c.Send(t.Context(), room, m); err == nil {
		t.Fatal("a failed upload counts as sent")
	}
	if err := c.Send(t.Context(), room, m); err != nil {
		t.Fatal(err)
	}
	if len(h.calls) != 5 || h.calls[0] != h.calls[2] || h.calls[0] == h.calls[4] || h.bodies[0] != h.bodies[2] {
		t.Fatalf("called %q", h.calls)
	}
	var say text
	if err := json.Unmarshal([]byte(h.bodies[2]), &say); err != nil || say.Body != m.Text ||
		say.Formatted != "<strong>Unplugged.</strong><br>Raise 2 &amp; 3 &lt;now&gt;." {
		t.Errorf("said %+v, %v", say, err)
	}
	var show struct {
		Msgtype, Body, URL string
		Info               struct {
			W, H, Size int
			Mimetype   string
		}
	}
	if err := json.Unmarshal([]byte(h.bodies[4]), &show); err != nil || show.Msgtype != "m.image" || show.Body != "raise support 2" ||
		show.URL != "mxc://shop.test/abc" || show.Info.W != 1 || show.Info.H != 1 || show.Info.Size != len(pixel) {
		t.Errorf("showed %s, %v", h.bodies[4], err)
	}
	// Without the picture's bytes its link is said.
	o.Picture = func(context.Context, channel.Media) ([]byte, error) { return nil, errors.New("gone") }
	m.Media[0].URL = "https://saw.example.org/picture/x"
	said, pictures := open(t, o).words(t.Context(), m)
	if len(pictures) != 0 || !strings.HasSuffix(said.Body, m.Media[0].URL) {
		t.Errorf("said %+v", said)
	}
}

func TestChoices(t *testing.T) {
	c := open(t, options("http://127.0.0.1:9"))
	for _, x := range []struct {
		m    channel.Message
		want string
	}{
		{channel.Message{Text: "Which unit?", Choices: []string{"mm", "inch"}, Numbered: true}, "Which unit?\n1: mm\n2: inch"},
		{channel.Message{Text: "Say unplugged.", Choices: []string{"unplugged"}}, "Say unplugged."},
		{channel.Message{Text: "Raise 3.", Choices: []string{"done", "3 stuck"}}, "Raise 3.\ndone\n3 stuck"},
	} {
		if got, _ := c.words(t.Context(), x.m); got.Body != x.want {
			t.Errorf("%q, want %q", got.Body, x.want)
		}
	}
}
