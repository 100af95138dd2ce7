package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"runtime/debug"
	"sync"
	"time"

	"shimwright/bot/channel"
	"shimwright/store"
)

// How outgoing messages are sent. A lease outlasts an attempt by so much that
// two workers whose clocks differ by 40 s do not send the same message:
// leaseTime > queueTime + sendTime + reportWait + 40 s.
const (
	leaseTime   = 70 * time.Second
	queueTime   = 5 * time.Second       // for a slot
	sendTime    = 12 * time.Second      // of one attempt
	reportWait  = 4 * time.Second       // for the network's first report, before the next message goes
	lookEvery   = time.Second           // for what falls due by itself; a commit wakes at once
	lookApart   = 10 * time.Millisecond // so that what comes together is claimed together; a full batch is followed at once
	settleTime  = 10 * time.Second      // for the store to come back
	claimBatch  = 64
	slotsEach   = 16  // attempts at once on one channel
	queueEach   = 64  // messages that wait for a slot of one channel
	awaitEach   = 256 // messages of one channel whose report is waited for
	maxAttempts = 30  // claims of one message; with the pauses below about 15 h
	firstRetry  = 2 * time.Second
	lastRetry   = time.Hour
)

// outbox is what delivery needs of the store.
type outbox interface {
	Claim(ctx context.Context, now time.Time, lease time.Duration, max int) ([]store.Delivery, error)
	Settle(ctx context.Context, d store.Delivery, o store.Outcome, next time.Time, reason string) error
	Get(ctx context.Context, shop string, kind store.Kind, id string) (store.Doc, error)
	Bury(ctx context.Context, d store.DeadLetter) error
	Commit(ctx context.Context, c store.Commit) error
}

// deliverer takes outgoing messages from the outbox to their channels. A slow
// or broken channel holds up neither another channel nor another conversation:
// each has its own slots, and what finds none goes back to the outbox. Order
// within a conversation is the store's: it hands out one at a time.
type deliverer struct {
	store  outbox
	routes map[string]*route
	now    func() time.Time
	random func() float64                             // [0, 1)
	count  func(channelName string, o deliveryResult) // for the metrics; may be nil
	// silenced reports whether a message may no longer go; may be nil.
	silenced func(context.Context, store.Delivery, channel.Message) bool
	log      *slog.Logger
	kicked   chan struct{}
	busy     sync.WaitGroup
}

// deliveryResult is how an attempt ended, as it is counted.
type deliveryResult string

const (
	wasSent     deliveryResult = "sent"
	wasRetried  deliveryResult = "retried"
	wasPostpone deliveryResult = "postponed" // not tried: no slot, or the channel is down
	wasExpired  deliveryResult = "expired"   // its time was over, or the person has said STOP
	wasDead     deliveryResult = "dead"
	// A late report: it had counted as sent.
	wasUndelivered deliveryResult = "undelivered"
	wasLost        deliveryResult = "lost" // the lease had passed on: the message may go twice
)

// newDeliverer returns a deliverer over the channels. now is the clock and
// random the jitter.
func newDeliverer(s outbox, channels []channel.Channel, now func() time.Time, random func() float64, log *slog.Logger) *deliverer {
	d := &deliverer{store: s, routes: map[string]*route{}, now: now, random: random,
		log: log, kicked: make(chan struct{}, 1)}
	for _, c := range channels {
		d.routes[c.Name()] = newRoute(c)
	}
	return d
}

// kick makes run look at once; call it after a commit that queued something.
func (d *deliverer) kick() {
	select {
	case d.kicked <- struct{}{}:
	default:
	}
}

// run delivers until ctx ends, then waits for the attempts under way, which
// end within sendTime.
func (d *deliverer) run(ctx context.Context) {
	defer d.busy.Wait()
	for {
		looked := time.Now()
		n, admitted, err := d.claim(ctx)
		if err != nil && ctx.Err() == nil {
			d.log.Error("outgoing messages could not be claimed", "error", err)
		}
		if n == claimBatch && !admitted { // others may wait behind what has no room
			d.kick()
		}
		select {
		case <-ctx.Done():
			return
		case <-d.kicked:
			pause := lookApart - time.Since(looked)
			switch {
			case err != nil: // the store is down: no storm of questions
				pause = lookEvery
			case n == claimBatch:
				pause = 0
			}
			select {
			case <-ctx.Done():
				return
			case <-time.After(pause):
			}
		case <-time.After(lookEvery):
		}
	}
}

