package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"shimwright/bot/channel"
	"shimwright/bot/testenv"
	"shimwright/store"
	"shimwright/store/boltstore"
)

// built is the program itself, built once for all tests that run it. Its
// folder is removed by TestMain.
var built = sync.OnceValues(func() (string, error) {
	bin := filepath.Join(buildFolder(), "bot")
	out, err := exec.Command("go", "build", "-o", bin, ".").CombinedOutput()
	if err != nil {
		return "", fmt.Errorf("%w: %s", err, out)
	}
	return bin, nil
})

func buildFolder() string {
	return filepath.Join(os.TempDir(), fmt.Sprint("shimwright-test-", os.Getpid()))
}

// process is a running program.
type process struct {
	*testing.T
	cmd *exec.Cmd
	url string
	out *lockedBuffer // standard output and error
}

// programPath returns the path of the built program.
func programPath(t testing.TB) string {
	t.Helper()
	_, err := exec.LookPath("go")
	testenv.Need(t, "the go command", err == nil)
	bin, err := built()
	if err != nil {
		t.Fatal(err)
	}
	return bin
}

// botEnv is an environment without settings of the program but those given.
func botEnv(folder string, settings ...string) []string {
	var env []string
	for _, v := range os.Environ() {
		if !strings.HasPrefix(v, prefix+"_") {
			env = append(env, v)
		}
	}
	return append(append(env, prefix+"_DATA="+folder), settings...)
}

// startProgram runs `serve` on a data folder until the test ends, and returns
// when it has said where it answers.
func startProgram(t *testing.T, folder string, settings ...string) *process {
	t.Helper()
	p := &process{T: t, out: &lockedBuffer{}}
	p.cmd = exec.Command(programPath(t), "serve")
	p.cmd.Env = botEnv(folder, append([]string{prefix + "_LISTEN=127.0.0.1:0"}, settings...)...)
	p.cmd.Stderr = p.out
	out, err := p.cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := p.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(p.kill)
	lines := bufio.NewReader(out)
	for p.url == "" {
		line, err := lines.ReadString('\n')
		fmt.Fprint(p.out, line)
		if err != nil {
			t.Fatalf("it ended at the start: %s", p.out)
		}
		if _, url, ok := strings.Cut(line, "answers on "); ok {
			p.url = strings.TrimSpace(url)
		}
	}
	go func() { _, _ = io.Copy(p.out, lines) }()
	return p
}

// kill ends the program as a power cut would end it, as far as a program can
// tell.
func (p *process) kill() {
	_ = p.cmd.Process.Kill()
	_ = p.cmd.Wait()
}

// interrupt asks the program to stop, and returns its exit error.
func (p *process) interrupt() error {
	if err := p.cmd.Process.Signal(os.Interrupt); err != nil {
		p.Fatal(err)
	}
	return p.cmd.Wait()
}

// runProgram runs the program with arguments and input.
func runProgram(t *testing.T, folder, input string, args ...string) (out string, err error) {
	t.Helper()
	cmd := exec.Command(programPath(t), args...)
	cmd.Env = botEnv(folder)
	cmd.Stdin = strings.NewReader(input)
	b, err := cmd.CombinedOutput()
	return string(b), err
}

// postTo posts a message to a program and returns the body of a 200.
func postTo(c *http.Client, url string, m posted, edit ...func(*http.Request)) ([]byte, error) {
	r, err := http.NewRequest("POST", url+"/v1/messages", strings.NewReader(bodyOf(m)))
	if err != nil {
		return nil, err
	}
	r.Header.Set("Content-Type", "application/json")
	for _, f := range edit {
		f(r)
	}
	res, err := c.Do(r)
	if err != nil {
		return nil, err
	}
	defer res.Body.Close()
	body, err := io.ReadAll(res.Body)
	if err != nil {
		return nil, err
	}
	if res.StatusCode != http.StatusOK {
		return nil, &statusError{res.StatusCode, res.Header.Get("Retry-After"), string(body)}
	}
	return body, nil
}

