package page

import (
	"os/exec"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
)

// TestPairingPage opens pairing links of the program itself in a phone and on a
// desk, in each language: the text is whole, the button large (WCAG 2.2, 2.5.8
// asks for 24 px; a thumb in a glove wants 48), and pressing it leads to the chat.
func TestPairingPage(t *testing.T) {
	p := startProgram(t, "SHIMWRIGHT_LOCAL_OWNER=off")
	for _, c := range []struct {
		name, lang, scheme, title, spent, welcome string
		wide, high                                int64
	}{
		{"phone-light", "de-AT", "light", "Dieses Gerät koppeln", "Dieser Link ist verbraucht", "Eine Frage nach der anderen", 360, 740},
		{"phone-dark", "es", "dark", "Emparejar este aparato", "Este enlace ya no sirve", "Una pregunta cada vez", 360, 740},
		{"desk-light", "es-MX", "light", "Emparejar este aparato", "Este enlace ya no sirve", "Una pregunta cada vez", 1280, 800},
		{"desk-dark", "en", "dark", "Pair this device", "This link is used up", "One question at a time", 1280, 800},
	} {
		t.Run(c.name, func(t *testing.T) {
			command := exec.Command(p.bin, "pair", "Kim Ferreira-Österreicher", "setter")
			command.Env = p.env
			said, err := command.CombinedOutput()
			link := regexp.MustCompile(`http://\S+/pair/\S+`).FindString(string(said))
			if err != nil || link == "" {
				t.Fatalf("%v: %s", err, said)
			}
			b := open(t, "about:blank", c.wide, c.high)
			agent := js[string](b, "navigator.userAgent")
			if _, err := chromedp.Call(b.ctx, emulation.SetUserAgentOverride, emulation.SetUserAgentOverrideParams{UserAgent: agent, AcceptLanguage: c.lang}); err != nil {
				t.Fatal(err)
			}
			b.scheme(c.scheme)
			b.do(chromedp.Navigate(link))
			b.until(`document.querySelector("h1")?.innerText === ` + quote(c.title))
			b.shot("pair-" + c.name)
			if got := js[string](b, "document.documentElement.lang"); !strings.HasPrefix(c.lang, got) || got == "" {
				t.Errorf("it says that it is in %q", got)
			}
			fits := `document.documentElement.scrollWidth <= innerWidth && document.querySelector("h1").scrollWidth <= document.querySelector("h1").clientWidth`
			if !js[bool](b, fits) {
				t.Error("it is wider than the screen")
			}
			if !js[bool](b, `(() => { const r = document.querySelector("button").getBoundingClientRect(); return r.height >= 48 && r.width >= 48 && r.bottom <= innerHeight })()`) {
				t.Error("the button is small, or out of sight")
			}
			b.click("button")
			b.leads(`location.pathname === "/" && document.querySelector("#send")?.textContent`)
			b.says(c.welcome)
			b.do(chromedp.Navigate(link))
			b.until(`document.querySelector("h1")?.innerText === ` + quote(c.spent))
			b.shot("pair-spent-" + c.name)
			if !js[bool](b, fits) {
				t.Error("what says that it is used up is wider than the screen")
			}
		})
	}
}

// leads waits for a condition in the page that a click leads to; what is asked
// of the page before it is an error meanwhile.
func (b *tab) leads(condition string) {
	b.t.Helper()
	for end := time.Now().Add(20 * time.Second); ; time.Sleep(30 * time.Millisecond) {
		ok, err := chromedp.Run(b.ctx, chromedp.Evaluate[bool]("Boolean("+condition+")"))
		if err == nil && ok {
			return
		}
		if time.Now().After(end) {
			b.shot("failure")
			b.t.Fatalf("waiting for %s: %v; console: %v", condition, err, b.complaints(true))
		}
	}
}
