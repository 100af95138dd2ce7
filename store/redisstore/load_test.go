package redisstore

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"shimwright/store"
)

// workload writes to conversations of several shops, each message after the one
// before it is acknowledged, and delivers again what was not, as a channel
// does. Beside it workers hand the replies to a channel.
type workload struct {
	t      *testing.T
	stores []store.Store // of as many replicas
	lanes  int

	mu     sync.Mutex
	acked  map[string]string   // id → answer
	order  map[string][]string // conversation → ids in the order of acknowledgement
	handed map[string][]string // conversation → ids of replies in the order of sending
	failed map[string]int      // errors met, by their text

	stop    context.CancelFunc
	writers sync.WaitGroup
	senders sync.WaitGroup
	ending  context.CancelFunc
}

// workLease is how long a worker may take to send.
const workLease = 2 * time.Second

// begin starts it.
func begin(t *testing.T, lanes int, stores ...store.Store) *workload {
	w := &workload{
		t: t, stores: stores, lanes: lanes, acked: map[string]string{}, order: map[string][]string{},
		handed: map[string][]string{}, failed: map[string]int{},
	}
	writing, stop := context.WithCancel(context.Background())
	sending, ending := context.WithCancel(context.Background())
	w.stop, w.ending = stop, ending
	t.Cleanup(func() { stop(); ending(); w.writers.Wait(); w.senders.Wait() })
	for lane := range lanes {
		w.writers.Add(1)
		go func() {
			defer w.writers.Done()
			w.write(writing, lane)
		}()
	}
	for i := range stores {
		w.senders.Add(1)
		go func() {
			defer w.senders.Done()
			w.send(sending, stores[i])
		}()
	}
	return w
}

func conversation(lane int) store.Conversation {
	return store.Conversation{Shop: fmt.Sprint("shop-", lane/2), ID: fmt.Sprint("c-", lane)}
}

// write handles message after message of one conversation.
func (w *workload) write(ctx context.Context, lane int) {
	c := conversation(lane)
	for n := 1; ctx.Err() == nil; n++ {
		id := fmt.Sprintf("%d-%d", lane, n)
		for attempt := 0; ; attempt++ {
			// Each attempt may come to another replica.
			answer, err := deliver(w.stores[(lane+attempt)%len(w.stores)], c, id)
			if err == nil {
				w.acknowledge(c, id, answer)
				break
			}
			if errors.Is(err, store.ErrStale) {
				continue
			}
			w.note(err)
			if ctx.Err() != nil {
				return // never acknowledged
			}
			time.Sleep(10 * time.Millisecond)
		}
	}
}

// deliver handles one message: it counts in the document, keeps a record and
// queues a reply.
func deliver(s store.Store, c store.Conversation, id string) (answer string, err error) {
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
	defer cancel()
	d, err := s.Load(ctx, c, id)
	if err != nil {
		return "", err
	}
	if d.Seen != nil {
		return string(d.Answer), nil
	}
	count, _ := strconv.Atoi(string(d.Conversation.Body))
	d.Conversation.Body = []byte(strconv.Itoa(count + 1))
	// The answer depends on the attempt, so a second effect would show.
	answer = fmt.Sprintf("answer to %s at version %d", id, d.Conversation.Version)
	err = s.Commit(ctx, store.Commit{
		Shop: c.Shop, Conversation: c.ID, At: time.Now(), Answer: []byte(answer),
		Inbound: store.Handled{ID: id, Hash: []byte(id)},
		Put:     []store.Doc{d.Conversation},
		Records: []store.Record{{ID: id, Saw: "s", Characteristic: c.ID, At: time.Now()}},
		Outbox:  []store.Out{{ID: id, Conversation: c.ID, Channel: "local", Body: []byte(answer)}},
		Remind:  []store.Reminder{{ID: c.ID, Due: time.Now().Add(time.Hour)}},
	})
	var seen *store.SeenError
	if errors.As(err, &seen) {
		return string(seen.Answer), nil
	}
	return answer, err
}

// send hands replies to the channel until ctx ends.
func (w *workload) send(ctx context.Context, s store.Store) {
	for ctx.Err() == nil {
		claimed, err := s.Claim(ctx, time.Now(), workLease, 4)
		if err != nil {
			w.note(err)
			time.Sleep(10 * time.Millisecond)
			continue
		}
		for _, d := range claimed {
			w.mu.Lock()
			name := d.Shop + "/" + d.Out.Conversation
			w.handed[name] = append(w.handed[name], d.Out.ID)
			w.mu.Unlock()
			if err := s.Settle(ctx, d, store.Sent, time.Now(), ""); err != nil {
				w.note(err)
			}
		}
		if len(claimed) == 0 {
			time.Sleep(2 * time.Millisecond)
		}
	}
}

