package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"slices"
	"time"

	"shimwright/bot/channel/sms"
	"shimwright/dialog"
	"shimwright/store"
)

// How long, and how often, the handling of one message is tried.
const (
	handleTime = 10 * time.Second
	maxTries   = 12
	firstPause = 2 * time.Millisecond
	lastPause  = 100 * time.Millisecond
)

// maxAtOnce bounds how many messages, each of another conversation, are under
// way: with more than that each would take so long that people send it again.
const maxAtOnce = 512

// errCrowded: too many messages of one conversation wait.
var errCrowded = errors.New("too many messages of this conversation wait")

// handler takes a message, or a reminder that has fallen due, through the
// dialog into the store: load, step, commit.
type handler struct {
	store  store.Store
	now    func() time.Time
	people newcomers
	cache  *cache
	token  func() string
	limits func(channel string) dialog.Limits
	phone  func(channel string) bool // a telephone network: STOP silences all but START
	// reports tells the channels that may report a failure long after sending.
	reports func(channel string) bool
	// networks are the names of the channels on which people have addresses.
	networks []string
	wake     func(conversation string) // called after a commit
	sends    func()                    // called after one that has something to send
	zone     string                    // offered to people who have not chosen one
	base     string                    // address under which others reach the service, "" where that is not known
	dialog   func(dialog.View, dialog.State, dialog.Input, time.Time) dialog.Result
	// absolute makes an address of the service one that others can call.
	absolute func(path string) string
	lanes    *lanes
	room     chan struct{} // holds one for each message under way
	log      *slog.Logger
	meter    *meters
}

// event is one thing to be handled, in a shop and conversation that are known.
type event struct {
	shop, conversation string
	channel            string // over which the answer goes
	from               string // who sent it, for the transcript and the hash
	speaker            *speaker
	message            posted            // when a person speaks
	lang               string            // that their browser asks for, "" otherwise
	unanswered         bool              // messenger: the answer is stored and not sent
	held               bool              // the code in it leads elsewhere, where the sender cannot go
	moving             *passage          // it is the first step of this move
	moved              []store.Entry     // what was handled before, elsewhere
	due                store.DueReminder // when a reminder fires; then speaker is nil
	began              time.Time         // when a message had its turn; for figures only
}

// message handles a message and returns the JSON of its answer, which is
// stored when it returns. Messages of one conversation are handled one after
// the other, in the order of the calls. Its error is a *problem.
func (h *handler) message(ctx context.Context, e event) ([]byte, error) {
	leave, err := h.lanes.enter(ctx, "c/"+e.shop+"/"+e.conversation)
	if errors.Is(err, errCrowded) {
		return nil, tooMany(time.Second).because(err)
	}
	if err != nil {
		return nil, unavailable(err) // the caller has gone
	}
	defer leave()
	select {
	case h.room <- struct{}{}:
		defer func() { <-h.room }()
	default:
		return nil, overloaded()
	}
	// From here on the work is finished even when the caller goes away: a
	// phone that loses its connection finds the answer under the same id.
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), handleTime)
	defer cancel()
	e.began = time.Now()
	stored, err := h.settle(ctx, e)
	if err != nil {
		return nil, err
	}
	return stored, nil
}

// fire handles a reminder that has fallen due. A reminder that another replica
// handled, or that was moved, is no error.
//
// It comes where its person was heard last, which need not be where it was set:
// people change their phones, and one person's word may move another's.
func (h *handler) fire(ctx context.Context, r store.DueReminder) error {
	people, _, err := loadPeople(ctx, h.store, r.Shop)
	if err != nil {
		return err
	}
	if people.Erased {
		return h.erase(ctx, r.Shop)
	}
	at := dialog.Address{Conversation: r.Conversation}
	if last, ok := reachable(people, r.Person, ""); ok {
		at = last
	}
	leave, err := h.lanes.enter(ctx, "c/"+r.Shop+"/"+at.Conversation)
	if err != nil {
		return err
	}
	defer leave()
	_, err = h.settle(ctx, event{shop: r.Shop, conversation: at.Conversation, channel: at.Channel, due: r})
	return err
}

// settle tries until the event is committed. After the first try that came too
// late it goes on in a lane of the shop, as does everybody who finds somebody
// in it: so it meets other replicas only.
func (h *handler) settle(ctx context.Context, e event) ([]byte, error) {
	pause, shop, alone := firstPause, "s/"+e.shop, false
	for try := range maxTries {
		if !alone && (try > 0 || h.lanes.busy(shop)) {
			leave, err := h.lanes.enter(ctx, shop)
			if err != nil {
				return nil, unavailable(err)
			}
			defer leave()
			alone = true
		}
		stored, err := h.try(ctx, e)
		if !errors.Is(err, store.ErrStale) {
			return stored, storeProblem(err)
		}
		h.meter.stale.Inc()
		select {
		case <-time.After(pause/2 + rand.N(pause)):
		case <-ctx.Done():
			return nil, unavailable(ctx.Err())
		}
		pause = min(2*pause, lastPause)
	}
	return nil, unavailable(fmt.Errorf("%w, %d times", store.ErrStale, maxTries))
}

