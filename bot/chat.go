package main

import (
	"bufio"
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"shimwright/dialog/wording"
	"shimwright/store"
)

// terminalConversation is the conversation of the terminal.
const terminalConversation = "terminal"

// maxLine bounds one line of the terminal, in bytes.
const maxLine = 1 << 20

// chat is the command that holds the conversation in a terminal, or with what
// is piped in, one message a line.
func chat(ctx context.Context, c console, _ []string) (err error) {
	cfg, err := LoadConfig()
	if err != nil {
		return err
	}
	r, err := receive(ctx, c, cfg)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, r.close()) }()
	fmt.Fprintln(c.out, "Type a message and press Enter; an end of input (Ctrl-D) leaves, and nothing is lost.")
	news, err := r.news(ctx, terminalConversation)
	if err != nil {
		return err
	}
	for _, a := range news {
		a.print(c.out)
	}
	lines := make(chan string)
	broken := make(chan error, 1)
	go readLines(ctx, c.in, lines, broken)
	for {
		fmt.Fprint(c.out, "\n> ")
		select {
		case <-ctx.Done():
			fmt.Fprintln(c.out)
			return nil
		case err := <-broken:
			fmt.Fprintln(c.out)
			return err
		case text := <-lines:
			if err := exchange(ctx, c, r, text); err != nil {
				return err
			}
		}
	}
}

// readLines passes on the lines of the input, then its error (nil at the end).
func readLines(ctx context.Context, in io.Reader, lines chan<- string, broken chan<- error) {
	s := bufio.NewScanner(in)
	s.Buffer(nil, maxLine)
	for s.Scan() {
		select {
		case lines <- s.Text():
		case <-ctx.Done():
			return
		}
	}
	broken <- s.Err()
}

// terminalLanguage is the language that the environment asks for, in the order of
// POSIX (Base Definitions, 8.2), "" where the service has not got it.
func terminalLanguage() string {
	locale, _, _ := strings.Cut(cmp.Or(os.Getenv("LC_ALL"), os.Getenv("LC_MESSAGES"), os.Getenv("LANG")), ".")
	locale, _, _ = strings.Cut(locale, "@")
	return wording.Accepted(strings.ReplaceAll(locale, "_", "-"))
}

// exchange says one line and prints what is answered. A message that is
// refused is told, and the conversation goes on.
func exchange(ctx context.Context, c console, r reception, text string) error {
	text = strings.ToValidUTF8(text, "\uFFFD")
	if len(text) > store.MaxInbound {
		fmt.Fprintf(c.out, "The line has %d bytes; a message may have %d.\n", len(text), store.MaxInbound)
		return nil
	}
	a, err := r.say(ctx, posted{ID: "m-" + newID(), Conversation: terminalConversation, Text: text, SentAt: clock(), Lang: terminalLanguage()})
	var p *problem
	if errors.As(err, &p) && p.Status < 500 {
		fmt.Fprintln(c.out, p.Detail)
		return nil
	}
	if err != nil {
		return err
	}
	a.print(c.out)
	return nil
}

// print writes the replies as a terminal can show them: pictures by their
// words, choices in brackets, the default first.
func (a answer) print(w io.Writer) {
	for _, r := range a.Replies {
		fmt.Fprintf(w, "\n%s\n", printable(r.Text))
		for _, m := range r.Media {
			fmt.Fprintf(w, "(%s)\n", printable(m.Alt))
		}
		if len(r.Choices) > 0 {
			fmt.Fprintf(w, "[%s]\n", printable(strings.Join(r.Choices, "] [")))
		}
	}
}

// printable takes out what would steer the terminal: control characters other
// than the end of a line.
func printable(s string) string {
	return strings.Map(func(r rune) rune {
		if r != '\n' && (r < ' ' || r >= 0x7f && r < 0xa0) {
			return -1
		}
		return r
	}, s)
}
