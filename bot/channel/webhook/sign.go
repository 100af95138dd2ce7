package webhook

import (
	"encoding/base64"
	"errors"
	"fmt"
	"net/http"
	"strconv"
	"strings"
	"time"

	standardwebhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"
)

// Tolerance is how far the timestamp of a signed request may be from its
// arrival, either way, as the Standard Webhooks specification advises.
const Tolerance = 5 * time.Minute

// Prefix marks a secret of the Standard Webhooks specification.
const Prefix = "whsec_"

// ErrSignature refuses a request. It says the same whatever was wrong, so that
// nothing can be learnt by trying.
var ErrSignature = errors.New("the signature is missing, wrong or older than five minutes; " +
	"sign id.timestamp.body as the Standard Webhooks specification describes")

// Keys are the shared secrets: the first signs, all verify, so that one can be
// replaced by another without a gap. They do not print: each is kept in a
// function, where no verb of fmt looks, not even from within another struct.
type Keys struct {
	hooks []func() *standardwebhooks.Webhook
}

// ParseKeys reads secrets of the form whsec_<base64 of 24 to 64 bytes>. An
// error names the place of the faulty one in the list, never the secret.
func ParseKeys(secrets ...string) (Keys, error) {
	var k Keys
	for i, s := range secrets {
		raw, ok := strings.CutPrefix(s, Prefix)
		key, err := base64.StdEncoding.DecodeString(raw)
		if !ok || err != nil || len(key) < 24 || len(key) > 64 {
			return Keys{}, fmt.Errorf("secret %d of %d is not whsec_ followed by base64 of 24 to 64 bytes; "+
				"make one with: printf 'whsec_%%s\\n' \"$(head -c 32 /dev/urandom | base64)\"", i+1, len(secrets))
		}
		h, err := standardwebhooks.NewWebhookRaw(key)
		if err != nil {
			return Keys{}, fmt.Errorf("secret %d of %d cannot be used", i+1, len(secrets))
		}
		k.hooks = append(k.hooks, func() *standardwebhooks.Webhook { return h })
	}
	return k, nil
}

// Len is the number of secrets.
func (k Keys) Len() int { return len(k.hooks) }

func (k Keys) String() string   { return fmt.Sprintf("%d secrets", len(k.hooks)) }
func (k Keys) GoString() string { return k.String() }

// Format keeps every verb of fmt from looking inside.
func (k Keys) Format(f fmt.State, _ rune) { _, _ = f.Write([]byte(k.String())) }

// Sign sets the three header fields over id, time and body. Every secret gives
// a signature, so that a receiver may hold the old or the new one.
func (k Keys) Sign(h http.Header, id string, at time.Time, body []byte) error {
	if len(k.hooks) == 0 {
		return errors.New("webhook: no secret to sign with")
	}
	var all []string
	for _, w := range k.hooks {
		s, err := w().Sign(id, at, body)
		if err != nil {
			return errors.New("webhook: signing failed")
		}
		all = append(all, s)
	}
	h.Set(standardwebhooks.HeaderWebhookID, id)
	h.Set(standardwebhooks.HeaderWebhookTimestamp, strconv.FormatInt(at.Unix(), 10))
	h.Set(standardwebhooks.HeaderWebhookSignature, strings.Join(all, " "))
	return nil
}

// Verify checks the signature of a request that arrived at a time, over the
// bytes of its body as they came (none for a GET). It returns nil or
// ErrSignature.
func (k Keys) Verify(h http.Header, body []byte, at time.Time) error {
	sec, err := strconv.ParseInt(h.Get(standardwebhooks.HeaderWebhookTimestamp), 10, 64)
	if err != nil {
		return ErrSignature
	}
	if d := at.Sub(time.Unix(sec, 0)); d > Tolerance || d < -Tolerance {
		return ErrSignature
	}
	for _, w := range k.hooks {
		if w().VerifyIgnoringTimestamp(body, h) == nil {
			return nil
		}
	}
	return ErrSignature
}
