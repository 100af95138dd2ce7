package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/gorilla/mux"

	"shimwright/bot/channel"
	"shimwright/dialog"
	"shimwright/dialog/wording"
	"shimwright/store"
)

// intakePath is where the networks call: what follows it is the channel's.
const intakePath = "/v1/channels/"

// Limits of what a network brings.
const (
	intakeBody    = 4 << 20 // bytes of a call: a homeserver gathers many events in one
	networkRate   = 100     // messages a second of one network, all senders together
	networkBurst  = 1000
	toldAgain     = 30 * 24 * time.Hour // before a stranger is told once more
	poisonTries   = 5                   // calls that a message may fail by a fault of the program
	poisonEntries = 1024
	marksAtOnce   = 4
	markTime      = 5 * time.Second
)

// hallShop is where strangers are answered: its own slot, with no saw in it.
const hallShop = "hall"

// intake takes what the networks bring and hands it on: a message to the
// dialog, a report to the outbox. A call is answered as taken only when
// everything in it is stored, and everything in it may come again.
type intake struct {
	channels  map[string]channel.Channel
	member    func(channelName, sender string) bool // who may write
	handler   *handler
	mover     *mover
	crowd     *limiter // strangers who are answered, for each network
	deliverer *deliverer
	store     store.Store
	sender    *limiter // for each sender
	network   *limiter // for each network
	now       func() time.Time
	log       *slog.Logger

	marks chan struct{} // holds one for each mark under way
	busy  sync.WaitGroup

	mu     sync.Mutex
	failed map[string]int // calls that a message failed by a fault of the program
}

// call is a request of a network.
func (k *intake) call(w http.ResponseWriter, r *http.Request) error {
	c := k.channels[mux.Vars(r)["channel"]]
	if c == nil {
		return notFound("No channel of this name is set up.")
	}
	body, err := readUpTo(w, r, intakeBody)
	if err != nil {
		return err
	}
	path := strings.TrimPrefix(r.URL.Path, strings.TrimSuffix(intakePath, "/")+"/"+c.Name())
	list, ack, err := c.Receive(channel.Request{Method: r.Method, Path: path, Query: r.URL.Query(),
		Header: r.Header, Body: body, At: k.now()})
	if err != nil {
		return refused(err)
	}
	for _, in := range list {
		if err := k.take(r.Context(), c, in); err != nil {
			return err
		}
	}
	h := w.Header()
	if ack.Type != "" {
		h.Set("Content-Type", ack.Type)
	}
	h.Set("Cache-Control", "no-store")
	h.Set("Content-Length", strconv.Itoa(len(ack.Body)))
	w.WriteHeader(ack.Status)
	_, _ = w.Write(ack.Body)
	return nil
}

// readUpTo returns the body of a call.
func readUpTo(w http.ResponseWriter, r *http.Request, limit int64) ([]byte, error) {
	body, err := io.ReadAll(http.MaxBytesReader(w, r.Body, limit))
	var large *http.MaxBytesError
	switch {
	case errors.As(err, &large):
		return nil, &problem{Code: "too-large", Status: http.StatusRequestEntityTooLarge, Title: "The body is too large",
			Detail: fmt.Sprintf("A call may have %d bytes.", limit)}
	case err != nil:
		return nil, tooSlow().because(err)
	}
	return body, nil
}

// refused turns a channel's refusal into a problem document.
func refused(err error) error {
	var e *channel.RequestError
	if !errors.As(err, &e) {
		return internal(err)
	}
	switch e.Status {
	case http.StatusUnauthorized, http.StatusForbidden:
		return &problem{Code: "unauthorized", Status: e.Status, Title: "Not from the network", Detail: e.Reason + "."}
	case http.StatusNotFound:
		return notFound("There is no such address.")
	case http.StatusMethodNotAllowed:
		return &problem{Code: "wrong-method", Status: e.Status, Title: "Not with this method", Detail: e.Reason + "."}
	case http.StatusRequestEntityTooLarge:
		return &problem{Code: "too-large", Status: e.Status, Title: "Too large", Detail: e.Reason + "."}
	}
	return &problem{Code: "bad-call", Status: http.StatusBadRequest, Title: "The call cannot be read", Detail: e.Reason + "."}
}

