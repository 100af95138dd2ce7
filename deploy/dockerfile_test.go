package deploy

import (
	"strings"
	"testing"

	"github.com/moby/buildkit/frontend/dockerfile/instructions"
	"github.com/moby/buildkit/frontend/dockerfile/linter"
	"github.com/moby/buildkit/frontend/dockerfile/parser"
)

// lint reads a Dockerfile as BuildKit does, and returns what its rules find in
// the file itself; those that need the base image are left to the builder.
func lint(t *testing.T, text string) (stages []instructions.Stage, found []string) {
	t.Helper()
	r, err := parser.Parse(strings.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	for _, w := range r.Warnings {
		found = append(found, w.Short)
	}
	stages, _, err = instructions.Parse(r.AST, linter.New(&linter.Config{
		Warn: func(rule, _, _, what string, _ []parser.Range) { found = append(found, rule+": "+what) }}))
	if err != nil {
		t.Fatal(err)
	}
	return stages, found
}

// TestDockerfile: BuildKit's own parser and rules have nothing to say about it,
// and the image is the last stage: empty but for what is copied, and not root.
func TestDockerfile(t *testing.T) {
	stages, found := lint(t, read(t, "../Dockerfile"))
	if len(found) > 0 {
		t.Errorf("findings: %q", found)
	}
	last := stages[len(stages)-1]
	user := ""
	for _, c := range last.Commands {
		switch c := c.(type) {
		case *instructions.UserCommand:
			user = c.User
		case *instructions.RunCommand:
			t.Errorf("the image runs %v: it has nothing to run it with", c.CmdLine)
		}
	}
	if last.BaseName != "scratch" || user == "" || strings.HasPrefix(user, "0") || strings.HasPrefix(user, "root") {
		t.Errorf("the image begins with %q and runs as %q", last.BaseName, user)
	}
	if _, found := lint(t, "FROM scratch as a\nMAINTAINER kim\n"); len(found) != 2 { // as beside FROM; MAINTAINER at all
		t.Errorf("in a bad file were found %q", found)
	}
}
