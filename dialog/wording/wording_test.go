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
	"unicode"

	"github.com/BurntSushi/toml"

	"shimwright/calc"
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
				if !slices.Contains([]string{"zero", "one", "two", "few", "many", "other"}, form) { // CLDR
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

// alike are entries that may read the same in two languages: symbols, names that
// are the same, and two months.
var alike = regexp.MustCompile(`^(choice\.(mm|asis|no)|month\.\d+|report\.(value|between|remark))$`)

// TestTranslated finds entries that were taken over from another language as
// they stand: what has words in it differs.
func TestTranslated(t *testing.T) {
	languages := wording.Languages()
	all := map[string]map[string][]string{}
	for _, l := range languages {
		all[l] = catalogue(t, l)
	}
	for i, l := range languages[1:] {
		for _, other := range languages[:i+1] {
			for id, texts := range all[l] {
				words := placeholder.ReplaceAllString(strings.Join(texts, " "), "")
				if slices.Equal(texts, all[other][id]) && strings.IndexFunc(words, unicode.IsLetter) >= 0 && !alike.MatchString(id) {
					t.Errorf("%s: %q reads as in %s: %s", l, id, other, texts)
				}
			}
		}
	}
}

var placeholder = regexp.MustCompile(`\{\{[^}]*\}\}`)

// TestWordsMeanOneThing: in one language no word starts two things, and none has
// another meaning in the reading grammar.
func TestWordsMeanOneThing(t *testing.T) {
	var grammar []string
	for w := reading.Back; w.String() != ""; w++ {
		grammar = append(grammar, w.String())
	}
	words := reading.NewVocabulary(grammar...)
	near := map[string]string{"resume": "ok", "bumped": "moved", "edit": "fix", "callme": ""}
	for _, lang := range wording.Languages() {
		v := wording.NewVoice(lang, reading.MM)
		means := map[string]string{}
		for id := range catalogue(t, lang) {
			if !strings.HasPrefix(id, "names.") && !slices.Contains(starts[:], strings.TrimPrefix(id, "words.")) {
				continue
			}
			for _, w := range v.Phrases(id) {
				folded := reading.Spellings(w)[0]
				if other := means[folded]; other != "" && other != id {
					t.Errorf("%s: %q stands in %s and %s", lang, w, id, other)
				}
				means[folded] = id
				if word, rest, ok := reading.Whole(w, v.Lang(), words); ok && rest == "" && near[strings.TrimPrefix(id, "words.")] != word {
					t.Errorf("%s: %q of %s is the command %q", lang, w, id, word)
				}
			}
		}
	}
}

// starts are the entries, beside the names of jobs, whose words start something
// when they are the whole message.
var starts = [...]string{"poweron", "bumped", "newblade", "resume", "saws", "takeover", "setup", "edit", "copy", "retire", "invite", "people",
	"remove", "handto", "interval", "forget", "duemonth", "callme", "lostphone", "report", "endreport", "remindme", "noreminders", "zone"}

// TestNamesOfLanguages finds a language by its name in every other.
func TestNamesOfLanguages(t *testing.T) {
	for name, want := range map[string]string{"English": "en", "englisch": "en", "ingles": "en", "Deutsch": "de", "german": "de", "aleman": "de",
		"español": "es", "ESPANOL": "es", "spanisch": "es", "Spanish": "es", "klingon": "", "": ""} {
		if got, ok := wording.Named(name); got != want || ok != (want != "") {
			t.Errorf("%q is %q, %v", name, got, ok)
		}
	}
}

// TestAccepted matches what browsers send.
func TestAccepted(t *testing.T) {
	for list, want := range map[string]string{"": "", "de": "de", "de-CH,en;q=0.5": "de", "es-419,es;q=0.9": "es", "fr,es;q=0.8,en;q=0.5": "es",
		"ja,zh;q=0.5": "", "en-US,en;q=0.9,de;q=0.8": "en", "en;q=0.1,de;q=0.9": "de", "*": "", ";;;": ""} {
		if got := wording.Accepted(list); got != want {
			t.Errorf("%q: %q, want %q", list, got, want)
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
		all := catalogue(t, lang)
		opens := strings.Contains(strings.Join(all["setup.units.ask"], ""), "¿") // a language that opens its questions opens each
		for id, texts := range all {
			for _, s := range texts {
				if strings.ContainsAny(s, "!¡") {
					t.Errorf("%s: %q shouts", lang, id)
				}
				if strings.Contains(s, "  ") || strings.TrimSpace(s) != s {
					t.Errorf("%s: %q has stray spaces", lang, id)
				}
				q := strings.Count(s, "?")
				if q > 1 {
					t.Errorf("%s: %q asks %d questions", lang, id, q)
				}
				if opened := strings.Count(s, "¿"); opened != q && (opened > 0 || opens) {
					t.Errorf("%s: %q opens %d questions and closes %d", lang, id, opened, q)
				}
			}
		}
	}
}

// TestNothingHasNoSign: what rounds to nothing is neither more nor less.
func TestNothingHasNoSign(t *testing.T) {
	for v, want := range map[float64]string{0.004: "0.00 mm", -0.004: "0.00 mm", 0.006: "+0.01 mm", -0.006: "-0.01 mm"} {
		if got := wording.NewVoice("en", reading.MM).Say(wording.T("size", "Value", wording.Size{Value: calc.Length(v), Signed: true})); got != want {
			t.Errorf("%g mm is said as %q, want %q", v, got, want)
		}
	}
}
