package page

import (
	"fmt"
	"net"
	"strings"
	"testing"

	"shimwright/bot/testenv"
)

// said joins the texts that a service received, attempts of one id once.
func said(list []posted) string {
	var texts []string
	seen := map[string]bool{}
	for _, m := range list {
		if !seen[m.ID] {
			texts = append(texts, m.Text)
		}
		seen[m.ID] = true
	}
	return strings.Join(texts, "|")
}

func (b *tab) quiet() {
	b.t.Helper()
	if c := b.complaints(false); len(c) > 0 {
		b.t.Errorf("the console complains: %q", c)
	}
}

// TestConversation holds a whole job on a phone and on a desk, light and dark.
func TestConversation(t *testing.T) {
	for _, c := range []struct {
		name       string
		wide, high int64
		scheme     string
	}{{"phone-light", 390, 844, "light"}, {"phone-dark", 390, 844, "dark"}, {"desk-light", 1280, 800, "light"}, {"desk-dark", 1280, 800, "dark"}} {
		t.Run(c.name, func(t *testing.T) {
			s := newService(t)
			b := open(t, s.url(), c.wide, c.high)
			b.scheme(c.scheme)
			b.says("One question at a time")
			b.shot(c.name + "-1-welcome")
			b.press("level")
			b.says("Answer with the word unplugged")
			b.until(`!document.querySelector("#choices .confirm[aria-disabled]")`)
			b.shot(c.name + "-2-unplugged")
			b.press("unplugged")
			b.says("Support 1, blade side")
			b.shot(c.name + "-3-reading")
			b.sends("0.08 low")
			b.says("Support 2, blade side")
			b.sends("-0.19")
			b.says("Tighten both")
			b.until(`document.querySelector("figure img")?.complete`)
			b.shot(c.name + "-4-adjustment")
			if alt := js[string](b, `document.querySelector("figure img").alt`); alt != "Slider from above. Support 1: raise 1/8 turn." {
				t.Errorf("the picture's text is %q", alt)
			}
			if got := b.choices(); got != "done|2 stuck" {
				t.Errorf("choices %q", got)
			}
			b.press("done")
			b.says("You said: done")
			if got, want := said(s.received()), "level|unplugged|0.08 low|-0.19|done"; got != want {
				t.Errorf("the service got %q, want %q", got, want)
			}
			dark := js[bool](b, `getComputedStyle(document.body).backgroundColor.match(/\d+/g).every((v) => v < 64)`)
			if dark != (c.scheme == "dark") {
				t.Errorf("the ground is dark: %v", dark)
			}
			b.quiet()
		})
	}
}

// TestReload closes the page in the middle of a job and opens it again.
func TestReload(t *testing.T) {
	s := newService(t)
	b := open(t, s.url(), 390, 844)
	b.sends("level")
	b.press("unplugged")
	b.says("Support 1")
	before := js[string](b, `document.querySelector("#log").innerText`)
	b.reload()
	b.says("Support 1")
	if after := js[string](b, `document.querySelector("#log").innerText`); after != before {
		t.Errorf("the conversation was\n%s\nand is now\n%s", before, after)
	}
	if mode := js[string](b, `document.querySelector("#text").inputMode`); mode != "decimal" {
		t.Errorf("the keyboard is %q", mode)
	}
	b.sends("0.02")
	b.says("Support 2")
	for _, m := range s.received()[1:] {
		if m.Conversation != s.received()[0].Conversation {
			t.Errorf("the conversation changed its name to %q", m.Conversation)
		}
	}
}

// TestNumberKeyboard checks the field for a reading.
func TestNumberKeyboard(t *testing.T) {
	s := newService(t)
	b := open(t, s.url(), 390, 844)
	if mode := js[string](b, `document.querySelector("#text").inputMode`); mode == "decimal" {
		t.Error("the number keyboard comes without a reading to give")
	}
	b.sends("level")
	b.press("unplugged")
	b.until(`document.querySelector("#text").inputMode === "decimal"`)
	if unit := js[string](b, `document.querySelector("#unit").innerText`); unit != "mm" {
		t.Errorf("the unit shown is %q", unit)
	}
	if label := js[string](b, `document.querySelector("#text").ariaLabel`); label != "Reading: support 1, blade side, millimetres" {
		t.Errorf("a screen reader is told %q", label)
	}
	// The keyboard for numbers has no minus: the sign has a key of its own.
	b.type_("0.19")
	b.click("#sign")
	if v := js[string](b, `document.querySelector("#text").value`); v != "-0.19" {
		t.Errorf("the sign key gives %q", v)
	}
	b.click("#sign")
	if v := js[string](b, `document.querySelector("#text").value`); v != "0.19" {
		t.Errorf("the sign key gives %q the second time", v)
	}
	b.click("#keys")
	if mode := js[string](b, `document.querySelector("#text").inputMode`); mode != "text" {
		t.Errorf("with abc keys the keyboard is %q", mode)
	}
	b.click("#keys")
	b.click("#sign")
	b.click("#send")
	b.says("Support 2")
	if got := said(s.received()); got != "level|unplugged|-0.19" {
		t.Errorf("the service got %q", got)
	}
	b.quiet()
}

