package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
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

// TestFailuresHaveTests: every test that DEVELOPERS.md or README.md names
// exists, and every failure of the table names one.
func TestFailuresHaveTests(t *testing.T) {
	exists := map[string]bool{}
	err := filepath.WalkDir("..", func(path string, d fs.DirEntry, err error) error {
		if err != nil || !strings.HasSuffix(path, "_test.go") {
			return err
		}
		f, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.SkipObjectResolution)
		if err != nil {
			return err
		}
		for _, d := range f.Decls {
			if fn, ok := d.(*ast.FuncDecl); ok {
				exists[fn.Name.Name] = true
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	named := regexp.MustCompile("`(Test[A-Za-z0-9]+)`")
	for _, file := range []string{"../DEVELOPERS.md", "../README.md"} {
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range named.FindAllStringSubmatch(string(text), -1) {
			if !exists[m[1]] {
				t.Errorf("%s names %s, which is no test", file, m[1])
			}
		}
		_, table, found := strings.Cut(string(text), "| failure | what is tried | tests |\n| --- | --- | --- |\n")
		table, _, _ = strings.Cut(table, "\n\n")
		for row := range strings.Lines(table) {
			if found && !named.MatchString(row) {
				t.Errorf("no test is named for %s", row)
			}
		}
	}
}