// try is one attempt: on the state as it is now.
func (h *handler) try(ctx context.Context, e event) ([]byte, error) {
	now := h.now()
	docs, err := h.store.Load(ctx, store.Conversation{Shop: e.shop, ID: e.conversation}, e.message.ID)
	if err != nil {
		return nil, err
	}
	if docs.Seen != nil {
		stored, err := h.again(docs, e, now)
		if people, broken := decoded[dialog.People](h.cache, e.shop, docs.People); err == nil && broken == nil && people.Erased {
			return stored, h.part(ctx, e, stored)
		}
		return stored, err
	}
	l, err := h.decode(docs, e)
	if err != nil {
		return nil, err
	}
	if err := h.away(ctx, l.view.People, e); err != nil {
		return nil, err
	}
	if docs.People.Version == 0 {
		if a, ok, err := h.parted(ctx, e); err != nil || ok {
			return a, err
		}
	}
	l.view.Locate, l.view.ZoneGuess, l.view.Token, l.view.Base = locate, h.zoneOf(e), freshText(), h.base
	l.view.LangGuess, l.view.Networks = e.lang, h.networks
	var peopleChanged bool
	if e.speaker != nil {
		here := l.view.People.Language(e.speaker.code)
		p, err := e.speaker.in(l.view.People, h.people, now)
		switch {
		case (errors.Is(err, errStranger) || errors.Is(err, errRevoked)) && e.moving != nil:
			return nil, errShut
		case errors.Is(err, errStranger):
			return nil, err
		case err != nil:
			return nil, deviceProblem(err)
		case e.moving != nil && p.came == "" && p.added:
			return nil, errShut // a program's sender is let in anywhere; here only the code counts
		}
		l.view.People, l.view.Person, l.view.Came, peopleChanged = p.people, p.id, p.came, p.changed
		if e.moving != nil {
			l.view.People.Moves = append(slices.Clone(l.view.People.Moves), dialog.Move{Door: e.door(), Body: encode(e.moving)})
			peopleChanged = true
		}
		l.view.Held, l.view.LangUnsure = e.held, e.speaker.kind == messenger && (e.moving == nil || !e.moving.Chosen)
		if p.first {
			l.view.LangHere = here
		}
		if e.speaker.kind == messenger && !p.added {
			l.view.LangGuess = "" // who is known has been spoken to in theirs
		}
	}
	res, err := h.step(ctx, &l, e, now)
	if err != nil {
		return nil, err
	}
	if l.state.Stopped && res.State.Stopped && h.phone != nil && h.phone(e.channel) {
		// Said once is enough; not even a question gets an answer now.
		res = dialog.Result{State: l.state, Turn: dialog.Turn{Prompt: dialog.PromptView{Kind: dialog.KindIdle}}}
	}
	if res.People == nil && peopleChanged {
		res.People = &l.view.People
	}
	if err := h.open(ctx, e.shop, res); err != nil {
		return nil, err
	}
	c := h.commit(docs, l, e, res, now)
	err = h.store.Commit(ctx, c)
	var seen *store.SeenError
	switch {
	case errors.As(err, &seen):
		return seen.Answer, nil
	case errors.Is(err, store.ErrConflict):
		return nil, h.conflicting(ctx, e, err)
	case err != nil:
		return nil, err
	}
	h.note(ctx, e, res.Turn)
	if res.EraseShop {
		return c.Answer, h.part(ctx, e, c.Answer)
	}
	h.remember(c, res)
	if len(c.Outbox) > 0 {
		h.sends()
	}
	h.after(ctx, e, append(l.erased, res.EraseSaw))
	// One left over leads to a shop that does not know them.
	_ = closeDoors(ctx, h.store, e.shop, res.Unlink)
	if res.ReportEnd != "" {
		// The page is closed by the commit; an address left over leads nowhere.
		_ = h.store.Point(ctx, reportAddress(res.ReportEnd), e.shop, "")
	}
	return c.Answer, nil
}

// open lets the directory know of a join code or a report page. It comes before
// the commit, so that what was told always leads here; what leads here and was
// never told is of no use to anybody.
func (h *handler) open(ctx context.Context, shop string, res dialog.Result) error {
	addresses := map[string]bool{joinAddress(res.Join): res.Join != "", reportAddress(res.Report): res.Report != ""}
	for address, wanted := range addresses {
		if !wanted {
			continue
		}
		if err := h.store.Point(ctx, address, "", shop); err != nil && !errors.Is(err, store.ErrStale) {
			return err
		}
	}
	return nil
}

