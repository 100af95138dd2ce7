package values

import (
	"fmt"
	"testing"
	"time"

	"shimwright/store"
)

// FuzzRead: whatever lies in an engine is read or called damaged, and what was
// read packs into what reads the same.
func FuzzRead(f *testing.F) {
	at := time.UnixMilli(1).UTC()
	item := Item{Out: store.Out{ID: "o", Conversation: "c", Body: []byte("b")}, Ready: at}
	for _, seed := range [][]byte{
		Doc(store.Doc{Version: 1, Body: []byte("{}"), Expires: at}), Number(-7), item.Pack(),
		Entry(store.Entry{Seq: 3, At: at, Inbound: store.Handled{ID: "m"}, Answer: []byte("a")}),
		Record(store.Record{ID: "r", At: at}), Reminder(store.Reminder{ID: "m", Due: at}),
		Underway(store.Underway{Token: 1, Attempt: 2, Until: at, Silenced: true}),
		Dead(store.DeadLetter{Out: item.Out, Attempt: 3, Reason: "x", At: at}),
		[]byte("99999999999999999999:"), []byte("3:ab"), []byte(":"), []byte("1:x"),
	} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, packed []byte) {
		again(t, packed, func(b []byte) (store.Doc, error) { return ReadDoc(store.KindSaw, "s", b) }, Doc)
		again(t, packed, ReadNumber, Number)
		again(t, packed, ReadEntry, Entry)
		again(t, packed, ReadItem, Item.Pack)
		again(t, packed, ReadRecord, Record)
		again(t, packed, ReadReminder, Reminder)
		again(t, packed, ReadUnderway, Underway)
		again(t, packed, func(b []byte) (store.DeadLetter, error) { return ReadDead("s", b) }, Dead)
		_, _, _ = DocHead(packed)
		_, _ = EntryAt(packed)
	})
}

func again[T any](t *testing.T, packed []byte, read func([]byte) (T, error), pack func(T) []byte) {
	t.Helper()
	v, err := read(packed)
	if err != nil {
		return
	}
	w, err := read(pack(v))
	if a, b := fmt.Sprintf("%+v", v), fmt.Sprintf("%+v", w); err != nil || a != b {
		t.Fatalf("%s comes back as %s (%v)", a, b, err)
	}
}
