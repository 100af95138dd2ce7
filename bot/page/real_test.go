package page

import (
	"context"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"shimwright/bot/testenv"
)

// TestRealService levels a slider with the program itself, from set-up to the
// first drawing of the nuts to turn, on a phone.
func TestRealService(t *testing.T) {
	b := open(t, startProgram(t).url, 390, 844)
	b.says("One question at a time")
	b.press("level")
	const last = `[...document.querySelectorAll("#log .turn")].at(-1)`
	for step := 0; ; step++ {
		if step == 60 {
			b.shot("real-stuck")
			t.Fatalf("no adjustment after %d answers:\n%s", step, js[string](b, `document.querySelector("#log").innerText`))
		}
		// The answer to what was said last is there.
		b.until(last + `?.querySelector(".theirs") && !document.querySelector("#choices [aria-disabled]")`)
		if js[bool](b, `document.querySelector("figure img") !== null`) {
			break
		}
		turns := js[int](b, `document.querySelectorAll("#log .turn").length`)
		switch {
		case js[string](b, `document.querySelector("#text").inputMode`) == "decimal":
			answer := "0"
			if strings.Contains(js[string](b, `document.querySelector("#asked").innerText`), "support 1") {
				answer = "-0.18"
			}
			b.sends(answer)
		case b.choices() != "":
			b.press(strings.Split(b.choices(), "|")[0])
		default:
			b.sends("ok")
		}
		b.until(`document.querySelectorAll("#log .turn").length > ` + strconv.Itoa(turns))
	}
	b.until(`document.querySelector("figure img").naturalWidth === 720`)
	b.shot("real-adjustment")
	js[bool](b, `(document.querySelector("figure img").scrollIntoView({ block: "start" }), true)`)
	b.shot("real-drawing")
	if !js[bool](b, `document.querySelector("figure").closest(".caution") !== null && document.querySelector("figure img").alt.length > 20`) {
		t.Error("the drawing stands without its caution or its words")
	}
	if got := b.choices(); !strings.HasPrefix(got, "done") {
		t.Errorf("the moves are answered with %q", got)
	}
	b.reload()
	b.until(`document.querySelector("figure img")?.naturalWidth === 720`)
	b.quiet()
}

// TestPhoneIsPaired opens the link that the program prints, in a browser that is
// let in by nothing else, and presses its button: by the address of the machine
// itself, and by a name in the network over plain HTTP, where a browser keeps
// much from a page (locks, the wake lock, what says whose page asks).
func TestPhoneIsPaired(t *testing.T) {
	for _, name := range []string{"127.0.0.1", benchName} {
		t.Run(name, func(t *testing.T) { pairs(t, name) })
	}
}

func pairs(t *testing.T, name string) {
	p := startProgram(t, "SHIMWRIGHT_LOCAL_OWNER=off", "SHIMWRIGHT_HOSTS="+name)
	pair := exec.Command(p.bin, "pair")
	pair.Env = p.env
	said, err := pair.CombinedOutput()
	link := regexp.MustCompile(`http://\S+/pair/\S+`).FindString(string(said))
	if err != nil || link == "" {
		t.Fatalf("pair: %v\n%s", err, said)
	}
	b := open(t, strings.Replace(link, "127.0.0.1", name, 1), 390, 844)
	b.click("form button")
	b.do(chromedp.WaitReady(chromedp.ID("log")))
	b.says("One question at a time")
	b.sends("menu")
	b.says("No saw is set up yet")
	if name != benchName { // there it says that it takes no notice of one header
		b.quiet()
	}
}

// running is the program as it runs, and what it was started with.
type running struct {
	url, bin string
	env      []string
}

// startProgram builds and starts the program with a fresh data folder.
func startProgram(t *testing.T, settings ...string) running {
	t.Helper()
	dir := t.TempDir()
	bin := filepath.Join(dir, "bot.exe")
	if out, err := exec.Command("go", "build", "-o", bin, "shimwright/bot").CombinedOutput(); err != nil {
		t.Fatalf("building the program: %v\n%s", err, out)
	}
	addr := "127.0.0.1:" + strconv.Itoa(testenv.FreePorts(t, 1)[0])
	ctx, stop := context.WithCancel(context.Background())
	run := exec.CommandContext(ctx, bin)
	run.Cancel = func() error { return run.Process.Signal(os.Interrupt) }
	run.WaitDelay = 10 * time.Second
	// A variable of its own prefix that it does not know stops the program.
	run.Env = slices.DeleteFunc(os.Environ(), func(v string) bool { return strings.HasPrefix(v, "SHIMWRIGHT_") })
	run.Env = append(append(run.Env, "SHIMWRIGHT_LISTEN="+addr, "SHIMWRIGHT_DATA="+dir), settings...)
	var said strings.Builder
	run.Stdout, run.Stderr = &said, &said
	if err := run.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		stop()
		_ = run.Wait()
		if t.Failed() {
			t.Logf("the program said:\n%s", said.String())
		}
	})
	for range 200 {
		if r, err := http.Get("http://" + addr + "/readyz"); err == nil {
			r.Body.Close()
			if r.StatusCode == http.StatusOK {
				return running{"http://" + addr + "/", bin, run.Env}
			}
		}
		time.Sleep(50 * time.Millisecond)
	}
	stop()
	_ = run.Wait()
	t.Fatalf("the program does not answer:\n%s", said.String())
	return running{}
}