// statusError is an answer that is no 200.
type statusError struct {
	status int
	retry  string // Retry-After
	body   string
}

func (e *statusError) Error() string { return fmt.Sprintf("status %d: %s", e.status, e.body) }

// get returns what an address of a program answers with a 200.
func get(c *http.Client, url string) (string, error) {
	res, err := c.Get(url)
	if err != nil {
		return "", err
	}
	defer res.Body.Close()
	body, err := io.ReadAll(res.Body)
	if err == nil && res.StatusCode != http.StatusOK {
		err = &statusError{res.StatusCode, res.Header.Get("Retry-After"), string(body)}
	}
	return string(body), err
}

func TestProgramServesAndStops(t *testing.T) {
	folder := filepath.Join(t.TempDir(), "data")
	p := startProgram(t, folder)
	client := &http.Client{Transport: &http.Transport{}}
	defer client.CloseIdleConnections()
	if _, err := postTo(client, p.url, posted{ID: "m-1", Conversation: "bench", Text: "menu"}); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{dataFile, deskFile} {
		i, err := os.Stat(filepath.Join(folder, name))
		if err != nil || i.Mode().Perm() != 0o600 {
			t.Errorf("%s: %v, %v", name, i.Mode(), err)
		}
	}
	var all transcript
	if body, err := get(client, p.url+"/v1/conversations/bench"); err != nil || json.Unmarshal([]byte(body), &all) != nil {
		t.Fatalf("%v: %s", err, body)
	}
	// A reader who waits for news does not hold up the stop.
	waits := make(chan error, 1)
	go func() {
		res, err := client.Get(fmt.Sprintf("%s/v1/conversations/bench?after=%d&wait=25", p.url, all.Next))
		if err == nil {
			_, err = io.Copy(io.Discard, res.Body)
			res.Body.Close()
		}
		waits <- err
	}()
	time.Sleep(100 * time.Millisecond)
	if err := p.interrupt(); err != nil {
		t.Errorf("the stop: %v\n%s", err, p.out)
	}
	if err := <-waits; err != nil {
		t.Errorf("the reader: %v", err)
	}
	if _, err := os.Stat(filepath.Join(folder, deskFile)); !os.IsNotExist(err) {
		t.Errorf("%s is left: %v", deskFile, err)
	}
	if !strings.Contains(p.out.String(), "Only this machine reaches it.") {
		t.Errorf("it does not say that it is alone: %s", p.out)
	}
}

// TestStopFinishesWhatWasBegun: a message that is under way when the program
// is asked to stop is answered, and is there afterwards.
func TestStopFinishesWhatWasBegun(t *testing.T) {
	s := newService(t)
	inCommit, goOn := make(chan struct{}), make(chan struct{})
	hook := storeHook(func() { close(inCommit); <-goOn })
	s.store.before.Store(&hook)
	got := make(chan response, 1)
	go func() {
		got <- s.request("POST", "/v1/messages", bodyOf(posted{ID: "m-1", Conversation: "bench", Text: "menu"}))
	}()
	select {
	case <-inCommit:
	case res := <-got:
		t.Fatalf("answered without a commit: %d %s", res.StatusCode, res.body)
	}
	s.app.stop()
	stopped := make(chan error, 1)
	go func() { stopped <- s.web.Config.Shutdown(t.Context()) }()
	select {
	case err := <-stopped:
		t.Fatalf("it stopped in the middle: %v", err)
	case <-time.After(50 * time.Millisecond):
	}
	close(goOn)
	if res := <-got; res.StatusCode != 200 {
		t.Errorf("status %d: %s", res.StatusCode, res.body)
	}
	if err := <-stopped; err != nil {
		t.Error(err)
	}
}

