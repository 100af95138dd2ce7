package main

import (
	"fmt"
	"strings"
	"testing"

	"shimwright/dialog"
	"shimwright/store"
)

func TestCacheCountsForTheSameBytesOnly(t *testing.T) {
	c := newCache()
	doc := func(body string) store.Doc { return store.Doc{Kind: store.KindSaw, ID: "saw-1", Body: []byte(body)} }
	first, err := decoded[dialog.Saw](c, "home", doc(`{"id":"saw-1","report":"a"}`))
	if err != nil || first.Report != "a" {
		t.Fatalf("%+v, %v", first, err)
	}
	// Another replica changed it: the same document, other bytes.
	second, err := decoded[dialog.Saw](c, "home", doc(`{"id":"saw-1","report":"b"}`))
	if err != nil || second.Report != "b" {
		t.Errorf("%+v, %v", second, err)
	}
	if other, err := decoded[dialog.Saw](c, "elsewhere", doc(`{"id":"saw-1","report":"a"}`)); err != nil || other.Report != "a" {
		t.Errorf("another shop: %+v, %v", other, err)
	}
	if _, err := decoded[dialog.Saw](c, "home", doc(`{"id":`)); err == nil {
		t.Error("half a document was taken")
	}
	if none, err := decoded[dialog.Saw](c, "home", doc("")); err != nil || none.ID != "" {
		t.Errorf("no document: %+v, %v", none, err)
	}
}

func TestCacheIsBounded(t *testing.T) {
	c := newCache()
	body := []byte(strings.Repeat("x", 10000))
	for i := range 1000 {
		c.put(cacheKey{"home", store.KindSaw, fmt.Sprint(i)}, body, i)
	}
	if c.size > maxCached || len(c.m) != c.order.Len() || len(c.m) != maxCached/len(body) {
		t.Errorf("%d bytes, %d keys, %d entries", c.size, len(c.m), c.order.Len())
	}
	if _, ok := c.get(cacheKey{"home", store.KindSaw, "999"}, body); !ok {
		t.Error("the newest is gone")
	}
	if _, ok := c.get(cacheKey{"home", store.KindSaw, "0"}, body); ok {
		t.Error("the oldest is there")
	}
	c.put(cacheKey{"home", store.KindSaw, "large"}, make([]byte, maxCached), 0)
	if c.size > maxCached {
		t.Errorf("%d bytes after one that is too large", c.size)
	}
}