// once claims what may go now and starts an attempt on each. It returns how
// many it claimed.
func (d *deliverer) once(ctx context.Context) (int, error) {
	n, _, err := d.claim(ctx)
	return n, err
}

// claim is once; all reports whether there was room for everything.
func (d *deliverer) claim(ctx context.Context) (n int, all bool, err error) {
	if ctx.Err() != nil {
		return 0, false, ctx.Err()
	}
	list, err := d.store.Claim(ctx, d.now(), leaseTime, claimBatch)
	all = true
	for _, m := range list {
		all = d.start(ctx, m) && all
	}
	return len(list), all, err
}

// start begins an attempt where the channel has room for it, and otherwise
// puts the message back and returns false.
func (d *deliverer) start(ctx context.Context, m store.Delivery) bool {
	r := d.routes[m.Out.Channel]
	switch {
	case m.Attempt > maxAttempts: // the last ones were never settled: it may kill whoever sends it
		d.busy.Go(func() {
			d.settle(m, store.Dead, d.now(), wasDead, fmt.Sprintf("given up: %s ended without a result", some(m.Attempt-1, "attempt")))
		})
		return true
	case r == nil:
		d.busy.Go(func() { d.postpone(m, d.now(), "the channel "+m.Out.Channel+" is not set up") })
		return true
	}
	admitted, ready := r.admit(d.now())
	d.busy.Go(func() {
		ok, period := admitted, 0
		if ok {
			period, ok, ready = r.enter(d.now)
		}
		if ok {
			d.attempt(ctx, r, period, m)
		} else {
			d.postpone(m, ready, "the channel is busy or out of reach")
		}
		if r.roomy() {
			d.kick() // the conversation's next message, or those that waited for room
		}
	})
	return admitted
}

// close lets go of the channels' connections. Nothing is sent after it.
func (d *deliverer) close() {
	for name, r := range d.routes {
		if c, ok := r.channel.(io.Closer); ok {
			if err := c.Close(); err != nil {
				d.log.Error("a channel did not close", "channel", name, "error", err)
			}
		}
	}
}

// idle waits until no attempt is under way.
func (d *deliverer) idle() { d.busy.Wait() }

// attempt makes one attempt and settles it. What was claimed is carried
// through even when the program is stopping.
func (d *deliverer) attempt(stop context.Context, r *route, period int, m store.Delivery) {
	ref := makeRef(m)
	if r.limits.Reports {
		r.expect(ref) // before sending: a report may be faster than the answer
		defer r.forget(ref)
	}
	err := d.send(r, m, ref)
	now := d.now()
	r.done(period, now, err, d.random)
	switch e := asSendError(err); {
	case e == nil && r.limits.Reports:
		d.await(stop, r, m, ref)
	case e == nil:
		d.settle(m, store.Sent, time.Time{}, wasSent, "")
	case e == errExpired, e == errSilenced:
		d.settle(m, store.Dropped, time.Time{}, wasExpired, e.Reason)
	case !e.Temporary:
		d.settle(m, store.Dead, now, wasDead, e.Reason)
	default:
		d.retry(m, now.Add(max(d.jitter(e.After), d.backoff(m.Attempt))), wasRetried, e.Reason)
	}
}

// What ends a message without an attempt.
var (
	errExpired  = &channel.SendError{Reason: "its time was over before it could be sent"}
	errSilenced = &channel.SendError{Reason: "the person has said STOP"}
)

