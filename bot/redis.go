package main

import (
	"context"

	"shimwright/store"
	"shimwright/store/redisstore"
)

// openRedis opens the store in Redis. The engine's own errors say what is
// wrong without showing the address, which may hold a password.
func openRedis(ctx context.Context, url Secret) (store.Store, error) {
	return redisstore.Open(ctx, url.Reveal())
}
