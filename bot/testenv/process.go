package testenv

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"net"
	"os/exec"
	"sync"
	"syscall"
	"testing"
	"time"
)

// FreePorts returns numbers of ports of loopback that nothing listens on at
// the moment. They lie below those that systems give out by themselves (from 32768
// on Linux), so that none is taken before its server starts.
func FreePorts(t testing.TB, n int) []int {
	t.Helper()
	ports := make([]int, 0, n)
	for tries := 0; len(ports) < n; tries++ {
		l, err := net.Listen("tcp", fmt.Sprintf("127.0.0.1:%d", 20000+rand.IntN(12000)))
		if err == nil {
			defer l.Close()
			ports = append(ports, l.Addr().(*net.TCPAddr).Port)
		} else if tries > 1000 {
			t.Fatal(err)
		}
	}
	return ports
}

// Process is a server that a test starts, ends and may start again. Its zero
// value is ready to start.
type Process struct {
	cmd  *exec.Cmd
	done chan struct{}
	mu   sync.Mutex
	out  bytes.Buffer
}

// Start starts a program in a folder.
func (p *Process) Start(t testing.TB, dir, program string, args ...string) {
	t.Helper()
	cmd := exec.Command(program, args...)
	cmd.Dir, cmd.Stdout, cmd.Stderr = dir, p, p
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	done := make(chan struct{})
	go func() {
		_ = cmd.Wait()
		close(done)
	}()
	p.cmd, p.done = cmd, done
}

// End signals the process and waits until it is gone, so that its ports are
// free; one that does not go is killed.
func (p *Process) End(s syscall.Signal) {
	if p.cmd == nil {
		return
	}
	_ = p.cmd.Process.Signal(s)
	select {
	case <-p.done:
	case <-time.After(15 * time.Second):
		_ = p.cmd.Process.Kill()
		<-p.done
	}
}

// Write takes what the process writes; the end of it is kept.
func (p *Process) Write(b []byte) (int, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.out.Len() > 1<<20 {
		p.out.Reset()
	}
	return p.out.Write(b)
}

// Log is the end of what the process wrote, for a test that fails.
func (p *Process) Log() string {
	p.mu.Lock()
	defer p.mu.Unlock()
	s := p.out.String()
	return s[max(0, len(s)-3000):]
}
