// Package fields packs the values that the engines store: each field is its
// length in decimal, a colon, and its bytes ("5:hello"). It is what a person
// can still read with the engine's own tools and what a few lines of Lua can
// take apart.
//
// Times are kept to the millisecond, as milliseconds since 1970 in UTC; the
// zero time is 0.
package fields

import (
	"bytes"
	"errors"
	"strconv"
	"time"
)

// ErrCut reports a packed value that is not whole.
var ErrCut = errors.New("fields: the packed value is cut short or damaged")

// Writer packs fields one after the other. The zero Writer is ready.
type Writer struct{ buf []byte }

// NewWriter returns a Writer with room for size bytes.
func NewWriter(size int) *Writer { return &Writer{buf: make([]byte, 0, size)} }

// Bytes appends b.
func (w *Writer) Bytes(b []byte) *Writer {
	w.buf = strconv.AppendInt(w.buf, int64(len(b)), 10)
	w.buf = append(append(w.buf, ':'), b...)
	return w
}

// Str appends s.
func (w *Writer) Str(s string) *Writer {
	w.buf = strconv.AppendInt(w.buf, int64(len(s)), 10)
	w.buf = append(append(w.buf, ':'), s...)
	return w
}

// Int appends n in decimal.
func (w *Writer) Int(n int64) *Writer {
	var digits [20]byte
	return w.Bytes(strconv.AppendInt(digits[:0], n, 10))
}

// Raw appends what is packed already.
func (w *Writer) Raw(packed []byte) *Writer {
	w.buf = append(w.buf, packed...)
	return w
}

// Time appends t to the millisecond.
func (w *Writer) Time(t time.Time) *Writer { return w.Int(Milli(t)) }

// Packed returns what was packed.
func (w *Writer) Packed() []byte { return w.buf }

// Reader takes fields out in the order in which they were packed. After a
// damaged field every read returns zero and Err says so.
type Reader struct {
	rest []byte
	err  error
}

// NewReader reads packed, which must not change meanwhile.
func NewReader(packed []byte) *Reader { return &Reader{rest: packed} }

// View returns the next field without copying it.
func (r *Reader) View() []byte {
	if r.err != nil {
		return nil
	}
	colon := bytes.IndexByte(r.rest, ':')
	if colon < 1 {
		r.err = ErrCut
		return nil
	}
	n := 0
	for _, c := range r.rest[:colon] {
		if c < '0' || c > '9' || n > len(r.rest) {
			r.err = ErrCut
			return nil
		}
		n = n*10 + int(c-'0')
	}
	body := r.rest[colon+1:]
	if n > len(body) {
		r.err = ErrCut
		return nil
	}
	r.rest = body[n:]
	return body[:n:n]
}

// Bytes returns a copy of the next field, nil when it is empty.
func (r *Reader) Bytes() []byte { return append([]byte(nil), r.View()...) }

// Str returns the next field as text.
func (r *Reader) Str() string { return string(r.View()) }

// Int returns the next field as a number.
func (r *Reader) Int() int64 {
	v := r.View()
	if r.err != nil {
		return 0
	}
	n, err := strconv.ParseInt(string(v), 10, 64) // does not allocate
	if err != nil {
		r.err = ErrCut
	}
	return n
}

// Time returns the next field as a time.
func (r *Reader) Time() time.Time { return Time(r.Int()) }

// More reports whether anything is left.
func (r *Reader) More() bool { return r.err == nil && len(r.rest) > 0 }

// Err returns ErrCut when a field could not be read.
func (r *Reader) Err() error { return r.err }

// Milli returns t as milliseconds since 1970, and 0 for the zero time.
func Milli(t time.Time) int64 {
	if t.IsZero() {
		return 0
	}
	return t.UnixMilli()
}

// Time is the inverse of Milli, in UTC.
func Time(ms int64) time.Time {
	if ms == 0 {
		return time.Time{}
	}
	return time.UnixMilli(ms).UTC()
}
