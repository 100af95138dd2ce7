// Package values says how each thing that the engines keep is packed: the
// order of its fields. What an engine's script reads comes first.
package values

import (
	"fmt"
	"time"

	"shimwright/store"
	"shimwright/store/internal/fields"
)

// Doc packs version, expires, body.
func Doc(d store.Doc) []byte { return PutDoc(fields.NewWriter(len(d.Body)+48), d).Packed() }

// PutDoc appends a packed document to w.
func PutDoc(w *fields.Writer, d store.Doc) *fields.Writer {
	return w.Int(int64(d.Version)).Time(d.Expires).Bytes(d.Body)
}

// DocRest packs a document without its version, which the engine gives.
func DocRest(d store.Doc) []byte {
	return fields.NewWriter(len(d.Body) + 32).Time(d.Expires).Bytes(d.Body).Packed()
}

// ReadDoc unpacks a document; kind and id are part of its key.
func ReadDoc(kind store.Kind, id string, packed []byte) (store.Doc, error) {
	r := fields.NewReader(packed)
	d := store.Doc{Kind: kind, ID: id, Version: uint64(r.Int()), Expires: r.Time()}
	d.Body = append([]byte{}, r.View()...) // never nil: a nil body would delete
	return d, damaged("document", id, r)
}

// DocHead unpacks only version and expiry.
func DocHead(packed []byte) (version uint64, expires time.Time, err error) {
	r := fields.NewReader(packed)
	version, expires = uint64(r.Int()), r.Time()
	return version, expires, r.Err()
}

// Number packs a number.
func Number(n int64) []byte { return fields.NewWriter(24).Int(n).Packed() }

// ReadNumber unpacks the first field as a number.
func ReadNumber(packed []byte) (int64, error) {
	r := fields.NewReader(packed)
	return r.Int(), r.Err()
}

// Entry packs seq, at, id, hash, answer, fired, from, text.
func Entry(e store.Entry) []byte {
	w := fields.NewWriter(len(e.Answer) + len(e.Inbound.Text) + 180)
	return entryRest(w.Int(int64(e.Seq)), e).Packed()
}

// EntryRest packs an entry without its number, which the engine gives.
func EntryRest(e store.Entry) []byte {
	return entryRest(fields.NewWriter(len(e.Answer)+len(e.Inbound.Text)+160), e).Packed()
}

func entryRest(w *fields.Writer, e store.Entry) *fields.Writer {
	return w.Time(e.At).Str(e.Inbound.ID).Bytes(e.Inbound.Hash).Bytes(e.Answer).
		Str(e.Fired).Str(e.Inbound.From).Bytes(e.Inbound.Text)
}

// ReadEntry unpacks an entry.
func ReadEntry(packed []byte) (store.Entry, error) {
	r := fields.NewReader(packed)
	e := store.Entry{Seq: uint64(r.Int()), At: r.Time()}
	e.Inbound.ID = r.Str()
	e.Inbound.Hash = r.Bytes()
	e.Answer = r.Bytes()
	e.Fired = r.Str()
	e.Inbound.From = r.Str()
	e.Inbound.Text = r.Bytes()
	return e, damaged("entry", e.Inbound.ID, r)
}

// EntryAt unpacks only the time of an entry.
func EntryAt(packed []byte) (time.Time, error) {
	r := fields.NewReader(packed)
	r.View()
	return r.Time(), r.Err()
}

// Blank is an entry without everything that a person said or was told. Its
// id still counts as handled; without a hash it is equal to any content.
func Blank(e store.Entry) store.Entry {
	return store.Entry{Seq: e.Seq, At: e.At, Fired: e.Fired, Inbound: store.Handled{ID: e.Inbound.ID}}
}

// Same reports whether a handled message had this content.
func Same(hash, again []byte) bool { return len(hash) == 0 || string(hash) == string(again) }

// Item is an outgoing message in a queue, with the time since when it should
// have gone.
type Item struct {
	store.Out
	Ready time.Time
}

