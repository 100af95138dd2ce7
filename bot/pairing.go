package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"shimwright/dialog"
	"shimwright/store"
)

// linkLife is how long a pairing link can be used, once.
const linkLife = 15 * time.Minute

// linkMark sets the hash of a pairing link apart from that of the short codes
// by which people link other channels: a short code never opens a browser.
const linkMark = "pair:"

// maxLabel bounds the name of a device, in bytes.
const maxLabel = 80

// pairing gives out one-time links and takes them in. All of it is kept in the
// people of the shop, so that a restart or another replica changes nothing.
type pairing struct {
	store  store.Store
	now    func() time.Time
	people newcomers
	token  func() string
}

// invitation says whom a link is for: the shop's owner, or with a name that
// person, who is added where they are new.
type invitation struct {
	Shop string      `json:"shop"`
	Name string      `json:"name"`
	Role dialog.Role `json:"role"` // of a new person
}

// link is a pairing link as it was given out.
type link struct {
	Token   string    `json:"token"`
	Person  string    `json:"person"` // their name, or "the owner"
	Expires time.Time `json:"expires"`
}

// device is a paired browser as it is listed.
type device struct {
	ID      string    `json:"id"` // enough of its hash to tell it apart
	Person  string    `json:"person"`
	Label   string    `json:"label"`
	Created time.Time `json:"created"`
	Revoked bool      `json:"revoked"`
}

// errSpent: the link was used, is too old, or never existed.
var errSpent = errors.New("the link was used already, or is too old")

// invite makes a link. Its address points to the shop before the people know
// of it; a crash in between leaves a link that nobody has and nothing accepts.
func (p *pairing) invite(ctx context.Context, in invitation) (link, error) {
	if in.Shop == "" {
		in.Shop = homeShop
	}
	l := link{Token: p.token(), Expires: p.now().Add(linkLife)}
	hash := tokenHash(l.Token)
	if err := p.store.Point(ctx, linkAddress(hash), "", in.Shop); err != nil {
		return link{}, err
	}
	err := p.change(ctx, in.Shop, func(people *dialog.People) error {
		i, err := p.invited(people, in)
		if err != nil {
			return err
		}
		q := &people.Persons[i]
		q.Links = slices.DeleteFunc(slices.Clone(q.Links), func(c dialog.LinkCode) bool { return !p.now().Before(c.Expires) })
		q.Links = append(q.Links, dialog.LinkCode{Hash: linkMark + hash, Expires: l.Expires})
		l.Person = nameOf(*q)
		return nil
	})
	return l, err
}

// invited returns the index of the person whom an invitation is for.
func (p *pairing) invited(people *dialog.People, in invitation) (int, error) {
	switch in.Role {
	case "", dialog.Owner, dialog.Setter, dialog.Measure:
	default:
		return 0, fmt.Errorf("there is no role %q; give owner, setter or measure", in.Role)
	}
	i := slices.IndexFunc(people.Persons, func(q dialog.Person) bool {
		if in.Name == "" {
			return q.Role == dialog.Owner && !q.Removed
		}
		return strings.EqualFold(q.Name, in.Name) && !q.Removed
	})
	if i >= 0 {
		if q := people.Persons[i]; in.Role != "" && in.Role != q.Role {
			return 0, fmt.Errorf("%s is known already, with the role %s, and a link does not change that; leave the role out", nameOf(q), q.Role)
		}
		return i, nil
	}
	who := p.people.owner()
	if in.Name != "" {
		who = p.people.person(in.Name, in.Role)
	}
	if who.Role == "" {
		who.Role = dialog.Setter
	}
	people.Persons = append(people.Persons, who)
	return len(people.Persons) - 1, nil
}

// peek returns for whom a link is, without using it.
func (p *pairing) peek(ctx context.Context, token string) (person dialog.Person, err error) {
	hash := tokenHash(token)
	shop, err := p.store.Resolve(ctx, linkAddress(hash))
	if errors.Is(err, store.ErrNotFound) {
		return person, errSpent
	}
	if err != nil {
		return person, err
	}
	people, _, err := loadPeople(ctx, p.store, shop)
	if err != nil {
		return person, err
	}
	for _, q := range people.Persons {
		if p.open(q, hash) >= 0 {
			return q, nil
		}
	}
	return person, errSpent
}

