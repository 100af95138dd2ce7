package fields

import (
	"bytes"
	"testing"
	"time"

	"pgregory.net/rapid"
)

func TestWhatIsPackedComesBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		parts := rapid.SliceOf(rapid.SliceOf(rapid.Byte())).Draw(t, "parts")
		n := rapid.Int64().Draw(t, "n")
		ms := rapid.Int64Range(1, 1<<45).Draw(t, "ms")
		var w Writer
		for _, p := range parts {
			w.Bytes(p)
		}
		w.Int(n).Time(time.UnixMilli(ms)).Time(time.Time{}).Str("end")
		r := NewReader(w.Packed())
		for i, p := range parts {
			if got := r.Bytes(); !bytes.Equal(got, p) {
				t.Fatalf("field %d: %q, packed %q", i, got, p)
			}
		}
		if got := r.Int(); got != n {
			t.Fatalf("number %d, packed %d", got, n)
		}
		if got := r.Time(); got.UnixMilli() != ms {
			t.Fatalf("time %v, packed %d", got, ms)
		}
		if got := r.Time(); !got.IsZero() {
			t.Fatalf("the zero time came back as %v", got)
		}
		if r.Str() != "end" || r.More() || r.Err() != nil {
			t.Fatalf("the end is not the end: %v", r.Err())
		}
	})
}

func TestADamagedValueIsReported(t *testing.T) {
	for _, packed := range []string{"", "5", "5:hell", ":x", "-1:x", "x:y", "99999999999999999999:x"} {
		r := NewReader([]byte(packed))
		if v := r.View(); v != nil || r.Err() != ErrCut {
			t.Errorf("%q: %q, %v", packed, v, r.Err())
		}
		if r.Int() != 0 || r.More() {
			t.Errorf("%q: reading goes on after the damage", packed)
		}
	}
	if r := NewReader([]byte("1:x")); r.Int() != 0 || r.Err() != ErrCut {
		t.Error("a letter was read as a number")
	}
}
