// Package store keeps sessions, records, reminders and outgoing messages.
//
// Documents are bytes to it: it knows neither a procedure nor a messaging
// network. What lives together is the shop: everything of one shop is changed
// by one atomic Commit. What is ordered is the conversation.
//
// Two engines keep the same promises and pass the same suite (storetest): an
// embedded file (boltstore) and Redis (redisstore).
//
// Time: no engine reads a clock. What has expired is judged by the latest time
// that a caller has told this Store (Commit.At, and the now of Due, Claim,
// Resend and Stats); see Told. Times are kept to the millisecond, in UTC.
package store

import (
	"context"
	"errors"
	"io"
	"time"
)

// Errors that a caller is expected to tell apart, with errors.Is.
var (
	// ErrStale: a document that the commit relied on has changed meanwhile.
	// Nothing was written; load again and handle the message afresh.
	ErrStale = errors.New("store: a document changed meanwhile")
	// ErrConflict: the id was used before in this conversation for a
	// message with other content, or the id of a record of the shop.
	// Nothing was written.
	ErrConflict = errors.New("store: this id was used for another message")
	// ErrNotFound: there is no such document, shop or address.
	ErrNotFound = errors.New("store: not found")
	// ErrLost: the lease of a delivery has passed to another worker, or the
	// delivery is settled. Nothing was written.
	ErrLost = errors.New("store: the lease is lost")
	// ErrFull: a size limit was passed, or the engine has no room.
	ErrFull = errors.New("store: no room")
	// ErrUnavailable: the engine cannot be reached or did not answer in
	// time. Whether a commit took effect is not known; the same id settles it.
	ErrUnavailable = errors.New("store: unavailable")
	// ErrLocked: another process has the file open.
	ErrLocked = errors.New("store: the file is in use by another process")
	// ErrNewer: the file or the keys were written by a later version.
	ErrNewer = errors.New("store: written by a later version of this program")
)

// SeenError reports that the commit's inbound message (or fired reminder) was
// handled before. Answer is what the message was answered then; for a reminder
// it is empty.
type SeenError struct{ Answer []byte }

func (e *SeenError) Error() string { return "store: handled before" }

// Conversation names a conversation within its shop.
type Conversation struct{ Shop, ID string }

// Kind is the kind of a document.
type Kind string

// The kinds of document.
const (
	KindConversation Kind = "conversation" // what one conversation stores: its jobs
	KindSaw          Kind = "saw"          // profile, events and power history of one saw
	KindPeople       Kind = "people"       // the people of the shop; its only id is ""
	KindDrawing      Kind = "drawing"      // the specification of a picture, rendered when fetched
	KindReport       Kind = "report"       // what a report token shows
	KindSent         Kind = "sent"         // an outgoing message whose failure may be reported after it counted as sent
)

// Doc is one document. In Commit.Put, Version is the version that it replaces
// (0: must not exist yet); in what Load returns, its present version (0: does
// not exist). A nil Body in Commit.Put deletes. Versions grow and are never
// used twice, so a document that was deleted and made again is another one.
type Doc struct {
	Kind    Kind
	ID      string
	Version uint64
	Body    []byte
	Expires time.Time // zero: never; after it the document may vanish
}

// Version names a version of a document on which a commit relied.
type Version struct {
	Kind    Kind
	ID      string
	Version uint64
}

// Handled is an inbound message that a commit settles.
type Handled struct {
	ID   string // unique in its conversation for KeepIDs; empty: nothing inbound
	Hash []byte // of the content; the same id with another hash is ErrConflict
	Text []byte // kept for the transcript
	From string // the sender, kept for the transcript; Scope.Person matches it
}

// Record is an immutable record. Body is opaque; the other fields are what it
// is found by.
type Record struct {
	ID             string // unique in the shop
	Saw            string
	Characteristic string
	Person         string
	At             time.Time
	Body           []byte
}

// Out is one outgoing message. Everything about it is fixed here, so that
// every attempt sends the same. The messages of a conversation go in the order
// in which they were committed; one with NotBefore takes its place in the line
// when that time has come, and holds up nothing before it.
type Out struct {
	ID           string // unique in the shop; the id that the receiver sees
	Conversation string
	Channel      string // name of the channel adapter
	To           string // address on that channel
	Body         []byte
	NotBefore    time.Time // zero: at once
	Expires      time.Time // zero: never; not sent, nor retried, after it
}

