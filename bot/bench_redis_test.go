package main

import (
	"net/http"
	"slices"
	"strconv"
	"sync/atomic"
	"testing"
	"time"

	"github.com/redis/go-redis/v9"

	"shimwright/store/redisstore"
	"shimwright/store/redistest"
)

// BenchmarkMessagesOnRedis measures POST /v1/messages on Redis, with whole
// levelling conversations of 32 programs as the mix, against a bare handler
// behind the same router that makes one round trip, an EVAL that stores the same
// bytes, with the same client on the same server. They take turns, so that
// whatever else the machine does meets both; what counts is the ratio.
//
//	go test ./bot -run XXX -bench MessagesOnRedis -benchtime 16000x
func BenchmarkMessagesOnRedis(b *testing.B) {
	server := redistest.Start(b)
	inner, err := redisstore.Open(b.Context(), server.URL(0))
	if err != nil {
		b.Fatal(err)
	}
	sides := [2]struct {
		clients []func() error
		took    time.Duration
		times   []time.Duration
		here    time.Duration // of the processors: client and server of HTTP together
		redis   time.Duration
	}{{clients: newBenchService(b, inner).holders(b)}, {clients: bareOnRedis(b, server)}}
	const turns = 8
	b.ResetTimer()
	for turn := range turns {
		n := b.N*(turn+1)/turns - b.N*turn/turns
		for i := range sides {
			s := &sides[i]
			here, there, began := processorTime(), serverTime(b, server), time.Now()
			s.times = append(s.times, spread(b, n, s.clients)...)
			s.took += time.Since(began)
			s.here += processorTime() - here
			s.redis += serverTime(b, server) - there
		}
	}
	b.StopTimer()
	var p99 [2]time.Duration
	for i, name := range []string{"", "bare-"} {
		s := sides[i]
		slices.Sort(s.times)
		p99[i] = quantile(s.times, 0.99)
		b.ReportMetric(float64(b.N)/s.took.Seconds(), name+"msg/s")
		b.ReportMetric(float64(s.here.Microseconds())/float64(b.N), name+"cpu-µs/msg")
		b.ReportMetric(float64(s.redis.Microseconds())/float64(b.N), name+"redis-cpu-µs/msg")
		b.ReportMetric(float64(p99[i].Microseconds()), name+"p99-µs")
	}
	b.ReportMetric(sides[1].took.Seconds()/sides[0].took.Seconds(), "of-bare-throughput")
	b.ReportMetric(p99[0].Seconds()/max(p99[1].Seconds(), 1e-9), "times-bare-p99")
}

// bareOnRedis are clients of the bare handler.
func bareOnRedis(b *testing.B, server *redistest.Server) []func() error {
	o, err := redis.ParseURL(server.URL(1))
	if err != nil {
		b.Fatal(err)
	}
	o.ContextTimeoutEnabled = true // as the store has it
	client := redis.NewClient(o)
	b.Cleanup(func() { _ = client.Close() })
	script := redis.NewScript(`redis.call('SET', KEYS[1], ARGV[1]) return 'ok'`)
	var n atomic.Uint64
	return bareClients(b, func(r *http.Request, value []byte) error {
		return script.Run(r.Context(), client, []string{strconv.FormatUint(n.Add(1)%4096, 10)}, value).Err()
	})
}

// serverTime is the processor time that Redis has used.
func serverTime(t testing.TB, server *redistest.Server) (sum time.Duration) {
	info, err := server.Client(t).InfoMap(t.Context(), "cpu").Result()
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"used_cpu_user", "used_cpu_sys"} {
		seconds, err := strconv.ParseFloat(info["CPU"][name], 64)
		if err != nil {
			t.Fatal(err)
		}
		sum += time.Duration(seconds * float64(time.Second))
	}
	return sum
}
