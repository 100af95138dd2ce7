package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"

	"shimwright/store"
)

// change brings a stored document from one version of its form to the next.
type change func(fields map[string]json.RawMessage) error

// versions are the changes of each kind of document, the oldest first. A
// document says its version in its field "schema"; the newest is one more than
// there are changes.
type versions map[store.Kind][]change

// storedVersions are those of this program. Who changes the form of a document
// so that an older one would be read wrongly adds a change here, and what the
// version before wrote to testdata/stored (see TestStoredVersions). A new field
// whose zero value is right for old documents needs none.
func storedVersions() versions {
	return versions{store.KindConversation: nil, store.KindSaw: nil, store.KindPeople: nil}
}

// versionedStore is a store whose documents are read in their newest form,
// whichever version wrote them. They are written anew when they next change, so
// nothing has to be stopped for it; a document of a later version is
// store.ErrNewer, and stays as it is.
type versionedStore struct {
	store.Store
	versions versions
}

// Load implements store.Store.
func (s versionedStore) Load(ctx context.Context, c store.Conversation, id string) (store.Documents, error) {
	docs, err := s.Store.Load(ctx, c, id)
	if err != nil {
		return docs, err
	}
	for _, d := range []*store.Doc{&docs.Conversation, &docs.People} {
		if err := s.versions.upgrade(d); err != nil {
			return store.Documents{}, err
		}
	}
	for i := range docs.Saws {
		if err := s.versions.upgrade(&docs.Saws[i]); err != nil {
			return store.Documents{}, err
		}
	}
	return docs, nil
}

// Get implements store.Store.
func (s versionedStore) Get(ctx context.Context, shop string, k store.Kind, id string) (store.Doc, error) {
	d, err := s.Store.Get(ctx, shop, k, id)
	if err == nil {
		err = s.versions.upgrade(&d)
	}
	return d, err
}

// upgrade brings a document to its newest form.
func (v versions) upgrade(d *store.Doc) error {
	changes, known := v[d.Kind]
	if !known || len(d.Body) == 0 || string(d.Body) == tombstone {
		return nil
	}
	has := schemaOf(d.Body)
	newest := len(changes) + 1
	switch {
	case has == newest:
		return nil
	case has > newest:
		return fmt.Errorf("%w: a %s has schema %d, this program knows %d", store.ErrNewer, d.Kind, has, newest)
	}
	var fields map[string]json.RawMessage
	if err := json.Unmarshal(d.Body, &fields); err != nil {
		return fmt.Errorf("the stored document %s %s cannot be read: %w", d.Kind, mask(d.ID), err)
	}
	if fields == nil {
		return fmt.Errorf("the stored document %s %s cannot be read: it is null", d.Kind, mask(d.ID))
	}
	for i, f := range changes[has-1:] {
		if err := f(fields); err != nil {
			return fmt.Errorf("the stored document %s %s cannot be brought from schema %d to %d: %w", d.Kind, mask(d.ID), has+i, has+i+1, err)
		}
	}
	fields["schema"] = encode(newest)
	d.Body = encode(fields)
	return nil
}

// schemaOf reads the version of a document, which stands near its beginning;
// 1 where it says none, or is no JSON: then whoever decodes it says so.
func schemaOf(body []byte) int {
	d := json.NewDecoder(bytes.NewReader(body))
	if t, err := d.Token(); err != nil || t != json.Delim('{') {
		return 1
	}
	for d.More() {
		name, err := d.Token()
		if err != nil {
			return 1
		}
		if name == "schema" {
			var n int
			if d.Decode(&n) != nil || n < 1 {
				return 1
			}
			return n
		}
		var skipped json.RawMessage
		if d.Decode(&skipped) != nil {
			return 1
		}
	}
	return 1
}
