package main

import (
	"context"
	"errors"
	"strings"
	"time"

	"shimwright/bot/channel"
	"shimwright/bot/channel/page"
	"shimwright/dialog"
	"shimwright/store"
)

// pageChannel is the channel of the chat page with the one thing that it
// cannot do by itself: an unasked message is entered in the transcript of its
// conversation, where the page reads it, before the page is woken.
type pageChannel struct {
	*page.Channel
	store store.Store
	now   func() time.Time
}

// pageAddress is the address on this channel of a conversation.
func pageAddress(shop, conversation string) string { return shop + "/" + conversation }

// Send enters the message in the transcript. An attempt that is repeated
// leaves one entry: its id is that of the message.
func (p pageChannel) Send(ctx context.Context, to string, m channel.Message) error {
	shop, conversation, ok := strings.Cut(to, "/")
	if !ok {
		return channel.Permanent("a conversation of the page has no address like this")
	}
	a := answer{Conversation: conversation, Prompt: dialog.PromptView{Kind: dialog.KindIdle}, Replies: []reply{{
		ID: m.ID, Text: m.Text, Caution: m.Caution, Choices: m.Choices, Expires: m.Expires}}}
	for _, x := range m.Media {
		a.Replies[0].Media = append(a.Replies[0].Media, media(x))
	}
	err := p.store.Commit(ctx, store.Commit{Shop: shop, Conversation: conversation, At: p.now(),
		Inbound: store.Handled{ID: unaskedMark + m.ID, Hash: []byte(m.ID)}, Answer: encode(a)})
	var seen *store.SeenError
	switch {
	case errors.As(err, &seen), err == nil:
		return p.Channel.Send(ctx, conversation, m)
	case errors.Is(err, store.ErrUnavailable):
		return channel.Temporary("the store is away")
	}
	return channel.Permanent("the transcript did not take it: %v", err)
}

// unaskedMark begins the inbound id of a transcript entry that answers no
// message. No client can use it: an id has no slash.
const unaskedMark = "/"
