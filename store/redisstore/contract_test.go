package redisstore

import (
	"context"
	"sync/atomic"
	"testing"

	"github.com/redis/go-redis/v9"

	"shimwright/store"
	"shimwright/store/redistest"
	"shimwright/store/storetest"
)

// databases gives every store a database of its own on one server.
type databases struct {
	server *redistest.Server
	last   atomic.Int32
	hook   redis.Hook // added to every client, when set
}

func (d *databases) open(t testing.TB) store.Store { return d.at(t, int(d.last.Add(1))) }

func (d *databases) at(t testing.TB, db int) *Store {
	t.Helper()
	c, err := client(d.server.URL(db))
	if err != nil {
		t.Fatal(err)
	}
	if d.hook != nil {
		c.AddHook(d.hook)
	}
	s, err := New(context.Background(), c, 0)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = s.Close() })
	return s
}

func dbOf(s store.Store) int { return s.(*Store).client.(*redis.Client).Options().DB }

func (d *databases) engine() storetest.Engine {
	return storetest.Engine{
		Open:    d.open,
		Replica: func(t testing.TB, s store.Store) store.Store { return d.at(t, dbOf(s)) },
		Raw: func(t testing.TB, s store.Store) []byte {
			return redistest.Raw(t, s.(*Store).client.(*redis.Client))
		},
	}
}

func TestContract(t *testing.T) {
	storetest.Run(t, (&databases{server: redistest.Start(t)}).engine())
}

// TestContractOnACluster runs the suite on three masters. Where a test needs a
// second store, that is on a single server, as a cluster has one database.
func TestContractOnACluster(t *testing.T) {
	cluster := redistest.StartCluster(t, false)
	clients := cluster.Clients(t)
	beside := &databases{server: redistest.Start(t)}
	open := func(t testing.TB) store.Store {
		s, err := Open(context.Background(), cluster.URL())
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { _ = s.Close() })
		return s
	}
	storetest.Run(t, storetest.Engine{
		Open: func(t testing.TB) store.Store {
			cluster.Flush(t)
			return open(t)
		},
		Other:   beside.open,
		Replica: func(t testing.TB, _ store.Store) store.Store { return open(t) },
		Raw:     func(t testing.TB, _ store.Store) []byte { return redistest.Raw(t, clients...) },
	})
}

// TestContractUnderSentinel runs the suite on a master that the client finds
// through Sentinel, and waits for its replica with every change.
func TestContractUnderSentinel(t *testing.T) {
	watched := redistest.StartSentinel(t, 1)
	var last int
	open := func(t testing.TB, db int) store.Store {
		s, err := Open(context.Background(), watched.Database(db)+"?wait_replicas=1")
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { _ = s.Close() })
		return s
	}
	storetest.Run(t, storetest.Engine{
		Open: func(t testing.TB) store.Store {
			last++
			return open(t, last)
		},
		Replica: func(t testing.TB, s store.Store) store.Store { return open(t, dbOf(s)) },
		Raw: func(t testing.TB, s store.Store) []byte {
			return redistest.Raw(t, s.(*Store).client.(*redis.Client))
		},
	})
}
