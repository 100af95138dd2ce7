package boltstore

import (
	"os"
	"path/filepath"
	"testing"

	"shimwright/store"
	"shimwright/store/storetest"
)

func openNew(t testing.TB) store.Store {
	t.Helper()
	s, err := Open(filepath.Join(t.TempDir(), "store.db"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = s.Close() })
	return s
}

func TestContract(t *testing.T) {
	storetest.Run(t, storetest.Engine{
		Open: openNew,
		Raw: func(t testing.TB, s store.Store) []byte {
			raw, err := os.ReadFile(s.(*Store).path)
			if err != nil {
				t.Fatal(err)
			}
			return raw
		},
	})
}
