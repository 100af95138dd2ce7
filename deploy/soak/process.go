package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"time"
)

// process is the running program.
type process struct {
	cmd *exec.Cmd
	url string
	out *bufio.Reader
}

// start starts the program, again where it was, and returns when it answers.
func start(bin, folder, redis string, again ...string) (*process, error) {
	listen := "127.0.0.1:0"
	if len(again) > 0 {
		listen = strings.TrimPrefix(again[0], "http://")
	}
	p := &process{cmd: exec.Command(bin, "serve")}
	for _, v := range os.Environ() {
		if !strings.HasPrefix(v, "SHIMWRIGHT_") {
			p.cmd.Env = append(p.cmd.Env, v)
		}
	}
	p.cmd.Env = append(p.cmd.Env, "SHIMWRIGHT_LISTEN="+listen, "SHIMWRIGHT_DATA="+folder,
		"SHIMWRIGHT_RATE=10000", "SHIMWRIGHT_BURST=100000", "SHIMWRIGHT_LOG=error")
	if redis != "" {
		p.cmd.Env = append(p.cmd.Env, "SHIMWRIGHT_REDIS_URL="+redis)
	}
	p.cmd.Stderr = os.Stderr
	out, err := p.cmd.StdoutPipe()
	if err == nil {
		err = p.cmd.Start()
	}
	if err != nil {
		return nil, err
	}
	p.out = bufio.NewReader(out)
	line, err := p.out.ReadString('\n')
	_, url, ok := strings.Cut(strings.TrimSpace(line), "answers on ")
	if err != nil || !ok {
		p.kill()
		return nil, fmt.Errorf("it says %q (%v)", line, err)
	}
	p.url = url
	go func() { _, _ = io.Copy(io.Discard, p.out) }()
	return p, nil
}

// kill ends it as a power cut would, as far as a program can tell.
func (p *process) kill() {
	_ = p.cmd.Process.Kill()
	_ = p.cmd.Wait()
}

// stop asks it to stop and reports when it does not do so well.
func (p *process) stop() error {
	if err := p.cmd.Process.Signal(os.Interrupt); err != nil {
		return err
	}
	if err := p.cmd.Wait(); err != nil {
		return fmt.Errorf("the stop at the end: %w", err)
	}
	return nil
}

// watch looks at the program's own figures until ctx ends. The first looks,
// while its caches fill, do not count.
func (p *process) watch(ctx context.Context, every time.Duration) []sample {
	wait(ctx, 5*every)
	var list []sample
	for wait(ctx, every) {
		if s, err := p.look(ctx); err == nil {
			list = append(list, s)
		}
	}
	return list
}

func (p *process) look(ctx context.Context) (sample, error) {
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, p.url+"/metrics", nil)
	if err != nil {
		return sample{}, err
	}
	res, err := http.DefaultClient.Do(r)
	if err != nil {
		return sample{}, err
	}
	defer res.Body.Close()
	var s sample
	for lines := bufio.NewScanner(res.Body); lines.Scan(); {
		name, value, _ := strings.Cut(lines.Text(), " ")
		v, _ := strconv.ParseFloat(value, 64)
		switch name {
		case "process_resident_memory_bytes":
			s.Bytes = v
		case "go_goroutines":
			s.Goroutines = v
		}
	}
	if s.Goroutines == 0 {
		return s, errors.New("the figures are not there")
	}
	return s, nil
}
