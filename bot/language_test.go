package main

import (
	"fmt"
	"net/http"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/BurntSushi/toml"

	"shimwright/bot/channel/sms"
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

// TestNewcomersLanguage: whoever comes new to a shop is greeted in the language
// that their telephone's country or browser asks for, otherwise in that of
// whoever invites them; they may say another, which stays theirs.
func TestNewcomersLanguage(t *testing.T) {
	p := newPaper(t, false)
	p.app.server.intake.member = func(_, sender string) bool { return sender == "@let-in:shop.test" }
	texts := p.beside(sms.Name)
	p.sayHome("deutsch")
	p.sayHome("nenn mich Kim")
	invite := func() string { return codeFrom(t, textsOf(p.sayHome("einladen"))...) }
	const greeted, offered = "Du bist dabei: stellt ein und misst.", "Andere Sprache? Schick ihren Namen"

	ana := func(text string) []string { return p.tell("@ana:shop.test", text) }
	if got := ana("join " + invite()); !has(got, greeted) || !has(got, offered) || !has(got, "Wie heißt du?") {
		t.Errorf("in a room: %q", got)
	}
	if got := ana("español"); !has(got, "Desde ahora en español") || !has(got, "¿Cómo te llamas?") {
		t.Errorf("another language: %q", got)
	}
	if got := ana("Ana"); !has(got, "Ana") || has(got, "Du bist") {
		t.Errorf("a name: %q", got)
	}
	if got := ana("menu"); !has(got, "Aún no hay ninguna sierra") {
		t.Errorf("it is not hers afterwards: %q", got)
	}
	if got := p.tell("@let-in:shop.test", "menu"); !has(got, "Noch ist keine Säge") || !has(got, offered) {
		t.Errorf("let in by the settings: %q", got)
	}
	if got := p.tell("@let-in:shop.test", "menu"); has(got, offered) {
		t.Errorf("offered again: %q", got)
	}
	// The numbers' countries: Spain; the Netherlands, whose language nobody speaks
	// here; the United Kingdom, which is English where the shop is not.
	for sender, want := range map[string]string{"+34612345678": "Ya estás dentro", "+31612345678": greeted, "+447700900123": "You are in: sets up and measures"} {
		if got := texts.tell(sender, "join "+invite()); !has(got, want) || len(got) == 0 || !regexp.MustCompile(`deutsch[ ,].*español|english[ ,].*español`).MatchString(strings.Join(got, " ")) {
			t.Errorf("%s is greeted with %q", sender, got)
		}
	}

	// A program's conversation: in the shop's language; who chose one before
	// keeps it.
	n := 0
	program := func(rig, text string) []string {
		n++
		return textsOf(p.post(posted{ID: fmt.Sprint("w-", n), Conversation: rig, Sender: "sam", Text: text}, p.signed))
	}
	if got := program("rig-1", "join "+invite()); !has(got, greeted) || !has(got, offered) {
		t.Errorf("a program: %q", got)
	}
	program("rig-2", "español")
	if got := program("rig-2", "join "+invite()); !has(got, "Ya estás dentro") || has(got, "idioma") {
		t.Errorf("who spoke Spanish: %q", got)
	}

	// A browser that is paired for somebody new.
	page := func(name, accept string) string {
		l, err := p.app.pairing.invite(t.Context(), invitation{Shop: homeShop, Name: name})
		if err != nil {
			t.Fatal(err)
		}
		cookie, err := p.app.pairing.accept(t.Context(), l.Token, "")
		if err != nil {
			t.Fatal(err)
		}
		n++
		return strings.Join(textsOf(p.post(posted{ID: fmt.Sprint("p-", n), Conversation: "page-" + name, Text: "menu"},
			header("Cookie", cookieName+"="+cookie), header("Accept-Language", accept))), "\n")
	}
	if got := page("Noor", "fr"); !strings.Contains(got, "Noch ist keine Säge") || !strings.Contains(got, offered) {
		t.Errorf("a browser in French: %q", got)
	}
	if got := page("Luz", "es-MX,es;q=0.9"); !strings.Contains(got, "Aún no hay ninguna sierra") || strings.Contains(got, "idioma") {
		t.Errorf("a browser in Spanish: %q", got)
	}
}

// TestTerminalLanguage: a terminal is answered in the language of its locale (POSIX,
// Base Definitions, 8.2: LC_ALL before LANG), in English where that is none of ours.
func TestTerminalLanguage(t *testing.T) {
	for _, c := range []struct{ all, lang, text, want string }{
		{"", "de_AT.UTF-8", "höhe", "Millimeter oder Zoll?"},
		{"es_MX.UTF-8@euro", "de_DE.UTF-8", "nivel", "¿Milímetros o pulgadas?"},
		{"", "fr_FR.UTF-8", "level", "Millimetres or inches?"},
		{"C.UTF-8", "de_DE.UTF-8", "level", "Millimetres or inches?"},
		{"", "", "level", "Millimetres or inches?"},
	} {
		t.Setenv("LC_ALL", c.all)
		t.Setenv("LC_MESSAGES", "")
		t.Setenv("LANG", c.lang)
		if out, said, status := runCommand(t, t.TempDir(), c.text+"\n", "chat"); status != 0 || !strings.Contains(out, c.want) {
			t.Errorf("LC_ALL=%s LANG=%s: %d\n%s%s", c.all, c.lang, status, out, said)
		}
	}
}
