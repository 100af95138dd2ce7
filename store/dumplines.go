package store

import "time"

// The lines of a backup, made from what an engine keeps, and back.

// DocLine is the line of a document.
func DocLine(shop string, d Doc) Line {
	dump := DumpDoc(d)
	return Line{Kind: LineDocument, Shop: shop, Doc: &dump}
}

// EntryLine is the line of an entry of a transcript.
func EntryLine(c Conversation, e Entry) Line {
	return Line{Kind: LineEntry, Shop: c.Shop, Entry: &DumpEntry{
		Conversation: c.ID, Seq: e.Seq, At: e.At, ID: e.Inbound.ID, Hash: e.Inbound.Hash,
		Text: e.Inbound.Text, From: e.Inbound.From, Fired: e.Fired, Answer: e.Answer,
	}}
}

// Entry is the entry that the line was made from.
func (d DumpEntry) Entry() Entry {
	return Entry{
		Seq: d.Seq, At: d.At, Fired: d.Fired, Answer: d.Answer,
		Inbound: Handled{ID: d.ID, Hash: d.Hash, Text: d.Text, From: d.From},
	}
}

// OutLine is the line of a waiting message, ready since ready; held says that
// its NotBefore has not come.
func OutLine(shop string, o Out, ready time.Time, held bool) Line {
	dump := dumpOut(o)
	dump.Ready, dump.Held = ready, held
	return Line{Kind: LineOut, Shop: shop, Out: &dump}
}

func dumpOut(o Out) DumpOut {
	return DumpOut{
		ID: o.ID, Conversation: o.Conversation, Channel: o.Channel, To: o.To, Body: o.Body,
		NotBefore: o.NotBefore, Expires: o.Expires,
	}
}

// Message is the outgoing message that the line was made from.
func (d DumpOut) Message() Out {
	return Out{
		ID: d.ID, Conversation: d.Conversation, Channel: d.Channel, To: d.To, Body: d.Body,
		NotBefore: d.NotBefore, Expires: d.Expires,
	}
}

// RecordLine is the line of a record.
func RecordLine(shop string, r Record) Line {
	dump := DumpRecord(r)
	return Line{Kind: LineRecord, Shop: shop, Record: &dump}
}

// ReminderLine is the line of a reminder.
func ReminderLine(shop string, r Reminder) Line {
	dump := DumpReminder(r)
	return Line{Kind: LineReminder, Shop: shop, Reminder: &dump}
}

// DeadLine is the line of a dead letter.
func DeadLine(d DeadLetter) Line {
	return Line{Kind: LineDead, Shop: d.Shop, Dead: &DumpDead{
		Out: dumpOut(d.Out), Attempt: d.Attempt, Reason: d.Reason, At: d.At,
	}}
}

// Letter is the dead letter that the line was made from.
func (d DumpDead) Letter(shop string) DeadLetter {
	return DeadLetter{Shop: shop, Out: d.Out.Message(), Attempt: d.Attempt, Reason: d.Reason, At: d.At}
}
