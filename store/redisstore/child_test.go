package redisstore

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/redis/go-redis/v9/logging"

	"go.uber.org/goleak"

	"shimwright/store"
	"shimwright/store/redistest"
)

// The test binary runs itself as another replica when this is set: what to do,
// the number of the replica and the URL of Redis.
const childEnv = "SHIMWRIGHT_REDISSTORE_CHILD"

func TestMain(m *testing.M) {
	logging.Disable() // the client's complaints while a server is down
	if task := os.Getenv(childEnv); task != "" {
		if err := child(strings.Fields(task)); err != nil {
			fmt.Println("failed", err)
			os.Exit(1)
		}
		return
	}
	goleak.VerifyTestMain(m)
}

func child(task []string) error {
	// It ends with the test: the other end of its input closes then.
	go func() {
		_, _ = io.Copy(io.Discard, os.Stdin)
		os.Exit(3)
	}()
	s, err := Open(context.Background(), task[2])
	if err != nil {
		return err
	}
	replica, err := strconv.Atoi(task[1])
	if err != nil {
		return err
	}
	fmt.Println("open")
	if task[0] == "count" {
		return countTo100(s, replica)
	}
	for lane := range childLanes {
		go writeAlways(s, replica*childLanes+lane)
	}
	sendAlways(s)
	return nil
}

const (
	childLanes = 4
	childLease = 300 * time.Millisecond
)

// say writes a line with the time in one write.
func say(what, id string) {
	_, _ = os.Stdout.WriteString(fmt.Sprintf("%d %s %s\n", time.Now().UnixNano(), what, id))
}

// writeAlways handles message after message of one conversation.
func writeAlways(s store.Store, lane int) {
	c := conversation(lane)
	for {
		d, err := s.Load(context.Background(), c, "")
		if err == nil {
			count, _ := strconv.Atoi(string(d.Conversation.Body))
			id := fmt.Sprintf("%d-%d", lane, count+1)
			if _, err = deliver(s, c, id); err == nil {
				say("ack", id)
			}
		}
		switch {
		case errors.Is(err, store.ErrFull): // the senders are behind
			time.Sleep(time.Millisecond)
		case err != nil:
			say("failed", err.Error())
		}
	}
}

// sendAlways hands replies to a channel, which is the output of the process.
func sendAlways(s store.Store) {
	for {
		claimed, err := s.Claim(context.Background(), time.Now(), childLease, 4)
		if err != nil {
			say("failed", err.Error())
		}
		for _, d := range claimed {
			say("sent", d.Out.ID)
			err := s.Settle(context.Background(), d, store.Sent, time.Now(), "")
			if err != nil && !errors.Is(err, store.ErrLost) {
				say("failed", err.Error())
			}
		}
		if len(claimed) == 0 {
			time.Sleep(time.Millisecond)
		}
	}
}

// countTo100 handles every second of the messages 1 to 100, over two lanes.
func countTo100(s store.Store, replica int) error {
	c := store.Conversation{Shop: "shop", ID: "c"}
	errs := make(chan error)
	for lane := range 2 {
		go func() {
			for n := 1 + replica*2 + lane; n <= 100; n += 4 {
				for {
					_, err := deliver(s, c, fmt.Sprint("1-", n))
					if errors.Is(err, store.ErrStale) {
						continue
					}
					if err != nil {
						errs <- err
						return
					}
					break
				}
			}
			errs <- nil
		}()
	}
	return errors.Join(<-errs, <-errs)
}

// replicaProcess is the test binary as another replica.
type replicaProcess struct {
	cmd *exec.Cmd
	out *bufio.Reader
}

func startReplica(t *testing.T, what string, number int, url string) *replicaProcess {
	t.Helper()
	exe, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(exe)
	cmd.Env = append(os.Environ(), fmt.Sprintf("%s=%s %d %s", childEnv, what, number, url))
	stdin, err := cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = stdin.Close(); _ = cmd.Process.Kill() })
	p := &replicaProcess{cmd: cmd, out: bufio.NewReader(out)}
	if line, err := p.out.ReadString('\n'); err != nil || line != "open\n" {
		t.Fatalf("the replica: %q %v", line, err)
	}
	return p
}

