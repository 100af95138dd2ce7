package main

import (
	"net/http"
	"path/filepath"
	"strings"
	"testing"

	"github.com/BurntSushi/toml"

	"shimwright/bot/channel/sms/gsm7"
)

// TestCataloguesFitTheAlphabet: every text of every language can be written in
// the default alphabet of telephone networks (3GPP TS 23.038); one letter beyond
// it makes a message less than half as long.
func TestCataloguesFitTheAlphabet(t *testing.T) {
	files, err := filepath.Glob("../dialog/wording/*.toml")
	if err != nil || len(files) < 3 {
		t.Fatalf("catalogues: %v, %v", files, err)
	}
	for _, name := range files {
		var raw map[string]any
		if _, err := toml.DecodeFile(name, &raw); err != nil {
			t.Fatal(err)
		}
		for id, v := range raw {
			texts := map[string]any{"": v}
			if forms, ok := v.(map[string]any); ok {
				texts = forms
			}
			for _, text := range texts {
				if plain := gsm7.Plain(text.(string)); !gsm7.Encodable(plain) {
					t.Errorf("%s: %s cannot be written: %q", filepath.Base(name), id, plain)
				}
			}
		}
	}
}

// TestBrowserLanguage: a person is spoken to in the language that their browser
// asks for, until they say another.
func TestBrowserLanguage(t *testing.T) {
	s := newService(t)
	asks := func(list string) func(*http.Request) {
		return func(r *http.Request) { r.Header.Set("Accept-Language", list) }
	}
	n := 0
	says := func(text, want string, edit ...func(*http.Request)) {
		t.Helper()
		n++
		a := s.post(posted{ID: "m-" + string(rune('0'+n)), Conversation: "phone", Text: text}, edit...)
		got := ""
		for _, r := range a.Replies {
			got += r.Text + "\n"
		}
		if !strings.Contains(got, want) {
			t.Errorf("> %s\n%swant %q in it", text, got, want)
		}
	}
	says("menu", "No saw is set up yet", asks("ja,fr;q=0.8"))
	says("menu", "No saw is set up yet", asks("en-GB,en;q=0.9,de;q=0.8"))
	says("menü", "Noch ist keine Säge eingerichtet", asks("de-AT,de;q=0.9,en;q=0.5"))
	says("menü", "Noch ist keine Säge eingerichtet")
	says("english", "English from now on")
	says("menu", "No saw is set up yet", asks("de-AT,de"))
	says("español", "Desde ahora en español", asks("de-AT,de"))
	says("menü", "Aún no hay ninguna sierra", asks("de-AT,de")) // a page in German
}
