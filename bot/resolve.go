package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"shimwright/bot/channel/page"
	"shimwright/bot/channel/webhook"
	"shimwright/dialog"
	"shimwright/store"
)

// The shop and the person of a machine that nobody has set up otherwise.
const (
	homeShop  = "home"
	homeOwner = "owner"
)

// caller is who makes a request, as its credentials say.
type caller struct {
	kind   callerKind
	shop   string // of a local or paired browser; a program speaks for any
	device string // hash of the token of a paired browser
	lang   string // language that a browser asks for, where the service has it
}

type callerKind int

// The kinds of caller; the note of a move keeps their numbers.
const (
	local     callerKind = iota // a browser or terminal on this machine, without pairing
	paired                      // a browser with a device cookie
	program                     // a program that signs
	messenger                   // a person on a network of messages
)

// channelName is the channel over which the caller is spoken with.
func (c caller) channelName() string {
	if c.kind == program {
		return webhook.Name
	}
	return page.Name
}

// errRevoked: the device was revoked, or its person removed.
var errRevoked = errors.New("this device is no longer paired")

// directory finds the shop that something belongs to.
type directory struct {
	store store.Store
	newID func() string
}

// conversationAddress is the address of a program's conversation.
func conversationAddress(conversation string) string { return webhook.Name + ":" + conversation }

// deviceAddress and linkAddress are those of a paired browser and of a pairing
// link, by the hash of their tokens.
func deviceAddress(hash string) string { return "device:" + hash }
func linkAddress(hash string) string   { return "pair:" + hash }

// find returns the shop of a caller's conversation; store.ErrNotFound when a
// program names one that does not exist.
func (d directory) find(ctx context.Context, c caller, conversation string) (string, error) {
	if c.kind != program {
		return c.shop, nil
	}
	return d.store.Resolve(ctx, conversationAddress(conversation))
}

// found is find for writing: a program's unknown conversation gets a shop of
// its own. The address points to the new shop before anything is in it, so a
// crash in between leaves an empty shop that the next attempt finds and fills.
func (d directory) found(ctx context.Context, c caller, conversation string) (string, error) {
	for range 3 {
		shop, err := d.find(ctx, c, conversation)
		if !errors.Is(err, store.ErrNotFound) {
			return shop, err
		}
		shop = "s" + d.newID()
		err = d.store.Point(ctx, conversationAddress(conversation), "", shop)
		if !errors.Is(err, store.ErrStale) {
			return shop, err
		}
		// Another replica was first; look again.
	}
	return "", fmt.Errorf("%w: the shop of a conversation kept changing", store.ErrUnavailable)
}

// newcomers makes people who are new to a shop.
type newcomers struct {
	newID func() string
}

// owner is the owner of this machine's own shop.
func (n newcomers) owner() dialog.Person {
	return dialog.Person{ID: homeOwner, Role: dialog.Owner}
}

func (n newcomers) person(name string, role dialog.Role) dialog.Person {
	return dialog.Person{ID: "p" + n.newID(), Name: name, Role: role}
}

// speaker is who speaks, as far as it is known before the people of the shop
// are loaded.
type speaker struct {
	kind         callerKind
	channel      string // messenger: name of the network's channel
	device       string // paired: hash of the token
	sender       string // program: as the program names them; messenger: their address
	conversation string
	code         string // hash of the code that they bring, "" where they bring none
	letIn        bool   // messenger: the settings let them into this shop
	// brings is the paired browser that moves into this shop with the code.
	brings *dialog.Device
}

// channelName is the channel over which the speaker is spoken with.
func (s speaker) channelName() string {
	if s.kind == messenger {
		return s.channel
	}
	return caller{kind: s.kind}.channelName()
}

// present is the people of a shop with who speaks in them.
type present struct {
	people  dialog.People
	id      string // of who speaks
	came    string // how they came in with this very message, "" where they were known
	changed bool
	added   bool // they were nobody before
	first   bool // they never spoke here before
}

// in returns the people of a shop with the speaker in them. The people given are
// not changed.
func (s speaker) in(p dialog.People, n newcomers, now time.Time) (present, error) {
	p.Persons = slices.Clone(p.Persons)
	before := len(p.Persons)
	i, came, changed, err := s.find(&p, n, now)
	if err != nil {
		return present{}, err
	}
	first := len(p.Persons[i].Addresses) == 0
	if s.reach(&p.Persons[i], now) {
		changed = true
	}
	return present{p, p.Persons[i].ID, came, changed, len(p.Persons) > before, first}, nil
}

