// Package wire makes one HTTP attempt to hand a message to a network, and says
// in the terms of package channel what became of it. Every adapter that speaks
// HTTP sends through it, so that a refusal, a pause asked for, a lost answer
// and an answer without an end mean the same for all.
package wire

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"math"
	"net"
	"net/http"
	"net/http/httptrace"
	"net/url"
	"strconv"
	"strings"
	"sync/atomic"
	"time"

	"shimwright/bot/channel"
)

// MaxAnswer is how much of an answer is read, in bytes; a longer one is a
// failed attempt.
const MaxAnswer = 64 << 10

// MaxPause bounds the pause that a network can ask for.
const MaxPause = time.Hour

// Client makes attempts. Its zero value is not usable; see New.
type Client struct {
	http *http.Client
	now  func() time.Time
}

// New returns a client that follows no redirect (a redirect could lead to an
// address that nobody configured), uses no proxy, keeps up to 16 connections a
// host, and reads at most MaxAnswer bytes of an answer. now tells the time for
// a Retry-After that is a date.
func New(now func() time.Time) *Client {
	t := &http.Transport{
		DialContext:            (&net.Dialer{Timeout: 5 * time.Second, KeepAlive: 30 * time.Second}).DialContext,
		TLSHandshakeTimeout:    5 * time.Second,
		ResponseHeaderTimeout:  30 * time.Second,
		MaxConnsPerHost:        16,
		MaxIdleConnsPerHost:    16,
		IdleConnTimeout:        30 * time.Second,
		ForceAttemptHTTP2:      true,
		MaxResponseHeaderBytes: 64 << 10,
	}
	return &Client{
		http: &http.Client{
			Transport:     t,
			CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
		},
		now: now,
	}
}

// Close drops idle connections.
func (c *Client) Close() { c.http.CloseIdleConnections() }

// Answer is what a network answered.
type Answer struct {
	Status int
	Header http.Header
	Body   []byte
}

// Do makes one attempt. An answer of any status below 300 is returned; any
// other outcome is a *channel.SendError. With a status of 300 or more the
// answer is returned beside the error, for a network whose error bodies say
// more. who names the network in the error ("the text gateway").
func (c *Client) Do(ctx context.Context, req *http.Request, who string) (Answer, error) {
	var wrote atomic.Bool
	trace := &httptrace.ClientTrace{WroteRequest: func(i httptrace.WroteRequestInfo) {
		wrote.Store(i.Err == nil)
	}}
	res, err := c.http.Do(req.WithContext(httptrace.WithClientTrace(ctx, trace)))
	if err != nil {
		return Answer{}, &channel.SendError{Temporary: true, Unsure: wrote.Load(), Reason: who + " " + cause(err)}
	}
	defer res.Body.Close()
	a := Answer{Status: res.StatusCode, Header: res.Header}
	body, err := io.ReadAll(io.LimitReader(res.Body, MaxAnswer+1))
	if err != nil {
		return a, &channel.SendError{Temporary: true, Unsure: true, Reason: who + " broke off its answer: " + cause(err)}
	}
	if len(body) > MaxAnswer {
		return a, &channel.SendError{Temporary: true, Unsure: res.StatusCode < 300,
			Reason: fmt.Sprintf("%s answered with more than %d bytes", who, MaxAnswer)}
	}
	a.Body = body
	if res.StatusCode < 300 {
		return a, nil
	}
	return a, c.failure(a, who)
}

// failure turns a status into an error. What a client did wrong stays wrong,
// except where the status says that it is a matter of time; a status that a
// working receiver never gives (a redirect, a 401, a 404) is an operator's
// slip that may be put right, so the message waits rather than dies.
func (c *Client) failure(a Answer, who string) error {
	e := &channel.SendError{Reason: fmt.Sprintf("%s answered with status %d", who, a.Status)}
	switch {
	case a.Status == http.StatusTooManyRequests, a.Status == http.StatusServiceUnavailable:
		e.Temporary, e.After = true, RetryAfter(a.Header.Get("Retry-After"), c.now())
	case a.Status >= 500, a.Status < 400,
		a.Status == http.StatusUnauthorized, a.Status == http.StatusForbidden, a.Status == http.StatusNotFound,
		a.Status == http.StatusProxyAuthRequired, a.Status == http.StatusRequestTimeout,
		a.Status == http.StatusConflict, a.Status == http.StatusTooEarly:
		e.Temporary = true
	}
	if a.Status >= 300 && a.Status < 400 {
		e.Reason += "; redirects are not followed, so set the address that it leads to"
	}
	return e
}

// RetryAfter reads a Retry-After field (RFC 9110, section 10.2.3): seconds or a
// date. What cannot be read, or lies in the past, is 0; the rest is bounded by
// MaxPause.
func RetryAfter(field string, now time.Time) time.Duration {
	field = strings.TrimSpace(field)
	if field == "" {
		return 0
	}
	if s, err := strconv.ParseFloat(field, 64); err == nil && !math.IsNaN(s) {
		return bound(s)
	}
	if t, err := http.ParseTime(field); err == nil {
		return bound(t.Sub(now).Seconds())
	}
	return 0
}

func bound(seconds float64) time.Duration {
	switch {
	case seconds <= 0:
		return 0
	case seconds > MaxPause.Seconds():
		return MaxPause
	}
	return time.Duration(seconds * float64(time.Second))
}

// cause words an error of net/http without the address that was called: a URL
// may hold a secret.
func cause(err error) string {
	var u *url.Error
	if errors.As(err, &u) {
		if u.Timeout() {
			return "did not answer in time"
		}
		err = u.Err
	}
	var op *net.OpError
	var dns *net.DNSError
	var cert *tls.CertificateVerificationError
	switch {
	case errors.Is(err, context.Canceled):
		return "was not waited for: this program is stopping"
	case errors.Is(err, context.DeadlineExceeded):
		return "did not answer in time"
	case errors.As(err, &dns):
		return "has a host name that cannot be found"
	case errors.As(err, &cert):
		return "shows a certificate that this machine does not trust"
	case errors.As(err, &op) && op.Op == "dial":
		return "cannot be reached: " + op.Err.Error()
	case errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF):
		return "closed the connection without a whole answer"
	case errors.As(err, &op):
		return "broke the connection: " + op.Err.Error()
	}
	return "could not be called (" + fmt.Sprintf("%T", err) + ")"
}
