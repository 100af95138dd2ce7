package redistest

import (
	"context"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/redis/go-redis/v9"

	"shimwright/bot/testenv"
)

// MasterName is what the sentinels call the master.
const MasterName = "shop"

// Watched is a master with replicas, watched by three sentinels.
type Watched struct {
	Servers   []*Server // the first is the master at the start
	Sentinels []*Server
}

// StartSentinel starts one. A master that is gone for half a second is
// replaced.
func StartSentinel(t testing.TB, replicas int, settings ...string) *Watched {
	t.Helper()
	program := testenv.Program(t, "redis-sentinel")
	w := &Watched{Servers: []*Server{Start(t, settings...)}}
	host, port, _ := strings.Cut(w.Servers[0].Addr, ":")
	for range replicas {
		r := Start(t, append([]string{"--replicaof", host + " " + port}, settings...)...)
		w.Servers = append(w.Servers, r)
		client := r.Client(t)
		Eventually(t, "the replica to follow", func() error { return following(client) })
	}
	for range 3 {
		w.Sentinels = append(w.Sentinels, sentinel(t, program, host, port))
	}
	for _, s := range w.Sentinels {
		c := redis.NewSentinelClient(&redis.Options{Addr: s.Addr})
		t.Cleanup(func() { _ = c.Close() })
		Eventually(t, "the sentinels to know each other and the replicas", func() error {
			m, err := c.Master(context.Background(), MasterName).Result()
			if err == nil && (m["num-other-sentinels"] != "2" || m["num-slaves"] != fmt.Sprint(replicas)) {
				err = fmt.Errorf("others %s, replicas %s", m["num-other-sentinels"], m["num-slaves"])
			}
			return err
		})
	}
	return w
}

// sentinel starts one that watches the master.
func sentinel(t testing.TB, program, host, port string) *Server {
	t.Helper()
	dir := t.TempDir()
	own := testenv.FreePorts(t, 1)[0]
	config := filepath.Join(dir, "sentinel.conf")
	text := fmt.Sprintf("port %d\nbind 127.0.0.1\ndir %s\nsentinel monitor %[3]s %s %s 2\n"+
		"sentinel down-after-milliseconds %[3]s 500\nsentinel failover-timeout %[3]s 3000\n",
		own, dir, MasterName, host, port)
	if err := os.WriteFile(config, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	s := &Server{Addr: net.JoinHostPort("127.0.0.1", fmt.Sprint(own)), Dir: dir, program: program, args: []string{config}}
	t.Cleanup(s.Kill)
	s.Restart(t)
	// It asks the servers and tells the other sentinels more often than every
	// ten and two seconds. Before Redis 7 it cannot be told to; the test then
	// takes longer.
	c := redis.NewClient(&redis.Options{Addr: s.Addr})
	defer func() { _ = c.Close() }()
	_ = c.Do(context.Background(), "SENTINEL", "DEBUG", "info-period", 200, "publish-period", 200).Err()
	return s
}

// URL is what redisstore.Open takes.
func (w *Watched) URL() string { return w.Database(0) }

// Database is URL with the number of a database.
func (w *Watched) Database(db int) string {
	var hosts []string
	for _, s := range w.Sentinels {
		hosts = append(hosts, s.Addr)
	}
	return fmt.Sprintf("redis+sentinel://%s/%s/%d", strings.Join(hosts, ","), MasterName, db)
}

// Master returns the address that the sentinels now give for the master.
func (w *Watched) Master(t testing.TB) string {
	t.Helper()
	c := redis.NewSentinelClient(&redis.Options{Addr: w.Sentinels[0].Addr})
	defer func() { _ = c.Close() }()
	addr, err := c.GetMasterAddrByName(context.Background(), MasterName).Result()
	if err != nil {
		t.Fatal(err)
	}
	return net.JoinHostPort(addr[0], addr[1])
}

// At returns the server with an address.
func (w *Watched) At(addr string) *Server {
	for _, s := range w.Servers {
		if s.Addr == addr {
			return s
		}
	}
	return nil
}

// following reports whether a replica has its master's data.
func following(c *redis.Client) error {
	info, err := c.Info(context.Background(), "replication").Result()
	if err == nil && !strings.Contains(info, "master_link_status:up") {
		err = fmt.Errorf("no link to the master: %s", info)
	}
	return err
}
