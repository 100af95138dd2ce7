package virtualsaw

import (
	"go/parser"
	"go/token"
	"path/filepath"
	"strings"
	"testing"
)

// The package proves the service's arithmetic, so it may share none of it.
func TestImportsNothingOfTheService(t *testing.T) {
	files, err := filepath.Glob("*.go")
	if err != nil || len(files) == 0 {
		t.Fatalf("no files: %v", err)
	}
	for _, f := range files {
		tree, err := parser.ParseFile(token.NewFileSet(), f, nil, parser.ImportsOnly)
		if err != nil {
			t.Fatal(err)
		}
		for _, i := range tree.Imports {
			if p := strings.Trim(i.Path.Value, `"`); p == "shimwright" || strings.HasPrefix(p, "shimwright/") {
				t.Errorf("%s imports %s", f, p)
			}
		}
	}
}