// find returns the index of the speaker in p, who is added where that is how
// people come in: the owner of this machine, whom a program speaks for, and
// whom the settings let in from a network, and whoever brings a code.
func (s speaker) find(p *dialog.People, n newcomers, now time.Time) (i int, came string, changed bool, err error) {
	switch s.kind {
	case local:
		self := p.Self(homeOwner)
		i = slices.IndexFunc(p.Persons, func(q dialog.Person) bool { return q.ID == self })
		if i >= 0 {
			return i, "", false, nil
		}
		p.Persons = append(p.Persons, n.owner())
	case paired:
		i = slices.IndexFunc(p.Persons, func(q dialog.Person) bool {
			return !q.Removed && slices.ContainsFunc(q.Devices, func(d dialog.Device) bool {
				return d.Hash == s.device && !d.Revoked
			})
		})
		if i >= 0 {
			return i, "", false, nil
		}
		if s.brings == nil {
			return 0, "", false, errRevoked
		}
		if i, came = s.admit(p, n, now); came == "" {
			return 0, "", false, errRevoked
		}
		p.Persons[i].Devices = append(slices.Clone(p.Persons[i].Devices), *s.brings)
		return i, came, true, nil
	case program:
		i = slices.IndexFunc(p.Persons, func(q dialog.Person) bool { return slices.ContainsFunc(q.Addresses, s.writesFrom) })
		if i >= 0 && !p.Persons[i].Removed {
			return i, "", false, nil
		}
		if i, came := s.admit(p, n, now); came != "" {
			return i, came, true, nil
		}
		if i >= 0 {
			return i, "", false, nil // out, and told so
		}
		// The first one to speak owns the shop; whoever the program adds
		// later may set up and measure.
		role := dialog.Setter
		if len(p.Persons) == 0 {
			role = dialog.Owner
		}
		p.Persons = append(p.Persons, n.person(s.sender, role))
	case messenger:
		// A person is who they are in every room of a network.
		i = slices.IndexFunc(p.Persons, func(q dialog.Person) bool { return slices.ContainsFunc(q.Addresses, s.writesFrom) })
		shut := i >= 0 && (p.Persons[i].Removed || slices.ContainsFunc(p.Persons[i].Addresses, func(a dialog.Address) bool { return s.writesFrom(a) && a.Out }))
		if i >= 0 && !shut {
			return i, "", false, nil
		}
		if i, came := s.admit(p, n, now); came != "" {
			return i, came, true, nil
		}
		if shut || !s.letIn {
			return 0, "", false, errStranger
		}
		p.Persons = append(p.Persons, n.person("", dialog.Setter))
	}
	return len(p.Persons) - 1, "", true, nil
}

// writesFrom reports whether it is the speaker's address: on a network in every
// room, with a program in the one conversation.
func (s speaker) writesFrom(a dialog.Address) bool {
	return a.Channel == s.channelName() && a.To == s.sender && (s.kind != program || a.Conversation == s.conversation)
}

// admit lets the speaker in by the code that they bring; came is "" where it
// opens nothing. What was shut out before is theirs again.
func (s speaker) admit(p *dialog.People, n newcomers, now time.Time) (i int, came string) {
	if s.code == "" {
		return 0, ""
	}
	admitted, id, came := p.Admit(s.code, n.person("", "").ID, now)
	if came == "" {
		return 0, ""
	}
	for j := range admitted.Persons {
		q := &admitted.Persons[j]
		q.Addresses = slices.DeleteFunc(slices.Clone(q.Addresses), s.writesFrom)
		if q.ID == id {
			i = j
		}
	}
	*p = admitted
	return i, came
}

// to is the speaker's address on the channel.
func (s speaker) to() string {
	if s.kind == program || s.kind == messenger {
		return s.sender
	}
	return s.conversation
}

// maxAddresses bounds how many addresses of one channel are kept of a person;
// a browser that forgets its conversation makes a new one each time.
const maxAddresses = 8

// reach notes where the person was heard last: at the end of the list. The day
// is enough, so that most messages leave the people unchanged.
func (s speaker) reach(q *dialog.Person, now time.Time) bool {
	channel := s.channelName()
	day := now.UTC().Truncate(24 * time.Hour)
	at := slices.IndexFunc(q.Addresses, func(a dialog.Address) bool {
		return a.Channel == channel && a.Conversation == s.conversation && a.To == s.to()
	})
	if at >= 0 && at == len(q.Addresses)-1 && q.Addresses[at].Used.Equal(day) {
		return false
	}
	list := slices.Clone(q.Addresses)
	if at >= 0 {
		list = slices.Delete(list, at, at+1)
	}
	list = append(list, dialog.Address{Channel: channel, To: s.to(), Conversation: s.conversation, Used: day})
	extra := -maxAddresses
	for _, a := range list {
		if a.Channel == channel {
			extra++
		}
	}
	list = slices.DeleteFunc(list, func(a dialog.Address) bool {
		if a.Channel == channel && extra > 0 {
			extra--
			return true
		}
		return false
	})
	q.Addresses = list
	return true
}
