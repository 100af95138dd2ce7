package main

import (
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"shimwright/bot/channel/sms/kanneltest"
)

// The example client of the README is compiled as it stands there, against the
// standard library alone, and holds a conversation; it is short.
func TestReadmeClient(t *testing.T) {
	readme, err := os.ReadFile("../README.md")
	if err != nil {
		t.Fatal(err)
	}
	blocks := regexp.MustCompile("(?s)```go\n(.*?)```").FindAllSubmatch(readme, -1)
	if len(blocks) != 1 {
		t.Fatalf("%d programs in the README", len(blocks))
	}
	source := string(blocks[0][1])
	if n := strings.Count(source, "\n"); n >= 60 {
		t.Errorf("the client has %d lines", n)
	}
	if strings.Contains(source, "shimwright/") {
		t.Error("the client imports this project")
	}
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "client.go"), []byte(source), 0o600); err != nil {
		t.Fatal(err)
	}
	build := exec.Command("go", "build", "-o", "client", "client.go")
	build.Dir, build.Env = dir, append(os.Environ(), "GO111MODULE=off") // no module but the library is to be had
	if out, err := build.CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	s := newService(t)
	live(t, s.clock)
	say := func(secret string) string {
		ctx, cancel := context.WithTimeout(t.Context(), 30*time.Second)
		defer cancel()
		c := exec.CommandContext(ctx, filepath.Join(dir, "client"), s.url)
		c.Env = []string{"SHIMWRIGHT_WEBHOOK_SECRETS=" + secret}
		c.Stdin = strings.NewReader("level\nmm\nOld Blue\n")
		out, _ := c.CombinedOutput()
		return string(out)
	}
	if got := say(testSecret); !strings.Contains(got, "Millimetres or inches?\nWhat do you call this saw?\nSeen by the operator") {
		t.Errorf("the client prints\n%s", got)
	}
	if got := say("whsec_" + strings.Repeat("A", 43) + "="); strings.Count(got, "401") != 3 || !strings.Contains(got, "signature") {
		t.Errorf("with another secret\n%s", got)
	}
	if got := say("secret"); !strings.Contains(got, "set SHIMWRIGHT_WEBHOOK_SECRETS") {
		t.Errorf("without one\n%s", got)
	}
}

// The gateway's configuration that the README starts from works as it stands,
// but for its ports and secrets.
func TestReadmeGateway(t *testing.T) {
	t.Parallel()
	p := newPhone(t, kanneltest.Config{File: "../deploy/kannel.conf"})
	if a := p.say("level"); len(a.Replies) == 0 {
		t.Error("no answer")
	}
	if a := p.say("mm"); !has(textsOf(a), "What do you call this saw?") {
		t.Errorf("answered %q", textsOf(a))
	}
}
