package redisstore

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/redis/go-redis/v9"

	"shimwright/store"
	"shimwright/store/redistest"
	"shimwright/store/storetest"
)

// roundTrips counts the pipelines that a client sends.
type roundTrips struct{ n atomic.Int64 }

func (r *roundTrips) DialHook(next redis.DialHook) redis.DialHook          { return next }
func (r *roundTrips) ProcessHook(next redis.ProcessHook) redis.ProcessHook { return next }
func (r *roundTrips) ProcessPipelineHook(next redis.ProcessPipelineHook) redis.ProcessPipelineHook {
	return func(ctx context.Context, cmds []redis.Cmder) error {
		r.n.Add(1)
		return next(ctx, cmds)
	}
}

func togetherOn(t *testing.T, server *redistest.Server) (*Store, *roundTrips) {
	t.Helper()
	s, ok := openURL(t, server.URL(0)).(*Store)
	if !ok || s.together == nil {
		t.Fatal("calls to one server do not go together")
	}
	trips := &roundTrips{}
	s.together.client.AddHook(trips)
	return s, trips
}

// What is called at the same time shares round trips, each call gets its own
// answer, and one that Redis refuses spoils no other.
func TestCallsGoTogether(t *testing.T) {
	s, trips := togetherOn(t, redistest.Start(t))
	const callers, each = 64, 40
	var wg sync.WaitGroup
	for i := range callers {
		wg.Go(func() {
			for j := range each {
				text := fmt.Sprint(i, "-", j)
				cmd := redis.NewStringCmd(t.Context(), "echo", text)
				if j%8 == 7 {
					cmd = redis.NewStringCmd(t.Context(), "hget", "wants", "three", text)
				}
				err := s.read(t.Context(), cmd)
				if refused := err != nil; refused != (j%8 == 7) || !refused && cmd.Val() != text {
					t.Errorf("call %s: %q, %v", text, cmd.Val(), err)
				}
			}
		})
	}
	wg.Wait()
	if n := trips.n.Load(); n > callers*each/4 {
		t.Errorf("%d calls of %d callers at once took %d round trips", callers*each, callers, n)
	}
}

// A server that is silent keeps nobody beyond their own time, and whoever comes
// later does not wait for those who came before.
func TestCallsOvertakeOneThatHangs(t *testing.T) {
	server := redistest.Start(t)
	s, trips := togetherOn(t, server)
	if err := s.read(t.Context(), redis.NewStringCmd(t.Context(), "echo", "a")); err != nil {
		t.Fatal(err)
	}
	before := trips.n.Load()
	server.Pause(t)
	var wg sync.WaitGroup
	for range 3 {
		wg.Go(func() {
			ctx, cancel := context.WithTimeout(t.Context(), 500*time.Millisecond)
			defer cancel()
			if err := s.read(ctx, redis.NewStringCmd(ctx, "echo", "b")); !errors.Is(failed(err), store.ErrUnavailable) {
				t.Errorf("a silent server: %v", err)
			}
		})
		time.Sleep(overtake / 4) // so that none comes later and sends the others off
	}
	wg.Wait()
	if n := trips.n.Load() - before; n < 2 {
		t.Errorf("what came after a call that hangs waited for it")
	}
	server.Continue(t)
	redistest.Eventually(t, "the store to answer again", func() error {
		return s.read(t.Context(), redis.NewStringCmd(t.Context(), "echo", "c"))
	})
}

// A call that is cancelled once it was sent still gets its answer: a claim made
// while the program stops would otherwise be nobody's until its lease has passed.
func TestOfCallsCancelledThoseSentAreAnswered(t *testing.T) {
	server := redistest.Start(t)
	s, trips := togetherOn(t, server)
	server.Pause(t)
	ctx, cancel := context.WithCancel(t.Context())
	answer := make(chan error)
	cmd := redis.NewStringCmd(ctx, "echo", "a")
	go func() { answer <- s.send(ctx, cmd) }()
	redistest.Eventually(t, "the call to be sent", func() error {
		if trips.n.Load() == 0 {
			return errors.New("it has not been")
		}
		return nil
	})
	cancel()
	server.Continue(t)
	if err := <-answer; err != nil || cmd.Val() != "a" {
		t.Errorf("%q, %v", cmd.Val(), err)
	}
}

