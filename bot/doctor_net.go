package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io"
	"net"
	"net/http"
	"net/url"
	"strings"
	"time"
)

// What the doctor calls: the service itself, and what the settings lead to.

// certificateDays is how long before its end a certificate is worth a look.
const certificateDays = 14

// call makes one request and returns the answer with the beginning of its
// body. Its error does not show the address, which may hold a secret.
func call(ctx context.Context, method, address string, edit func(*http.Request)) (*http.Response, []byte, error) {
	ctx, cancel := context.WithTimeout(ctx, 2*aliveTime)
	defer cancel()
	r, err := http.NewRequestWithContext(ctx, method, address, nil)
	if err != nil {
		return nil, nil, errors.New("the address cannot be called")
	}
	if edit != nil {
		edit(r)
	}
	client := directClient()
	defer client.CloseIdleConnections()
	res, err := client.Do(r)
	var wrapped *url.Error
	if errors.As(err, &wrapped) {
		err = wrapped.Err
	}
	if err != nil {
		return nil, nil, err
	}
	defer res.Body.Close()
	body, _ := io.ReadAll(io.LimitReader(res.Body, maxBody))
	return res, body, nil
}

// service asks the running service what it lacks, and reports whether one runs.
func (v *visit) service(ctx context.Context) bool {
	const part = "service"
	at := browserURL(net.TCPAddrFromAddrPort(v.cfg.Listen))
	if running, err := findDesk(v.cfg.Data); err == nil {
		at = browserURL(running.address())
	}
	if strings.HasSuffix(at, ":0") {
		v.say(fine, part, "none runs")
		return false
	}
	res, body, err := call(ctx, http.MethodGet, at+"/readyz", nil)
	switch {
	case err != nil:
		v.door(part, at)
		return false
	case res.StatusCode == http.StatusOK && bytes.Contains(body, []byte(`"status":"ready"`)):
		v.say(fine, part, "ready on %s", at)
		return true
	}
	var p struct {
		Detail  string   `json:"detail"`
		Missing []string `json:"missing"`
	}
	if json.Unmarshal(body, &p) != nil || p.Detail == "" {
		v.say(fault, part, "something else answers on %s; set SHIMWRIGHT_LISTEN to another port", at)
		return false
	}
	v.say(fault, part, "it is not ready, for want of %s: %s", strings.Join(p.Missing, ", "), p.Detail)
	return true
}

// door looks whether a service that does not run could listen.
func (v *visit) door(part, at string) {
	l, err := listen(v.cfg.Listen)
	if err != nil {
		v.say(fault, part, "none runs, and none could: %v", err)
		return
	}
	_ = l.Close()
	v.say(fine, part, "none runs on %s", at)
}

// public looks at the service from outside: through the proxy, with its
// certificate, under its name.
func (v *visit) public(ctx context.Context, running bool) {
	const part = "public address"
	base := strings.TrimSuffix(v.cfg.PublicURL.String(), "/")
	res, body, err := call(ctx, http.MethodGet, base+"/healthz", nil)
	switch {
	case err != nil:
		v.say(fault, part, "%s cannot be called: %v; check its name, its proxy and its certificate", base, err)
		return
	case res.StatusCode/100 == 3:
		v.say(fault, part, "%s leads elsewhere (status %d); set SHIMWRIGHT_PUBLIC_URL to where it leads", base, res.StatusCode)
		return
	case res.StatusCode == http.StatusBadGateway && !running:
		v.say(look, part, "the proxy answers; start the service and ask again")
		return
	case res.StatusCode != http.StatusOK || !bytes.Contains(body, []byte(`"status":"ok"`)):
		v.say(fault, part, "something else answers at %s (status %d); lead the proxy to %s", base, res.StatusCode, v.cfg.Listen)
		return
	}
	if res.TLS != nil && len(res.TLS.PeerCertificates) > 0 {
		end := res.TLS.PeerCertificates[0].NotAfter
		if left := int(end.Sub(v.now) / (24 * time.Hour)); left < certificateDays {
			v.say(look, part, "its certificate ends in %s; renew it", some(left, "day"))
		}
	}
	v.stranger(ctx, part, base)
}