// TestStopHasADeadline: a network that does not answer holds up the end of the
// program no longer than the settings allow, and its message is not lost.
func TestStopHasADeadline(t *testing.T) {
	inner, err := boltstore.Open(filepath.Join(t.TempDir(), "test.db"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = inner.Close() })
	s := newServiceWith(t, staysOpen{inner}, newTestClock(), func(c *Config) { c.Shutdown = 50 * time.Millisecond })
	sending, release := make(chan struct{}), make(chan struct{})
	s.app.deliverer.routes["slow"] = newRoute(newFake("slow", func(context.Context, int, channel.Message) error {
		close(sending)
		<-release
		return nil
	}))
	queueText(t, s.store, s.clock.now(), store.Out{ID: "o-1", Conversation: "c", Channel: "slow", To: "x"}, channel.Message{Text: "due"})
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	stopped := make(chan error, 1)
	go func() { stopped <- s.app.serve(ctx, l) }()
	<-sending
	cancel()
	if err := <-stopped; err != nil { // before the network has answered
		t.Error(err)
	}
	if stats, err := inner.Stats(t.Context(), s.clock.now()); err != nil || stats.Waiting != 1 {
		t.Errorf("%d messages wait (%v), want the one that was being sent", stats.Waiting, err)
	}
	close(release)
	if !strings.Contains(s.log.String(), "did not end in time") {
		t.Errorf("the log does not say so: %s", s.log)
	}
}

// staysOpen is a store that its user cannot close.
type staysOpen struct{ store.Store }

func (staysOpen) Close() error { return nil }

func TestSecondServiceOnOneFile(t *testing.T) {
	folder := t.TempDir()
	p := startProgram(t, folder)
	cmd := exec.Command(programPath(t), "serve")
	cmd.Env = botEnv(folder, prefix+"_LISTEN=127.0.0.1:0")
	out, err := cmd.CombinedOutput()
	if err == nil || !strings.Contains(string(out), "SHIMWRIGHT_DATA") || !strings.Contains(string(out), "another process") {
		t.Errorf("%v: %s", err, out)
	}
	cmd = exec.Command(programPath(t), "serve")
	cmd.Env = botEnv(t.TempDir(), prefix+"_LISTEN="+strings.TrimPrefix(p.url, "http://"))
	out, err = cmd.CombinedOutput()
	if err == nil || !strings.Contains(string(out), "SHIMWRIGHT_LISTEN to another port") {
		t.Errorf("%v: %s", err, out)
	}
}

// TestChatCommand holds a conversation through a pipe: alone, and through the
// service that has the file.
func TestChatCommand(t *testing.T) {
	for _, running := range []bool{false, true} {
		t.Run(fmt.Sprint("running ", running), func(t *testing.T) {
			folder := t.TempDir()
			if running {
				startProgram(t, folder)
			}
			out, err := runProgram(t, folder, "level\nok\nBench saw\nok\nok\nunplugged\n", "chat")
			if err != nil {
				t.Fatalf("%v: %s", err, out)
			}
			for _, part := range []string{"[mm] [inch]", "unplugged"} {
				if !strings.Contains(out, part) {
					t.Errorf("the terminal does not show %q:\n%s", part, out)
				}
			}
			if strings.Contains(out, "level=") {
				t.Errorf("the log is in the conversation:\n%s", out)
			}
			again, err := runProgram(t, folder, "menu\n"+strings.Repeat("x", 20000)+"\n\x1b]0;title\x07\n", "chat")
			if err != nil || !strings.Contains(again, "20000 bytes") || strings.Contains(again, "\x1b") {
				t.Errorf("%v: %q", err, again)
			}
		})
	}
}

