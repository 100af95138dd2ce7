// Package sms is the channel of the telephone network, through a gateway on
// this machine: Kannel. The gateway calls us for each text that comes in and
// for each report on one that went out; we call its sendsms service. It signs
// nothing, so the address that it calls holds a secret, and the two belong on
// one machine or in one closed network.
package sms

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"net/url"
	"strings"
	"time"

	"shimwright/bot/channel"
	"shimwright/bot/channel/sms/gsm7"
	"shimwright/bot/channel/wire"
)

// Name is the channel's name.
const Name = "sms"

// Options configure the channel.
type Options struct {
	Gateway  string // the gateway's sendsms address, e.g. http://127.0.0.1:13013/cgi-bin/sendsms
	User     string // of the gateway's sendsms-user
	Password string
	From     string // our number or short code; "": the gateway's global-sender
	Own      string // where the gateway reaches this channel, e.g. http://127.0.0.1:8080/v1/channels/sms
	Secret   string // part of the address that the gateway calls; at least 16 characters
	Region   string // of numbers that come without a country code, e.g. DE; "": none do
	Parts    int    // the gateway's max-messages: parts of one message; 0: 6
	Now      func() time.Time
}

// DefaultParts is the most parts of one message, unless the gateway is set up
// otherwise.
const DefaultParts = 6

// Channel implements channel.Channel.
type Channel struct {
	opt     Options
	wire    *wire.Client
	secrets func() Options // kept where no verb of fmt looks
}

// New checks the options. Its error never holds a secret.
func New(o Options) (*Channel, error) {
	switch {
	case o.Now == nil:
		return nil, errors.New("sms: no clock")
	case !whole(o.Gateway):
		return nil, errors.New("the gateway's address must be that of its sendsms service, like http://127.0.0.1:13013/cgi-bin/sendsms")
	case !whole(o.Own):
		return nil, errors.New("the address where the gateway reaches this program must be a whole one, like http://127.0.0.1:8080/v1/channels/sms")
	case o.User == "" || o.Password == "":
		return nil, errors.New("the gateway's user and password for sendsms are missing")
	case len(o.Secret) < 16:
		return nil, errors.New("the secret that the gateway puts into its calls must have at least 16 characters; make one with: openssl rand -hex 16")
	case o.Region != "" && !knownRegion(o.Region):
		return nil, fmt.Errorf("the region %q is not a country code of two letters, like DE or US", o.Region)
	case o.Parts < 0 || o.Parts > 255:
		return nil, errors.New("a message has from 1 to 255 parts")
	}
	if o.Parts == 0 {
		o.Parts = DefaultParts
	}
	o.Own = strings.TrimSuffix(o.Own, "/")
	c := &Channel{opt: o, wire: wire.New(o.Now)}
	kept := Options{User: o.User, Password: o.Password, Secret: o.Secret}
	c.secrets = func() Options { return kept }
	c.opt.User, c.opt.Password, c.opt.Secret = "", "", ""
	return c, nil
}

func whole(s string) bool {
	u, err := url.Parse(s)
	return err == nil && (u.Scheme == "http" || u.Scheme == "https") && u.Host != "" && u.User == nil
}

// Close drops idle connections.
func (c *Channel) Close() error {
	c.wire.Close()
	return nil
}

// Name implements channel.Channel.
func (c *Channel) Name() string { return Name }

// Limits implements channel.Channel.
func (c *Channel) Limits() channel.Limits {
	return channel.Limits{
		Segment:   160,
		Alphabet:  channel.GSM7,
		OneMove:   true,
		Reports:   true,
		Telephone: true,
	}
}

// Parts is how many parts a message takes, as the person gets it.
func (c *Channel) Parts(m channel.Message) int {
	n := 0
	for _, p := range c.pieces(m) {
		n += gsm7.Measure(p, gsm7.Ref8).Parts
	}
	return n
}

// sign proves that a reference is ours, so that the address for reports need
// not hold the secret itself: it passes through the gateway's logs.
func (c *Channel) sign(ref string) string {
	h := hmac.New(sha256.New, []byte(c.secrets().Secret))
	h.Write([]byte("report " + ref))
	return hex.EncodeToString(h.Sum(nil)[:16])
}
