package kanneltest

import (
	"bufio"
	"fmt"
	"net"
	"strings"
	"testing"
	"time"
)

// Handset is a telephone on the fake network. The network takes one at a time.
type Handset struct {
	t    testing.TB
	conn net.Conn
	in   chan Text
}

// Text is a text, or one part of one, as the handset got it.
type Text struct {
	From, To string
	Kind     string // text, ucs-2, udh
	Header   string // of a part: the user data header, in hexadecimal
	Body     string // decoded
}

// Handset connects a telephone.
func (g *Gateway) Handset() *Handset {
	g.t.Helper()
	conn, err := net.Dial("tcp", fmt.Sprintf("127.0.0.1:%d", g.network))
	if err != nil {
		g.t.Fatal(err)
	}
	h := &Handset{t: g.t, conn: conn, in: make(chan Text, 4096)}
	g.t.Cleanup(func() { _ = conn.Close() })
	go h.read()
	return h
}

// Send sends a text from a number.
func (h *Handset) Send(from, text string) {
	h.t.Helper()
	h.line(from + " " + Number + " text " + text)
}

// SendUCS2 sends a text in 16 bits a character.
func (h *Handset) SendUCS2(from, text string) {
	h.t.Helper()
	h.line(from + " " + Number + " ucs2 " + escape(utf16be(text)))
}

// SendData sends 8-bit data: a picture of the old kind, a ring tone.
func (h *Handset) SendData(from string, data []byte) {
	h.t.Helper()
	h.line(from + " " + Number + " data " + escape(data))
}

func (h *Handset) line(s string) {
	h.t.Helper()
	if _, err := h.conn.Write([]byte(s + "\n")); err != nil {
		h.t.Fatal(err)
	}
}

// Next returns the next text, or fails after a while.
func (h *Handset) Next() Text {
	h.t.Helper()
	select {
	case m := <-h.in:
		return m
	case <-time.After(20 * time.Second):
		h.t.Fatal("no text came")
	}
	return Text{}
}

// Quiet returns what came within a time; none where nothing did.
func (h *Handset) Quiet(d time.Duration) (list []Text) {
	for end := time.After(d); ; {
		select {
		case m := <-h.in:
			list = append(list, m)
		case <-end:
			return list
		}
	}
}

// read takes the network's lines. A text of several lines comes as it is, so a
// line that does not begin with our number belongs to the text before it.
func (h *Handset) read() {
	got := make(chan string)
	go func() {
		in := bufio.NewScanner(h.conn)
		in.Buffer(nil, 1<<20)
		for in.Scan() {
			got <- in.Text()
		}
		close(got)
	}()
	var text string
	flush := func() {
		if text != "" {
			h.in <- parse(text)
		}
		text = ""
	}
	for {
		select {
		case line, ok := <-got:
			switch {
			case !ok:
				flush()
				return
			case strings.HasPrefix(line, Number+" +"):
				flush()
				text = line
			default:
				text += "\n" + line
			}
		case <-time.After(50 * time.Millisecond):
			flush()
		}
	}
}

// SendPart sends one part of a long text (TS 23.040, clause 9.2.3.24.1).
func (h *Handset) SendPart(from string, ref, parts, part byte, text string) {
	h.t.Helper()
	udh := escape([]byte{5, 0, 3, ref, parts, part})
	h.line(from + " " + Number + " udh-text " + udh + " " + text)
}