// TestPairCommand makes links with and without a running service, and lets a
// device in and out again.
func TestPairCommand(t *testing.T) {
	folder := t.TempDir()
	alone, err := runProgram(t, folder, "", "pair")
	if err != nil || !strings.Contains(alone, "/pair/") || !strings.Contains(alone, "█") {
		t.Fatalf("%v: %s", err, alone)
	}
	p := startProgram(t, folder)
	out, err := runProgram(t, folder, "", "pair", "Kim", "measure")
	if err != nil || !strings.Contains(out, "for Kim") || !strings.Contains(out, p.url+"/pair/") {
		t.Fatalf("%v: %s", err, out)
	}
	client := &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }, Transport: &http.Transport{}}
	defer client.CloseIdleConnections()
	_, rest, _ := strings.Cut(out, p.url)
	link := p.url + strings.Fields(rest)[0]
	res, err := client.Post(link, "application/x-www-form-urlencoded", nil)
	if err != nil || res.StatusCode != http.StatusSeeOther {
		t.Fatalf("%v, %v", res, err)
	}
	res.Body.Close()
	list, err := runProgram(t, folder, "", "pair", "list")
	if err != nil || !strings.Contains(list, "Kim") {
		t.Fatalf("%v: %s", err, list)
	}
	if out, err := runProgram(t, folder, "", "pair", "revoke", "00000000"); err == nil {
		t.Errorf("a device that is not there was shut out: %s", out)
	}
	if out, err := runProgram(t, folder, "", "pair", "revoke", strings.Fields(list)[0]); err != nil {
		t.Errorf("%v: %s", err, out)
	}
	if list, err := runProgram(t, folder, "", "pair", "list"); err != nil || !strings.Contains(list, "(shut out)") {
		t.Errorf("%v: %s", err, list)
	}
	if out, err := runProgram(t, folder, "", "pair", "Kim", "king"); err == nil || !strings.Contains(out, "give owner, setter or measure") {
		t.Errorf("%v: %s", err, out)
	}
	if out, err := runProgram(t, folder, "", "pair", "Kim", "owner"); err == nil || !strings.Contains(out, "with the role measure") {
		t.Errorf("%v: %s", err, out)
	}
	p.kill() // its note is left behind
	if out, err := runProgram(t, folder, "", "pair", "list"); err != nil || !strings.Contains(out, "Kim") {
		t.Errorf("after a crash: %v: %s", err, out)
	}
}

func TestUnknownCommand(t *testing.T) {
	var out, errs bytes.Buffer
	if code := run(t.Context(), console{out: &out, err: &errs}, []string{"srve"}); code != 2 || !strings.Contains(errs.String(), `no command "srve"; serve may be meant`) {
		t.Errorf("status %d: %s", code, &errs)
	}
	if code := run(t.Context(), console{out: &out, err: &errs}, []string{"serve", "now"}); code != 2 || !strings.Contains(errs.String(), `serve takes nothing after it, and "now" was given`) {
		t.Errorf("a word too many: status %d: %s", code, &errs)
	}
	if code := run(t.Context(), console{out: &out, err: &errs}, []string{"--help"}); code != 0 {
		t.Errorf("help: status %d", code)
	}
	for _, c := range commands() {
		if !strings.Contains(out.String(), c.name) || !strings.Contains(out.String(), c.meaning) {
			t.Errorf("help leaves out %s", c.name)
		}
	}
}

// TestChatShowsWhatCameMeanwhile: a reminder that came while nobody sat at the
// terminal is shown at the next start, once something is said no more.
func TestChatShowsWhatCameMeanwhile(t *testing.T) {
	s := newService(t)
	own := ownService{s.app}
	if _, err := own.say(t.Context(), posted{ID: "m-1", Conversation: terminalConversation, Text: "menu"}); err != nil {
		t.Fatal(err)
	}
	err := s.app.deliverer.routes["page"].channel.Send(t.Context(), pageAddress(homeShop, terminalConversation),
		channel.Message{ID: "out-1", Text: "Time to check the saw."})
	if err != nil {
		t.Fatal(err)
	}
	news, err := own.news(t.Context(), terminalConversation)
	if err != nil || len(news) != 1 || news[0].Replies[0].Text != "Time to check the saw." {
		t.Errorf("%+v, %v", news, err)
	}
	if _, err := own.say(t.Context(), posted{ID: "m-2", Conversation: terminalConversation, Text: "menu"}); err != nil {
		t.Fatal(err)
	}
	if news, err := own.news(t.Context(), terminalConversation); err != nil || len(news) != 0 {
		t.Errorf("%+v, %v", news, err)
	}
}