// A read that was lost with a connection is asked again by itself, though it went
// with a write; the write is not, as nobody knows whether it took effect.
func TestOfCallsLostTogetherOnlyReadsAreSentAgain(t *testing.T) {
	server := redistest.Start(t)
	s, _ := togetherOn(t, server)
	ctx := t.Context()
	// The next round trip takes both, because one is under way.
	server.Pause(t)
	var wg sync.WaitGroup
	var read, wrote error
	run := func(f func()) { wg.Go(f); time.Sleep(overtake / 10) }
	run(func() { _, _ = s.Get(ctx, "shop", store.KindSaw, "x") })
	run(func() { _, read = s.Load(ctx, store.Conversation{Shop: "shop", ID: "c"}, "") })
	run(func() {
		wrote = s.Commit(ctx, store.Commit{Shop: "shop", Conversation: "c", At: storetest.Noon, Inbound: store.Handled{ID: "m"}, Answer: []byte("a")})
	})
	server.Kill()
	server.Restart(t)
	wg.Wait()
	if read != nil {
		t.Errorf("the read was not asked again: %v", read)
	}
	if wrote != nil && !errors.Is(wrote, store.ErrUnavailable) {
		t.Errorf("the write: %v", wrote)
	}
	d, err := s.Load(ctx, store.Conversation{Shop: "shop", ID: "c"}, "m")
	if err != nil || wrote == nil && d.Seen == nil {
		t.Errorf("after it: %v %v", d.Seen, err)
	}
}

// A call that nobody waits for any more when its turn comes is not sent.
func TestOfCallsThatWaitOnlyThoseStillWantedAreSent(t *testing.T) {
	s, _ := togetherOn(t, redistest.Start(t))
	ended, cancel := context.WithCancel(t.Context())
	cancel()
	var list []waiting
	for i, ctx := range []context.Context{t.Context(), ended, t.Context()} {
		list = append(list, waiting{ctx, redis.NewIntCmd(ctx, "hset", "sent", i, 1), make(chan struct{})})
	}
	s.together.queue, s.together.flights = list, 1
	s.together.fly()
	for i, w := range list {
		<-w.done
		if unwanted := i == 1; errors.Is(w.cmd.Err(), context.Canceled) != unwanted || !unwanted && w.cmd.Err() != nil {
			t.Errorf("call %d: %v", i, w.cmd.Err())
		}
	}
	if sent := s.client.HKeys(t.Context(), "sent").Val(); fmt.Sprint(sent) != "[0 2]" {
		t.Errorf("sent were %v", sent)
	}
}

// More than one round trip takes goes in several.
func TestManyCallsGoInSeveralRoundTrips(t *testing.T) {
	tog := &together{}
	for i := range 2*flightMost + 3 {
		tog.queue = append(tog.queue, waiting{ctx: t.Context(), cmd: redis.NewCmd(context.Background(), strconv.Itoa(i))})
	}
	tog.flights = 1
	var sizes, first []int
	for {
		list := tog.next()
		if len(list) == 0 {
			break
		}
		n, _ := strconv.Atoi(list[0].cmd.Name())
		sizes, first = append(sizes, len(list)), append(first, n)
	}
	if fmt.Sprint(sizes, first, tog.flights) != fmt.Sprint([]int{flightMost, flightMost, 3}, []int{0, flightMost, 2 * flightMost}, 0) {
		t.Errorf("%v beginning with %v, %d under way at the end", sizes, first, tog.flights)
	}
}
