// Package channeltest is the conformance suite of package channel. An adapter's
// test describes its network in a Rig and calls Run; everything that a network
// was seen to do to a service is then done to the adapter.
package channeltest

import (
	"context"
	"io"
	"net/http"
	"strings"
	"testing"
	"time"

	"shimwright/bot/channel"
)

// Canary must be part of every secret that the rig configures: it is searched
// for in every error.
const Canary = "Q2FuYXJ5Q2FuYXJ5"

// Rig describes an adapter and its network to the suite.
type Rig struct {
	// New returns the adapter, configured to call a network at url
	// (http://127.0.0.1:port). In makes requests that this adapter accepts.
	New func(t testing.TB, url string) channel.Channel
	// To is an address on the network.
	To string
	// In is how the network brings messages; nil when nothing comes in.
	In *In
	// Out is how the network takes messages; nil when Send calls nobody.
	Out *Out
}

// In makes the raw requests of a network.
type In struct {
	// Text is a request that carries a text from a person. The suite calls
	// it with a different id for each message.
	Text func(id, text string, at time.Time) channel.Request
	// WantText is what Receive makes of a text, where the network cannot
	// carry it as it is; nil: the same.
	WantText func(text string) string
	// Batch is one request with several texts; nil where the network sends
	// one a request.
	Batch func(ids, texts []string, at time.Time) channel.Request
	// Of makes requests of the other kinds that the network knows.
	Of map[channel.Kind]func(id string, at time.Time) channel.Request
	// Forge spoils a good request; each must be refused with 401, 403 or 404.
	Forge map[string]func(channel.Request) channel.Request
	// Raw is a request that passes verification and carries these bytes as
	// its body, whatever they are.
	Raw func(body []byte, at time.Time) channel.Request
	// MaxText is the longest text, in bytes, that the network brings; 0: 10,000.
	MaxText int
}

// Out reads what an adapter sends.
type Out struct {
	// Accept answers as the network does when it has accepted a message.
	Accept http.HandlerFunc
	// Seen reads from a request what the person gets, and the id by which
	// the network (or the receiver) can tell a repetition. ok is false for a
	// request that is not a message (a join, an upload).
	Seen func(r *http.Request, body []byte) (id, text string, ok bool)
	// Refuse answers as the network does to a message that it will never
	// take; nil where it never does.
	Refuse http.HandlerFunc
	// Throttle answers as the network does when it wants a pause of 7 s.
	Throttle http.HandlerFunc
	// Pieces is set where a long message may become several requests.
	Pieces bool
}

// Run holds the adapter to the interface.
func Run(t *testing.T, rig Rig) {
	t.Run("declares itself", func(t *testing.T) { declares(t, rig) })
	if rig.In != nil {
		runIn(t, rig)
	} else {
		t.Run("refuses what it cannot receive", func(t *testing.T) { refusesAll(t, rig) })
	}
	if rig.Out != nil {
		runOut(t, rig)
	} else {
		t.Run("sends without a network", func(t *testing.T) { sendsAlone(t, rig) })
	}
}

func declares(t *testing.T, rig Rig) {
	c := rig.New(t, "http://127.0.0.1:9")
	name := c.Name()
	if name == "" || strings.Trim(name, "abcdefghijklmnopqrstuvwxyz0123456789-") != "" {
		t.Errorf("the name %q is not short, lower case and plain", name)
	}
	if l := c.Limits(); l != c.Limits() {
		t.Errorf("the limits change between two calls: %+v", l)
	} else if l.Segment > 0 && l.Characters > 0 && l.Characters < l.Segment {
		t.Errorf("a message of %d characters is shorter than its part of %d", l.Characters, l.Segment)
	}
}

func refusesAll(t *testing.T, rig Rig) {
	c := rig.New(t, "http://127.0.0.1:9")
	for _, r := range []channel.Request{{}, {Method: "POST", Path: "/", Body: []byte("{}")}} {
		in, _, err := c.Receive(r)
		if _, ok := err.(*channel.RequestError); !ok || len(in) != 0 {
			t.Errorf("Receive(%+v) = %v, %v; want a *channel.RequestError", r, in, err)
		}
	}
}

func sendsAlone(t *testing.T, rig Rig) {
	c := rig.New(t, "http://127.0.0.1:9")
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if err := c.Send(ctx, rig.To, message("m-1", "3 thou low")); err != nil {
		t.Errorf("Send without a network: %v", err)
	}
}

// message returns a plain question with choices.
func message(id, text string) channel.Message {
	return channel.Message{ID: id, Conversation: "c-1", Text: text, Choices: []string{"done", "stuck"}, Ref: "ref-" + id}
}

// clean fails when an error gives away a secret or the whole address.
func clean(t *testing.T, rig Rig, err error) {
	t.Helper()
	if err == nil {
		return
	}
	s := err.Error()
	if strings.Contains(s, Canary) {
		t.Errorf("the error gives a secret away: %s", strings.ReplaceAll(s, Canary, "[secret]"))
	}
	if len(rig.To) > 6 && strings.Contains(s, rig.To) {
		t.Errorf("the error holds the whole address of a person")
	}
	if s == "" {
		t.Error("the error says nothing")
	}
}

// read returns the body of a request and lets it be read once more.
func read(r *http.Request) []byte {
	b, _ := io.ReadAll(io.LimitReader(r.Body, 1<<20))
	r.Body = io.NopCloser(strings.NewReader(string(b)))
	return b
}
