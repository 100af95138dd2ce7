package main

import (
	"slices"
	"sync"
	"sync/atomic"
	"testing"
	"time"
)

// side is one of two services that a benchmark compares.
type side struct {
	name    string // before its metrics
	clients []func() error
	other   func() time.Duration // processor time of a program that it uses; nil: of none
	took    time.Duration
	here    time.Duration // processor time of this program: client and server together
	there   time.Duration
	times   []time.Duration // of each call, sorted in the end
}

// inTurns makes b.N calls on each side, the sides in turns, so that whatever
// else the machine does meets both, and reports how they stand; what counts is
// the ratio.
func inTurns(b *testing.B, ours, bare *side) {
	const turns = 8
	b.ResetTimer()
	for turn := range turns {
		n := b.N*(turn+1)/turns - b.N*turn/turns
		ours.run(b, n)
		bare.run(b, n)
	}
	b.StopTimer()
	ours.report(b)
	bare.report(b)
	b.ReportMetric(bare.took.Seconds()/ours.took.Seconds(), "of-bare-throughput")
	b.ReportMetric(float64(ours.here)/float64(max(1, bare.here)), "times-bare-cpu")
	b.ReportMetric(quantile(ours.times, 0.99).Seconds()/max(quantile(bare.times, 0.99).Seconds(), 1e-9), "times-bare-p99")
}

func (s *side) run(b *testing.B, n int) {
	other := s.other
	if other == nil {
		other = func() time.Duration { return 0 }
	}
	here, there, began := processorTime(), other(), time.Now()
	s.times = append(s.times, spread(b, n, s.clients)...)
	s.took += time.Since(began)
	s.here += processorTime() - here
	s.there += other() - there
}

func (s *side) report(b *testing.B) {
	slices.Sort(s.times)
	b.ReportMetric(float64(b.N)/s.took.Seconds(), s.name+"msg/s")
	b.ReportMetric(float64(s.here.Microseconds())/float64(b.N), s.name+"cpu-µs/msg")
	if s.other != nil {
		b.ReportMetric(float64(s.there.Microseconds())/float64(b.N), s.name+"redis-cpu-µs/msg")
	}
	b.ReportMetric(float64(quantile(s.times, 0.50).Microseconds()), s.name+"p50-µs")
	b.ReportMetric(float64(quantile(s.times, 0.99).Microseconds()), s.name+"p99-µs")
}

// spread makes n calls, each client one after the other, and returns how long
// they took, in order.
func spread(t testing.TB, n int, clients []func() error) []time.Duration {
	var left atomic.Int64
	left.Store(int64(n))
	times := make([][]time.Duration, len(clients))
	var wg sync.WaitGroup
	for i, call := range clients {
		wg.Go(func() {
			for left.Add(-1) >= 0 {
				began := time.Now()
				if err := call(); err != nil {
					t.Error(err)
					return
				}
				times[i] = append(times[i], time.Since(began))
			}
		})
	}
	wg.Wait()
	all := slices.Concat(times...)
	slices.Sort(all)
	return all
}

func quantile(sorted []time.Duration, q float64) time.Duration {
	if len(sorted) == 0 {
		return 0
	}
	return sorted[min(len(sorted)-1, int(q*float64(len(sorted))))]
}
