// Package page is the channel of the chat page. A message to it is already in
// the conversation's transcript when it is sent: sending wakes the pages that
// listen, and they read the transcript. A page that nobody has open finds the
// message when it is opened.
package page

import (
	"context"
	"net/http"
	"sync"

	"shimwright/bot/channel"
)

// Name is the channel's name.
const Name = "page"

// Channel implements channel.Channel and wakes listeners in this process. With
// several replicas a page that listens to another one is not woken; it looks
// for itself every few seconds besides.
type Channel struct {
	mu     sync.Mutex
	listen map[string]map[chan struct{}]struct{}
}

// New returns a channel without listeners.
func New() *Channel {
	return &Channel{listen: map[string]map[chan struct{}]struct{}{}}
}

// Name implements channel.Channel.
func (c *Channel) Name() string { return Name }

// Limits implements channel.Channel.
func (c *Channel) Limits() channel.Limits {
	return channel.Limits{Pictures: true, Choices: true}
}

// Receive implements channel.Channel. The page speaks to POST /v1/messages, so
// nothing comes in here.
func (c *Channel) Receive(channel.Request) ([]channel.Inbound, channel.Ack, error) {
	return nil, channel.Ack{}, channel.Refuse(http.StatusNotFound, "nothing is received here")
}

// Send implements channel.Channel: to is the conversation. It never waits.
func (c *Channel) Send(ctx context.Context, to string, m channel.Message) error {
	c.Wake(to)
	return nil
}

// Wake tells every listener of a conversation to look again.
func (c *Channel) Wake(conversation string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	for ch := range c.listen[conversation] {
		select {
		case ch <- struct{}{}:
		default: // it has not looked since the last time: one call is enough
		}
	}
}

// Listen returns a channel that receives after each message to the
// conversation (several may become one). Call stop when done; it may be called
// more than once.
func (c *Channel) Listen(conversation string) (woken <-chan struct{}, stop func()) {
	ch := make(chan struct{}, 1)
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.listen[conversation] == nil {
		c.listen[conversation] = map[chan struct{}]struct{}{}
	}
	c.listen[conversation][ch] = struct{}{}
	return ch, func() {
		c.mu.Lock()
		defer c.mu.Unlock()
		delete(c.listen[conversation], ch)
		if len(c.listen[conversation]) == 0 {
			delete(c.listen, conversation)
		}
	}
}

// Listeners is how many pages listen now.
func (c *Channel) Listeners() int {
	c.mu.Lock()
	defer c.mu.Unlock()
	n := 0
	for _, l := range c.listen {
		n += len(l)
	}
	return n
}