func (w *workload) acknowledge(c store.Conversation, id, answer string) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if _, ok := w.acked[id]; ok {
		w.t.Errorf("%s was acknowledged twice", id)
	}
	w.acked[id] = answer
	w.order[c.ID] = append(w.order[c.ID], id)
}

func (w *workload) note(err error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if errors.Is(err, context.Canceled) {
		return
	}
	if !errors.Is(err, store.ErrUnavailable) && !errors.Is(err, store.ErrFull) && !errors.Is(err, store.ErrLost) {
		w.t.Errorf("an error that is none of the named ones: %v", err)
	}
	w.failed[err.Error()]++
}

// progress waits until so many more messages are acknowledged.
func (w *workload) progress(more int) {
	w.t.Helper()
	start := w.count()
	deadline := time.Now().Add(40 * time.Second)
	for w.count() < start+more {
		if time.Now().After(deadline) {
			w.mu.Lock()
			defer w.mu.Unlock()
			w.t.Fatalf("no progress: %d acknowledged, errors %v", len(w.acked), w.failed)
		}
		time.Sleep(5 * time.Millisecond)
	}
}

func (w *workload) count() int {
	w.mu.Lock()
	defer w.mu.Unlock()
	return len(w.acked)
}

// tally is how a workload ended.
type tally struct {
	acked, lost, differing, twice, unordered, again int
}

// end stops the writers, waits until every reply was sent, and counts.
func (w *workload) end(s store.Store) tally {
	w.t.Helper()
	w.stop()
	w.writers.Wait()
	deadline := time.Now().Add(40 * time.Second)
	for {
		st, err := s.Stats(context.Background(), time.Now())
		if err == nil && st.Waiting == 0 {
			break
		}
		if time.Now().After(deadline) {
			w.t.Fatalf("replies are left: %+v %v", st, err)
		}
		time.Sleep(20 * time.Millisecond)
	}
	w.ending()
	w.senders.Wait()
	faults, err := s.Check(context.Background())
	if err != nil || len(faults) > 0 {
		w.t.Errorf("Check: %v %v", faults, err)
	}
	sum := tally{acked: len(w.acked)}
	for lane := range w.lanes {
		w.lane(s, conversation(lane), &sum)
	}
	w.t.Logf("%+v", sum)
	return sum
}

// lane compares what is stored of a conversation with what was acknowledged.
func (w *workload) lane(s store.Store, c store.Conversation, sum *tally) {
	w.t.Helper()
	ctx := context.Background()
	d, err := s.Load(ctx, c, "")
	if err != nil {
		w.t.Fatal(err)
	}
	entries, err := s.Transcript(ctx, c, 0, 1<<20)
	if err != nil {
		w.t.Fatal(err)
	}
	records, err := s.Records(ctx, store.RecordQuery{Shop: c.Shop, Characteristic: c.ID})
	if err != nil {
		w.t.Fatal(err)
	}
	stored := map[string]string{}
	for _, e := range entries {
		if _, ok := stored[e.Inbound.ID]; ok {
			sum.twice++
		}
		stored[e.Inbound.ID] = string(e.Answer)
	}
	if string(d.Conversation.Body) != strconv.Itoa(len(entries)) || len(records) != len(entries) {
		w.t.Errorf("%v: %d entries, %d records, the document counts %s", c, len(entries), len(records), d.Conversation.Body)
		sum.twice++
	}
	for _, id := range w.order[c.ID] {
		answer, ok := stored[id]
		switch {
		case !ok:
			sum.lost++
		case answer != w.acked[id]:
			sum.differing++
		}
	}
	w.replies(c, stored, sum)
}

// replies checks the order of what was handed to the channel: each reply after
// the one before it, again only directly after itself.
func (w *workload) replies(c store.Conversation, stored map[string]string, sum *tally) {
	last := 0
	sent := map[string]bool{}
	for _, id := range w.handed[c.Shop+"/"+c.ID] {
		_, number, _ := strings.Cut(id, "-")
		n, _ := strconv.Atoi(number)
		switch {
		case n == last:
			sum.again++
		case n < last:
			sum.unordered++
		}
		last, sent[id] = n, true
	}
	for id := range stored {
		if !sent[id] {
			w.t.Errorf("%v: the reply %s was never sent", c, id)
		}
	}
}
