package boltstore

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"shimwright/store/internal/fields"
)

// FuzzRow: whatever lies in the file where a conversation should, it is read
// or called damaged, and what was read packs into the same row.
func FuzzRow(f *testing.F) {
	list := fields.NewWriter(0).Int(7).Time(time.UnixMilli(1)).Str("m-1").Packed()
	f.Add(row{version: 1, body: []byte("{}"), senders: []byte("3:kim"), recent: list}.pack())
	f.Add([]byte("1:11:02:{}0:9:99999"))
	f.Fuzz(func(t *testing.T, packed []byte) {
		r, err := readRow(packed)
		if err != nil {
			return
		}
		_, _ = readHandled(r.recent)
		again, err := readRow(r.pack())
		if err != nil || again.version != r.version || !again.expires.Equal(r.expires) || !bytes.Equal(again.body, r.body) ||
			!bytes.Equal(again.senders, r.senders) || !bytes.Equal(again.recent, r.recent) {
			t.Fatalf("%+v comes back as %+v (%v)", r, again, err)
		}
	})
}

// FuzzKey: any names come out of a key as they went in, in the order of the
// names; and any bytes are a key or a damaged one.
func FuzzKey(f *testing.F) {
	f.Add("home", "bench", uint64(1))
	f.Add("a\x00", "\x00\x00é", uint64(1<<53))
	f.Fuzz(func(t *testing.T, a, b string, n uint64) {
		p := parse([]byte(a))
		_, _, _, _ = p.str(), p.tag(), p.num(), p.time()
		a, b, n = strings.ToValidUTF8(a, "?"), strings.ToValidUTF8(b, "?"), n%(1<<54)
		k := key(nil).str(a).str(b).num(n)
		p = parse(k)
		if x, y, m := p.str(), p.str(), p.num(); p.err != nil || x != a || y != b || m != n || len(p.rest) > 0 {
			t.Fatalf("%q %q %d come out as %q %q %d (%v)", a, b, n, x, y, m, p.err)
		}
		if bytes.Compare(key(nil).str(a), key(nil).str(b)) != bytes.Compare([]byte(a), []byte(b)) {
			t.Fatalf("%q and %q are in another order as keys", a, b)
		}
	})
}
