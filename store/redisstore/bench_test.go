package redisstore

import (
	"context"
	"fmt"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/redis/go-redis/v9"

	"shimwright/store"
	"shimwright/store/redistest"
	"shimwright/store/storetest"
)

// The sizes of a message in the middle of a job.
const (
	benchDoc    = 3000
	benchAnswer = 900
	benchLanes  = 32
	benchConvs  = 2000
)

// lanes calls do n times from as many goroutines as there are lanes.
func lanes(b *testing.B, n int, do func(lane, i int) error) {
	b.Helper()
	var wg sync.WaitGroup
	for lane := range benchLanes {
		wg.Add(1)
		go func() {
			defer wg.Done()
			for i := lane; i < n; i += benchLanes {
				if err := do(lane, i); err != nil {
					b.Error(err)
					return
				}
			}
		}()
	}
	wg.Wait()
}

// benchConversation is the conversation of the message i of a lane: lanes share
// none, so that no commit is stale.
func benchConversation(lane, i int) store.Conversation {
	id := fmt.Sprint("c-", lane+benchLanes*(i*7919%(benchConvs/benchLanes)))
	return store.Conversation{Shop: "shop of " + id, ID: id}
}

func benchCommit(c store.Conversation, i int, version uint64) store.Commit {
	return store.Commit{
		Shop: c.Shop, Conversation: c.ID, At: storetest.Noon,
		Inbound: store.Handled{ID: strconv.Itoa(i), Hash: []byte("0123456789abcdef"), Text: []byte("3 thou low"), From: "kim"},
		Answer:  []byte(strings.Repeat("a", benchAnswer)),
		Read:    []store.Version{{Kind: store.KindPeople}},
		Put:     []store.Doc{{Kind: store.KindConversation, ID: c.ID, Version: version, Body: []byte(strings.Repeat("d", benchDoc))}},
	}
}

// BenchmarkCommitAgainstBareEval compares a Commit, and handling a message (Load
// and Commit), with one bare EVALSHA that stores the same bytes, 32 at once
// through the same client, turn by turn in the same run. It reports the
// throughput as a share of that of the bare call.
//
//	go test -run - -bench BareEval -benchtime 20000x ./store/redisstore
func BenchmarkCommitAgainstBareEval(b *testing.B) {
	s := (&databases{server: redistest.Start(b)}).open(b).(*Store)
	ctx := context.Background()
	bare := newScript(true, `redis.call('SET', KEYS[1], ARGV[1]) return {'ok'}`)
	value := strings.Repeat("d", benchDoc+benchAnswer+60)
	seq := 0 // so that no id comes twice
	kinds := []func(lane, i int) error{
		func(lane, i int) error {
			c := benchConversation(lane, i)
			_, err := s.run(ctx, bare, []string{partitionOf(c.Shop).key("bare:" + c.ID)}, value)
			return err
		},
		// The version is looked up outside of what the caller would pay: one
		// plain read, so the figure is a little low.
		func(lane, i int) error {
			c := benchConversation(lane, i)
			d, err := s.client.HGet(ctx, keysOf(c.Shop).docs(), "d"+c.ID).Result()
			if err != nil && err != redis.Nil {
				return err
			}
			version := uint64(0)
			if err == nil {
				doc, _ := s.doc(store.KindConversation, c.ID, d)
				version = doc.Version
			}
			return s.Commit(ctx, benchCommit(c, seq+i, version))
		},
		func(lane, i int) error {
			c := benchConversation(lane, i)
			d, err := s.Load(ctx, c, strconv.Itoa(seq+i))
			if err != nil {
				return err
			}
			return s.Commit(ctx, benchCommit(c, seq+i, d.Conversation.Version))
		},
	}
	const turns = 10
	var spent [3]time.Duration
	b.ResetTimer()
	for turn := range turns {
		n := b.N*(turn+1)/turns - b.N*turn/turns
		for k, do := range kinds {
			start := time.Now()
			lanes(b, n, do)
			spent[k] += time.Since(start)
			seq += n
		}
	}
	rate := func(k int) float64 { return float64(b.N) / spent[k].Seconds() }
	b.ReportMetric(rate(0), "bare/s")
	b.ReportMetric(rate(1)/rate(0), "read+commit-of-bare")
	b.ReportMetric(rate(2)/rate(0), "message-of-bare")
	b.ReportMetric(rate(2), "messages/s")
}

// BenchmarkDrain reports how fast what is due, and what is queued, is drained
// by one replica.
func BenchmarkDrain(b *testing.B) {
	storetest.BenchmarkDrain(b, (&databases{server: redistest.Start(b)}).open(b))
}
