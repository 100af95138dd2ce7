package redisstore

import (
	"bufio"
	"context"
	"strconv"
	"strings"
	"sync"

	"github.com/redis/go-redis/v9"
)

// Server is what an operator should know of a server that holds data.
type Server struct {
	Address    string // as the server was reached; holds no password
	Version    string
	AppendOnly bool
	Fsync      string // appendfsync; "" where the server does not tell
	Replicas   int    // connected
	Used       int64  // bytes
	Limit      int64  // maxmemory in bytes; 0: none
}

// Servers describes every master.
func (s *Store) Servers(ctx context.Context) ([]Server, error) {
	var mu sync.Mutex
	var list []Server
	err := masters(ctx, s.client, func(ctx context.Context, c redis.Cmdable) error {
		info, err := c.Info(ctx).Result() // all the usual sections; every server knows this form
		if err != nil {
			return failed(err)
		}
		found := readServer(info)
		if one, ok := c.(*redis.Client); ok {
			found.Address = one.Options().Addr
		}
		// Some providers forbid CONFIG; then it stays untold.
		if m, err := c.ConfigGet(ctx, "appendfsync").Result(); err == nil {
			found.Fsync = m["appendfsync"]
		}
		mu.Lock()
		defer mu.Unlock()
		list = append(list, found)
		return nil
	})
	return list, err
}

// readServer reads the answer to INFO.
func readServer(info string) Server {
	var s Server
	for lines := bufio.NewScanner(strings.NewReader(info)); lines.Scan(); {
		name, value, _ := strings.Cut(strings.TrimSpace(lines.Text()), ":")
		switch name {
		case "redis_version":
			s.Version = value
		case "aof_enabled":
			s.AppendOnly = value == "1"
		case "connected_slaves":
			s.Replicas, _ = strconv.Atoi(value)
		case "used_memory":
			s.Used, _ = strconv.ParseInt(value, 10, 64)
		case "maxmemory":
			s.Limit, _ = strconv.ParseInt(value, 10, 64)
		}
	}
	return s
}
