package page

import (
	"testing"

	"shimwright/bot/channel"
	"shimwright/bot/channel/channeltest"
)

func TestConformance(t *testing.T) {
	channeltest.Run(t, channeltest.Rig{
		New: func(testing.TB, string) channel.Channel { return New() },
		To:  "bench-tablet",
	})
}

func TestWakes(t *testing.T) {
	c := New()
	a, stopA := c.Listen("bench")
	b, stopB := c.Listen("bench")
	other, stopOther := c.Listen("office")
	defer stopOther()
	send := func() {
		if err := c.Send(t.Context(), "bench", channel.Message{ID: "m-1"}); err != nil {
			t.Fatal(err)
		}
	}
	send()
	send() // nobody has looked yet: it must not wait
	for _, l := range []<-chan struct{}{a, b} {
		select {
		case <-l:
		default:
			t.Error("a listener was not woken")
		}
		select {
		case <-l:
			t.Error("two messages before a look wake twice")
		default:
		}
	}
	select {
	case <-other:
		t.Error("the listener of another conversation was woken")
	default:
	}
	stopA()
	stopA()
	send()
	select {
	case <-a:
		t.Error("a stopped listener was woken")
	case <-b:
	}
	stopB()
	if n := c.Listeners(); n != 1 {
		t.Errorf("%d listeners remain, want 1", n)
	}
}
