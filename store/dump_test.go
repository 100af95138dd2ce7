package store

import (
	"bytes"
	"reflect"
	"testing"
	"time"
)

// FuzzReadDump: any file is read or refused, and what was read is written as a
// backup that reads the same.
func FuzzReadDump(f *testing.F) {
	var whole bytes.Buffer
	w := NewDumpWriter(&whole)
	at := time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
	w.Write(Line{Kind: LineShop, Shop: "home"})
	w.Write(Line{Kind: LineRecord, Shop: "home", Record: &DumpRecord{ID: "r", At: at, Body: []byte{0, 255}}})
	w.Write(Line{Kind: LineReminder, Shop: "home", Reminder: &DumpReminder{ID: "m", Due: at}})
	w.Write(Line{Kind: LineAddress, Shop: "home", Address: "join:x"})
	if err := w.End(); err != nil {
		f.Fatal(err)
	}
	f.Add(whole.Bytes())
	f.Add(whole.Bytes()[:whole.Len()-10])
	f.Add([]byte(`{"kind":"backup","format":99}`))
	f.Add([]byte(`{"kind":"backup","format":1}{"kind":"document","shop":"s","doc":null}`))
	f.Fuzz(func(t *testing.T, file []byte) {
		var lines []Line
		if err := ReadDump(bytes.NewReader(file), func(l Line) error { lines = append(lines, l); return nil }); err != nil {
			return
		}
		var out bytes.Buffer
		w := NewDumpWriter(&out)
		for _, l := range lines {
			w.Write(l)
		}
		if err := w.End(); err != nil {
			return // a time that was read but that JSON cannot write
		}
		n := 0
		err := ReadDump(&out, func(l Line) error {
			if n >= len(lines) || !reflect.DeepEqual(plain(t, l), plain(t, lines[n])) {
				t.Errorf("line %d comes back as %+v", n+1, l)
			}
			n++
			return nil
		})
		if err != nil || n != len(lines) {
			t.Fatalf("%d of %d lines come back: %v", n, len(lines), err)
		}
	})
}

// plain is a line as it is written: nothing and an empty list are one.
func plain(t *testing.T, l Line) string {
	var b bytes.Buffer
	w := NewDumpWriter(&b)
	w.Write(l)
	if err := w.End(); err != nil {
		t.Fatal(err)
	}
	return b.String()
}
