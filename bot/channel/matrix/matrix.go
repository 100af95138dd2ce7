// Package matrix is the channel of the Matrix network, as an application
// service (Application Service API and Client-Server API v1.11): the
// homeserver brings events by PUT, we answer by its client-server API. The
// calls are few and plain, and each has its own meaning when it fails, so they
// are made here and not through a client library.
package matrix

import (
	"context"
	"errors"
	"net/url"
	"regexp"
	"strings"
	"time"

	"shimwright/bot/channel"
	"shimwright/bot/channel/wire"
)

// Name is the channel's name.
const Name = "matrix"

// Options configure the channel.
type Options struct {
	Homeserver string // address of the homeserver's client-server API, e.g. http://127.0.0.1:8008
	User       string // who we are there, e.g. @shimwright:shop.test
	ASToken    string // by which the homeserver knows us
	HSToken    string // by which we know the homeserver
	// Picture returns the bytes of a picture that goes with a message; nil, or
	// an error, and the message says its address instead.
	Picture func(ctx context.Context, m channel.Media) ([]byte, error)
	Now     func() time.Time
}

// Channel implements channel.Channel.
type Channel struct {
	home    string
	user    string
	tokens  func() (as, hs string) // kept where no verb of fmt looks
	picture func(ctx context.Context, m channel.Media) ([]byte, error)
	wire    *wire.Client
}

// userID is a user of a Matrix server (appendix 4.2.1 of the specification).
var userID = regexp.MustCompile(`^@[a-z0-9._=/+-]+:[A-Za-z0-9.-]+(:[0-9]{1,5})?$`)

// minToken is the shortest token that is taken.
const minToken = 16

// New checks the options. Its error never holds a token.
func New(o Options) (*Channel, error) {
	u, err := url.Parse(o.Homeserver)
	switch {
	case o.Now == nil:
		return nil, errors.New("matrix: no clock")
	case err != nil || u.Scheme != "http" && u.Scheme != "https" || u.Host == "" || u.User != nil:
		return nil, errors.New("the homeserver's address must be a whole one, like http://127.0.0.1:8008")
	case !userID.MatchString(o.User):
		return nil, errors.New("our name on Matrix must be a whole one, like @shimwright:shop.example")
	case len(o.ASToken) < minToken || len(o.HSToken) < minToken || o.ASToken == o.HSToken:
		return nil, errors.New("the two tokens of the registration file must be given, different and of at least 16 characters")
	}
	as, hs := o.ASToken, o.HSToken
	return &Channel{home: strings.TrimSuffix(o.Homeserver, "/"), user: o.User,
		tokens:  func() (string, string) { return as, hs },
		picture: o.Picture, wire: wire.New(o.Now)}, nil
}

// Close drops idle connections.
func (c *Channel) Close() error {
	c.wire.Close()
	return nil
}

// Name implements channel.Channel.
func (c *Channel) Name() string { return Name }

// Limits implements channel.Channel. An event has 65,536 bytes, and ours holds
// its text twice.
func (c *Channel) Limits() channel.Limits {
	return channel.Limits{Characters: 8000, Pictures: true}
}

// Allowed reports whether a user is let in by a list of users (@kim:shop.test)
// and servers (shop.test).
func Allowed(list []string, user string) bool {
	_, server, ok := strings.Cut(user, ":")
	if !ok || !strings.HasPrefix(user, "@") {
		return false
	}
	for _, a := range list {
		if a == user || strings.EqualFold(a, server) {
			return true
		}
	}
	return false
}

// CheckAllowed reports what is wrong with an entry of such a list.
func CheckAllowed(entry string) error {
	if userID.MatchString(entry) || server.MatchString(entry) {
		return nil
	}
	return errors.New("must be a user, like @kim:shop.example, or a whole server, like shop.example")
}

var server = regexp.MustCompile(`^[A-Za-z0-9.-]+(:[0-9]{1,5})?$`)
