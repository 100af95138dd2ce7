package page

import (
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"

	"shimwright/bot/testenv"
)

var look = flag.String("look", "", "directory to write screenshots to, for a person to look at")

const benchName = "bench.shop.example"

// chromium starts one browser for all tests of the package; each tab has a
// browser context of its own, so nothing is shared between tests.
var chromium = sync.OnceValues(func() (context.Context, func()) {
	dir, err := os.MkdirTemp("", "shimwright-browser-")
	if err != nil {
		panic(err)
	}
	options := append(chromedp.DefaultExecAllocatorOptions[:],
		chromedp.ExecPath(program), chromedp.NoSandbox, chromedp.DisableGPU, chromedp.UserDataDir(dir),
		chromedp.Flag("disable-quic", true), chromedp.Flag("disable-component-update", true),
		// A name in the workshop's network: to a browser no trustworthy origin, as 127.0.0.1 is one.
		chromedp.Flag("host-resolver-rules", "MAP "+benchName+" 127.0.0.1"),
	)
	alloc, end := chromedp.NewExecAllocator(context.Background(), options...)
	ctx, cancel := chromedp.NewContext(alloc)
	return ctx, func() {
		cancel()
		end()
		for range 50 { // its last children still write for a moment
			if os.RemoveAll(dir) == nil {
				return
			}
			time.Sleep(100 * time.Millisecond)
		}
	}
})

var (
	program string // path of the browser
	started bool
)

func TestMain(m *testing.M) {
	code := m.Run()
	if started {
		_, stop := chromium()
		stop()
	}
	os.Exit(code)
}

// tab is an open page.
type tab struct {
	t   *testing.T
	ctx context.Context

	mu      sync.Mutex
	console []chromedp.ConsoleMessage
}

