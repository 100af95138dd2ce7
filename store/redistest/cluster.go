package redistest

import (
	"context"
	"fmt"
	"net"
	"strconv"
	"strings"
	"testing"

	"github.com/redis/go-redis/v9"

	"shimwright/bot/testenv"
)

// slots is the number of hash slots of a cluster.
const slots = 16384

// Cluster is three masters, each with a replica or without.
type Cluster struct {
	Masters, Replicas []*Server // as they were at the start
}

// StartCluster starts one. A master that is gone for about a second is
// replaced by its replica.
func StartCluster(t testing.TB, replicas bool, settings ...string) *Cluster {
	t.Helper()
	program := testenv.Program(t, "redis-server")
	const masters = 3
	c := &Cluster{}
	node := func() *Server {
		bus := testenv.FreePorts(t, 1)[0]
		return start(t, program, append([]string{
			"--cluster-enabled", "yes", "--cluster-port", strconv.Itoa(bus), "--cluster-node-timeout", "1000",
			"--cluster-replica-validity-factor", "0", "--cluster-require-full-coverage", "no",
		}, settings...)...)
	}
	for range masters {
		c.Masters = append(c.Masters, node())
		if replicas {
			c.Replicas = append(c.Replicas, node())
		}
	}
	for i, m := range c.Masters {
		first, last := c.Range(i)
		ask(t, m, "CLUSTER", "ADDSLOTSRANGE", first, last)
	}
	all := append(append([]*Server{}, c.Masters...), c.Replicas...)
	for _, s := range all[1:] {
		host, port, _ := net.SplitHostPort(s.Addr)
		ask(t, all[0], "CLUSTER", "MEET", host, port, s.bus())
	}
	for _, s := range all {
		s.knows(t, len(all))
	}
	for i, r := range c.Replicas {
		id := ask(t, c.Masters[i], "CLUSTER", "MYID")
		ask(t, r, "CLUSTER", "REPLICATE", id)
	}
	for _, r := range c.Replicas {
		client := r.Client(t)
		Eventually(t, "a replica to follow its master", func() error { return following(client) })
	}
	for _, s := range all {
		s.knows(t, len(all))
	}
	return c
}

// Range is the hash slots that the master of a number has at the start.
func (c *Cluster) Range(i int) (first, last int) {
	return i * slots / len(c.Masters), (i+1)*slots/len(c.Masters) - 1
}

// bus is the port on which the nodes of a cluster talk to each other.
func (s *Server) bus() string {
	for i, a := range s.args {
		if a == "--cluster-port" {
			return s.args[i+1]
		}
	}
	return ""
}

// knows waits until a node knows all others and finds the cluster in order.
func (s *Server) knows(t testing.TB, nodes int) {
	t.Helper()
	c := s.Client(t)
	Eventually(t, "the cluster to be in order", func() error {
		info, err := c.ClusterInfo(context.Background()).Result()
		if err == nil && !(strings.Contains(info, "cluster_state:ok") && strings.Contains(info, fmt.Sprint("cluster_known_nodes:", nodes))) {
			err = fmt.Errorf("%s", info)
		}
		return err
	})
}

// ask sends a command that must succeed.
func ask(t testing.TB, s *Server, args ...any) string {
	t.Helper()
	c := redis.NewClient(&redis.Options{Addr: s.Addr})
	defer func() { _ = c.Close() }()
	text, err := c.Do(context.Background(), args...).Text()
	if err != nil {
		t.Fatalf("%v: %v", args, err)
	}
	return text
}

// URL is what redisstore.Open takes.
func (c *Cluster) URL() string {
	var hosts []string
	for _, s := range c.Masters {
		hosts = append(hosts, s.Addr)
	}
	return "redis+cluster://" + strings.Join(hosts, ",")
}

// Flush empties the cluster.
func (c *Cluster) Flush(t testing.TB) {
	t.Helper()
	for _, s := range c.Masters {
		ask(t, s, "FLUSHALL")
	}
}

// Clients returns a client of every master.
func (c *Cluster) Clients(t testing.TB) []*redis.Client {
	var list []*redis.Client
	for _, s := range c.Masters {
		list = append(list, s.Client(t))
	}
	return list
}
