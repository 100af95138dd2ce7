package redisstore

import (
	"context"
	"errors"

	"github.com/redis/go-redis/v9"
)

// replicaWait is how long a change waits for replicas, in milliseconds.
const replicaWait = 1000

// errNotReplicated: the master has the change. Whether it lasts is not known.
var errNotReplicated = errors.New("the change is on the master and not yet on a replica")

// replicated runs a script and waits until replicas have what it wrote: WAIT on
// the same connection, in the same round trip. In a cluster the connection is
// one to the master that has the key.
func (s *Store) replicated(ctx context.Context, cmd *redis.Cmd, key string) error {
	for attempt := 0; ; attempt++ {
		node, err := s.masterOf(ctx, key)
		if err != nil {
			return err
		}
		pipe := node.Pipeline()
		_ = pipe.Process(ctx, once{cmd})
		got := pipe.Do(ctx, "wait", s.replicas, replicaWait)
		_, err = pipe.Exec(ctx)
		switch {
		case redis.HasErrorPrefix(cmd.Err(), "MOVED") && attempt < 3:
			// Not run: another master has the key now.
			cc, ok := s.client.(*redis.ClusterClient)
			if !ok {
				return cmd.Err()
			}
			cc.ReloadState(ctx)
			continue
		case cmd.Err() != nil:
			return cmd.Err()
		case err != nil:
			return err
		}
		if n, err := got.Int(); err != nil || n < s.replicas {
			return errors.Join(errNotReplicated, err)
		}
		return nil
	}
}

// masterOf returns a client of the master that has key.
func (s *Store) masterOf(ctx context.Context, key string) (redis.Cmdable, error) {
	if cc, ok := s.client.(*redis.ClusterClient); ok {
		return cc.MasterForKey(ctx, key)
	}
	return s.client, nil
}

// touch writes nothing new, so that what was written before it is waited for.
//
//	KEYS  1 n
//	returns  {}
var touch = newScript(true, `redis.call('HINCRBY', KEYS[1], 'seq', 0) return {}`)

// settled returns when replicas have what a shop has now. An answer given again
// needs that too: the first time it may not have got so far.
func (s *Store) settled(ctx context.Context, shop string) error {
	if s.replicas == 0 {
		return nil
	}
	_, err := s.run(ctx, touch, []string{partitionOf(shop).key("n")})
	return err
}
