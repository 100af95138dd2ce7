package boltstore

import (
	"context"
	"fmt"
	"math/rand/v2"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	bolt "go.etcd.io/bbolt"

	"shimwright/store"
	"shimwright/store/storetest"
)

// The sizes of a message in the middle of a job: the conversation with its
// answers, the answer given with its prompt and picture links.
const (
	benchDoc    = 3000
	benchAnswer = 900
	benchLanes  = 32
	benchConvs  = 2000

	// So much time passes with each message that ids and transcripts of about
	// 5,000 are kept: the file then grows no more, as in a shop's second week.
	benchStep = (store.KeepIDs + store.SweepAfter) / 5000
)

// BenchmarkCommitAgainstBareBatch compares a Commit, and handling a message
// (Load and Commit), with a bare durable bbolt Batch that writes the same bytes
// under one key, 32 at once, turn by turn in the same run. It reports the
// throughput as a share of that of the bare batch; the aim is 0.7 for Commit.
// On a machine that is busy with other things that share swings, so it also
// reports how many pages, in how many writes, a message costs the disk against
// the bare batch, which does not.
//
//	go test -run - -bench BareBatch -benchtime 20000x ./store/boltstore
func BenchmarkCommitAgainstBareBatch(b *testing.B) {
	for _, c := range []struct {
		name  string
		delay time.Duration
		size  int
	}{
		{"its_defaults", 10 * time.Millisecond, 1000},
		// As many as there are callers: no batch waits for its delay.
		{"batches_of_32", 10 * time.Millisecond, benchLanes},
	} {
		b.Run(c.name, func(b *testing.B) {
			ours := newOurs(b)
			bare := newBare(b, c.delay, c.size)
			lanes(b, 10_000, ours.message)
			lanes(b, 10_000, bare.message)
			oursBefore, bareBefore := ours.s.db.Stats().TxStats, bare.db.Stats().TxStats
			const turns = 10
			var spent [3]time.Duration
			b.ResetTimer()
			for turn := range turns {
				n := b.N*(turn+1)/turns - b.N*turn/turns
				for i, do := range []func(n int) error{ours.commit, bare.message, ours.message} {
					start := time.Now()
					lanes(b, n, do)
					spent[i] += time.Since(start)
				}
			}
			b.ReportMetric(float64(spent[1])/float64(spent[0]), "commit-of-bare")
			b.ReportMetric(float64(spent[1])/float64(spent[2]), "message-of-bare")
			oursAfter, bareAfter := ours.s.db.Stats().TxStats, bare.db.Stats().TxStats
			oursDid, bareDid := oursAfter.Sub(&oursBefore), bareAfter.Sub(&bareBefore)
			b.ReportMetric(float64(oursDid.GetPageCount())/2/float64(bareDid.GetPageCount()), "pages-of-bare")
			b.ReportMetric(float64(oursDid.GetWrite())/2/float64(bareDid.GetWrite()), "writes-of-bare")
			b.ReportMetric(float64(b.N)/spent[0].Seconds(), "commits/s")
			b.ReportMetric(float64(b.N)/spent[1].Seconds(), "bare/s")
			b.ReportMetric(float64(b.N)/spent[2].Seconds(), "messages/s")
		})
	}
}

// lanes calls do n times from as many goroutines as there are lanes.
func lanes(b *testing.B, n int, do func(n int) error) {
	var wg sync.WaitGroup
	for lane := range benchLanes {
		wg.Add(1)
		go func() {
			defer wg.Done()
			for i := lane; i < n; i += benchLanes {
				if err := do(lane); err != nil {
					b.Error(err)
					return
				}
			}
		}()
	}
	wg.Wait()
}

// turnOf numbers the messages of each lane; a lane goes through conversations
// of its own in an order that looks random, the same for both sides.
type turnOf [benchLanes]struct {
	n      int
	random *rand.Rand
}

