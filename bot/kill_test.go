package main

import (
	"context"
	"fmt"
	"math/rand/v2"
	"net/http"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"shimwright/store"
	"shimwright/store/boltstore"
)

// longTests is the variable that asks for the long forms of tests.
const longTests = "SHIMWRIGHT_LONG"

// TestKilledUnderLoad kills the built program with SIGKILL at random instants
// while clients hold levelling conversations with it, each going on after the
// restart where it was. In the end every acknowledged answer is there, byte for
// byte, none twice, in order; and the file passes its own check. Eight instants,
// or 200 with SHIMWRIGHT_LONG=1.
//
// A kill is not a power cut: what the system had taken over is on the disk. The
// store asks the disk to have it (fsync) before it answers; a disk that lies
// about that is beyond this test.
func TestKilledUnderLoad(t *testing.T) {
	times, clients := 8, 8
	if os.Getenv(longTests) != "" {
		times = 200
	}
	folder := t.TempDir()
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	random := rand.New(rand.NewPCG(seed, 0))
	talks := make([]*talker, clients)
	for i := range talks {
		talks[i] = newTalker(i, seed)
	}
	for n := range times {
		p := startProgram(t, folder, prefix+"_WEBHOOK_SECRETS="+testSecret, prefix+"_LOG=error",
			prefix+"_RATE=10000", prefix+"_BURST=100000")
		ctx, cancel := context.WithCancel(t.Context())
		var wg sync.WaitGroup
		for _, c := range talks {
			wg.Go(func() { c.talk(ctx, t, p.url) })
		}
		time.Sleep(time.Duration(5+random.IntN(150)) * time.Millisecond)
		// On a busy machine the first answers take longer: the last kill waits
		// for one, so that the test tests something.
		for waited := 0; n == times-1 && heard(talks) == 0 && waited < 3000; waited++ {
			time.Sleep(10 * time.Millisecond)
		}
		p.kill()
		cancel()
		wg.Wait()
	}
	checkTalks(t, folder, talks)
}

// talker is a client that holds one conversation after the other, and sends a
// message again until it has its answer.
type talker struct {
	name    string
	seed    uint64
	n       int // conversations begun
	bench   *benchSaw
	now     posted              // the message to be answered next
	acked   map[string][]string // by conversation: ids in order
	answers map[string][]byte   // by conversation and id
	client  *http.Client
	heard   atomic.Int64 // answers, as counted while it talks
}

// heard counts the answers that the talkers have had.
func heard(talks []*talker) (n int64) {
	for _, c := range talks {
		n += c.heard.Load()
	}
	return n
}

func newTalker(i int, seed uint64) *talker {
	c := &talker{name: fmt.Sprint("talk-", i), seed: seed + uint64(i), acked: map[string][]string{}, answers: map[string][]byte{}}
	c.begin()
	return c
}

func (c *talker) begin() {
	c.n++
	c.bench = newBenchSaw(c.seed + uint64(c.n)<<16)
	c.say("level")
}

func (c *talker) say(text string) {
	conversation := fmt.Sprint(c.name, "-", c.n)
	c.now = posted{ID: fmt.Sprint("m-", len(c.acked[conversation])+1), Conversation: conversation, Sender: "kim", Text: text}
}

// talk goes on with the conversation until the service is gone.
func (c *talker) talk(ctx context.Context, t *testing.T, url string) {
	c.client = &http.Client{Transport: &http.Transport{}}
	defer c.client.CloseIdleConnections()
	for ctx.Err() == nil {
		body, err := postTo(c.client, url, c.now, sign(t, testSecret, time.Now()))
		if err != nil {
			return
		}
		conversation := c.now.Conversation
		c.acked[conversation] = append(c.acked[conversation], c.now.ID)
		c.heard.Add(1)
		c.answers[conversation+" "+c.now.ID] = body
		text, err := c.bench.reply(decodeAnswer(t, body))
		if err != nil {
			t.Error(err)
			return
		}
		if text == "" {
			c.begin()
			continue
		}
		c.say(text)
	}
}

// checkTalks compares what was acknowledged with what the file holds.
func checkTalks(t *testing.T, folder string, talks []*talker) {
	t.Helper()
	s, err := boltstore.Open(filepath.Join(folder, dataFile))
	if err != nil {
		t.Fatalf("the file does not open: %v", err)
	}
	defer s.Close()
	if faults, err := s.Check(t.Context()); err != nil || len(faults) > 0 {
		t.Errorf("the file's own check: %v %v", faults, err)
	}
	acked, unheard := 0, 0
	for _, c := range talks {
		for conversation, ids := range c.acked {
			shop, err := s.Resolve(t.Context(), conversationAddress(conversation))
			if err != nil {
				t.Errorf("%s: %v", conversation, err)
				continue
			}
			got := wholeTranscript(t, s, store.Conversation{Shop: shop, ID: conversation})
			for i, id := range ids {
				if i >= len(got) || got[i].Inbound.ID != id {
					t.Fatalf("%s: acknowledged message %s is not in its place", conversation, id)
				}
				if string(got[i].Answer) != string(c.answers[conversation+" "+id]) {
					t.Errorf("%s %s: the stored answer is not the one given", conversation, id)
				}
			}
			acked += len(ids)
			// One more may be stored: the one whose answer was cut off.
			if extra := len(got) - len(ids); extra > 1 {
				t.Errorf("%s holds %d messages more than were acknowledged", conversation, extra)
			} else {
				unheard += extra
			}
		}
	}
	if acked == 0 {
		t.Error("nothing was acknowledged: the test tested nothing")
	}
	t.Logf("%d acknowledged messages are there, %d were stored and not heard of", acked, unheard)
}

func wholeTranscript(t *testing.T, s store.Store, c store.Conversation) []store.Entry {
	t.Helper()
	all, err := s.Transcript(t.Context(), c, 0, 100000)
	if err != nil {
		t.Fatal(err)
	}
	return all
}
