package main

import (
	"context"

	"github.com/redis/go-redis/v9/logging"

	"shimwright/store"
	"shimwright/store/redisstore"
)

// openRedis opens the store in Redis. The engine's own errors say what is
// wrong without showing the address, which may hold a password; the client's own
// log would say the same again, in another form.
func openRedis(ctx context.Context, url Secret) (store.Store, error) {
	logging.Disable()
	return redisstore.Open(ctx, url.Reveal())
}