// Reminder is something that falls due. A reminder with the id of an existing
// one replaces it.
type Reminder struct {
	ID           string // unique in the shop
	Conversation string
	Saw          string
	Person       string
	Due          time.Time
	Body         []byte
}

// Commit is everything that handling one message (or one due reminder)
// changes. All of it takes effect, or none.
//
// Order of checks: Inbound and Fired first (SeenError, ErrConflict), then Read
// and Put versions (ErrStale), then limits (ErrFull), then the ids of Records
// (ErrConflict). What is not well formed (a commit without shop or time, an
// outgoing message without an id) is an error before all of them.
type Commit struct {
	Shop         string
	Conversation string
	Read         []Version // every document relied on, changed or not
	Put          []Doc
	Inbound      Handled
	Fired        string    // the reminder handled, and dropped, by this commit; SeenError when gone
	FiredDue     time.Time // its due time as loaded; SeenError when it has moved
	Answer       []byte    // what the same Inbound gets again
	Records      []Record
	Outbox       []Out
	Remind       []Reminder
	Forget       []string // reminders to drop, by id; unknown ids are no error
	Silence      bool     // drop what waits in this conversation's outbox, before Outbox is added
	Moved        []Entry  // handled before this conversation moved here; kept as if handled here
	At           time.Time
}

// Documents is what Load returns: all that handling a message may look at.
type Documents struct {
	Conversation Doc
	People       Doc
	Saws         []Doc      // every saw of the shop, by id
	Last         []Record   // the newest record of each saw and characteristic, in that order
	Reminders    []Reminder // every reminder of the shop, the next due first
	Seen         *Handled   // set when the inbound id asked about was handled before
	Answer       []byte     // its answer, when Seen is set
}

// Entry is one line of a transcript: what came in and what was answered. A
// handled reminder has an empty Inbound.ID and its id in Fired. Seq grows
// within a conversation, not by ones. A commit with neither leaves no entry.
type Entry struct {
	Seq     uint64
	At      time.Time
	Inbound Handled
	Fired   string
	Answer  []byte
}

// DueReminder is a reminder that has fallen due.
type DueReminder struct {
	Shop string
	Reminder
}

// Delivery is a claimed outgoing message. Token fences it: a worker whose
// lease has passed on cannot settle it.
type Delivery struct {
	Shop    string
	Out     Out
	Attempt int // 1 at the first claim; counted when claimed, not when failed
	Token   uint64
}

// Outcome is how an attempt ended.
type Outcome int

// The outcomes. A message silenced while it was under way is forgotten
// whatever its outcome.
const (
	Sent    Outcome = iota // done
	Retry                  // try again at the time given
	Dead                   // give up; it goes to the dead-letter list
	Dropped                // expired or silenced; forgotten
)

// DeadLetter is an outgoing message that was given up.
type DeadLetter struct {
	Shop    string
	Out     Out
	Attempt int
	Reason  string
	At      time.Time
}

// RecordQuery selects records; empty fields select everything. Records come
// oldest first; with Max > 0, the newest Max of them.
type RecordQuery struct {
	Shop           string
	Saw            string
	Characteristic string
	Since          time.Time
	Max            int
}

// Scope is what Erase removes: a saw, a person, or with neither the whole
// shop, its addresses included. Erasing a saw removes its document, records
// and reminders; and, since there is no telling what of it speaks of the saw,
// what was said in the shop's conversations (the ids of what was handled stay),
// the shop's drawings, what it sent and its dead letters. What waits to be sent
// still goes. Erasing a person removes their name from records, drops their
// reminders, what the shop sent, and the conversations in which nobody else ever wrote; in a
// conversation shared with others their lines go, the ids of what was handled
// stay. The people and saw documents, and a job in a shared conversation, are
// the caller's to rewrite first, by Commit.
type Scope struct{ Shop, Saw, Person string }

