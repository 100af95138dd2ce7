package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"path/filepath"
	"testing"
	"time"

	"shimwright/dialog"
	"shimwright/store"
	"shimwright/store/boltstore"
)

// FuzzRecordsCSV: any file is read or refused with its line, and what was read
// is written as a file that reads the same.
func FuzzRecordsCSV(f *testing.F) {
	at := time.Date(2026, 3, 2, 9, 14, 5, 0, time.UTC)
	found := dialog.Measured{Value: -0.19, Uncertainty: 0.02, At: at}
	f.Add(recordsCSV([]dialog.Record{{ID: "r-1", Saw: "saw-1", Characteristic: "slider.height", At: at, AsFound: &found, Remarks: "\"a\",\r\nb",
		Readings: []dialog.RecordReading{{Name: "slider.height", Low: 1, High: 2, At: at}}}}, map[string]string{"saw-1": "Old Blue"}, nil))
	f.Add([]byte("id\n\"a"))
	f.Add([]byte("\ufeffid,saw\r\n1,2,3\r\n"))
	f.Fuzz(func(t *testing.T, file []byte) {
		records, _, err := parseRecordsCSV(bytes.NewReader(file))
		if err != nil {
			return
		}
		body := recordsCSV(records, nil, nil)
		again, _, err := parseRecordsCSV(bytes.NewReader(body))
		if err != nil || len(again) != len(records) || !bytes.Equal(recordsCSV(again, nil, nil), body) {
			t.Fatalf("written and read again, %d records are %d (%v):\n%s", len(records), len(again), err, body)
		}
	})
}

// FuzzImport: any file is looked at without a fault of the program, and a saw
// that is taken is one that the dialog can work with.
func FuzzImport(f *testing.F) {
	s, err := boltstore.Open(filepath.Join(f.TempDir(), "import.db"))
	if err != nil {
		f.Fatal(err)
	}
	f.Cleanup(func() { _ = s.Close() })
	now := time.Date(2026, 3, 2, 9, 14, 5, 0, time.UTC)
	f.Add([]byte(`{"shimwright_export":1,"saws":[{"id":"saw-1","profile":{"name":"Old Blue"}}],"records":[{"id":"r-1","saw":"saw-1","characteristic":"slider.height","at":"2026-03-02T09:14:05Z"}]}`))
	f.Add([]byte(`{"shimwright_export":1,"saws":[{"id":"saw-1"},{"id":"saw-1"}],"people":[{"id":"kim","name":"kim"}]}`))
	f.Add([]byte("\ufeff{}"))
	f.Add([]byte(`{"shimwright_export":1,"records":[null]}`))
	f.Add(encode(shopCopy{Form: copyForm, Saws: []dialog.Saw{aSaw(f)}}))
	f.Fuzz(func(t *testing.T, file []byte) {
		in, err := readJSONCopy(file)
		if err != nil {
			return
		}
		b := bringing{ctx: t.Context(), store: s, in: importing{Shop: homeShop, Copy: in}, now: now}
		if b.look() != nil || len(b.saws) == 0 {
			return
		}
		for _, word := range []string{"menu", "level", "crosscut", "bevel", "due", "edit"} {
			v := dialog.View{Shop: homeShop, Conversation: "c", Person: "kim", Saws: b.saws, Locate: locate,
				People: dialog.People{Persons: []dialog.Person{{ID: "kim", Name: "Kim"}}}}
			dialog.Step(v, dialog.State{}, dialog.Message{ID: "m-1", Text: word, SentAt: now}, now)
		}
	})
}

// aSaw is the saw of a conversation that set one up.
func aSaw(t testing.TB) dialog.Saw {
	t.Helper()
	now := time.Date(2026, 3, 2, 9, 14, 5, 0, time.UTC)
	v := dialog.View{Shop: homeShop, Conversation: "c", Person: "kim", Locate: locate, People: dialog.People{Persons: []dialog.Person{{ID: "kim", Name: "Kim"}}}}
	var state dialog.State
	for _, text := range []string{"level", "mm", "Old Blue", "left", "ok"} {
		r := dialog.Step(v, state, dialog.Message{ID: text, Text: text, SentAt: now}, now)
		state = r.State
		if len(r.Saws) > 0 {
			v.Saws = r.Saws
		}
	}
	if len(v.Saws) != 1 {
		t.Fatalf("%d saws", len(v.Saws))
	}
	return v.Saws[0]
}

// FuzzStoredDocument: whatever a stored document holds, it is brought to its
// newest form, or an error says why not, and nothing of it is changed then.
func FuzzStoredDocument(f *testing.F) {
	for _, s := range []string{`{"schema":1,"a":2}`, `{"a":[1,{"schema":9}],"schema":3}`, `{"schema":-1}`, `{"schema":1e30}`, `null`, `[]`, `{"schema"`, ""} {
		f.Add([]byte(s))
	}
	v := versions{store.KindSaw: {func(fields map[string]json.RawMessage) error { fields["new"] = []byte("1"); return nil }}}
	f.Fuzz(func(t *testing.T, body []byte) {
		d := store.Doc{Kind: store.KindSaw, ID: "saw-1", Body: bytes.Clone(body)}
		if err := v.upgrade(&d); err != nil {
			if !bytes.Equal(d.Body, body) {
				t.Fatalf("refused (%v), and changed to %q", err, d.Body)
			}
			return
		}
		if len(body) == 0 || string(body) == tombstone {
			return
		}
		if has := schemaOf(d.Body); has != 2 {
			t.Fatalf("%q is brought to schema %d: %q", body, has, d.Body)
		}
		if err := (versions{store.KindSaw: nil}).upgrade(&d); !errors.Is(err, store.ErrNewer) {
			t.Fatalf("an earlier program: %v", err)
		}
	})
}

// FuzzRef: a reference names the attempt that it was made for, and any text is
// one of ours or none.
func FuzzRef(f *testing.F) {
	f.Add("home", "bench", "o-1", uint64(7), "")
	f.Add("", "", "", uint64(0), "eyJzIjoiaCJ9")
	f.Fuzz(func(t *testing.T, shop, conversation, id string, token uint64, any string) {
		m := store.Delivery{Shop: shop, Out: store.Out{ID: id, Conversation: conversation}, Token: token}
		if got, ok := readRef(makeRef(m)); ok && got.Token != token || !ok && shop != "" && id != "" {
			t.Fatalf("%+v is read as %+v, %v", m, got, ok)
		}
		if got, ok := readRef(any); ok && (got.Shop == "" || got.Out.ID == "") {
			t.Fatalf("%q is taken as %+v", any, got)
		}
	})
}
