package storetest

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"sync"
	"time"

	"shimwright/store"
)

var together = []contract{
	{"two messages of one chat over each other's session 100 over four lanes none lost", func(f *fixture) {
		lanes := []store.Store{f.replica(), f.replica(), f.replica(), f.replica()}
		var wg sync.WaitGroup
		for lane, s := range lanes {
			wg.Add(1)
			go func() {
				defer wg.Done()
				for n := lane; n < 100; n += len(lanes) {
					f.count(s, bench, fmt.Sprint("m-", n))
				}
			}()
		}
		wg.Wait()
		f.same("count", string(f.load("").Conversation.Body), "100")
		f.same("entries", len(f.transcript(store.Conversation{Shop: shop, ID: bench}, 0, 1000)), 100)
	}},

	{"two people on two saws of one shop", func(f *fixture) {
		var wg sync.WaitGroup
		for _, conversation := range []string{"a", "b", "c"} {
			s := f.replica()
			wg.Add(1)
			go func() {
				defer wg.Done()
				for n := 0; n < 30; n++ {
					f.count(s, conversation, fmt.Sprint("m-", n))
				}
			}()
		}
		wg.Wait()
		for _, conversation := range []string{"a", "b", "c"} {
			f.same(conversation, string(f.get(store.KindConversation, conversation).Body), "30")
		}
		f.same("people", string(f.get(store.KindPeople, "").Body), "90")
	}},

	{"commits load claims and settles at once", func(f *fixture) {
		const lanes, each = 4, 25
		var wg, senders sync.WaitGroup
		ctx, stop := context.WithCancel(f.ctx)
		sent := &tally{seen: map[string]int{}}
		for worker := 0; worker < 2; worker++ {
			s := f.replica()
			senders.Add(1)
			go func() {
				defer senders.Done()
				f.send(ctx, s, sent)
			}()
		}
		for lane := 0; lane < lanes; lane++ {
			s := f.replica()
			wg.Add(1)
			go func() {
				defer wg.Done()
				for n := 0; n < each; n++ {
					c := store.Commit{Shop: fmt.Sprint("shop-", lane), Conversation: "c", At: f.at}
					for _, id := range []string{"first", "second"} {
						o := out(fmt.Sprintf("%d-%d-%s", lane, n, id))
						o.Conversation = "c"
						c.Outbox = append(c.Outbox, o)
					}
					if err := s.Commit(f.ctx, c); err != nil {
						f.Errorf("Commit: %v", err)
					}
				}
			}()
		}
		wg.Wait()
		for f.stats().Waiting > 0 && !f.Failed() {
			time.Sleep(time.Millisecond)
		}
		stop()
		senders.Wait()
		f.same("sent", len(sent.seen), lanes*each*2)
		for shop, list := range sent.order {
			for i := 0; i < each*2; i++ {
				want := fmt.Sprintf("%s-%d-%s", shop[len("shop-"):], i/2, []string{"first", "second"}[i%2])
				if list[i] != want {
					f.Fatalf("%s: message %d is %s, not %s", shop, i, list[i], want)
				}
			}
		}
	}},

	{"a call whose context has ended changes nothing", func(f *fixture) {
		ctx, cancel := context.WithCancel(f.ctx)
		cancel()
		err := f.Commit(ctx, f.whole(f.message("m-1")))
		f.fails(store.ErrUnavailable, err)
		f.fails(context.Canceled, err)
		_, err = f.Load(ctx, store.Conversation{Shop: shop, ID: bench}, "")
		f.fails(store.ErrUnavailable, err)
		f.empty()
	}},

	{"after Close every call says so", func(f *fixture) {
		s := f.other()
		f.ok(s.Close())
		f.ok(s.Close())
		f.fails(store.ErrUnavailable, s.Ping(f.ctx))
		f.fails(store.ErrUnavailable, s.Commit(f.ctx, f.whole(store.Commit{})))
		_, err := s.Load(f.ctx, store.Conversation{Shop: shop, ID: bench}, "")
		f.fails(store.ErrUnavailable, err)
	}},

	{"ping answers", func(f *fixture) { f.ok(f.Ping(f.ctx)) }},
}

// replica opens the store as another process would, where that can be.
func (f *fixture) replica() store.Store {
	if f.Replica == nil {
		return f.Store
	}
	return f.Replica(f, f.Store)
}

// count adds one to the conversation and to the people, again when stale.
func (f *fixture) count(s store.Store, conversation, id string) {
	for {
		d, err := s.Load(f.ctx, store.Conversation{Shop: shop, ID: conversation}, id)
		if err != nil {
			f.Errorf("Load: %v", err)
			return
		}
		d.Conversation.Body = increment(d.Conversation.Body)
		d.People.Body = increment(d.People.Body)
		err = s.Commit(f.ctx, store.Commit{
			Shop: shop, Conversation: conversation, At: f.at, Inbound: store.Handled{ID: id, Hash: []byte(id)},
			Put: []store.Doc{d.Conversation, d.People},
		})
		if !errors.Is(err, store.ErrStale) {
			if err != nil {
				f.Errorf("Commit: %v", err)
			}
			return
		}
	}
}

func increment(body []byte) []byte {
	n, _ := strconv.Atoi(string(body))
	return []byte(strconv.Itoa(n + 1))
}

// tally is what was sent, by shop in order.
type tally struct {
	sync.Mutex
	seen  map[string]int
	order map[string][]string
}

// send claims and settles until ctx ends.
func (f *fixture) send(ctx context.Context, s store.Store, sent *tally) {
	for ctx.Err() == nil {
		claimed, err := s.Claim(f.ctx, f.at, time.Minute, 3)
		if err != nil {
			f.Errorf("Claim: %v", err)
			return
		}
		for _, d := range claimed {
			sent.Lock()
			sent.seen[d.Out.ID]++
			if sent.order == nil {
				sent.order = map[string][]string{}
			}
			sent.order[d.Shop] = append(sent.order[d.Shop], d.Out.ID)
			sent.Unlock()
			if err := s.Settle(f.ctx, d, store.Sent, time.Time{}, ""); err != nil {
				f.Errorf("Settle: %v", err)
			}
		}
		if len(claimed) == 0 {
			time.Sleep(time.Millisecond)
		}
	}
}

func isSeen(err error) bool {
	var seen *store.SeenError
	return errors.As(err, &seen)
}
