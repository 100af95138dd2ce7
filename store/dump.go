package store

import (
	"bufio"
	"bytes"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"hash"
	"io"
	"time"
)

// DumpFormat is the version of the backup's format. The first has no sum.
const DumpFormat = 2

// Line is one line of a backup: a JSON object whose kind says which of the
// other fields it has. Bytes are in base64, times in RFC 3339.
//
//	backup        format; the first line
//	shop          shop; begins the lines of a shop
//	document      shop, doc
//	conversation  shop, conversation: who wrote, what is under way
//	entry         shop, entry
//	out           shop, out: one waiting message, in the order of the queue
//	record        shop, record; oldest first
//	reminder      shop, reminder
//	dead          shop, dead
//	address       address and the shop it belongs to
//	end           lines, the number of lines before it, and sum, their SHA-256;
//	              the last line
//
// The lines of a shop follow each other in the order above, the shops in the
// order of their names, then the addresses in order.
type Line struct {
	Kind         string            `json:"kind"`
	Format       int               `json:"format,omitempty"`
	Shop         string            `json:"shop,omitempty"`
	Doc          *DumpDoc          `json:"document,omitempty"`
	Conversation *DumpConversation `json:"conversation,omitempty"`
	Entry        *DumpEntry        `json:"entry,omitempty"`
	Out          *DumpOut          `json:"out,omitempty"`
	Record       *DumpRecord       `json:"record,omitempty"`
	Reminder     *DumpReminder     `json:"reminder,omitempty"`
	Dead         *DumpDead         `json:"dead,omitempty"`
	Address      string            `json:"address,omitempty"`
	Lines        int               `json:"lines,omitempty"`
	Sum          []byte            `json:"sum,omitempty"`
}

// The kinds of line.
const (
	LineBackup       = "backup"
	LineShop         = "shop"
	LineDocument     = "document"
	LineConversation = "conversation"
	LineEntry        = "entry"
	LineOut          = "out"
	LineRecord       = "record"
	LineReminder     = "reminder"
	LineDead         = "dead"
	LineAddress      = "address"
	LineEnd          = "end"
)

// DumpDoc is a Doc in a backup.
type DumpDoc struct {
	Kind    Kind      `json:"kind"`
	ID      string    `json:"id,omitempty"`
	Version uint64    `json:"version"`
	Body    []byte    `json:"body"`
	Expires time.Time `json:"expires,omitzero"`
}

// DumpConversation is what a store knows of a conversation beside its
// document: who wrote in it, and the delivery under way.
type DumpConversation struct {
	ID      string    `json:"id"`
	Senders []string  `json:"senders,omitempty"`
	Current *Underway `json:"underway,omitempty"`
}

// Underway is the state of the message at the head of a conversation's queue
// from its first claim until it is settled.
type Underway struct {
	Token    uint64    `json:"token,omitempty"` // 0: not claimed now, waiting for another attempt
	Attempt  int       `json:"attempt"`
	Until    time.Time `json:"until"` // end of the lease, or time of the next attempt
	Silenced bool      `json:"silenced,omitempty"`
}

// DumpEntry is an Entry in a backup.
type DumpEntry struct {
	Conversation string    `json:"conversation"`
	Seq          uint64    `json:"seq"`
	At           time.Time `json:"at"`
	ID           string    `json:"id,omitempty"`
	Hash         []byte    `json:"hash,omitempty"`
	Text         []byte    `json:"text,omitempty"`
	From         string    `json:"from,omitempty"`
	Fired        string    `json:"fired,omitempty"`
	Answer       []byte    `json:"answer,omitempty"`
}

// DumpOut is an Out in a backup.
type DumpOut struct {
	ID           string    `json:"id"`
	Conversation string    `json:"conversation"`
	Channel      string    `json:"channel"`
	To           string    `json:"to,omitempty"`
	Body         []byte    `json:"body,omitempty"`
	NotBefore    time.Time `json:"not_before,omitzero"`
	Expires      time.Time `json:"expires,omitzero"`
	Ready        time.Time `json:"ready,omitzero"` // since when it should have gone
	Held         bool      `json:"held,omitempty"` // its NotBefore has not come
}

// DumpRecord is a Record in a backup.
type DumpRecord struct {
	ID             string    `json:"id"`
	Saw            string    `json:"saw,omitempty"`
	Characteristic string    `json:"characteristic,omitempty"`
	Person         string    `json:"person,omitempty"`
	At             time.Time `json:"at"`
	Body           []byte    `json:"body,omitempty"`
}

// DumpReminder is a Reminder in a backup.
type DumpReminder struct {
	ID           string    `json:"id"`
	Conversation string    `json:"conversation,omitempty"`
	Saw          string    `json:"saw,omitempty"`
	Person       string    `json:"person,omitempty"`
	Due          time.Time `json:"due"`
	Body         []byte    `json:"body,omitempty"`
}

