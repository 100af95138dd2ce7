package main

import (
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// TestHouse holds who may import whom, as DEVELOPERS.md states it.
func TestHouse(t *testing.T) {
	type rule struct {
		dir    string
		own    []string // packages of this module that it may import, by prefix
		outer  []string // modules that it may import, by prefix
		barred []string // of the standard library
	}
	noIO := []string{"os", "net", "io/ioutil", "log", "log/slog", "syscall", "database/sql", "net/http", "math/rand", "math/rand/v2"}
	rules := []rule{
		{"../calc", nil, []string{"gonum.org/v1/gonum"}, noIO},
		{"../dialog", []string{"shimwright/calc", "shimwright/dialog"},
			[]string{"github.com/nicksnyder/go-i18n", "github.com/BurntSushi/toml", "golang.org/x/text"}, noIO},
		{"../store", []string{"shimwright/store"}, []string{"go.etcd.io/bbolt", "github.com/redis/go-redis"}, nil},
	}
	files := 0
	for _, r := range rules {
		err := filepath.WalkDir(r.dir, func(path string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") ||
				strings.Contains(path, "test/") { // storetest, redistest: helpers of tests
				return err
			}
			files++
			f, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.ImportsOnly)
			if err != nil {
				return err
			}
			for _, i := range f.Imports {
				name, _ := strconv.Unquote(i.Path.Value)
				if !mayImport(name, r.own, r.outer, r.barred) {
					t.Errorf("%s imports %s", path, name)
				}
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	if files < 50 {
		t.Fatalf("only %d files were looked at", files)
	}
}

func mayImport(name string, own, outer, barred []string) bool {
	first, _, _ := strings.Cut(name, "/")
	list := barred
	switch {
	case first == "shimwright":
		list = own
	case strings.Contains(first, "."):
		list = outer
	default:
		for _, b := range barred {
			if name == b {
				return false
			}
		}
		return true
	}
	for _, p := range list {
		if strings.HasPrefix(name, p) {
			return true
		}
	}
	return false
}
