// Package testenv decides what a test does when a real server that it needs
// is not installed.
package testenv

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
)

// All is the environment variable that turns every skip into a failure.
const All = "SHIMWRIGHT_TEST_ALL"

// Need skips the test with a plain sentence when ok is false, and fails it
// instead where everything is expected to be installed.
func Need(t testing.TB, what string, ok bool) {
	t.Helper()
	switch {
	case ok:
	case os.Getenv(All) != "":
		t.Fatalf("%s is not installed here, and %s asks for every test", what, All)
	default:
		announce("left out, as " + what + " is not installed here: " + t.Name() + " and what else needs it")
		t.Skipf("left out: %s is not installed here", what)
	}
}

var announced sync.Map

// announce writes a line, once, to whoever started the tests. `go test ./...`
// shows nothing that a passing package writes, so it goes to where that command
// itself complains, or to the terminal.
func announce(line string) {
	what, _, _ := strings.Cut(line, ":")
	if _, again := announced.LoadOrStore(what, true); again {
		return
	}
	pkg := strings.TrimSuffix(filepath.Base(os.Args[0]), ".test")
	for _, path := range []string{fmt.Sprintf("/proc/%d/fd/2", os.Getppid()), "/dev/tty"} {
		f, err := os.OpenFile(path, os.O_WRONLY|os.O_APPEND, 0)
		if err != nil {
			continue
		}
		fmt.Fprintf(f, "%s: %s\n", pkg, line)
		f.Close()
		return
	}
}

// Long skips a test that -short leaves out.
func Long(t testing.TB) {
	t.Helper()
	if testing.Short() {
		t.Skip("left out: a long test, under -short")
	}
}

// Program returns the path of an installed program, or calls Need.
func Program(t testing.TB, names ...string) string {
	t.Helper()
	for _, n := range names {
		if p, err := exec.LookPath(n); err == nil {
			return p
		}
	}
	Need(t, names[0], false)
	return ""
}
