// Package testenv decides what a test does when a real server that it needs
// is not installed.
package testenv

import (
	"os"
	"os/exec"
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
		t.Skipf("left out: %s is not installed here", what)
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
