package page

import (
	"strings"
	"testing"

	"github.com/chromedp/cdproto/accessibility"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// states brings a page into everything that it can show, and calls f in each.
func states(t *testing.T, wide, high int64, f func(b *tab, name string)) {
	s := newService(t)
	b := open(t, s.url(), wide, high)
	b.says("One question")
	f(b, "welcome")
	b.sends("level")
	b.press("unplugged")
	b.says("Support 1")
	f(b, "reading")
	b.sends("0.1")
	b.says("Support 2")
	b.sends("0.1")
	b.says("Tighten both")
	b.click("#more")
	f(b, "panel")
	b.click("#more")
	s.gone(b)
	b.sends("history")
	b.says("Kept here")
	b.press("done")
	b.says("must be true at the moment")
	f(b, "away")
}

// TestTargets measures everything that can be pressed: at least 48 by 48 CSS px
// (WCAG 2.2 asks for 24 in 2.5.8 and for 44 in 2.5.5), with its text inside,
// and nothing wider than the screen, down to the 320 px of 1.4.10 (reflow) and
// with text of twice the size (1.4.4).
func TestTargets(t *testing.T) {
	for _, at := range []struct {
		wide int64
		text string
	}{{320, ""}, {390, ""}, {390, "200%"}, {1280, ""}} {
		wide := at.wide
		states(t, wide, 800, func(b *tab, name string) {
			js[string](b, `document.documentElement.style.fontSize = `+quote(at.text))
			defer js[string](b, `document.documentElement.style.fontSize = ""`)
			if js[bool](b, `(() => { const r = document.createRange(); r.selectNodeContents(document.querySelector("h1")); const t = r.getBoundingClientRect(), h = document.querySelector("h1").getBoundingClientRect(); return t.width > h.width + 0.5 })()`) {
				b.t.Errorf("%d px, %s, text at %s: the heading is cut", wide, name, at.text)
			}
			type target struct {
				Name       string
				W, H       float64
				Spills     bool
				Left, Over float64
			}
			for _, g := range js[[]target](b, `[...document.querySelectorAll("button, input, a, summary")].filter((e) => e.checkVisibility()).map((e) => {
				const r = e.getBoundingClientRect();
				return { Name: e.textContent || e.id, W: r.width, H: r.height, Spills: e.scrollWidth > e.clientWidth + 1, Left: r.left, Over: r.right - innerWidth };
			})`) {
				if g.W < 48 || g.H < 48 {
					b.t.Errorf("%d px, %s: %q is %g × %g px", wide, name, g.Name, g.W, g.H)
				}
				if g.Spills {
					b.t.Errorf("%d px, %s: the text of %q does not fit in it", wide, name, g.Name)
				}
				if g.Left < 0 || g.Over > 0.5 {
					b.t.Errorf("%d px, %s: %q leaves the screen", wide, name, g.Name)
				}
			}
			if js[bool](b, `document.documentElement.scrollWidth > innerWidth || document.querySelector("#scroll").scrollWidth > document.querySelector("#scroll").clientWidth`) {
				b.t.Errorf("%d px, %s: the page scrolls sideways", wide, name)
			}
			if name == "panel" && js[bool](b, `(() => { const w = document.querySelector("#words"); return w.clientHeight < Math.min(w.scrollHeight, innerHeight * 0.4) })()`) {
				b.t.Errorf("%d px: the words that work at any time are squeezed by the conversation", wide)
			}
			if size := js[float64](b, `parseFloat(getComputedStyle(document.querySelector("#log .said")).fontSize)`); size < 20 {
				b.t.Errorf("messages are %g px high", size)
			}
		})
	}
}

// TestTree reads the page as a screen reader gets it, from the browser's own
// accessibility tree (roles of WAI-ARIA 1.2; a log is a polite live region, a
// status and an alert are live by their role: WCAG 2.2, 4.1.3).
func TestTree(t *testing.T) {
	want := map[string][]string{
		"welcome": {"main ", "log Conversation", "button Read aloud", "button More", "textbox Your answer", "button Send", "group Answers to choose from", "heading Shimwright"},
		"reading": {"textbox Reading: support 1, blade side, millimetres", "button Change the sign", "button abc keys", "article Shimwright: Caution", "article You"},
		"panel":   {"group Words that work at any time", "button where", "image Slider from above. Support 1: raise 1/8 turn."},
		"away":    {"status ", "button Do not send it"},
	}
	states(t, 390, 844, func(b *tab, name string) {
		tree, err := chromedp.Call(b.ctx, accessibility.GetFullAXTree, accessibility.GetFullAXTreeParams{})
		if err != nil {
			b.t.Fatal(err)
		}
		var seen []string
		for _, n := range tree.Nodes {
			if n.Ignored || n.Role == nil {
				continue
			}
			role, label := axText(n.Role), axText(n.Name)
			seen = append(seen, role+" "+label)
			if label == "" && (role == "button" || role == "textbox" || role == "image") {
				b.t.Errorf("%s: a %s has no name", name, role)
			}
		}
		all := "\n" + strings.Join(seen, "\n") + "\n"
		for _, w := range want[name] {
			if !strings.Contains(all, "\n"+w+"\n") {
				b.t.Errorf("%s: no %q in the tree:%s", name, w, all)
			}
		}
		if name == "welcome" {
			if live := js[string](b, `["log", "line", "again"].map((id) => document.getElementById(id).role).join() + document.getElementById("log").ariaLive`); live != "log,status,alertpolite" {
				b.t.Errorf("live regions: %s", live)
			}
		}
	})
}

func axText(v *accessibility.Value) string {
	if v == nil {
		return ""
	}
	return strings.Trim(string(v.Value), `"`)
}

// TestKeyboardOnly holds a conversation with Tab, Enter and Escape (WCAG 2.2,
// 2.1.1) and sees where the focus is (2.4.7), in the order of the screen (2.4.3).
func TestKeyboardOnly(t *testing.T) {
	s := newService(t)
	b := open(t, s.url(), 1280, 800)
	b.says("One question")
	key := func(keys string) { b.t.Helper(); b.do(chromedp.KeyEvent(keys)) }
	active := func() string {
		return js[string](b, `document.activeElement.id || document.activeElement.textContent`)
	}
	var order []string
	for range 7 {
		key(kb.Tab)
		order = append(order, active())
		if js[bool](b, `getComputedStyle(document.activeElement).outlineStyle === "none" || parseFloat(getComputedStyle(document.activeElement).outlineWidth) < 2`) {
			t.Errorf("the focus on %s cannot be seen", active())
		}
	}
	if got, want := strings.Join(order, " "), "aloud more level menu help text send"; got != want {
		t.Errorf("Tab goes %s, want %s", got, want)
	}
	b.do(chromedp.Focus(chromedp.ID("more")))
	key(kb.Enter)
	b.until(`!document.querySelector("#words").hidden`)
	key(kb.Tab)
	if active() != "menu" {
		t.Errorf("after More comes %q", active())
	}
	key(kb.Escape)
	b.until(`document.querySelector("#words").hidden`)
	if active() != "more" {
		t.Errorf("after Escape the focus is on %q", active())
	}
	b.do(chromedp.Focus(chromedp.CSS("#choices button")))
	key(kb.Enter) // level
	b.says("Answer with the word unplugged")
	// The focus is not on the button that confirms: a second Enter does nothing.
	if active() != "text" {
		t.Errorf("after a choice the focus is on %q", active())
	}
	key(kb.Enter)
	key("unplugged" + kb.Enter)
	b.says("Support 1")
	key("0.08 low" + kb.Enter)
	b.says("Support 2")
	if got := said(s.received()); got != "level|unplugged|0.08 low" {
		t.Errorf("the service got %q", got)
	}
	b.quiet()
}

// TestCautionDiffers compares a caution with other text without looking at any
// colour (WCAG 2.2, 1.4.1): frame, sign, label.
func TestCautionDiffers(t *testing.T) {
	s := newService(t)
	b := open(t, s.url(), 390, 844)
	b.sends("hello")
	b.says("You said: hello")
	b.sends("level")
	b.says("Answer with the word unplugged")
	type look struct {
		Style, Label string
		Width        float64
		Signs        int
	}
	of := func(selector string) look {
		return js[look](b, `(() => { const e = document.querySelector(`+quote(selector)+`), c = getComputedStyle(e);
			return { Style: c.borderTopStyle, Width: parseFloat(c.borderLeftWidth), Signs: e.querySelectorAll("svg").length, Label: e.innerText.split("\n")[0] } })()`)
	}
	plain, caution := of(".theirs:not(.caution)"), of(".caution")
	if caution.Style != "double" || plain.Style != "solid" || caution.Width < plain.Width+8 {
		t.Errorf("frames: %+v and %+v", plain, caution)
	}
	if caution.Label != "Caution" || caution.Signs != 1 || plain.Signs != 0 {
		t.Errorf("label and sign: %+v and %+v", plain, caution)
	}
}
