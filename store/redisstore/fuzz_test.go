package redisstore

import "testing"

// FuzzPair: two names of any bytes come apart as they went together, and any
// bytes are a pair or a damaged one.
func FuzzPair(f *testing.F) {
	f.Add("home", "bench")
	f.Add("3:a:b", "")
	f.Add("-1:a", ":")
	f.Fuzz(func(t *testing.T, a, b string) {
		if x, y, err := unpair(pair(a, b)); err != nil || x != a || y != b {
			t.Fatalf("%q and %q come apart as %q and %q (%v)", a, b, x, y, err)
		}
		if x, y, err := unpair(a); err == nil && pair(x, y) != a {
			// A length may be written in other ways (03:…); what it says is the same.
			if x2, y2, err := unpair(pair(x, y)); err != nil || x2 != x || y2 != y {
				t.Fatalf("%q is taken as %q and %q", a, x, y)
			}
		}
	})
}
