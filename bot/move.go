package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"time"

	"shimwright/bot/channel"
	"shimwright/bot/channel/page"
	"shimwright/bot/channel/webhook"
	"shimwright/dialog"
	"shimwright/store"
)

// A code may lead to another shop than the one where its sender is: from the
// hall, where strangers are answered, or from a shop that they leave for it.
// Taking them there is a move of several steps, each of which may be the last
// before a crash:
//
//	0  note in the old place that the move has begun; from here on nothing else
//	   of theirs is handled there
//	1  commit in the new shop: the person, the code used up, the message handled,
//	   and with it what was handled before, so that nothing has its effect twice
//	2  point the directory to the new shop, if it still points to the old one
//	3  a tombstone in the old place instead of the note
//	4  the note that came along into the new shop goes too
//
// Whatever comes next from there, or the same message brought again, finds a
// note, in the one place or the other, and goes on. Each step done again changes
// nothing.

// passage is a move that has begun.
type passage struct {
	From    string         `json:"from"` // hallShop for a stranger
	To      string         `json:"to"`
	Door    string         `json:"door"`         // what the directory knows the sender by
	At      string         `json:"at,omitempty"` // where the door led when it began
	Code    string         `json:"code"`         // its hash
	Person  string         `json:"person,omitempty"`
	Channel string         `json:"channel"`
	Sender  string         `json:"sender"`
	Kind    callerKind     `json:"kind"`
	Lang    string         `json:"lang,omitempty"`
	Chosen  bool           `json:"chosen,omitempty"` // Lang is what they chose where they were
	Device  *dialog.Device `json:"device,omitempty"` // of a paired browser
	Message storedWords    `json:"message"`
}

// storedWords is a message as a note keeps it.
type storedWords struct {
	ID           string    `json:"id"`
	Conversation string    `json:"conversation"`
	Text         string    `json:"text"`
	SentAt       time.Time `json:"sent_at,omitzero"`
}

// How often codes are tried, at most; a code is one of 30 to the power of 8.
const (
	codeTries    = 6                // at once, by one sender
	codeEvery    = 10 * time.Minute // one more
	networkTries = 60               // at once, by all of a network together
	networkEvery = 10 * time.Second // one more
	strangers    = 30               // answered at once, of one network
	strangerRate = 1.0 / 60         // more, a second
	maxHops      = 4
)

var (
	// errStranger: nobody let the sender in, or they were shut out.
	errStranger = errors.New("the sender is not let in")
	// errElsewhere: the conversation has moved to another shop.
	errElsewhere = errors.New("the conversation is in another shop")
	// errShut: the code of a move opens nothing any more.
	errShut = errors.New("the code is not open")
)

// movingError: a move of the sender has begun here.
type movingError struct{ move passage }

func (e *movingError) Error() string { return "a move to another shop has begun" }

// mover hands messages to the shop where their sender is, and takes people from
// one to another.
type mover struct {
	store   store.Store
	handler *handler
	lanes   *lanes
	codes   *limiter // tries of a code, by door
	crowd   *limiter // and by network
	now     func() time.Time
	log     *slog.Logger
}

func newMover(s store.Store, h *handler, now func() time.Time, log *slog.Logger) *mover {
	return &mover{store: s, handler: h, lanes: newLanes(), now: now, log: log,
		codes: newLimiter(s, "code", 1/codeEvery.Seconds(), codeTries), crowd: newLimiter(s, "codes", 1/networkEvery.Seconds(), networkTries)}
}

// doorOf is what the directory knows the sender on a network by.
func doorOf(channelName, sender string) string { return channelName + ":" + sender }

// door is what the directory knows the speaker of an event by; "" for a
// browser of this machine, which is nobody else's.
func (e event) door() string {
	switch {
	case e.speaker == nil:
		return ""
	case e.speaker.kind == messenger:
		return doorOf(e.channel, e.speaker.sender)
	case e.speaker.kind == program:
		return conversationAddress(e.conversation)
	case e.speaker.kind == paired:
		return deviceAddress(e.speaker.device)
	}
	return ""
}