// note counts and logs what was handled: one line, with the id under which the
// request is logged too, no word of the message, and numbers masked.
func (h *handler) note(ctx context.Context, e event, t dialog.Turn) {
	attrs := []slog.Attr{slog.String("trace", traceOf(ctx)), slog.String("channel", e.channel),
		slog.String("conversation", mask(e.conversation)), slog.String("message", mask(e.id())),
		slog.String("prompt", string(t.Prompt.Kind)), slog.String("asked", t.Prompt.Name)}
	var took time.Duration
	if !e.began.IsZero() {
		took = time.Since(e.began)
		attrs = append(attrs, slog.Duration("took", took.Round(time.Microsecond)))
	}
	h.meter.handled(e, t, took)
	if t.Verdict != nil {
		attrs = append(attrs, slog.String("verdict", t.Verdict.Decision))
	}
	h.log.LogAttrs(ctx, slog.LevelInfo, "handled", attrs...)
}

// again answers a message that was handled before.
func (h *handler) again(docs store.Documents, e event, now time.Time) ([]byte, error) {
	if len(docs.Answer) == 0 {
		return nil, answerErased()
	}
	if !bytes.Equal(docs.Seen.Hash, e.message.hash(e.from)) {
		return nil, conflict()
	}
	h.meter.again.Inc()
	var a answer
	if err := json.Unmarshal(docs.Answer, &a); err != nil {
		return nil, fmt.Errorf("the stored answer to %s cannot be read: %w", mask(e.message.ID), err)
	}
	if a.withhold(now) {
		return nil, expired()
	}
	return docs.Answer, nil
}

// conflicting tells an id used twice by the client from one used twice by the
// program.
func (h *handler) conflicting(ctx context.Context, e event, cause error) error {
	docs, err := h.store.Load(ctx, store.Conversation{Shop: e.shop, ID: e.conversation}, e.message.ID)
	switch {
	case err != nil:
		return err
	case docs.Seen != nil && !bytes.Equal(docs.Seen.Hash, e.message.hash(e.from)):
		return conflict()
	}
	return internal(cause)
}

// step runs the dialog, once more with the history when it asks for that.
func (h *handler) step(ctx context.Context, l *loaded, e event, now time.Time) (dialog.Result, error) {
	in := e.input()
	res := h.dialog(l.view, l.state, in, now)
	if res.NeedHistory == "" {
		return res, nil
	}
	q := store.RecordQuery{Shop: e.shop, Saw: res.NeedHistory}
	if q.Saw == "*" {
		q.Saw = ""
	}
	records, err := h.store.Records(ctx, q)
	if err != nil {
		return res, err
	}
	if l.view.History, err = h.history(e.shop, records); err != nil {
		return res, err
	}
	l.view.HasHistory = true
	res = h.dialog(l.view, l.state, in, now)
	if res.NeedHistory != "" {
		return res, errors.New("the dialog asked for the history twice")
	}
	return res, nil
}

// zoneOf is the time zone to offer to whoever speaks: for a telephone number
// what its country and area say, otherwise that of the service.
func (h *handler) zoneOf(e event) string {
	if e.speaker != nil && e.channel == sms.Name {
		if zones := sms.Zones(e.speaker.sender, h.zone); zones != "" {
			return zones
		}
	}
	return h.zone
}

// id is that of the message, or of the reminder.
func (e event) id() string {
	if e.speaker == nil {
		return e.due.ID
	}
	return e.message.ID
}

// input is the event as the dialog takes it.
func (e event) input() dialog.Input {
	if e.speaker == nil {
		return dialog.Due{ID: e.due.ID, Saw: e.due.Saw, Body: e.due.Body}
	}
	return dialog.Message{ID: e.message.ID, Text: e.message.Text, SentAt: e.message.SentAt}
}

// after does what follows a commit: whoever listens is woken, and saws that
// were forgotten lose their records too.
func (h *handler) after(ctx context.Context, e event, erase []string) {
	h.wake(e.conversation)
	for _, saw := range erase {
		if saw == "" {
			continue
		}
		if err := h.store.Erase(ctx, store.Scope{Shop: e.shop, Saw: saw}); err != nil {
			// A tombstone stands in its place; the next message of the shop
			// comes by here again.
			h.log.Error("a saw could not be erased yet", "shop", e.shop, "error", err)
		}
	}
}

// storeProblem words an error of the store for the client. A nil stays nil.
func storeProblem(err error) error {
	var p *problem
	var moving *movingError
	switch {
	case err == nil:
		return nil
	case errors.As(err, &p):
		return p
	case errors.As(err, &moving), errors.Is(err, errStranger), errors.Is(err, errElsewhere), errors.Is(err, errShut):
		return err // for whoever knows the way
	case errors.Is(err, store.ErrUnavailable), errors.Is(err, context.DeadlineExceeded), errors.Is(err, context.Canceled),
		errors.Is(err, store.ErrNewer): // a replica of the later version can answer
		return unavailable(err)
	case errors.Is(err, store.ErrFull):
		return full(err)
	}
	return internal(err)
}
