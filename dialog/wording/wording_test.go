package wording_test

import (
	"go/ast"
	"go/parser"
	"go/token"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/BurntSushi/toml"

	"shimwright/dialog/reading"
	"shimwright/dialog/wording"
)

// catalogue reads the entries of a language: a text, or one with plural forms.
func catalogue(t *testing.T, lang string) map[string][]string {
	t.Helper()
	b, err := os.ReadFile(lang + ".toml")
	if err != nil {
		t.Fatal(err)
	}
	var raw map[string]any
	if err := toml.Unmarshal(b, &raw); err != nil {
		t.Fatal(err)
	}
	out := map[string][]string{}
	for id, v := range raw {
		switch v := v.(type) {
		case string:
			out[id] = []string{v}
		case map[string]any:
			for form, s := range v {
				if form != "one" && form != "other" {
					t.Errorf("%s: %s has a form %q", lang, id, form)
				}
				out[id] = append(out[id], s.(string))
			}
		}
	}
	return out
}

// uses collects the ids that the sources use: whole ones, and the beginnings
// of those that are put together.
func uses(t *testing.T) (ids map[string]string, prefixes map[string]bool) {
	t.Helper()
	ids, prefixes = map[string]string{}, map[string]bool{}
	var files []string
	for _, dir := range []string{"..", "../guard", "."} {
		fs, err := filepath.Glob(dir + "/*.go")
		if err != nil {
			t.Fatal(err)
		}
		files = append(files, fs...)
	}
	for _, name := range files {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		f, err := parser.ParseFile(token.NewFileSet(), name, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		ast.Inspect(f, func(n ast.Node) bool {
			lit, ok := n.(*ast.BasicLit)
			if !ok || lit.Kind != token.STRING {
				return true
			}
			s, err := strconv.Unquote(lit.Value)
			if err != nil || s == "" {
				return true
			}
			ids[s] = filepath.Base(name)
			if strings.HasSuffix(s, ".") {
				prefixes[s] = true
			}
			return true
		})
		ast.Inspect(f, func(n ast.Node) bool {
			call, ok := n.(*ast.CallExpr)
			if !ok || len(call.Args) == 0 {
				return true
			}
			fun, at := "", 0
			switch f := call.Fun.(type) {
			case *ast.SelectorExpr:
				fun = f.Sel.Name
			case *ast.Ident:
				fun = f.Name
			}
			switch fun {
			case "T", "Say", "say":
			case "question":
				at = 1
			default:
				return true
			}
			if at < len(call.Args) {
				if lit, ok := call.Args[at].(*ast.BasicLit); ok && lit.Kind == token.STRING {
					s, _ := strconv.Unquote(lit.Value)
					if fun == "question" {
						ids["\x00"+s+".ask"], ids["\x00"+s+".why"] = name, name
					} else if s != "raw" && s != "" {
						ids["\x00"+s] = name
					}
				}
			}
			return true
		})
	}
	return ids, prefixes
}

// TestEntriesUsed finds entries that nothing uses, and uses without an entry.
func TestEntriesUsed(t *testing.T) {
	ids, prefixes := uses(t)
	have := catalogue(t, "en")
	for id, file := range ids {
		if id, sure := strings.CutPrefix(id, "\x00"); sure && id != "" && have[id] == nil && !strings.HasSuffix(id, ".") {
			t.Errorf("%s uses %q, which no catalogue has", file, id)
		}
	}
	for id := range have {
		base := strings.TrimSuffix(strings.TrimSuffix(strings.TrimSuffix(id, ".ask"), ".why"), ".label")
		if ids[id] != "" || ids[base] != "" {
			continue
		}
		if slices.ContainsFunc(slices.Collect(maps.Keys(prefixes)), func(p string) bool { return strings.HasPrefix(id, p) }) {
			continue
		}
		t.Errorf("nothing uses %q", id)
	}
}

// TestLanguagesAgree finds entries that a language lacks, and arguments that
// one text has and its translation has not.
func TestLanguagesAgree(t *testing.T) {
	en := catalogue(t, "en")
	for _, lang := range wording.Languages()[1:] {
		other := catalogue(t, lang)
		for id, texts := range en {
			o, ok := other[id]
			if !ok {
				t.Errorf("%s lacks %q", lang, id)
				continue
			}
			if a, b := arguments(texts), arguments(o); !slices.Equal(a, b) {
				t.Errorf("%s: %q has the arguments %v, the English %v", lang, id, b, a)
			}
		}
		for id := range other {
			if en[id] == nil {
				t.Errorf("%s has %q, which the English has not", lang, id)
			}
		}
	}
}

var argument = regexp.MustCompile(`\.([A-Z][A-Za-z0-9]*)`)

func arguments(texts []string) []string {
	set := map[string]bool{}
	for _, s := range texts {
		for _, m := range argument.FindAllStringSubmatch(s, -1) {
			set[m[1]] = true
		}
	}
	return slices.Sorted(maps.Keys(set))
}

// TestEveryMessageRenders words every entry of every language: a fault in one
// would lose what a person is told.
func TestEveryMessageRenders(t *testing.T) {
	for _, lang := range wording.Languages() {
		for id, texts := range catalogue(t, lang) {
			for _, n := range []int{1, 2, 5} {
				for _, unit := range []reading.Unit{reading.MM, reading.Inch} {
					var args []any
					for _, a := range arguments(texts) {
						if a == "Count" {
							args = append(args, a, n)
						} else {
							args = append(args, a, "x")
						}
					}
					if wording.NewVoice(lang, unit).Say(wording.T(id, args...)) == "" {
						t.Errorf("%s: %q says nothing", lang, id)
					}
				}
			}
		}
	}
}

// TestStyle holds the house style of what a person reads.
func TestStyle(t *testing.T) {
	for _, lang := range wording.Languages() {
		for id, texts := range catalogue(t, lang) {
			for _, s := range texts {
				if strings.ContainsAny(s, "!¡") {
					t.Errorf("%s: %q shouts", lang, id)
				}
				if strings.Contains(s, "  ") || strings.TrimSpace(s) != s {
					t.Errorf("%s: %q has stray spaces", lang, id)
				}
				if q := strings.Count(s, "?"); q > 1 {
					t.Errorf("%s: %q asks %d questions", lang, id, q)
				}
			}
		}
	}
}