// take handles one thing that came in. An error asks the network to bring the
// whole call again.
func (k *intake) take(ctx context.Context, c channel.Channel, in channel.Inbound) error {
	if in.Kind == channel.KindReceipt {
		_, err := k.deliverer.receipt(ctx, c.Name(), in.Receipt)
		return storeProblem(err)
	}
	switch wait, err := k.network.take(ctx, c.Name(), k.now()); {
	case err != nil:
		return err
	case wait > 0:
		return tooMany(wait)
	}
	wait, err := k.sender.take(ctx, c.Name()+":"+in.Sender, k.now())
	switch {
	case err != nil:
		return err
	case wait > 0:
		// Asking for it again would hold up everybody behind it.
		k.log.Warn("a message was dropped: its sender writes too fast", "channel", c.Name(), "sender", mask(in.Sender))
		return nil
	}
	err = k.hear(ctx, c, in)
	switch {
	case err == nil:
		k.mark(c, in)
	case errors.Is(err, errStranger) && in.Kind == channel.KindInvite:
		err = nil // a stranger's room is not entered
	case errors.Is(err, errStranger):
		err = k.turnAway(ctx, c, in)
	}
	return k.outcome(c, in, err)
}

// outcome decides what a network is told of a failure. What another call may
// cure is brought again; what a person's own message brought about (an id used
// for two messages, an answer whose time is over) is done with; and a message
// on which the program itself fails is given up after some calls, or it would
// hold up everything behind it for ever.
func (k *intake) outcome(c channel.Channel, in channel.Inbound, err error) error {
	if err == nil {
		return nil
	}
	p := asProblem(err)
	switch p.Status {
	case http.StatusServiceUnavailable, http.StatusTooManyRequests:
		return p
	case http.StatusConflict, http.StatusGone, http.StatusUnauthorized:
		k.log.Warn("a message was not handled", "channel", c.Name(), "message", mask(in.ID), "problem", p.Code)
		return nil
	}
	id := c.Name() + " " + in.ID
	k.mu.Lock()
	defer k.mu.Unlock()
	if len(k.failed) >= poisonEntries {
		clear(k.failed)
	}
	if k.failed[id]++; k.failed[id] < poisonTries {
		return p
	}
	delete(k.failed, id)
	k.log.Error("a message was given up: the program fails on it", "channel", c.Name(), "message", mask(in.ID), "error", p)
	return nil
}

// hear hands a message to the shop of its sender: the one that the directory
// says, or that of this machine for those whom its settings let in. It returns
// errStranger for everybody else.
func (k *intake) hear(ctx context.Context, c channel.Channel, in channel.Inbound) error {
	e := event{conversation: in.Conversation, channel: c.Name(), from: in.Sender, lang: languageOf(c.Name(), in.Sender),
		speaker: &speaker{kind: messenger, channel: c.Name(), sender: in.Sender, conversation: in.Conversation},
		message: posted{ID: in.ID, Conversation: in.Conversation, Sender: in.Sender, Text: in.Text, SentAt: in.SentAt}}
	shop, err := k.store.Resolve(ctx, e.door())
	switch {
	case err == nil:
		e.shop = shop
	case !errors.Is(err, store.ErrNotFound):
		return storeProblem(err)
	case k.member(c.Name(), in.Sender):
		e.shop, e.speaker.letIn = homeShop, true
	case in.Kind == channel.KindRedact:
		return nil
	default:
		return k.mover.admit(ctx, e)
	}
	switch in.Kind {
	case channel.KindText:
	case channel.KindPicture:
		// Its caption, if any, may be the reading; without one the dialog says
		// that there was nothing to read.
	case channel.KindInvite:
		if _, code := dialog.Code(in.Text); !code {
			e.message.Text = "menu"
		}
	case channel.KindEdit:
		return k.edited(ctx, e, in)
	case channel.KindRedact:
		return k.takenBack(ctx, e, in)
	case channel.KindSecret:
		return k.saySecret(ctx, e)
	default:
		e.message.Text = ""
	}
	return k.handle(ctx, e)
}

// mark shows the sender that the message was read, where the network can and
// is not busy with other marks. Nothing waits for it but the end of the
// program.
func (k *intake) mark(c channel.Channel, in channel.Inbound) {
	m, ok := c.(channel.Marker)
	if !ok || in.Kind == channel.KindInvite {
		return
	}
	select {
	case k.marks <- struct{}{}:
	default:
		return
	}
	k.busy.Go(func() {
		defer func() { <-k.marks }()
		ctx, cancel := context.WithTimeout(context.Background(), markTime)
		defer cancel()
		if err := m.Mark(ctx, in); err != nil {
			k.log.Debug("a message could not be marked as read", "channel", c.Name(), "error", err)
		}
	})
}

// handle has a message handled; a panic in it stops only this message.
func (k *intake) handle(ctx context.Context, e event) error {
	_, err := k.answer(ctx, e)
	return err
}

