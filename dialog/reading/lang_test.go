package reading

import (
	"encoding/json"
	"slices"
	"strings"
	"testing"
)

// TestLoadRefuses breaks a language file in every way that its maker could.
func TestLoadRefuses(t *testing.T) {
	good, err := langFiles.ReadFile("lang/en.json")
	if err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		change func(map[string]any)
		want   string
	}{
		"no language":       {func(m map[string]any) { delete(m, "language") }, "are needed"},
		"no decimal":        {func(m map[string]any) { m["decimal"] = "" }, "are needed"},
		"a bad range":       {func(m map[string]any) { m["interval"] = "%s" }, "are needed"},
		"an unknown key":    {func(m map[string]any) { m["numerals"] = "x" }, "numerals"},
		"an unknown class":  {func(m map[string]any) { in(m, "words")["posative"] = []string{"x"} }, `"posative" is not a class`},
		"a missing class":   {func(m map[string]any) { delete(in(m, "words"), "negative") }, `"negative" is missing`},
		"an unknown unit":   {func(m map[string]any) { in(m, "units")["yd"] = []string{"yard"} }, `"yd" is not a unit`},
		"two meanings":      {func(m map[string]any) { in(m, "words")["by"] = []string{"low"} }, `"low" has two meanings`},
		"an unknown order":  {func(m map[string]any) { in(m, "commands")["quit"] = []string{"quit"} }, `"quit" is not a command`},
		"a missing command": {func(m map[string]any) { delete(in(m, "commands"), "back") }, `"back" is missing`},
		"two commands":      {func(m map[string]any) { in(m, "commands")["why"] = []string{"back"} }, `"back" means both`},
	} {
		var m map[string]any
		if err := json.Unmarshal(good, &m); err != nil {
			t.Fatal(err)
		}
		c.change(m)
		data, err := json.Marshal(m)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := load(data); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: error %v, want %q in it", name, err, c.want)
		}
	}
	if _, err := load([]byte("{")); err == nil {
		t.Error("half a file was loaded")
	}
}

func in(m map[string]any, key string) map[string]any { return m[key].(map[string]any) }

// TestLanguages holds what every language must be able to say.
func TestLanguages(t *testing.T) {
	for _, l := range []Lang{"en", "de", "es"} {
		if !Has(l) {
			t.Errorf("%s is missing", l)
		}
	}
	for l, table := range languages {
		for _, w := range wordNames[1:] {
			if WordOf(w).String() != w {
				t.Errorf("the word %q is not its own name", w)
			}
			// Start and stop keep the networks' words where a language has no own.
			if len(table.commands.byName[w]) == 0 && !slices.Contains([]string{"stop", "start"}, w) {
				t.Errorf("%s has no word for %q", l, w)
			}
		}
	}
	if tableOf("de-AT") != languages["de"] || tableOf("fr") != languages["en"] || tableOf("") != languages["en"] {
		t.Error("a language is not found by its region, or English is not the last resort")
	}
}