// DumpDead is a DeadLetter in a backup.
type DumpDead struct {
	Out     DumpOut   `json:"out"`
	Attempt int       `json:"attempt"`
	Reason  string    `json:"reason,omitempty"`
	At      time.Time `json:"at"`
}

// DumpWriter writes a backup line by line.
type DumpWriter struct {
	buf   *bufio.Writer
	enc   *json.Encoder
	sum   hash.Hash
	lines int
	err   error
}

// NewDumpWriter begins a backup on w.
func NewDumpWriter(w io.Writer) *DumpWriter {
	buf := bufio.NewWriterSize(w, 64<<10)
	sum := sha256.New()
	d := &DumpWriter{buf: buf, enc: json.NewEncoder(io.MultiWriter(buf, sum)), sum: sum}
	d.enc.SetEscapeHTML(false)
	d.Write(Line{Kind: LineBackup, Format: DumpFormat})
	return d
}

// Write adds a line; an error is kept for End.
func (d *DumpWriter) Write(l Line) {
	if d.err == nil {
		d.err = d.enc.Encode(l)
		d.lines++
	}
}

// Err returns the error met so far, so that a long backup can stop early.
func (d *DumpWriter) Err() error { return d.err }

// End writes the last line. Without it a backup counts as cut short.
func (d *DumpWriter) End() error {
	d.Write(Line{Kind: LineEnd, Lines: d.lines, Sum: d.sum.Sum(nil)})
	if d.err == nil {
		d.err = d.buf.Flush()
	}
	if d.err != nil {
		return fmt.Errorf("store: writing the backup: %w", d.err)
	}
	return nil
}

// ReadDump calls each with every line of a backup between the first and the
// last. It fails on a backup of a later format, one that is cut short, and
// one that is damaged, naming the line.
func ReadDump(r io.Reader, each func(Line) error) error {
	in := bufio.NewReaderSize(r, 64<<10)
	sum := sha256.New()
	format := 0
	for n := 0; ; n++ {
		text, l, err := readLine(in)
		switch {
		case errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF):
			return fmt.Errorf("store: the backup is cut short after line %d", n)
		case err != nil:
			return fmt.Errorf("store: line %d of the backup is damaged: %w", n+1, err)
		case n == 0 && l.Kind != LineBackup:
			return errors.New("store: this is not a backup: it does not begin with a line of the kind \"backup\"")
		case n == 0 && l.Format > DumpFormat:
			return fmt.Errorf("%w: the backup has format %d, this program knows %d", ErrNewer, l.Format, DumpFormat)
		case l.Kind == LineEnd && l.Lines != n:
			return fmt.Errorf("store: the backup has %d lines before its end and should have %d", n, l.Lines)
		case l.Kind == LineEnd && format > 1 && !bytes.Equal(l.Sum, sum.Sum(nil)):
			return errors.New("store: the backup is damaged: it is not what was written; take another one")
		case l.Kind == LineEnd:
			return nil
		}
		sum.Write(text)
		if n == 0 {
			format = l.Format
			continue
		}
		if err := l.whole(); err != nil {
			return fmt.Errorf("store: line %d of the backup: %w", n+1, err)
		}
		if err := each(l); err != nil {
			return fmt.Errorf("store: restoring line %d of the backup: %w", n+1, err)
		}
	}
}

// readLine reads one line and what it says.
func readLine(in *bufio.Reader) (text []byte, l Line, err error) {
	text, err = in.ReadBytes('\n')
	if err != nil && (!errors.Is(err, io.EOF) || len(text) == 0) {
		return text, l, err
	}
	dec := json.NewDecoder(bytes.NewReader(text))
	dec.DisallowUnknownFields()
	if err := dec.Decode(&l); err != nil {
		return text, l, err
	}
	if _, err := dec.Token(); !errors.Is(err, io.EOF) {
		return text, l, errors.New("something follows its JSON object")
	}
	return text, l, nil
}

// whole reports a line that lacks what its kind promises.
func (l Line) whole() error {
	ok := l.Shop != ""
	switch l.Kind {
	case LineShop:
	case LineDocument:
		ok = ok && l.Doc != nil && l.Doc.Kind != "" && l.Doc.Version > 0
	case LineConversation:
		ok = ok && l.Conversation != nil && l.Conversation.ID != ""
	case LineEntry:
		ok = ok && l.Entry != nil && l.Entry.Seq > 0
	case LineOut:
		ok = ok && l.Out != nil && l.Out.ID != ""
	case LineRecord:
		ok = ok && l.Record != nil && l.Record.ID != ""
	case LineReminder:
		ok = ok && l.Reminder != nil && l.Reminder.ID != ""
	case LineDead:
		ok = ok && l.Dead != nil && l.Dead.Out.ID != ""
	case LineAddress:
		ok = ok && l.Address != ""
	default:
		return fmt.Errorf("unknown kind %q", l.Kind)
	}
	if !ok {
		return fmt.Errorf("a line of the kind %q lacks what it needs", l.Kind)
	}
	return nil
}