// open opens the page of a service in a fresh browser profile. A width below
// 600 px makes it a phone with a touch screen.
func open(t *testing.T, url string, wide, high int64) *tab {
	t.Helper()
	program = testenv.Program(t, "chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
	started = true
	browser, _ := chromium()
	if err := chromedp.Do(browser); err != nil {
		t.Fatalf("starting %s: %v", program, err)
	}
	ctx, cancel := chromedp.NewContext(browser, chromedp.WithNewBrowserContext())
	t.Cleanup(cancel)
	return attach(t, ctx, url, wide, high)
}

// another opens the page in a second tab of the same profile.
func (b *tab) another(url string) *tab {
	b.t.Helper()
	ctx, cancel := chromedp.NewContext(b.ctx)
	b.t.Cleanup(cancel)
	return attach(b.t, ctx, url, 1280, 800)
}

func attach(t *testing.T, ctx context.Context, url string, wide, high int64) *tab {
	t.Helper()
	ctx, cancel := context.WithTimeout(ctx, 90*time.Second)
	t.Cleanup(cancel)
	b := &tab{t: t, ctx: ctx}
	b.do(chromedp.EmulateViewport(wide, high, func() chromedp.EmulateViewportOption {
		if wide < 600 {
			return chromedp.EmulateMobile
		}
		return chromedp.EmulateLandscape
	}(), chromedp.EmulateScale(2)))
	if wide < 600 {
		if _, err := chromedp.Call(ctx, emulation.SetTouchEmulationEnabled, emulation.SetTouchEmulationEnabledParams{Enabled: true}); err != nil {
			t.Fatal(err)
		}
	}
	messages := chromedp.Console(ctx)
	go func() {
		for m, err := range messages {
			if err != nil {
				return
			}
			b.mu.Lock()
			b.console = append(b.console, m)
			b.mu.Unlock()
		}
	}()
	b.do(chromedp.Navigate(url))
	b.until(`document.readyState === "complete" && document.querySelector("#send")?.textContent !== ""`)
	return b
}

func (b *tab) do(actions ...chromedp.Action[chromedp.Void]) {
	b.t.Helper()
	if err := chromedp.Do(b.ctx, actions...); err != nil {
		b.t.Fatal(err)
	}
}

// until waits for a condition in the page.
func (b *tab) until(condition string) {
	b.t.Helper()
	_, err := chromedp.Run(b.ctx, chromedp.Poll[bool]("Boolean("+condition+")", chromedp.WithPollingInterval(30*time.Millisecond), chromedp.WithPollingTimeout(20*time.Second)))
	if err != nil {
		b.shot("failure")
		text, _ := chromedp.Run(b.ctx, chromedp.Evaluate[string]("document.body.innerText"))
		b.t.Fatalf("waiting for %s: %v\nthe page shows:\n%s\nconsole: %v", condition, err, text, b.complaints(true))
	}
}

// says waits until the conversation shows a text.
func (b *tab) says(text string) {
	b.t.Helper()
	b.until(`document.querySelector("#log").innerText.includes(` + quote(text) + `)`)
}

// js evaluates an expression and decodes its value.
func js[T any](b *tab, expression string) T {
	b.t.Helper()
	v, err := chromedp.Run(b.ctx, chromedp.Evaluate[T](expression))
	if err != nil {
		b.t.Fatalf("%s: %v", expression, err)
	}
	return v
}

// sends types a text into the field and sends it with the Enter key.
func (b *tab) sends(text string) {
	b.t.Helper()
	b.do(chromedp.SendKeys(chromedp.ID("text"), text+"\r"))
}

// press clicks the button with this text among the choices.
func (b *tab) press(text string) {
	b.t.Helper()
	button := `[...document.querySelectorAll("#choices button")].find((b) => b.textContent === ` + quote(text) + `)`
	b.until(button + ` && ` + button + `.getAttribute("aria-disabled") !== "true"`)
	b.clickAt(button)
}

func (b *tab) choices() string {
	b.t.Helper()
	return js[string](b, `[...document.querySelectorAll("#choices button")].map((b) => b.textContent).join("|")`)
}

// complaints returns the errors and warnings of the console. Failed requests
// are listed there as well; with network they are returned too.
func (b *tab) complaints(network bool) []string {
	b.mu.Lock()
	defer b.mu.Unlock()
	var list []string
	for _, m := range b.console {
		if m.Type == "log" || m.Type == "info" || m.Type == "debug" {
			continue
		}
		if !network && strings.HasPrefix(m.Text, "Failed to load resource") {
			continue
		}
		list = append(list, fmt.Sprintf("%s: %s (%s)", m.Type, m.Text, m.URL))
	}
	return list
}

// shot writes a screenshot where -look says.
func (b *tab) shot(name string) {
	b.t.Helper()
	if *look == "" {
		return
	}
	png, err := chromedp.Run(b.ctx, chromedp.CaptureScreenshot())
	if err != nil {
		b.t.Log(err)
		return
	}
	if err := os.WriteFile(filepath.Join(*look, name+".png"), png, 0o644); err != nil {
		b.t.Fatal(err)
	}
}

// scheme sets what the system prefers: light or dark.
func (b *tab) scheme(value string) {
	b.t.Helper()
	_, err := chromedp.Call(b.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
		Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: value}}})
	if err != nil {
		b.t.Fatal(err)
	}
}

func quote(s string) string {
	b, err := json.Marshal(s)
	if err != nil {
		panic(err)
	}
	return string(b)
}

func (b *tab) reload() {
	b.t.Helper()
	b.do(chromedp.Reload())
}

// type_ types into the field.
func (b *tab) type_(text string) {
	b.t.Helper()
	b.do(chromedp.SendKeys(chromedp.ID("text"), text))
}

// click clicks the first element that a selector finds.
func (b *tab) click(selector string) {
	b.t.Helper()
	b.clickAt(`document.querySelector(` + quote(selector) + `)`)
}

// clickLast clicks the last element that a selector finds.
func (b *tab) clickLast(selector string) {
	b.t.Helper()
	b.clickAt(`[...document.querySelectorAll(` + quote(selector) + `)].at(-1)`)
}

// clickAt clicks where an element is, as a person would: whatever lies over it
// gets the click.
func (b *tab) clickAt(element string) {
	b.t.Helper()
	p := js[struct{ X, Y float64 }](b, `(() => { const e = `+element+`; e.scrollIntoView({ block: "nearest" });
		const r = e.getBoundingClientRect(); return { X: r.x + r.width / 2, Y: r.y + r.height / 2 } })()`)
	b.do(chromedp.MouseClickXY(p.X, p.Y))
}