func (t *turnOf) next(lane int) (conversation string, n int) {
	l := &t[lane]
	if l.random == nil {
		l.random = rand.New(rand.NewPCG(uint64(lane), 2026))
	}
	l.n++
	return fmt.Sprint("c-", lane+benchLanes*l.random.IntN(benchConvs/benchLanes)), l.n
}

type ours struct {
	s    *Store
	turn turnOf
}

func newOurs(b *testing.B) *ours {
	s, err := open(filepath.Join(b.TempDir(), "ours.db"))
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { _ = s.Close() })
	return &ours{s: s}
}

// message loads and commits.
func (o *ours) message(lane int) error {
	id, n := o.turn.next(lane)
	d, err := o.s.Load(context.Background(), store.Conversation{Shop: "shop of " + id, ID: id}, "")
	if err != nil {
		return err
	}
	return o.put(id, n, d.Conversation.Version)
}

// commit only looks up the version that the caller would know from Load.
func (o *ours) commit(lane int) error {
	id, n := o.turn.next(lane)
	var version uint64
	err := o.s.view(context.Background(), func(t *tx) (err error) {
		version, err = t.version("shop of "+id, store.KindConversation, id, time.Time{})
		return err
	})
	if err != nil {
		return err
	}
	return o.put(id, n, version)
}

func (o *ours) put(id string, n int, version uint64) error {
	c := store.Conversation{Shop: "shop of " + id, ID: id}
	commit := store.Commit{
		Shop: c.Shop, Conversation: c.ID, At: storetest.Noon.Add(time.Duration(n*benchLanes) * benchStep),
		Inbound: store.Handled{ID: fmt.Sprint(n), Hash: []byte("0123456789abcdef"), Text: []byte("3 thou low"), From: "kim"},
		Answer:  []byte(strings.Repeat("a", benchAnswer)),
		Read:    []store.Version{{Kind: store.KindPeople}},
		Put:     []store.Doc{{Kind: store.KindConversation, ID: id, Version: version, Body: []byte(strings.Repeat("d", benchDoc))}},
	}
	return o.s.Commit(context.Background(), commit)
}

type bare struct {
	db   *bolt.DB
	turn turnOf
}

func newBare(b *testing.B, delay time.Duration, size int) *bare {
	db, err := bolt.Open(filepath.Join(b.TempDir(), "bare.db"), 0o600, &bolt.Options{FreelistType: bolt.FreelistMapType})
	if err != nil {
		b.Fatal(err)
	}
	db.MaxBatchDelay, db.MaxBatchSize = delay, size
	b.Cleanup(func() { _ = db.Close() })
	err = db.Update(func(tx *bolt.Tx) error {
		_, err := tx.CreateBucket(bucketData)
		return err
	})
	if err != nil {
		b.Fatal(err)
	}
	return &bare{db: db}
}

func (r *bare) message(lane int) error {
	id, _ := r.turn.next(lane)
	value := []byte(strings.Repeat("d", benchDoc+benchAnswer+60))
	return r.db.Batch(func(tx *bolt.Tx) error { return tx.Bucket(bucketData).Put([]byte(id), value) })
}

// BenchmarkDrain reports how fast what is due, and what is queued, is drained
// by one worker.
func BenchmarkDrain(b *testing.B) {
	s := newOurs(b).s
	storetest.BenchmarkDrain(b, s)
}

// BenchmarkFile reports the bytes of the file for each idle conversation.
func BenchmarkFile(b *testing.B) {
	o := newOurs(b)
	lanes(b, b.N, o.message)
	conversations, size := 0, int64(0)
	err := o.s.view(b.Context(), func(t *tx) error {
		conversations, size = countOf(t.shops, nil), t.btx.Size()
		return nil
	})
	if err != nil {
		b.Fatal(err)
	}
	b.ReportMetric(float64(size)/float64(conversations), "file-bytes/conversation")
}
