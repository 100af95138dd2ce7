package main

import (
	"context"
	"encoding/base64"
	"encoding/json"
	"errors"
	"time"

	"shimwright/bot/channel"
	"shimwright/store"
)

// On a network that reports what became of a message, the next message of a
// conversation waits for the first report of the one before, because such a
// network may let one overtake the other. A report that does not come is not
// waited for long, and where none comes three times in a row not at all until
// one does.
const silentAfter = 3

// await settles a message that the network took: when its first report comes,
// or without one after a while.
func (d *deliverer) await(stop context.Context, r *route, m store.Delivery, ref string) {
	got := r.awaited(ref, time.After(reportWait), stop.Done())
	if got.Fate == channel.Failed {
		d.settle(m, store.Dead, d.now(), wasDead, undelivered(got))
		return
	}
	d.settle(m, store.Sent, time.Time{}, wasSent, "")
}

func undelivered(got channel.Receipt) string {
	return "the network reports that it was not delivered: " + got.Reason
}

// sentFor is how long after it was sent a failure of a message is taken note of:
// networks give up a text after two days or three.
const sentFor = 4 * 24 * time.Hour

// receipt takes a network's report on a message. A report on a message that
// another replica waits for settles it too; a failure that is reported after the
// message counted as sent puts it on the list of those that were given up; any
// other report that comes late, or twice, or for a message that nobody knows,
// changes nothing. It reports such a late failure.
func (d *deliverer) receipt(ctx context.Context, channelName string, got channel.Receipt) (failed bool, err error) {
	m, ok := readRef(got.Ref)
	if !ok {
		return false, nil
	}
	if r := d.routes[channelName]; r != nil && r.report(got) {
		return false, nil
	}
	o, reason := store.Sent, ""
	if got.Fate == channel.Failed {
		o, reason = store.Dead, undelivered(got)
	}
	err = d.store.Settle(ctx, m, o, d.now(), reason)
	switch {
	case errors.Is(err, store.ErrLost) && got.Fate == channel.Failed:
		return d.bury(ctx, channelName, m, got)
	case errors.Is(err, store.ErrLost):
		return false, nil
	case err != nil:
		return false, err
	}
	d.kick()
	return false, nil
}

// bury puts a message on the list of those that were given up after it had
// counted as sent, once; false for one that is unknown here by now.
func (d *deliverer) bury(ctx context.Context, channelName string, m store.Delivery, got channel.Receipt) (bool, error) {
	doc, err := d.store.Get(ctx, m.Shop, store.KindSent, m.Out.ID)
	now := d.now()
	if errors.Is(err, store.ErrNotFound) || err == nil && store.Expired(doc.Expires, now) {
		return false, nil
	}
	if err != nil {
		return false, err
	}
	var out store.Out
	if err := json.Unmarshal(doc.Body, &out); err != nil {
		return false, err
	}
	err = d.store.Bury(ctx, store.DeadLetter{Shop: m.Shop, Out: out, Attempt: 1, Reason: undelivered(got), At: now})
	if err == nil {
		err = d.store.Commit(ctx, store.Commit{Shop: m.Shop, At: now, Put: []store.Doc{{Kind: doc.Kind, ID: doc.ID, Version: doc.Version}}})
	}
	switch {
	case errors.Is(err, store.ErrNotFound), errors.Is(err, store.ErrStale): // the shop is gone, or another replica was first
		return false, nil
	case err != nil:
		return false, err
	}
	d.log.Error("a message that counted as sent was not delivered", "channel", channelName,
		"message", mask(m.Out.ID), "reason", mask(got.Reason))
	if d.count != nil {
		d.count(channelName, wasUndelivered)
	}
	return true, nil
}

// expect makes room for the report on a message.
func (r *route) expect(ref string) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.waits[ref] = make(chan channel.Receipt, 1)
}

// awaited waits for the report on a message, until timeout or stop, and not at
// all where reports do not come or too many are waited for.
func (r *route) awaited(ref string, timeout <-chan time.Time, stop <-chan struct{}) channel.Receipt {
	r.mu.Lock()
	c, patient := r.waits[ref], r.silent < silentAfter && len(r.waits) <= awaitEach
	r.mu.Unlock()
	if !patient {
		select {
		case got := <-c:
			return got
		default:
			return channel.Receipt{}
		}
	}
	select {
	case got := <-c:
		return got
	case <-stop:
	case <-timeout:
		r.mu.Lock()
		r.silent++
		r.mu.Unlock()
	}
	return channel.Receipt{}
}

// report hands a receipt to whoever waits for it here; false when nobody does.
func (r *route) report(got channel.Receipt) bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.silent = 0
	c, ok := r.waits[got.Ref]
	if !ok {
		return false
	}
	select {
	case c <- got:
	default: // the first one decides
	}
	return true
}

// forget ends the wait for a report.
func (r *route) forget(ref string) {
	r.mu.Lock()
	defer r.mu.Unlock()
	delete(r.waits, ref)
}

// refBody is what a reference carries: enough to settle the delivery on any
// replica, and neither an address nor a text.
type refBody struct {
	Shop         string `json:"s"`
	Conversation string `json:"c"`
	ID           string `json:"i"`
	Token        uint64 `json:"t"`
}

// makeRef is the reference of an attempt, safe in a URL. It is not a secret:
// the channel checks that a report comes from its network.
func makeRef(m store.Delivery) string {
	b, err := json.Marshal(refBody{m.Shop, m.Out.Conversation, m.Out.ID, m.Token})
	if err != nil {
		panic(err) // text and a number only
	}
	return base64.RawURLEncoding.EncodeToString(b)
}

// readRef is the inverse of makeRef; false when ref is none of ours.
func readRef(ref string) (store.Delivery, bool) {
	b, err := base64.RawURLEncoding.DecodeString(ref)
	if err != nil {
		return store.Delivery{}, false
	}
	var r refBody
	if json.Unmarshal(b, &r) != nil || r.Shop == "" || r.ID == "" {
		return store.Delivery{}, false
	}
	return store.Delivery{Shop: r.Shop, Out: store.Out{ID: r.ID, Conversation: r.Conversation}, Token: r.Token}, true
}
