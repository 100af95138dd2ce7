package main

import (
	"context"
	"encoding/json"
	"errors"
	"slices"
	"strconv"
	"strings"
	"time"

	"shimwright/bot/channel"
	"shimwright/bot/channel/sms"
	"shimwright/dialog/wording"
	"shimwright/store"
)

// The hall is where strangers are answered, and from where a code leads on.

// kindMove is the document of a move out of the hall.
const kindMove store.Kind = "move"

// moveID is the id of a move out of the hall: it shows nothing of the sender.
func moveID(door string) string {
	return veiled("move", door)
}

// leaveHall is the last step in the hall.
func (v *mover) leaveHall(ctx context.Context, m passage) error {
	d, err := v.store.Get(ctx, hallShop, kindMove, moveID(m.Door))
	if errors.Is(err, store.ErrNotFound) {
		return nil
	}
	if err != nil {
		return err
	}
	err = v.store.Commit(ctx, store.Commit{Shop: hallShop, At: v.now(),
		Put: []store.Doc{{Kind: kindMove, ID: d.ID, Version: d.Version}}})
	if errors.Is(err, store.ErrStale) {
		return nil
	}
	return err
}

// admit takes a stranger into the shop that their code leads to, or goes on with
// that. It returns errStranger for whoever stays one.
func (v *mover) admit(ctx context.Context, e event) error {
	e.shop = hallShop
	if d, err := v.store.Get(ctx, hallShop, kindMove, moveID(e.door())); err == nil {
		var m passage
		if err := json.Unmarshal(d.Body, &m); err != nil {
			return internal(err)
		}
		return v.through(ctx, e, m)
	} else if !errors.Is(err, store.ErrNotFound) {
		return storeProblem(err)
	}
	hash, to, err := v.codeIn(ctx, e)
	if err != nil {
		return err
	}
	if to == "" || to == hallShop {
		return errStranger
	}
	e.speaker.code = hash
	m := e.moveTo(to)
	err = v.store.Commit(ctx, store.Commit{Shop: hallShop, At: v.now(), Put: []store.Doc{{Kind: kindMove, ID: moveID(m.Door),
		Body: encode(m), Expires: v.now().Add(store.KeepIDs)}}})
	if err != nil && !errors.Is(err, store.ErrStale) {
		return storeProblem(err)
	}
	return v.through(ctx, e, m)
}

// through carries a move out of the hall through, and hands on the message that
// came upon it, unless that was the one with the code.
func (v *mover) through(ctx context.Context, e event, m passage) error {
	shop, err := v.resume(ctx, m)
	switch {
	case err != nil:
		return err
	case shop == hallShop:
		return errStranger
	case e.message.ID == m.Message.ID:
		return nil
	}
	e.shop = shop
	_, err = v.take(ctx, e)
	return err
}

// turnAway answers somebody whom nobody let in: one sentence, the same whether
// or not there is anything here, and then nothing for a month. Who asks a
// telephone number for silence gets it.
func (k *intake) turnAway(ctx context.Context, c channel.Channel, in channel.Inbound) error {
	if c.Limits().Telephone && slices.Contains(stopWords, strings.ToUpper(strings.TrimSpace(in.Text))) {
		return nil
	}
	e := event{conversation: in.Conversation, channel: c.Name(), from: in.Sender, lang: languageOf(c.Name(), in.Sender),
		speaker: &speaker{kind: messenger, sender: in.Sender}, message: posted{ID: in.ID}}
	if _, parted, err := k.handler.parted(ctx, e); err != nil && !parted || parted {
		return storeProblem(err)
	}
	return k.sayOnce(ctx, hallShop, "stranger "+in.Sender, e, wording.Stranger())
}

// languageOf is the language in which somebody is spoken to whose own is not
// known yet, "" for the first one: that of a telephone number's country.
func languageOf(channelName, sender string) string {
	if channelName != sms.Name {
		return ""
	}
	return wording.Accepted(sms.Language(sender))
}

// stopWords end messages on every telephone network, as the whole of a text.
var stopWords = []string{"STOP", "STOPALL", "STOP ALL", "END", "CANCEL", "UNSUBSCRIBE", "QUIT", "REVOKE", "OPTOUT", "OPT OUT", "OPT-OUT"}

// kindTold is the document that remembers that somebody was told something.
const kindTold store.Kind = "told"

// sayOnce sends a sentence to a conversation unless it was said there within a
// month. Nothing of the sender is kept but a hash.
func (k *intake) sayOnce(ctx context.Context, shop, what string, e event, sentence wording.Text) error {
	now := k.now()
	id := veiled(what, e.channel, e.conversation)
	old, err := k.store.Get(ctx, shop, kindTold, id)
	switch {
	case err == nil && !store.Expired(old.Expires, now):
		return nil
	case err == nil:
		old.Version = 0 // what has expired is no longer there
	case err != nil && !errors.Is(err, store.ErrNotFound):
		return storeProblem(err)
	}
	if shop == hallShop {
		if wait, err := k.crowd.take(ctx, e.channel, now); err != nil || wait > 0 {
			k.log.Warn("a stranger was not answered: there were too many", "channel", e.channel, "error", err)
			return err
		}
	}
	m := channel.Message{ID: "told-" + id + "-" + strconv.FormatInt(now.Unix(), 10), Conversation: e.conversation,
		InReplyTo: e.message.ID, Text: wording.NewVoice(e.lang, 0).Say(sentence)}
	err = k.store.Commit(ctx, store.Commit{Shop: shop, At: now,
		Put: []store.Doc{{Kind: kindTold, ID: id, Version: old.Version, Body: []byte("{}"), Expires: now.Add(toldAgain)}},
		Outbox: []store.Out{{ID: m.ID, Conversation: id, Channel: e.channel, To: e.conversation,
			Body: encode(m), Expires: now.Add(24 * time.Hour)}}})
	if errors.Is(err, store.ErrStale) {
		return nil // another call was first
	}
	if err == nil {
		k.deliverer.kick()
	}
	return storeProblem(err)
}
