package main

import (
	"bytes"
	"container/list"
	"encoding/json"
	"fmt"
	"sync"

	"shimwright/store"
)

// maxCached bounds what the cache holds, in bytes of stored documents; decoded
// they take a few times as much.
const maxCached = 2 << 20

// cache keeps documents that were decoded a moment ago. It decides nothing:
// an entry counts only for the very bytes that the store has just returned, so
// that a change by another replica, or a commit that failed, cannot be missed.
// Its values are shared, and nobody changes them: a step of the dialog changes
// nothing that it looks at.
type cache struct {
	mu    sync.Mutex
	m     map[cacheKey]*list.Element
	order *list.List // of *cached, the last used first
	size  int
}

type cacheKey struct {
	shop string
	kind store.Kind
	id   string
}

type cached struct {
	key   cacheKey
	body  []byte
	value any
}

func newCache() *cache { return &cache{m: map[cacheKey]*list.Element{}, order: list.New()} }

// get returns what the body of a document was decoded to.
func (c *cache) get(k cacheKey, body []byte) (any, bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	e, ok := c.m[k]
	if !ok || !bytes.Equal(e.Value.(*cached).body, body) {
		return nil, false
	}
	c.order.MoveToFront(e)
	return e.Value.(*cached).value, true
}

// put keeps a document, in place of an older version of it.
func (c *cache) put(k cacheKey, body []byte, value any) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if e, ok := c.m[k]; ok {
		c.drop(e)
	}
	if len(body) > maxCached/8 {
		return
	}
	c.m[k] = c.order.PushFront(&cached{k, body, value})
	c.size += len(body)
	for c.size > maxCached {
		c.drop(c.order.Back())
	}
}

func (c *cache) drop(e *list.Element) {
	old := c.order.Remove(e).(*cached)
	delete(c.m, old.key)
	c.size -= len(old.body)
}

// decoded returns what a document of a shop holds; the zero value for one that
// does not exist.
func decoded[T any](c *cache, shop string, d store.Doc) (T, error) {
	var v T
	if len(d.Body) == 0 {
		return v, nil
	}
	k := cacheKey{shop, d.Kind, d.ID}
	if known, ok := c.get(k, d.Body); ok {
		if v, ok := known.(T); ok {
			return v, nil
		}
	}
	if err := json.Unmarshal(d.Body, &v); err != nil {
		return v, fmt.Errorf("the stored document %s %s cannot be read: %w", d.Kind, mask(d.ID), err)
	}
	c.put(k, d.Body, v)
	return v, nil
}