// The failure: two messages of one chat over each other's session, here from
// two processes with two lanes each. None is lost, none counted twice.
func TestTwoMessagesOfOneChatFromTwoProcesses(t *testing.T) {
	server := redistest.Start(t)
	processes := []*replicaProcess{startReplica(t, "count", 0, server.URL(0)), startReplica(t, "count", 1, server.URL(0))}
	for _, p := range processes {
		said, _ := io.ReadAll(p.out)
		if err := p.cmd.Wait(); err != nil {
			t.Fatalf("%s %v", said, err)
		}
	}
	s := openURL(t, server.URL(0))
	c := store.Conversation{Shop: "shop", ID: "c"}
	d, err := s.Load(t.Context(), c, "1-100")
	if err != nil || string(d.Conversation.Body) != "100" || d.Seen == nil {
		t.Errorf("counted %s: %v", d.Conversation.Body, err)
	}
	entries, err := s.Transcript(t.Context(), c, 0, 1000)
	if err != nil || len(entries) != 100 {
		t.Errorf("%d entries, %v", len(entries), err)
	}
}

// event is a line of a replica.
type event struct {
	at       int64
	what, id string
}

// A replica is killed (SIGKILL) at random instants while another goes on: what
// it acknowledged is there, and its share of the replies is taken over within
// its lease, in order. The short form kills 5 times, the long one 100.
func TestAReplicaKilledAtRandomInstants(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 2026))
	server := redistest.Start(t)
	var mu sync.Mutex
	var events []event
	var readers sync.WaitGroup
	follow := func(p *replicaProcess) {
		readers.Add(1)
		go func() {
			defer readers.Done()
			for {
				line, err := p.out.ReadString('\n')
				if err != nil {
					return // the last line may be cut
				}
				var e event
				if n, _ := fmt.Sscan(line, &e.at, &e.what, &e.id); n == 3 {
					mu.Lock()
					events = append(events, e)
					mu.Unlock()
				}
			}
		}()
	}
	steady := startReplica(t, "work", 0, server.URL(0))
	follow(steady)
	for range long(5, 100) {
		p := startReplica(t, "work", 1, server.URL(0))
		follow(p)
		time.Sleep(time.Duration(20_000+random.IntN(150_000)) * time.Microsecond)
		_ = p.cmd.Process.Kill()
		_ = p.cmd.Wait()
	}
	time.Sleep(2 * childLease) // for the last lease to end
	_ = steady.cmd.Process.Kill()
	readers.Wait()
	slices.SortFunc(events, func(a, b event) int { return int(a.at - b.at) })
	afterKills(t, openURL(t, server.URL(0)), events)
}

// afterKills compares what the replicas said with what is stored.
func afterKills(t *testing.T, s store.Store, events []event) {
	t.Helper()
	stored := map[string]bool{}
	for lane := range 2 * childLanes {
		var sum tally
		c := conversation(lane)
		if whole(t, s, c, &sum); sum.twice > 0 {
			t.Errorf("%v: document, records and entries differ", c)
		}
		entries, err := s.Transcript(t.Context(), c, 0, 1<<20)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range entries {
			stored[e.Inbound.ID] = true
		}
	}
	acked, again := 0, 0
	last := map[string]int{}
	for _, e := range events {
		lane, number, _ := strings.Cut(e.id, "-")
		n, _ := strconv.Atoi(number)
		switch e.what {
		case "failed":
			t.Errorf("a replica failed: %s", e.id)
		case "ack":
			acked++
			if !stored[e.id] {
				t.Errorf("%s was acknowledged and is lost", e.id)
			}
		case "sent":
			switch {
			case n == last[lane]:
				again++
			case n != last[lane]+1:
				t.Errorf("reply %s was sent after %s-%d", e.id, lane, last[lane])
			}
			last[lane] = n
		}
	}
	if acked == 0 || len(last) != 2*childLanes {
		t.Errorf("%d acknowledged, replies in %d conversations: the test shows nothing", acked, len(last))
	}
	if faults, err := s.Check(t.Context()); err != nil || len(faults) > 0 {
		t.Errorf("Check: %v %v", faults, err)
	}
	t.Logf("%d acknowledged, %d replies sent again", acked, again)
}