// accept uses a link up and returns the token of the device that is paired by
// it. The link goes and the device comes in one commit; the directory is put
// right around it, so that a crash leaves either a link that still works or a
// device that does.
func (p *pairing) accept(ctx context.Context, token, label string) (cookie string, err error) {
	hash := tokenHash(token)
	shop, err := p.store.Resolve(ctx, linkAddress(hash))
	if errors.Is(err, store.ErrNotFound) {
		return "", errSpent
	}
	if err != nil {
		return "", err
	}
	cookie = p.token()
	if err := p.store.Point(ctx, deviceAddress(tokenHash(cookie)), "", shop); err != nil {
		return "", err
	}
	err = p.change(ctx, shop, func(people *dialog.People) error {
		for i := range people.Persons {
			q := &people.Persons[i]
			if at := p.open(*q, hash); at >= 0 {
				q.Links = slices.Delete(slices.Clone(q.Links), at, at+1)
				q.Devices = append(slices.Clone(q.Devices),
					dialog.Device{Hash: tokenHash(cookie), Label: deviceLabel(label), Created: p.now()})
				return nil
			}
		}
		return errSpent
	})
	if err != nil {
		_ = p.store.Point(ctx, deviceAddress(tokenHash(cookie)), shop, "")
		return "", err
	}
	_ = p.store.Point(ctx, linkAddress(hash), shop, "") // a leftover would lead nowhere
	return cookie, nil
}

// open returns the index of a person's link with that hash that can be used.
func (p *pairing) open(q dialog.Person, hash string) int {
	if q.Removed {
		return -1
	}
	return slices.IndexFunc(q.Links, func(c dialog.LinkCode) bool {
		return c.Hash == linkMark+hash && p.now().Before(c.Expires)
	})
}

// devices lists the paired browsers of a shop.
func (p *pairing) devices(ctx context.Context, shop string) ([]device, error) {
	people, _, err := loadPeople(ctx, p.store, shop)
	var list []device
	for _, q := range people.Persons {
		for _, d := range q.Devices {
			list = append(list, device{ID: d.Hash[:8], Person: nameOf(q), Label: d.Label, Created: d.Created, Revoked: d.Revoked || q.Removed})
		}
	}
	return list, err
}

// revoke shuts out the device whose id, as listed, is given.
func (p *pairing) revoke(ctx context.Context, shop, id string) error {
	return p.change(ctx, shop, func(people *dialog.People) error {
		for i := range people.Persons {
			q := &people.Persons[i]
			at := slices.IndexFunc(q.Devices, func(d dialog.Device) bool { return len(id) >= 8 && strings.HasPrefix(d.Hash, id) })
			if at >= 0 {
				q.Devices = slices.Clone(q.Devices)
				q.Devices[at].Revoked = true
				return nil
			}
		}
		return fmt.Errorf("there is no device %q; `pair list` shows them", id)
	})
}

// change rewrites the people of a shop, afresh when somebody else did so
// meanwhile.
func (p *pairing) change(ctx context.Context, shop string, edit func(*dialog.People) error) error {
	for range maxTries {
		people, version, err := loadPeople(ctx, p.store, shop)
		if err != nil {
			return err
		}
		people.Schema = 1
		people.Persons = slices.Clone(people.Persons)
		if err := edit(&people); err != nil {
			return err
		}
		err = p.store.Commit(ctx, store.Commit{Shop: shop, At: p.now(),
			Put: []store.Doc{{Kind: store.KindPeople, Version: version, Body: encode(people)}}})
		if !errors.Is(err, store.ErrStale) {
			return err
		}
	}
	return fmt.Errorf("%w: the people of the shop kept changing", store.ErrUnavailable)
}

// nameOf is how a person is named to an operator.
func nameOf(q dialog.Person) string {
	switch {
	case q.Name != "":
		return q.Name
	case q.Role == dialog.Owner:
		return "the owner"
	}
	return "a person without a name"
}

// deviceLabel makes a name for a device of its User-Agent: the system that is
// said in the first brackets.
func deviceLabel(agent string) string {
	if _, rest, ok := strings.Cut(agent, "("); ok {
		agent, _, _ = strings.Cut(rest, ")")
	}
	agent = strings.Map(func(r rune) rune {
		if control(r) {
			return -1
		}
		return r
	}, agent)
	if len(agent) > maxLabel {
		agent = strings.ToValidUTF8(agent[:maxLabel], "")
	}
	return agent
}
