package main

import (
	"net/http"
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
// bytes, with the same client on the same server.
//
//	go test ./bot -run XXX -bench MessagesOnRedis -benchtime 16000x
func BenchmarkMessagesOnRedis(b *testing.B) {
	server := redistest.Start(b)
	inner, err := redisstore.Open(b.Context(), server.URL(0))
	if err != nil {
		b.Fatal(err)
	}
	used := func() time.Duration { return serverTime(b, server) }
	ours := side{clients: newBenchService(b, inner).holders(b), other: used}
	bare := side{name: "bare-", clients: bareOnRedis(b, server), other: used}
	inTurns(b, &ours, &bare)
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