// take handles a message in the shop where its sender is, or moves them to the
// one that a code in it leads to.
func (v *mover) take(ctx context.Context, e event) ([]byte, error) {
	hash, to, err := v.codeIn(ctx, e)
	if err != nil {
		return nil, err
	}
	e.speaker.code = hash
	for hop := 0; ; hop++ {
		var stored []byte
		var err error
		switch {
		case to != "" && to != e.shop && e.door() == "":
			e.held = true // this machine's own browser stays in its shop
			stored, err = v.handler.message(ctx, e)
		case to != "" && to != e.shop:
			stored, err = v.begin(ctx, e, to)
		default:
			stored, err = v.handler.message(ctx, e)
		}
		var moving *movingError
		switch {
		case err == nil, hop == maxHops:
			return stored, err
		case errors.As(err, &moving):
			if e.shop, err = v.resume(ctx, moving.move); err != nil {
				return nil, err
			}
		case errors.Is(err, errElsewhere), errors.Is(err, errStranger), errors.Is(err, errRevoked):
			shop, found := v.store.Resolve(ctx, e.door())
			if found != nil || shop == e.shop {
				return nil, err
			}
			e.shop = shop
		default:
			return nil, err
		}
	}
}

// codeIn returns the hash of the code in a message and the shop that it leads
// to, "" where there is none, where nobody knows it, and where too many were
// tried: it all looks the same from outside.
func (v *mover) codeIn(ctx context.Context, e event) (hash, shop string, err error) {
	hash, ok := dialog.Code(e.message.Text)
	if !ok || e.speaker == nil {
		return "", "", nil
	}
	key := e.door()
	if key == "" {
		key = "page:" + e.conversation
	}
	for _, l := range []struct {
		*limiter
		by string
	}{{v.codes, key}, {v.crowd, e.channel}} {
		wait, err := l.take(ctx, l.by, v.now())
		if err != nil {
			return "", "", err
		}
		if wait > 0 {
			v.log.Warn("a code was not looked at: too many were tried", "channel", e.channel)
			return "", "", nil
		}
	}
	shop, err = v.store.Resolve(ctx, joinAddress(hash))
	if errors.Is(err, store.ErrNotFound) {
		return hash, "", nil
	}
	return hash, shop, storeProblem(err)
}

// begin notes a move out of a shop and carries it out. Who cannot leave is told
// so there, as is whoever's code opens nothing.
func (v *mover) begin(ctx context.Context, e event, to string) ([]byte, error) {
	for range maxTries {
		docs, err := v.store.Load(ctx, store.Conversation{Shop: e.shop, ID: e.conversation}, e.message.ID)
		if err != nil {
			return nil, storeProblem(err)
		}
		l, err := v.handler.decode(docs, e)
		if err != nil {
			return nil, storeProblem(err)
		}
		who := known(l.view.People, e)
		if docs.Seen != nil || l.view.People.Gone != "" || pendingMove(l.view.People, e.door()) != nil {
			return v.handler.message(ctx, e)
		}
		if !dialog.MayLeave(l.view.People, l.view.Saws, who, e.speaker.kind == program) {
			e.held = true
			return v.handler.message(ctx, e)
		}
		m := e.moveTo(to)
		m.Person = who
		for _, q := range l.view.People.Persons {
			if q.ID == who && q.Lang != "" {
				m.Lang, m.Chosen = q.Lang, true
			}
			for _, d := range q.Devices {
				if q.ID == who && e.speaker.kind == paired && d.Hash == e.speaker.device {
					m.Device = &d
				}
			}
		}
		if m.At, err = v.store.Resolve(ctx, m.Door); err != nil && !errors.Is(err, store.ErrNotFound) {
			return nil, storeProblem(err)
		}
		people := l.view.People
		people.Schema = 1
		people.Moves = append(slices.Clone(people.Moves), dialog.Move{Door: m.Door, Body: encode(m)})
		err = v.store.Commit(ctx, store.Commit{Shop: e.shop, At: v.now(), Read: reliedOn(docs),
			Put: []store.Doc{{Kind: store.KindPeople, Version: docs.People.Version, Body: encode(people)}}})
		if errors.Is(err, store.ErrStale) {
			continue
		}
		if err != nil {
			return nil, storeProblem(err)
		}
		return nil, &movingError{m}
	}
	return nil, unavailable(errCrush)
}