// Item packs ready, expires, notBefore, id, conversation, channel, to, body.
func (i Item) Pack() []byte {
	return fields.NewWriter(len(i.Body) + 128).
		Time(i.Ready).Time(i.Expires).Time(i.NotBefore).Str(i.ID).Str(i.Conversation).
		Str(i.Channel).Str(i.To).Bytes(i.Body).Packed()
}

// ReadItem unpacks an Item.
func ReadItem(packed []byte) (Item, error) {
	r := fields.NewReader(packed)
	var i Item
	i.Ready, i.Expires, i.NotBefore = r.Time(), r.Time(), r.Time()
	i.ID, i.Conversation, i.Channel, i.To = r.Str(), r.Str(), r.Str(), r.Str()
	i.Body = r.Bytes()
	return i, damaged("outgoing message", i.ID, r)
}

// Record packs at, id, saw, characteristic, person, body.
func Record(rec store.Record) []byte {
	return fields.NewWriter(len(rec.Body) + 128).Time(rec.At).Str(rec.ID).Str(rec.Saw).
		Str(rec.Characteristic).Str(rec.Person).Bytes(rec.Body).Packed()
}

// ReadRecord unpacks a record.
func ReadRecord(packed []byte) (store.Record, error) {
	r := fields.NewReader(packed)
	rec := store.Record{At: r.Time(), ID: r.Str(), Saw: r.Str(), Characteristic: r.Str(), Person: r.Str(), Body: r.Bytes()}
	return rec, damaged("record", rec.ID, r)
}

// Reminder packs due, id, conversation, saw, person, body.
func Reminder(m store.Reminder) []byte {
	return fields.NewWriter(len(m.Body) + 64).Time(m.Due).Str(m.ID).Str(m.Conversation).
		Str(m.Saw).Str(m.Person).Bytes(m.Body).Packed()
}

// ReadReminder unpacks a reminder.
func ReadReminder(packed []byte) (store.Reminder, error) {
	r := fields.NewReader(packed)
	m := store.Reminder{Due: r.Time(), ID: r.Str(), Conversation: r.Str(), Saw: r.Str(), Person: r.Str(), Body: r.Bytes()}
	return m, damaged("reminder", m.ID, r)
}

// Underway packs token, attempt, until, silenced.
func Underway(u store.Underway) []byte {
	silenced := int64(0)
	if u.Silenced {
		silenced = 1
	}
	return fields.NewWriter(48).Int(int64(u.Token)).Int(int64(u.Attempt)).Time(u.Until).Int(silenced).Packed()
}

// ReadUnderway unpacks an Underway.
func ReadUnderway(packed []byte) (store.Underway, error) {
	r := fields.NewReader(packed)
	u := store.Underway{Token: uint64(r.Int()), Attempt: int(r.Int()), Until: r.Time(), Silenced: r.Int() == 1}
	return u, damaged("delivery under way", "", r)
}

// Dead packs at, attempt, reason and the packed Item.
func Dead(d store.DeadLetter) []byte {
	item := Item{Out: d.Out}.Pack()
	return fields.NewWriter(len(item) + len(d.Reason) + 64).
		Time(d.At).Int(int64(d.Attempt)).Str(d.Reason).Bytes(item).Packed()
}

// ReadDead unpacks a dead letter of shop.
func ReadDead(shop string, packed []byte) (store.DeadLetter, error) {
	r := fields.NewReader(packed)
	d := store.DeadLetter{Shop: shop, At: r.Time(), Attempt: int(r.Int()), Reason: r.Str()}
	item, err := ReadItem(r.View())
	d.Out = item.Out
	if err == nil {
		err = damaged("dead letter", d.Out.ID, r)
	}
	return d, err
}

// Names packs a list of names.
func Names(names []string) []byte {
	var w fields.Writer
	for _, n := range names {
		w.Str(n)
	}
	return w.Packed()
}

// ReadNames unpacks a list of names.
func ReadNames(packed []byte) ([]string, error) {
	var names []string
	r := fields.NewReader(packed)
	for r.More() {
		names = append(names, r.Str())
	}
	return names, damaged("list of names", "", r)
}

func damaged(what, id string, r *fields.Reader) error {
	if r.Err() == nil {
		return nil
	}
	return fmt.Errorf("store: the stored %s %q cannot be read: %w", what, id, r.Err())
}
