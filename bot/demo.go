package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"time"

	chatpage "shimwright/bot/page"
	"shimwright/bot/virtualsaw"
	"shimwright/store/boltstore"
)

// demo is the command that plays one conversation in the terminal: the real
// service on a port of this machine, and a person who stands at a virtual saw.
// It keeps nothing but the report page that it leaves.
func demo(ctx context.Context, c console, args []string) (err error) {
	f := flag.NewFlagSet("demo", flag.ContinueOnError)
	f.SetOutput(c.err)
	fast := f.Bool("fast", false, "do not wait for a reader")
	if err := f.Parse(args); err != nil {
		return err
	}
	folder, err := os.MkdirTemp("", "shimwright-demo-")
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(folder)) }()
	s, err := boltstore.Open(filepath.Join(folder, dataFile))
	if err != nil {
		return err
	}
	a, err := newApp(Config{LocalOwner: true, Rate: 100, Burst: 1000, Zone: "UTC", Shutdown: time.Second}, s, clock,
		slog.New(slog.NewTextHandler(io.Discard, nil)))
	if err != nil {
		return errors.Join(err, s.Close())
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return errors.Join(err, a.close())
	}
	serving, stop := context.WithCancel(ctx)
	ended := make(chan error, 1)
	go func() { ended <- a.serve(serving, l) }()
	body, err := playDemo(ctx, c, a, "http://"+l.Addr().String(), *fast)
	stop()
	if err = errors.Join(err, <-ended); err != nil {
		return err
	}
	path, err := writeDemo(f.Arg(0), body)
	if err != nil {
		return err
	}
	fmt.Fprintf(c.out, "\nThe report of this saw, to look at and to print: %s\n", path)
	return nil
}

// playDemo holds the conversation over HTTP and returns the report page.
func playDemo(ctx context.Context, c console, a *app, url string, fast bool) ([]byte, error) {
	transport := &http.Transport{}
	defer transport.CloseIdleConnections()
	t := virtualsaw.Talk{Client: &virtualsaw.Client{URL: url, HTTP: &http.Client{Transport: transport}, Now: clock},
		Conversation: "demo", Person: virtualsaw.Scenario()}
	pace := reading
	if fast {
		pace = func(context.Context, string) {}
	}
	fmt.Fprintln(c.out, "A virtual saw, a person who measures it, and the service that they speak with. Ctrl-C leaves.")
	t.Heard = func(text string, a virtualsaw.Answer) {
		fmt.Fprintf(c.out, "\n> %s\n", text)
		pace(ctx, text)
		fmt.Fprintf(c.out, "\n%s\n", printable(a.Text()))
		pace(ctx, a.Text())
	}
	course, err := t.Do(ctx, "slider-level")
	if err != nil {
		return nil, err
	}
	fmt.Fprintln(c.out, "\nWhat the saw knows, and the service could only measure:")
	course.Describe(c.out)
	saws, _, err := shopSaws(ctx, a.store, homeShop)
	if err != nil || len(saws) == 0 {
		return nil, errors.Join(err, errors.New("the conversation has left no saw"))
	}
	report, err := reportOf(ctx, a.store, homeShop, saws[0], clock())
	if err != nil {
		return nil, err
	}
	return chatpage.Report(report)
}

// Reading speed: a quick reader, so that the whole of it takes about a minute.
const (
	perWord   = 55 * time.Millisecond
	leastRead = 350 * time.Millisecond
	mostRead  = 2500 * time.Millisecond
)

// reading waits as long as it takes to read a text.
func reading(ctx context.Context, text string) {
	d := min(max(time.Duration(len(strings.Fields(text)))*perWord, leastRead), mostRead)
	select {
	case <-time.After(d):
	case <-ctx.Done():
	}
}

// writeDemo writes the page to the file that was asked for, or to a new one
// among the system's temporary files.
func writeDemo(path string, body []byte) (string, error) {
	if path != "" {
		return path, os.WriteFile(path, body, 0o644)
	}
	f, err := os.CreateTemp("", "shimwright-report-*.html")
	if err != nil {
		return "", err
	}
	_, err = f.Write(body)
	return f.Name(), errors.Join(err, f.Close())
}
