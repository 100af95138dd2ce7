package kanneltest

import (
	"encoding/hex"
	"fmt"
	"net/url"
	"strings"
	"unicode/utf16"
)

// parse reads a line of the fake network: sender, receiver, kind and what the
// kind takes.
func parse(line string) Text {
	f := strings.SplitN(line, " ", 4)
	for len(f) < 4 {
		f = append(f, "")
	}
	m := Text{From: f[0], To: f[1], Kind: f[2]}
	switch m.Kind {
	case "ucs-2":
		m.Body = fromUTF16(unescape(f[3]))
	case "udh":
		p := strings.SplitN(f[3], " ", 3) // header, kind, body
		for len(p) < 3 {
			p = append(p, "")
		}
		m.Header = hex.EncodeToString([]byte(unescape(p[0])))
		m.Body = unescape(p[2])
		if wide(m.Body) {
			m.Body = fromUTF16(m.Body)
		}
	case "text":
		m.Body = f[3]
	default:
		m.Body = unescape(f[3])
	}
	return m
}

// wide tells 16-bit text, whose high bytes are control characters in every
// script used here; the fake network does not say how a part is coded.
func wide(s string) bool {
	return strings.ContainsFunc(s, func(r rune) bool { return r < ' ' && r != '\n' && r != '\r' })
}

func unescape(s string) string {
	if u, err := url.QueryUnescape(s); err == nil {
		return u
	}
	return s
}

func escape(b []byte) string {
	var s strings.Builder
	for _, c := range b {
		fmt.Fprintf(&s, "%%%02X", c)
	}
	return s.String()
}

func utf16be(s string) []byte {
	var b []byte
	for _, u := range utf16.Encode([]rune(s)) {
		b = append(b, byte(u>>8), byte(u))
	}
	return b
}

func fromUTF16(s string) string {
	var units []uint16
	for i := 0; i+1 < len(s); i += 2 {
		units = append(units, uint16(s[i])<<8|uint16(s[i+1]))
	}
	return string(utf16.Decode(units))
}
