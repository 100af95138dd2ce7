// Package dendritetest runs a real Matrix homeserver for a test: Dendrite, on
// free ports of loopback, in a folder of the test's own.
//
// It is a fixture and no dependency: its programs are built once into the
// user's cache, where everything is asked for (see testenv), and the test is
// left out where they are not there.
package dendritetest

import (
	"bytes"
	"context"
	"fmt"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"shimwright/bot/testenv"
)

// Version is the homeserver that is built.
const Version = "v0.13.8"

// ServerName is its name on the Matrix network.
const ServerName = "shop.test"

var programs = []string{"dendrite", "generate-keys", "generate-config", "create-account"}

// Server is a homeserver that runs until the test ends.
type Server struct {
	URL string // its client-server API

	t       testing.TB
	bin     string
	dir     string
	port    int
	process testenv.Process
}

// Start starts a homeserver that knows an application service by its
// registration file, or skips the test.
func Start(t testing.TB, registration []byte) *Server {
	t.Helper()
	s := &Server{t: t, bin: installed(t), dir: t.TempDir(), port: testenv.FreePorts(t, 1)[0]}
	s.URL = fmt.Sprintf("http://127.0.0.1:%d", s.port)
	if err := os.WriteFile(filepath.Join(s.dir, "appservice.yaml"), registration, 0o600); err != nil {
		t.Fatal(err)
	}
	s.run("generate-keys", "--private-key", filepath.Join(s.dir, "matrix_key.pem"))
	config := s.run("generate-config", "-server", ServerName, "-dir", s.dir+"/", "-db", "")
	if err := os.WriteFile(s.config(), []byte(s.edited(config)), 0o600); err != nil {
		t.Fatal(err)
	}
	s.Run()
	t.Cleanup(func() { s.process.End(syscall.SIGTERM) })
	return s
}

// installed returns the folder of the homeserver's programs. They are built
// there when every test is asked for.
func installed(t testing.TB) string {
	t.Helper()
	cache, err := os.UserCacheDir()
	if err != nil {
		testenv.Need(t, "a homeserver (this user has no cache folder)", false)
	}
	dir := filepath.Join(cache, "shimwright-test", "dendrite-"+Version)
	there := func() bool {
		for _, p := range programs {
			if _, err := os.Stat(filepath.Join(dir, p)); err != nil {
				return false
			}
		}
		return true
	}
	if !there() && os.Getenv(testenv.All) != "" {
		build(t, dir)
	}
	testenv.Need(t, "a Matrix homeserver (built into "+filepath.Join("<cache>", "shimwright-test")+" when "+testenv.All+" is set)", there())
	return dir
}

// build builds the programs; it takes minutes and needs the network, once.
func build(t testing.TB, dir string) {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 30*time.Minute)
	defer cancel()
	args := []string{"install"}
	for _, p := range programs {
		args = append(args, "github.com/matrix-org/dendrite/cmd/"+p+"@"+Version)
	}
	cmd := exec.CommandContext(ctx, "go", args...)
	cmd.Dir = os.TempDir() // outside this module: nothing of it comes into go.mod
	cmd.Env = append(os.Environ(), "GOFLAGS=-mod=mod", "GOBIN="+dir)
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Logf("the homeserver cannot be built: %v\n%s", err, out)
	}
}

func (s *Server) config() string { return filepath.Join(s.dir, "dendrite.yaml") }

// edited fits the generated configuration to this test.
func (s *Server) edited(config string) string {
	var out []string
	for line := range strings.Lines(config) {
		indent := line[:len(line)-len(strings.TrimLeft(line, " "))]
		switch key, _, _ := strings.Cut(strings.TrimSpace(line), ":"); key {
		case "private_key":
			line = indent + "private_key: " + filepath.Join(s.dir, "matrix_key.pem") + "\n"
		case "registration_shared_secret":
			line = indent + "registration_shared_secret: \"local\"\n"
		case "config_files":
			line = indent + "config_files: [" + filepath.Join(s.dir, "appservice.yaml") + "]\n"
		}
		out = append(out, line)
	}
	return strings.Join(out, "")
}

// run runs one of the homeserver's tools.
func (s *Server) run(program string, args ...string) string {
	s.t.Helper()
	var stdout, stderr bytes.Buffer
	cmd := exec.Command(filepath.Join(s.bin, program), args...)
	cmd.Dir, cmd.Stdout, cmd.Stderr = s.dir, &stdout, &stderr
	if err := cmd.Run(); err != nil {
		s.t.Fatalf("%s: %v\n%s", program, err, stderr.String())
	}
	return stdout.String()
}

// Run starts the homeserver, for the first time or after Kill.
func (s *Server) Run() {
	s.t.Helper()
	s.process.Start(s.t, s.dir, filepath.Join(s.bin, "dendrite"), "--config", s.config(),
		"--http-bind-address", "127.0.0.1:"+strconv.Itoa(s.port))
	for range 400 {
		if r, err := http.Get(s.URL + "/_matrix/client/versions"); err == nil {
			_ = r.Body.Close()
			if r.StatusCode == http.StatusOK {
				return
			}
		}
		time.Sleep(50 * time.Millisecond)
	}
	s.t.Fatalf("the homeserver does not answer\n%s", s.Log())
}

// Kill ends the homeserver as a crash would.
func (s *Server) Kill() { s.process.End(syscall.SIGKILL) }

// Log is the end of what the homeserver wrote.
func (s *Server) Log() string { return s.process.Log() }
