package values

import (
	"fmt"
	"testing"
	"time"

	"pgregory.net/rapid"

	"shimwright/store"
)

func anyTime(t *rapid.T, name string) time.Time {
	ms := rapid.Int64Range(0, 1<<45).Draw(t, name)
	if ms == 0 {
		return time.Time{}
	}
	return time.UnixMilli(ms).UTC()
}

func anyBytes(t *rapid.T, name string) []byte {
	b := rapid.SliceOf(rapid.Byte()).Draw(t, name)
	return append([]byte(nil), b...) // nil when empty
}

func same(t *rapid.T, err error, got, want any) {
	if err != nil || fmt.Sprintf("%+v", got) != fmt.Sprintf("%+v", want) {
		t.Fatalf("%+v, %v\nwant %+v", got, err, want)
	}
}

func TestWhatIsPackedComesBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := func(name string) string { return rapid.String().Draw(t, name) }
		number := rapid.Uint64Range(0, 1<<53).Draw(t, "number")

		doc := store.Doc{Kind: store.KindSaw, ID: s("id"), Version: number, Body: anyBytes(t, "body"), Expires: anyTime(t, "expires")}
		gotDoc, err := ReadDoc(doc.Kind, doc.ID, Doc(doc))
		same(t, err, gotDoc, doc)
		if gotDoc.Body == nil {
			t.Fatal("an empty body came back as nil, which would delete")
		}
		version, expires, err := DocHead(append(Number(int64(number)), DocRest(doc)...))
		same(t, err, []any{version, expires}, []any{doc.Version, doc.Expires})

		entry := store.Entry{
			Seq: number, At: anyTime(t, "at"), Fired: s("fired"), Answer: anyBytes(t, "answer"),
			Inbound: store.Handled{ID: s("inbound"), Hash: anyBytes(t, "hash"), Text: anyBytes(t, "text"), From: s("from")},
		}
		gotEntry, err := ReadEntry(Entry(entry))
		same(t, err, gotEntry, entry)
		same(t, nil, append(Number(int64(number)), EntryRest(entry)...), Entry(entry))
		at, err := EntryAt(Entry(entry))
		same(t, err, at, entry.At)

		item := Item{Ready: anyTime(t, "ready"), Out: store.Out{
			ID: s("out"), Conversation: s("conversation"), Channel: s("channel"), To: s("to"), Body: anyBytes(t, "message"),
			NotBefore: anyTime(t, "not before"), Expires: anyTime(t, "not after"),
		}}
		gotItem, err := ReadItem(item.Pack())
		same(t, err, gotItem, item)

		dead := store.DeadLetter{Shop: s("shop"), Out: item.Out, Attempt: int(number >> 40), Reason: s("reason"), At: entry.At}
		gotDead, err := ReadDead(dead.Shop, Dead(dead))
		same(t, err, gotDead, dead)

		record := store.Record{ID: s("record"), Saw: s("saw"), Characteristic: s("characteristic"), Person: s("person"), At: entry.At, Body: doc.Body}
		gotRecord, err := ReadRecord(Record(record))
		same(t, err, gotRecord, record)

		reminder := store.Reminder{ID: record.ID, Conversation: item.Conversation, Saw: record.Saw, Person: record.Person, Due: entry.At, Body: doc.Body}
		gotReminder, err := ReadReminder(Reminder(reminder))
		same(t, err, gotReminder, reminder)

		underway := store.Underway{Token: number, Attempt: 3, Until: entry.At, Silenced: number%2 == 1}
		gotUnderway, err := ReadUnderway(Underway(underway))
		same(t, err, gotUnderway, underway)

		names := rapid.SliceOf(rapid.String()).Draw(t, "names")
		gotNames, err := ReadNames(Names(names))
		same(t, err, gotNames, names)
	})
}

func TestADamagedValueIsReported(t *testing.T) {
	cut := []byte("3:ab")
	for name, err := range map[string]error{
		"document": second(ReadDoc(store.KindSaw, "s", cut)), "entry": second(ReadEntry(cut)), "message": second(ReadItem(cut)),
		"dead letter": second(ReadDead("s", cut)), "record": second(ReadRecord(cut)), "reminder": second(ReadReminder(cut)),
		"underway": second(ReadUnderway(cut)), "names": second(ReadNames(cut)),
	} {
		if err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

func second[T any](_ T, err error) error { return err }

func TestABlankEntryHasOnlyItsIDAndTime(t *testing.T) {
	e := store.Entry{
		Seq: 7, At: time.UnixMilli(1).UTC(), Answer: []byte("answer"),
		Inbound: store.Handled{ID: "m-1", Hash: []byte("h"), Text: []byte("text"), From: "kim"},
	}
	got := fmt.Sprintf("%+v", Blank(e))
	want := fmt.Sprintf("%+v", store.Entry{Seq: 7, At: e.At, Inbound: store.Handled{ID: "m-1"}})
	if got != want || !Same(Blank(e).Inbound.Hash, []byte("anything")) || Same(e.Inbound.Hash, []byte("other")) {
		t.Errorf("blank: %s", got)
	}
}