// send calls the channel within the time that the attempt and the message's
// own expiry leave.
func (d *deliverer) send(r *route, m store.Delivery, ref string) (err error) {
	left := sendTime
	if !m.Out.Expires.IsZero() {
		left = min(left, m.Out.Expires.Sub(d.now()))
	}
	if left <= 0 {
		return errExpired
	}
	var msg channel.Message
	if err := json.Unmarshal(m.Out.Body, &msg); err != nil {
		return channel.Permanent("its stored body cannot be read")
	}
	msg.Ref = ref
	ctx, cancel := context.WithTimeout(context.Background(), left)
	defer cancel()
	if d.silenced != nil && d.silenced(ctx, m, msg) {
		return errSilenced
	}
	defer func() {
		if p := recover(); p != nil {
			d.log.Error("a channel failed on a message", "channel", m.Out.Channel, "message", mask(m.Out.ID),
				"panic", p, "stack", string(debug.Stack()))
			err = channel.Permanent("the channel failed on it: a fault of this program, see the log")
		}
	}()
	return r.channel.Send(ctx, m.Out.To, msg)
}

// asSendError returns err in the channel's terms; an error of another type may
// pass.
func asSendError(err error) *channel.SendError {
	var e *channel.SendError
	if err == nil || errors.As(err, &e) {
		return e
	}
	return &channel.SendError{Temporary: true, Reason: err.Error()}
}

// postpone puts back a message that was not tried: no earlier than ready, and
// no earlier than its next attempt would be, because being claimed counts.
func (d *deliverer) postpone(m store.Delivery, ready time.Time, reason string) {
	next := d.now().Add(d.backoff(m.Attempt))
	if ready = ready.Add(d.jitter(time.Second)); ready.After(next) {
		next = ready
	}
	d.retry(m, next, wasPostpone, reason)
}

// retry puts a message back until next, unless it has had its attempts or its
// time would be over.
func (d *deliverer) retry(m store.Delivery, next time.Time, r deliveryResult, reason string) {
	switch {
	case store.Expired(m.Out.Expires, next):
		d.settle(m, store.Dropped, time.Time{}, wasExpired, reason)
	case m.Attempt >= maxAttempts:
		d.settle(m, store.Dead, d.now(), wasDead, fmt.Sprintf("given up after %s; the last: %s", some(m.Attempt, "attempt"), reason))
	default:
		d.settle(m, store.Retry, next, r, reason)
	}
}

// backoff is the pause after an attempt: doubled each time, and between one
// half and the whole of that, so that what failed together does not come back
// together.
func (d *deliverer) backoff(attempt int) time.Duration {
	pause := lastRetry
	if n := attempt - 1; n < 20 {
		pause = min(lastRetry, firstRetry<<max(n, 0))
	}
	return pause/2 + time.Duration(d.random()*float64(pause/2))
}

// jitter lengthens a pause that a network asked for by up to a quarter; it is
// never shortened.
func (d *deliverer) jitter(pause time.Duration) time.Duration {
	return pause + time.Duration(d.random()*float64(pause/4))
}

// settle ends an attempt in the store. While the store is away it is tried
// again for a while: an attempt that is not settled is repeated.
func (d *deliverer) settle(m store.Delivery, o store.Outcome, next time.Time, r deliveryResult, reason string) {
	ctx, cancel := context.WithTimeout(context.Background(), settleTime)
	defer cancel()
	err := d.store.Settle(ctx, m, o, next, reason)
	for pause := 50 * time.Millisecond; errors.Is(err, store.ErrUnavailable) && ctx.Err() == nil; pause = min(2*pause, time.Second) {
		select {
		case <-ctx.Done():
		case <-time.After(pause):
			err = d.store.Settle(ctx, m, o, next, reason)
		}
	}
	log := d.log.With("channel", m.Out.Channel, "message", mask(m.Out.ID), "attempt", m.Attempt)
	switch {
	case errors.Is(err, store.ErrLost):
		log.Warn("the lease of an outgoing message had passed on", "outcome", r)
		r = wasLost
	case err != nil:
		log.Error("an attempt could not be settled; the message may go again", "error", err)
		r = wasLost
	case r == wasDead:
		log.Error("an outgoing message was given up", "reason", mask(reason))
	case r == wasRetried, r == wasExpired:
		log.Warn("an outgoing message was not sent", "outcome", r, "reason", mask(reason))
	}
	if d.count != nil {
		d.count(m.Out.Channel, r)
	}
}