// stranger asks for something that nobody may have without a signature or a
// paired device.
func (v *visit) stranger(ctx context.Context, part, base string) {
	res, _, err := call(ctx, http.MethodGet, base+"/v1/openapi.yaml", nil)
	switch {
	case err != nil:
		v.say(fault, part, "it answers once and then fails: %v", err)
	case res.StatusCode == http.StatusUnauthorized:
		v.say(fine, part, "%s leads here, and lets no stranger in", base)
	case res.StatusCode == http.StatusMisdirectedRequest:
		v.say(fault, part, "the proxy passes requests on under a name of its own; let it keep the Host header (nginx: proxy_set_header Host $host)")
	case res.StatusCode == http.StatusOK:
		v.say(fault, part, "whoever calls %s is taken for the owner: set SHIMWRIGHT_LOCAL_OWNER=off", base)
	default:
		v.say(look, part, "a stranger gets status %d where 401 is expected; look at what the proxy changes", res.StatusCode)
	}
}

// callback looks whether something answers there. OPTIONS brings no message.
func (v *visit) callback(ctx context.Context) {
	const part = "callback"
	res, _, err := call(ctx, http.MethodOptions, v.cfg.CallbackURL.String(), nil)
	switch {
	case err != nil:
		v.say(fault, part, "it cannot be called (%v), so reminders wait; check SHIMWRIGHT_CALLBACK_URL", plainly(err))
	case res.StatusCode/100 == 3:
		v.say(fault, part, "it leads elsewhere (status %d), which is not followed; set SHIMWRIGHT_CALLBACK_URL to where it leads", res.StatusCode)
	case res.StatusCode >= 500:
		v.say(look, part, "it answers with status %d", res.StatusCode)
	default:
		v.say(fine, part, "it answers")
	}
}

// gateway looks whether the text gateway listens. A call of its own would need
// a text to send.
func (v *visit) gateway(ctx context.Context) {
	const part = "text gateway"
	u, err := url.Parse(v.cfg.SMS.Gateway)
	if err != nil {
		v.say(fault, part, "SHIMWRIGHT_SMS_GATEWAY cannot be read")
		return
	}
	port := u.Port()
	if port == "" {
		port = map[string]string{"http": "80", "https": "443"}[u.Scheme]
	}
	c, err := (&net.Dialer{Timeout: aliveTime}).DialContext(ctx, "tcp", net.JoinHostPort(u.Hostname(), port))
	if err != nil {
		v.say(fault, part, "it cannot be reached (%v), so texts wait; start it, or check SHIMWRIGHT_SMS_GATEWAY", plainly(err))
		return
	}
	_ = c.Close()
	v.say(fine, part, "it listens; send yourself a text to see it work")
	if len(v.cfg.SMS.People) == 0 {
		v.say(look, part, "SHIMWRIGHT_SMS_PEOPLE names nobody, so every text gets the sentence for strangers")
	}
}

// homeserver asks who the service is there: the token and the name belong
// together (Matrix client-server API, GET /account/whoami).
func (v *visit) homeserver(ctx context.Context) {
	const part = "homeserver"
	base := strings.TrimSuffix(v.cfg.Matrix.Homeserver, "/")
	res, body, err := call(ctx, http.MethodGet, base+"/_matrix/client/v3/account/whoami", func(r *http.Request) {
		r.Header.Set("Authorization", "Bearer "+v.cfg.Matrix.ASToken.Reveal())
	})
	if err != nil {
		v.say(fault, part, "it cannot be called (%v); check SHIMWRIGHT_MATRIX_HOMESERVER", plainly(err))
		return
	}
	var who struct {
		User string `json:"user_id"`
	}
	_ = json.Unmarshal(body, &who)
	switch {
	case res.StatusCode == http.StatusUnauthorized, res.StatusCode == http.StatusForbidden:
		v.say(fault, part, "it does not know SHIMWRIGHT_MATRIX_AS_TOKEN: give it the registration file (bot matrix) and restart it")
	case res.StatusCode != http.StatusOK || who.User == "":
		v.say(fault, part, "no Matrix homeserver answers there (status %d); check SHIMWRIGHT_MATRIX_HOMESERVER", res.StatusCode)
	case who.User != v.cfg.Matrix.User:
		v.say(fault, part, "there the service is %s; set SHIMWRIGHT_MATRIX_USER to that", who.User)
	default:
		v.say(fine, part, "it knows the service as %s", who.User)
	}
	if len(v.cfg.Matrix.People) == 0 {
		v.say(look, part, "SHIMWRIGHT_MATRIX_PEOPLE names nobody, so everybody gets the sentence for strangers")
	}
}

// plainly is a network error without the address that was dialled.
func plainly(err error) error {
	var op *net.OpError
	if errors.As(err, &op) && op.Err != nil {
		return op.Err
	}
	return err
}