// TestReadingWithoutLabel asks the program for a length that has no place of its
// own: above and in the field stands nothing that is for programs only.
func TestReadingWithoutLabel(t *testing.T) {
	b := open(t, startProgram(t).url, 390, 844)
	for _, text := range []string{"deutsch", "parallelanschlag", "mm", "Kiefer", "links", "ok", "messuhr", "ausgesteckt"} {
		turns := js[int](b, `document.querySelectorAll("#log .mine").length`)
		b.sends(text)
		b.until(fmt.Sprintf(`document.querySelectorAll("#log .mine").length > %d && !document.querySelector("#log .turn:last-child .mine:only-child")`, turns))
	}
	b.until(`document.querySelector("#text").inputMode === "decimal"`)
	if got := js[string](b, `document.querySelector("#asked").innerText + "|" + document.querySelector("#text").ariaLabel`); got != "|Reading, millimetres" {
		t.Errorf("above the field, and to a screen reader, stands %q", got)
	}
}

// TestUnasked checks that a message which nobody asked for is shown at once,
// and leaves an open question open.
func TestUnasked(t *testing.T) {
	s := newService(t)
	b := open(t, s.url(), 1280, 800)
	b.sends("which")
	b.says("left or right")
	s.unasked("Sam has taken over on Old Blue.")
	b.says("Sam has taken over")
	if got := b.choices(); got != "left|right" {
		t.Errorf("the open question's choices are now %q", got)
	}
	s.unasked("Old Blue was last set in May. Check now?", "check now", "later")
	b.says("Check now?")
	b.until(`document.querySelector("#choices").innerText.includes("check now")`)
	b.press("check now")
	b.says("You said: check now")
	b.quiet()
}

// TestTwoTabs holds one conversation in two tabs.
func TestTwoTabs(t *testing.T) { twoTabs(t, newService(t), true) }

// TestPlainHTTP does so as a phone in the workshop's network does: by another
// address of this machine, without TLS, where browsers give a page neither
// locks nor a say over the screen.
func TestPlainHTTP(t *testing.T) {
	var ip string
	addrs, err := net.InterfaceAddrs()
	if err != nil {
		t.Fatal(err)
	}
	for _, a := range addrs {
		if n, ok := a.(*net.IPNet); ok && n.IP.To4() != nil && n.IP.IsGlobalUnicast() {
			ip = n.IP.String()
		}
	}
	testenv.Need(t, "a second network address", ip != "")
	twoTabs(t, newServiceAt(t, ip), false)
}

func twoTabs(t *testing.T, s *service, secure bool) {
	a := open(t, s.url(), 1280, 800)
	if got := js[bool](a, `isSecureContext && "locks" in navigator`); got != secure {
		t.Fatalf("secure context with locks: %v, want %v", got, secure)
	}
	a.sends("which")
	a.says("left or right")
	b := a.another(s.url())
	b.says("left or right")
	b.press("left")
	b.says("You said: left")
	a.says("You said: left")
	s.stop()
	a.sends("from a")
	a.says("Kept here")
	b.says("from a") // the other tab knows of it
	b.sends("from b")
	b.until(`document.querySelectorAll(".mine.unsent").length === 2`)
	s.start()
	a.says("You said: from b")
	b.says("You said: from b")
	for _, tab := range []*tab{a, b} {
		tab.until(`document.querySelectorAll(".mine.unsent").length === 0`)
		order := js[string](tab, `[...document.querySelectorAll(".mine .said")].map((p) => p.textContent).join("|")`)
		if order != "which|left|from a|from b" {
			t.Errorf("a tab shows %q", order)
		}
	}
	if got := said(s.received()); got != "which|left|from a|from b" {
		t.Errorf("the service got %q", got)
	}
	a.sends("level") // a job: the screen is to stay on
	a.says("Answer with the word unplugged")
	a.click("#more")
	want := map[bool]string{true: "The screen stays on", false: "This browser lets the screen go dark"}[secure]
	a.until(`document.querySelector("#words p").innerText.startsWith(` + quote(want) + `)`)
	a.quiet()
	b.quiet()
}
