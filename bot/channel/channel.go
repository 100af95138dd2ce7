// Package channel says what the program and a messaging network agree on.
//
// An adapter (one package each: webhook, sms, matrix, page) implements Channel
// and nothing else: it neither knows the dialog nor the store, and it decides
// nothing about when a message goes or goes again. Everything here is data, so
// that the conformance suite in channeltest can hold each adapter to it.
package channel

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"time"
)

// Channel is one messaging network. All methods may be called at once by many
// goroutines. One that holds connections is an io.Closer too.
type Channel interface {
	// Name is short, lower case and fixed: it is stored with every message.
	Name() string
	// Limits is what the network can carry; it never changes while running.
	Limits() Limits
	// Receive checks that the raw request comes from the network, and only
	// then parses it. It does no I/O and keeps nothing. The caller answers
	// the request with the Ack once everything received is stored, and with
	// the Status of a *RequestError otherwise. A request that carries
	// nothing for us (a presence event, our own message sent back) gives no
	// Inbound and no error.
	Receive(r Request) ([]Inbound, Ack, error)
	// Send makes one attempt to send m to an address of the network. Its
	// error is nil when the network accepted the message, otherwise a
	// *SendError (another error counts as temporary). It never repeats an
	// attempt by itself. m.ID is the same on every attempt, and goes with
	// the message wherever the network can use it to drop a double.
	Send(ctx context.Context, to string, m Message) error
}

// Marker is a Channel that can show people that their message was read. A
// mark that fails is no loss: nobody tries it again.
type Marker interface {
	Mark(ctx context.Context, in Inbound) error
}

// Alphabet is what a network can carry in one character.
type Alphabet int

// The alphabets.
const (
	Any  Alphabet = iota // all of Unicode
	GSM7                 // the default alphabet of 3GPP TS 23.038; others cost double
)

// Limits is what a network can carry. Wording is fitted to it before a message
// is queued; an adapter never cuts a caution to keep it.
type Limits struct {
	Characters int      // of one message; 0: no limit that a conversation meets
	Segment    int      // of one part, where a message is charged by the part; 0: no parts
	Alphabet   Alphabet // of the text
	Pictures   bool     // pictures are shown in the conversation; otherwise they go as a link
	Choices    bool     // choices can be pressed; otherwise they are words in the text
	OneMove    bool     // one move a message, each answered singly
	Reports    bool     // the network reports what became of a message (KindReceipt)
	Telephone  bool     // after STOP nothing is sent until START, not even an answer
}

// Request is an HTTP request as it came, its body read and bounded by the
// caller.
type Request struct {
	Method string
	Path   string // below the place where the channel is mounted, with a leading slash
	Query  url.Values
	Header http.Header
	Body   []byte
	At     time.Time // of arrival
}

// Ack is the answer to a request whose content is stored.
type Ack struct {
	Status int
	Type   string // of Body
	Body   []byte
}

// Kind says what came in.
type Kind string

// The kinds of Inbound.
const (
	KindText      Kind = "text"
	KindEdit      Kind = "edit"      // Text replaces the message with the id Edits
	KindRedact    Kind = "redact"    // the message with the id Edits is taken back
	KindPicture   Kind = "picture"   // Text is its caption, if any
	KindRecording Kind = "recording" // sound or film
	KindOther     Kind = "other"     // anything else that a person sent: a file, a place, a sticker
	KindSecret    Kind = "secret"    // encrypted so that it cannot be read here
	KindInvite    Kind = "invite"    // we were asked into Conversation by Sender; answering joins it
	KindReceipt   Kind = "receipt"   // what became of a message of ours; Receipt is set
)

// Inbound is one thing that a person, or the network itself, sent.
type Inbound struct {
	ID           string // of the network, the same when it delivers again
	Kind         Kind
	Sender       string // address, in the form that Send takes where the two are the same
	Conversation string // where to answer: the To of Send
	Text         string // valid UTF-8
	Edits        string
	SentAt       time.Time // zero when the network does not say
	Receipt      Receipt
}

// Fate is what became of a message of ours.
type Fate string

// The fates that a network reports, in the order in which they usually come;
// it may leave out any, repeat one, or report them in another order.
const (
	Accepted  Fate = "accepted"  // on its way
	Delivered Fate = "delivered" // arrived
	Failed    Fate = "failed"    // will not arrive
)

// Receipt is a network's report on a message of ours.
type Receipt struct {
	Ref    string // the Message.Ref that it was sent with
	Fate   Fate
	Reason string // as the network gave it, for the operator
}

// Message is one message to a person. Its JSON is the body of an outgoing
// message in the store.
type Message struct {
	ID           string   `json:"id"`
	Conversation string   `json:"conversation,omitempty"`
	InReplyTo    string   `json:"in_reply_to,omitempty"` // id of the message that it answers; "" when unasked
	Text         string   `json:"text"`                  // enough for a person by itself; a caution comes first
	Caution      bool     `json:"caution,omitempty"`     // Text carries a safety caution
	Choices      []string `json:"choices,omitempty"`     // words that answer it, the default first
	Numbered     bool     `json:"numbered,omitempty"`    // the number of a choice answers it too
	Media        []Media  `json:"media,omitempty"`
	// Turn is the open question, the advice and the verdict, as a JSON object
	// for programs. Only the neutral channel passes it on.
	Turn    json.RawMessage `json:"turn,omitempty"`
	Expires time.Time       `json:"expires,omitzero"` // neither sent nor sent again after it
	// Ref is set for each attempt by the sender: a network that reports what
	// became of the message gives it back in the Receipt. It is safe in a URL.
	Ref string `json:"-"`
}

// Media is a picture that goes with a message.
type Media struct {
	URL  string `json:"url"`  // absolute for a network outside, where the service knows its own address
	Type string `json:"type"` // image/png
	Alt  string `json:"alt"`  // says the same in words
}

// RequestError refuses a request. Its text goes to the sender and must not say
// more than they may know.
type RequestError struct {
	Status int    // of HTTP: 400, 401, 404, 405, 413
	Reason string // a sentence
}

func (e *RequestError) Error() string { return e.Reason }

// Refuse returns a *RequestError.
func Refuse(status int, format string, args ...any) error {
	return &RequestError{Status: status, Reason: fmt.Sprintf(format, args...)}
}

// SendError says why an attempt failed and whether another one may succeed.
// It must hold neither a secret nor a whole address.
type SendError struct {
	Temporary bool          // another attempt may succeed
	After     time.Duration // the network asked for this long a pause, from everybody; 0: it did not say
	Unsure    bool          // the message may have gone out: the answer was lost
	Reason    string
}

func (e *SendError) Error() string { return e.Reason }

// Permanent returns a *SendError that another attempt would not cure.
func Permanent(format string, args ...any) error {
	return &SendError{Reason: fmt.Sprintf(format, args...)}
}

// Temporary returns a *SendError that another attempt may cure.
func Temporary(format string, args ...any) error {
	return &SendError{Temporary: true, Reason: fmt.Sprintf(format, args...)}
}
