package page

import (
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"

	"shimwright/bot/testenv"
)

// speaks opens the page in a browser that is set to some languages.
func speaks(t *testing.T, url, languages string) *tab {
	t.Helper()
	program = testenv.Program(t, "chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
	started = true
	browser, _ := chromium()
	if err := chromedp.Do(browser); err != nil {
		t.Fatalf("starting %s: %v", program, err)
	}
	ctx, cancel := chromedp.NewContext(browser, chromedp.WithNewBrowserContext())
	t.Cleanup(cancel)
	if _, err := chromedp.Call(ctx, emulation.SetUserAgentOverride, emulation.SetUserAgentOverrideParams{UserAgent: "test", AcceptLanguage: languages}); err != nil {
		t.Fatal(err)
	}
	return attach(t, ctx, url, 390, 844)
}

// TestLanguages opens the page in browsers of several languages: it speaks the
// first that it has, tells screen readers and the voice which, and has every
// word in each.
func TestLanguages(t *testing.T) {
	for _, c := range []struct{ browser, page, send, sent, welcome, first string }{
		{"en-GB,en", "en", "Send", "Sent ", "One question at a time", "level"},
		{"de-AT,de,en", "de", "Senden", "Gesendet ", "Eine Frage nach der anderen", "höhe"},
		{"es-MX,es", "es", "Enviar", "Enviado ", "Una pregunta cada vez", "nivel"},
		{"fr-FR,fr,es,en", "es", "Enviar", "Enviado ", "Una pregunta cada vez", "nivel"},
		{"ja", "en", "Send", "Sent ", "One question at a time", "level"},
	} {
		t.Run(c.browser, func(t *testing.T) {
			s := newService(t)
			b := speaks(t, s.url(), c.browser)
			b.says(c.welcome)
			b.click("#more")
			b.shot("language-" + c.page)
			b.click("#more")
			if got := js[string](b, `document.documentElement.lang + " " + document.querySelector("#send").textContent`); got != c.page+" "+c.send {
				t.Errorf("the page speaks %q, want %q", got, c.page+" "+c.send)
			}
			b.press(c.first)
			b.says(c.sent)
			if got := said(s.received()); got != c.first {
				t.Errorf("the service got %q, want %q", got, c.first)
			}
			b.quiet()
		})
	}
	t.Run("every word", func(t *testing.T) {
		b := speaks(t, newService(t).url(), "en")
		missing := `Promise.all(["en", "de", "es"].map((l) => import("/page/words." + l + ".js"))).then((all) => {
			const shape = (x) => typeof x === "string" ? "text" : Array.isArray(x) ? "list of " + x.length :
				typeof x === "function" ? "text with " + x.length : Object.keys(x).map((k) => k + ": " + shape(x[k])).sort().join("; ");
			const [first, ...others] = all.map((m) => shape(m.default));
			globalThis.wordsDiffer = others.findIndex((o) => o !== first) + 1;
		})`
		js[bool](b, `(`+missing+`, true)`)
		b.until(`globalThis.wordsDiffer !== undefined`)
		if n := js[int](b, `globalThis.wordsDiffer`); n != 0 {
			t.Errorf("the words of %s are not those of the English", []string{"", "de", "es"}[n])
		}
	})
}