// moveTo is the move that the code in a message asks for.
func (e event) moveTo(to string) passage {
	return passage{From: e.shop, To: to, Door: e.door(), Code: e.speaker.code, Channel: e.channel, Sender: e.speaker.sender, Kind: e.speaker.kind, Lang: e.lang,
		Message: storedWords{e.message.ID, e.conversation, e.message.Text, e.message.SentAt}}
}

// known returns the id of who speaks, "" for somebody new.
func known(p dialog.People, e event) string {
	if e.speaker.kind == paired {
		if i, ok := deviceOwner(p, e.speaker.device); ok {
			return p.Persons[i].ID
		}
		return ""
	}
	for _, q := range p.Persons {
		for _, a := range q.Addresses {
			if !q.Removed && !a.Out && a.Channel == e.channel && a.To == e.speaker.sender &&
				(e.speaker.kind == messenger || a.Conversation == e.conversation) {
				return q.ID
			}
		}
	}
	return ""
}

// pendingMove returns the move of a door that has begun in a shop, or nil.
func pendingMove(p dialog.People, door string) *passage {
	for _, m := range p.Moves {
		var out passage
		if m.Door == door && door != "" && json.Unmarshal(m.Body, &out) == nil {
			return &out
		}
	}
	return nil
}

// resume carries a move through and returns the shop in which its sender then
// is: the old one, where the code has closed meanwhile.
func (v *mover) resume(ctx context.Context, m passage) (shop string, err error) {
	leave, err := v.lanes.enter(ctx, m.Door)
	if err != nil {
		return "", unavailable(err)
	}
	defer leave()
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), handleTime)
	defer cancel()
	err = v.arrive(ctx, m)
	open := err == nil
	if err != nil && !errors.Is(err, errShut) {
		return "", storeProblem(err)
	}
	if open {
		if err := v.point(ctx, m); err != nil {
			return "", storeProblem(err)
		}
	}
	if m.From == hallShop {
		err = v.leaveHall(ctx, m)
	} else {
		err = v.leave(ctx, m, open)
	}
	if err != nil {
		return "", storeProblem(err)
	}
	if !open {
		return m.From, nil
	}
	if err := v.tidy(ctx, m); err != nil {
		return "", storeProblem(err)
	}
	_ = v.store.Point(ctx, joinAddress(m.Code), m.To, "") // a leftover leads nowhere
	return m.To, nil
}

// arrive is the first step: the message is handled in the new shop, and what
// its sender was answered before comes along.
func (v *mover) arrive(ctx context.Context, m passage) error {
	w := m.Message
	e := event{shop: m.To, conversation: w.Conversation, channel: m.Channel, from: m.Sender, lang: m.Lang, moving: &m,
		speaker: &speaker{kind: m.Kind, channel: m.Channel, sender: m.Sender, conversation: w.Conversation, code: m.Code},
		message: posted{ID: w.ID, Conversation: w.Conversation, Sender: m.Sender, Text: w.Text, SentAt: w.SentAt}}
	if m.Device != nil { // what a browser says of its sender counts for nothing
		e.from, e.speaker.device, e.speaker.brings = "", m.Device.Hash, m.Device
	}
	if m.From != hallShop {
		list, err := v.store.Transcript(ctx, store.Conversation{Shop: m.From, ID: w.Conversation}, 0, store.MaxMoved)
		if err != nil {
			return err
		}
		for _, old := range list {
			if old.Inbound.ID != "" && old.Inbound.From == m.Person && m.Person != "" {
				e.moved = append(e.moved, old)
			}
		}
	}
	_, err := v.handler.message(ctx, e)
	return err
}

// point is the second step.
func (v *mover) point(ctx context.Context, m passage) error {
	err := v.store.Point(ctx, m.Door, m.At, m.To)
	if errors.Is(err, store.ErrStale) {
		// Done before; or taken elsewhere since, and that is newer.
		return nil
	}
	return err
}

