package main

import (
	"context"
	"errors"

	"shimwright/store"
)

func openRedis(ctx context.Context, url Secret) (store.Store, error) {
	return nil, errors.New("not built in")
}