// answer is handle, and returns what was answered.
func (k *intake) answer(ctx context.Context, e event) (stored []byte, err error) {
	defer func() {
		if p := recover(); p != nil {
			err = internal(fmt.Errorf("panic: %v", p))
		}
	}()
	if len(e.message.Text) > store.MaxInbound {
		e.message.Text = "" // longer than any answer: nothing to read in it
	}
	own := *e.speaker
	e.speaker = &own
	return k.mover.take(ctx, e)
}

// editable is how many messages back an edit is looked for.
const editable = 200

// edited handles the edit of an earlier message. One that answered a reading of
// the running job is that reading given again (a fix, or going back where it was
// the last); one that was not understood is said anew; any other is told how an
// earlier reading is corrected.
func (k *intake) edited(ctx context.Context, e event, in channel.Inbound) error {
	list, err := k.store.Transcript(ctx, store.Conversation{Shop: e.shop, ID: e.conversation}, 0, editable)
	if err != nil {
		return storeProblem(err)
	}
	again := e
	again.unanswered = true
	again.message.ID = in.ID + "/again"
	if len(list) > 0 {
		if id := list[len(list)-1].Inbound.ID; id == again.message.ID || id == in.ID {
			return k.handle(ctx, e) // a repeated call: the reading is asked again already
		}
	}
	at := slices.IndexFunc(list, func(l store.Entry) bool { return l.Inbound.ID == in.Edits })
	if at < 1 {
		e.message.Text = "fix"
		return k.handle(ctx, e)
	}
	if own, err := k.own(ctx, e, list[at]); err != nil || !own {
		return err
	}
	asked, last := promptOf(list[at-1]), at == len(list)-1
	lost := reflect.DeepEqual(asked, promptOf(list[at])) // it changed nothing: it was not understood
	switch {
	case lost && last:
		return k.handle(ctx, e)
	case lost, asked.Kind != dialog.KindReading:
		e.message.Text = "fix"
		return k.handle(ctx, e)
	case asked.Number == 0 && last: // put by a version whose readings had no numbers here
		again.message.Text = "back"
	default:
		again.message.Text = "fix " + strconv.Itoa(asked.Number)
	}
	stored, err := k.answer(ctx, again)
	if err != nil {
		return err
	}
	if now := promptOf(store.Entry{Answer: stored}); !sameQuestion(now, asked) {
		e.message.Text = "where" // of another job meanwhile: it says where we are
	}
	return k.handle(ctx, e)
}

// takenBack handles a message that its sender deleted. Was it the last of the
// conversation and a reading, then that is asked again; anything else stands as it
// was answered, and nothing is said of it: people also tidy up their rooms.
func (k *intake) takenBack(ctx context.Context, e event, in channel.Inbound) error {
	list, err := k.store.Transcript(ctx, store.Conversation{Shop: e.shop, ID: e.conversation}, 0, 2)
	if err != nil {
		return storeProblem(err)
	}
	if len(list) < 2 || list[1].Inbound.ID != in.Edits {
		return nil
	}
	if own, err := k.own(ctx, e, list[1]); err != nil || !own {
		return err
	}
	asked := promptOf(list[0])
	if asked.Kind != dialog.KindReading || asked.Number == 0 || reflect.DeepEqual(asked, promptOf(list[1])) {
		return nil
	}
	e.message.Text = "fix " + strconv.Itoa(asked.Number)
	return k.handle(ctx, e)
}

// own reports whether an entry is a message of whoever speaks now: a room may have
// somebody who takes back, or claims to edit, what others said.
func (k *intake) own(ctx context.Context, e event, said store.Entry) (bool, error) {
	people, _, err := loadPeople(ctx, k.store, e.shop)
	if err != nil {
		return false, storeProblem(err)
	}
	from := people.Self(said.Inbound.From)
	return slices.ContainsFunc(people.Persons, func(q dialog.Person) bool {
		return q.ID == from && slices.ContainsFunc(q.Addresses, e.speaker.writesFrom)
	}), nil
}

// sameQuestion reports whether two prompts ask for the same reading.
func sameQuestion(a, b dialog.PromptView) bool {
	a.Unit, a.Label, b.Unit, b.Label = "", "", "", "" // as it is worded
	return reflect.DeepEqual(a, b)
}

// promptOf is the question at the end of a stored answer.
func promptOf(e store.Entry) dialog.PromptView {
	var a struct {
		Prompt dialog.PromptView `json:"prompt"`
	}
	_ = json.Unmarshal(e.Answer, &a) // ours, or empty: no question
	return a.Prompt
}

// saySecret tells, once, that a conversation cannot be read here.
func (k *intake) saySecret(ctx context.Context, e event) error {
	return k.sayOnce(ctx, e.shop, "secret", e, wording.Unreadable())
}
