package main

import (
	"crypto/rand"
	"crypto/sha256"
	"encoding/base32"
	"encoding/base64"
	"encoding/hex"
	"path"
	"strings"
	"sync"
	"time"
)

// newID returns an id that nobody can guess and that is easily read out: 80
// random bits as 16 letters and digits.
func newID() string {
	var b [10]byte
	_, _ = rand.Read(b[:]) // never fails: crypto/rand
	return strings.ToLower(base32.StdEncoding.EncodeToString(b[:]))
}

// newToken returns a secret of 256 random bits, safe in a URL and a cookie.
func newToken() string {
	var b [32]byte
	_, _ = rand.Read(b[:])
	return base64.RawURLEncoding.EncodeToString(b[:])
}

// tokenHash is what is stored of a token.
func tokenHash(token string) string {
	h := sha256.Sum256([]byte(token))
	return hex.EncodeToString(h[:])
}

// veiled is an id that is the same for the same parts, and shows nothing of them.
func veiled(parts ...string) string {
	h := sha256.Sum256([]byte(strings.Join(parts, "\x00")))
	return hex.EncodeToString(h[:12])
}

// mask makes a name fit for the log: of a run of five digits or more, which may
// be somebody's number, only the last two stay.
func mask(s string) string {
	var b strings.Builder
	for i := 0; i < len(s); {
		j := i
		for j < len(s) && s[j] >= '0' && s[j] <= '9' {
			j++
		}
		switch {
		case j-i >= 5:
			b.WriteString("***")
			b.WriteString(s[j-2 : j])
		case j > i:
			b.WriteString(s[i:j])
		default:
			b.WriteByte(s[i])
			j = i + 1
		}
		i = j
	}
	return b.String()
}

// joinAlphabet has no letter or digit that is mistaken for another.
const joinAlphabet = "ABCDEFGHJKMNPQRSTVWXYZ23456789"

// freshText is a fresh text of 28 places of thirty for what the dialog gives
// out: 137 bits for the link to a report page. Of a join code it shows the first
// eight, 39 bits, good for a code that is open for a week behind a rate limit.
func freshText() string {
	b := make([]byte, 28)
	for i := range b {
		for {
			var r [1]byte
			_, _ = rand.Read(r[:]) // never fails: crypto/rand
			if n := int(r[0]); n < 240 {
				b[i] = joinAlphabet[n%len(joinAlphabet)]
				break
			}
		}
	}
	return string(b)
}

// joinAddress is what the directory knows a join code by.
func joinAddress(hash string) string { return "join:" + hash }

// reportAddress is what the directory knows a report page by.
func reportAddress(hash string) string { return "report:" + hash }

// located holds the zones that were found, since the library reads a file for
// each. There are some 600, so all are kept.
var located sync.Map // of *time.Location, by name

// locate finds a zone of the tz database.
func locate(name string) *time.Location {
	if l, ok := located.Load(name); ok {
		return l.(*time.Location)
	}
	if name == "" || name == "Local" || path.Clean(name) != name { // a zone has one name
		return nil
	}
	l, err := time.LoadLocation(name)
	if err != nil {
		return nil
	}
	located.Store(name, l)
	return l
}