// Stats is what an operator watches.
type Stats struct {
	Waiting    int           // outgoing messages not yet settled
	OldestWait time.Duration // age of the oldest one that should have gone
	Dead       int
	Due        int           // reminders due and not handled, counted up to MaxStats
	Late       time.Duration // lateness of the oldest of them
	Skew       time.Duration // engine's clock minus ours; 0 when it has none
}

// Store is the interface of both engines. Every method may be called by many
// goroutines; every error wraps one of the errors above or says what failed.
type Store interface {
	// Load returns the documents of a conversation and its shop, and says
	// whether inboundID was handled before. An unknown shop or conversation
	// is no error: its documents have version 0.
	Load(ctx context.Context, c Conversation, inboundID string) (Documents, error)
	// Commit is all or nothing, durable when it returns nil.
	Commit(ctx context.Context, c Commit) error
	// Get returns one document; ErrNotFound when it is not there or expired.
	Get(ctx context.Context, shop string, kind Kind, id string) (Doc, error)
	// Transcript returns the newest max entries of a conversation with
	// Seq > after, oldest first. Entries are kept for KeepIDs.
	Transcript(ctx context.Context, c Conversation, after uint64, max int) ([]Entry, error)
	// Records returns records by q.
	Records(ctx context.Context, q RecordQuery) ([]Record, error)

	// Resolve returns the shop that an address (of a channel, device, join
	// code or token) belongs to; ErrNotFound when it belongs to none.
	Resolve(ctx context.Context, address string) (shop string, err error)
	// Point makes an address belong to shop to, on condition that it now
	// belongs to from ("": to none); otherwise ErrStale. to "" frees it.
	Point(ctx context.Context, address, from, to string) error

	// Take takes up to want from an allowance, which is full when nobody ever
	// took from it, and fills at rate r. When nothing is left, got is 0 and
	// wait says for how long. An allowance belongs to every process that uses
	// this store, but to no shop and no backup; nothing is promised about it
	// after a failure of the engine. All use the same r for one name.
	Take(ctx context.Context, name string, r Rate, want int, now time.Time) (got int, wait time.Duration, err error)

	// Due returns up to max reminders due at now, the longest due first. It
	// claims nothing: the commit with Fired decides who handled one.
	Due(ctx context.Context, now time.Time, max int) ([]DueReminder, error)
	// Claim leases up to max outgoing messages that may be sent at now, at
	// most one of each conversation: the oldest unsettled one.
	Claim(ctx context.Context, now time.Time, lease time.Duration, max int) ([]Delivery, error)
	// Settle ends an attempt: ErrLost when the lease has passed on. next is
	// when to try again after Retry, and the time of death after Dead.
	Settle(ctx context.Context, d Delivery, o Outcome, next time.Time, reason string) error
	// Bury adds a dead letter: an outgoing message that was not delivered after
	// it had been settled as sent. One of the same id is replaced; ErrNotFound
	// when there is no such shop.
	Bury(ctx context.Context, d DeadLetter) error
	// Dead lists dead letters, newest first; shop "" means all shops. A shop
	// keeps its newest MaxDead.
	Dead(ctx context.Context, shop string, max int) ([]DeadLetter, error)
	// Resend moves a dead letter back to the end of its conversation's
	// queue, its attempts counted afresh; ErrNotFound when there is none.
	Resend(ctx context.Context, shop, outID string, now time.Time) error

	// Shops lists the shops, in order, from the one after after.
	Shops(ctx context.Context, after string, max int) ([]string, error)
	// Erase removes what scope names, records and transcripts included. One
	// that failed half way is repeated; what is not there is no error.
	Erase(ctx context.Context, s Scope) error
	// Backup writes a consistent copy while running; Restore reads one into
	// an empty store, which stays empty when that fails. The format is the
	// same for every engine: one JSON object a line (see Line).
	Backup(ctx context.Context, w io.Writer) error
	Restore(ctx context.Context, r io.Reader) error
	// Stats reports queue depths at now.
	Stats(ctx context.Context, now time.Time) (Stats, error)
	// Check verifies the store's own consistency and describes each fault.
	Check(ctx context.Context) ([]string, error)
	// Ping reports whether the engine answers.
	Ping(ctx context.Context) error
	Close() error
}