// leave is the last step in a shop: the note goes, and where the move went
// through, so does the person, or as much of them as was only there.
func (v *mover) leave(ctx context.Context, m passage, gone bool) error {
	for range maxTries {
		people, version, err := loadPeople(ctx, v.store, m.From)
		if err != nil {
			return err
		}
		if pendingMove(people, m.Door) == nil {
			return nil
		}
		people.Moves = noMove(people.Moves, m.Door)
		c := store.Commit{Shop: m.From, At: v.now()}
		if gone {
			docs, err := v.store.Load(ctx, store.Conversation{Shop: m.From, ID: m.Message.Conversation}, "")
			if err != nil {
				return err
			}
			people, c.Forget = without(people, docs.Reminders, m)
		}
		c.Put = []store.Doc{{Kind: store.KindPeople, Version: version, Body: encode(people)}}
		if err = v.store.Commit(ctx, c); !errors.Is(err, store.ErrStale) {
			return err
		}
	}
	return errCrush
}

// tidy is the step after it: the note in the new shop goes.
func (v *mover) tidy(ctx context.Context, m passage) error {
	for range maxTries {
		people, version, err := loadPeople(ctx, v.store, m.To)
		if err != nil || pendingMove(people, m.Door) == nil {
			return err
		}
		people.Moves = noMove(people.Moves, m.Door)
		err = v.store.Commit(ctx, store.Commit{Shop: m.To, At: v.now(),
			Put: []store.Doc{{Kind: store.KindPeople, Version: version, Body: encode(people)}}})
		if !errors.Is(err, store.ErrStale) {
			return err
		}
	}
	return errCrush
}

// errCrush: too many changed the people of a shop at the same time.
var errCrush = fmt.Errorf("%w: the people of the shop kept changing", store.ErrUnavailable)

// noMove is the notes without that of a door.
func noMove(list []dialog.Move, door string) []dialog.Move {
	return slices.DeleteFunc(slices.Clone(list), func(x dialog.Move) bool { return x.Door == door })
}

// without shuts out the door of a move, and the person where they have no other.
func without(people dialog.People, reminders []store.Reminder, m passage) (dialog.People, []string) {
	people.Persons = slices.Clone(people.Persons)
	if m.Kind == program {
		people.Gone = m.To
	}
	for i := range people.Persons {
		q := &people.Persons[i]
		if q.ID != m.Person {
			continue
		}
		q.Addresses = slices.Clone(q.Addresses)
		// Whoever sits at this machine is always its owner.
		left := m.From == homeShop && q.ID == homeOwner
		if m.Device != nil {
			q.Devices = slices.DeleteFunc(slices.Clone(q.Devices), func(d dialog.Device) bool { return d.Hash == m.Device.Hash })
			q.Addresses = slices.DeleteFunc(q.Addresses, func(a dialog.Address) bool {
				return a.Channel == m.Channel && a.Conversation == m.Message.Conversation
			})
		}
		left = left || slices.ContainsFunc(q.Devices, func(d dialog.Device) bool { return !d.Revoked })
		for j, a := range q.Addresses {
			if m.Device == nil && a.Channel == m.Channel && a.To == m.Sender {
				q.Addresses[j].Out = true
			}
			left = left || !q.Addresses[j].Out && (m.Device == nil || a.Channel != page.Name)
		}
		if left {
			return people, nil
		}
		q.Removed, q.Consent, q.Links = true, nil, nil
	}
	var forget []string
	for _, r := range reminders {
		if r.Person == m.Person {
			forget = append(forget, r.ID)
		}
	}
	return people, forget
}

// closeDoors frees what the directory knew a person by on networks of messages.
func closeDoors(ctx context.Context, s store.Store, shop string, list []dialog.Address) error {
	for _, a := range list {
		if a.Channel == page.Name || a.Channel == webhook.Name {
			continue // let in by pairing, and by a program
		}
		if err := s.Point(ctx, doorOf(a.Channel, a.To), shop, ""); err != nil && !errors.Is(err, store.ErrStale) {
			return err
		}
	}
	return nil
}

// channelNames lists the networks of messages, by the names of their channels.
func channelNames(list []channel.Channel) []string {
	names := make([]string, len(list))
	for i, c := range list {
		names[i] = c.Name()
	}
	return names
}
