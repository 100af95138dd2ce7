package page

import (
	"fmt"
	"net/http"
	"sync/atomic"
	"testing"
	"time"
)

// TestMarkupIsText lets the service say markup in every place that the page
// shows: all of it is text, and no other address is asked.
func TestMarkupIsText(t *testing.T) {
	s := newService(t)
	b := open(t, s.url(), 1280, 800)
	b.sends(`<img src=x onerror="document.title='mine'">`)
	b.says("You said: <img")
	b.sends("hostile")
	b.says("<script>")
	b.until(`document.querySelectorAll("figure p").length === 3`) // two addresses elsewhere, one picture that is gone
	if title := js[string](b, `document.title`); title != "Shimwright" {
		t.Errorf("the page is now called %q", title)
	}
	if n := js[int](b, `document.querySelectorAll("#log script, #log iframe, #log [onerror], #choices :not(button), #answer script").length`); n > 0 {
		t.Errorf("%d elements came out of texts", n)
	}
	elsewhere := js[[]string](b, `performance.getEntriesByType("resource").map((e) => e.name).filter((u) => !u.startsWith(location.origin))`)
	if len(elsewhere) > 0 {
		t.Errorf("asked for %q", elsewhere)
	}
	b.reload()
	b.says("<script>")
	if title := js[string](b, `document.title`); title != "Shimwright" {
		t.Errorf("after a reload the page is called %q", title)
	}
	b.quiet()
}

// TestPolicyHolds tries what the content security policy forbids.
func TestPolicyHolds(t *testing.T) {
	s := newService(t)
	b := open(t, s.url(), 1280, 800)
	b.says("One question")
	got := js[string](b, `(() => {
		globalThis.blocked = [];
		document.addEventListener("securitypolicyviolation", (e) => blocked.push(e.effectiveDirective));
		const script = document.createElement("script");
		script.textContent = "globalThis.ran = true";
		const style = document.createElement("style");
		style.textContent = "body { display: none }";
		const img = document.createElement("img");
		img.src = "https://example.org/x.png";
		const frame = document.createElement("iframe");
		frame.src = "https://example.org/";
		document.body.append(script, style, img, frame);
		fetch("https://example.org/").catch(() => {});
		return "";
	})()`)
	b.until(`blocked.length >= 5`)
	for _, d := range []string{"script-src-elem", "style-src-elem", "img-src", "frame-src", "connect-src"} {
		if !js[bool](b, `blocked.includes(`+quote(d)+`)`) {
			t.Errorf("%s is not held%s", d, got)
		}
	}
	if js[bool](b, `globalThis.ran === true || getComputedStyle(document.body).display === "none"`) {
		t.Error("a script or style from within ran")
	}
}

// TestProblems answers the page with every kind of error.
func TestProblems(t *testing.T) {
	t.Run("not paired", func(t *testing.T) {
		s := newService(t)
		s.refuse = func(w http.ResponseWriter, r *http.Request) bool {
			problem(w, 401, "Open the one-time link.")
			return true
		}
		b := open(t, s.url(), 390, 844)
		b.until(`document.querySelector("#line").innerText.includes("go run ./bot pair")`)
		b.shot("phone-unpaired")
		b.sends("hello")
		b.says("Kept here")
		s.set(func(s *service) { s.refuse = nil })
		b.click("#line button")
		b.says("You said: hello")
		b.until(`document.querySelector("#line").hidden`)
	})
	for status, name := range map[int]string{429: "too many", 503: "store away"} {
		t.Run(name, func(t *testing.T) {
			s := newService(t)
			b := open(t, s.url(), 390, 844)
			b.sends("which")
			b.says("left or right")
			// The service counts what comes before the time that it named.
			var until time.Time
			var early, refused atomic.Int32
			s.set(func(s *service) {
				s.refuse = func(w http.ResponseWriter, r *http.Request) bool {
					switch {
					case r.Method == "POST" && until.IsZero():
						until = time.Now().Add(2 * time.Second)
						refused.Add(1)
						w.Header().Set("Retry-After", "3")
						problem(w, status, "Wait, then send the message again with the same id.")
						return true
					case r.Method == "POST" && time.Now().Before(until):
						early.Add(1)
					}
					return false
				}
			})
			b.sends("left")
			b.until(`document.querySelector("#line").innerText.includes("wait 3 seconds")`)
			b.says("Kept here")
			b.says("You said: left")
			if refused.Load() != 1 || early.Load() != 0 {
				t.Errorf("%d refused, %d came too early", refused.Load(), early.Load())
			}
			if got := said(s.received()); got != "which|left" {
				t.Errorf("the service got %q", got)
			}
		})
	}
	// What the documents say is for programs; a person reads their own language.
	for language, want := range map[string]map[int]string{
		"en": {400: "Not taken: It is too long, or cannot be read", 413: "Not taken: It is too long", 403: "Not taken: The page was opened by an address", 409: "Not taken: Another message", 507: "Not taken: The service has no room left"},
		"de": {400: "Nicht angenommen: Es ist zu lang oder nicht zu lesen", 413: "Nicht angenommen: Es ist zu lang", 404: "Nicht angenommen: Unter dieser Adresse", 421: "Nicht angenommen: Die Seite wurde unter einer Adresse", 507: "Nicht angenommen: Der Dienst hat keinen Platz mehr"},
		"es": {400: "No aceptado: Es demasiado largo o no se puede leer", 413: "No aceptado: Es demasiado largo", 403: "No aceptado: La página se abrió con una dirección", 409: "No aceptado: Otro mensaje", 415: "No aceptado: Es demasiado largo o"},
	} {
		t.Run("refused, in "+language, func(t *testing.T) {
			s := newService(t)
			b := speaks(t, s.url(), language)
			for status, sentence := range want {
				s.set(func(s *service) {
					s.refuse = func(w http.ResponseWriter, r *http.Request) bool {
						if r.Method != "POST" {
							return false
						}
						problem(w, status, "For programs only.")
						return true
					}
				})
				text := fmt.Sprintf("try %d", status)
				b.sends(text)
				b.says(sentence)
				// The text is not lost.
				b.clickLast(`.mine.unsent button:last-child`)
				if v := js[string](b, `document.querySelector("#text").value`); v != text {
					t.Errorf("the field has %q", v)
				}
				js[string](b, `document.querySelector("#text").value = ""`)
			}
			if js[bool](b, `document.body.innerText.includes("For programs")`) {
				t.Error("what is for programs is shown")
			}
		})
	}
	for language, want := range map[string]map[int]string{
		"en": {401: "This device is not paired", 429: "asks to wait 1 second.", 503: "asks to wait 1 second.", 403: "The page was opened by an address", 500: "The service does not answer"},
		"de": {401: "Dieses Gerät ist nicht", 429: "1 Sekunde zu warten", 503: "1 Sekunde zu warten", 421: "Die Seite wurde unter einer Adresse", 500: "Der Dienst antwortet nicht"},
		"es": {401: "Este aparato no está", 429: "esperar 1 segundo.", 503: "esperar 1 segundo.", 403: "La página se abrió con una dirección", 502: "El servicio no responde"},
	} {
		t.Run("what is read, in "+language, func(t *testing.T) {
			for status, sentence := range want {
				s := newService(t)
				s.refuse = func(w http.ResponseWriter, r *http.Request) bool {
					w.Header().Set("Retry-After", "1")
					problem(w, status, "For programs only.")
					return true
				}
				b := speaks(t, s.url(), language)
				b.until(`document.querySelector("#line").innerText.includes(` + quote(sentence) + `)`)
				b.shot(fmt.Sprint("line-", language, "-", status))
				if js[bool](b, `document.body.innerText.includes("For programs")`) {
					t.Errorf("%d: what is for programs is shown", status)
				}
			}
		})
	}
	t.Run("its time is over", func(t *testing.T) {
		s := newService(t)
		b := open(t, s.url(), 390, 844)
		b.sends("which")
		b.says("left or right")
		s.set(func(s *service) {
			s.refuse = func(w http.ResponseWriter, r *http.Request) bool {
				if r.Method != "POST" {
					return false
				}
				// It was handled; its answer is withheld.
				s.set(func(s *service) {
					s.refuse = nil
					s.enter(answer{Replies: []reply{{ID: "old", Expired: true}}, Prompt: map[string]any{"kind": "idle"}}, &message{ID: "m-old", Text: "left"})
				})
				problem(w, 410, "The message was handled.")
				return true
			}
		})
		b.sends("left")
		b.says("An instruction stood here")
		b.until(`document.querySelector("#choices").innerText === "where"`)
	})
	t.Run("something else answers", func(t *testing.T) {
		s := newService(t)
		b := open(t, s.url(), 390, 844)
		b.sends("which")
		b.says("left or right")
		s.set(func(s *service) {
			s.refuse = func(w http.ResponseWriter, r *http.Request) bool {
				w.Header().Set("Content-Type", "text/html")
				w.Write([]byte("<h1>Sign in to the network</h1>"))
				return true
			}
		})
		b.sends("left")
		b.says("Kept here")
		b.until(`document.querySelector("#line").innerText.includes("does not answer")`)
		s.set(func(s *service) { s.refuse = nil })
		b.says("You said: left")
	})
}

// TestAloud counts what the page gives to the browser's voice.
func TestAloud(t *testing.T) {
	s := newService(t)
	b := open(t, s.url(), 390, 844)
	js[bool](b, `(() => { globalThis.spoken = []; const speak = speechSynthesis.speak.bind(speechSynthesis);
		speechSynthesis.speak = (u) => { spoken.push(u.text); speak(u); }; return true })()`)
	b.sends("which")
	b.says("left or right")
	if n := js[int](b, `spoken.length`); n != 0 {
		t.Errorf("%d utterances without being asked", n)
	}
	b.click("#aloud")
	b.until(`spoken.join(" ").includes("left or right")`) // the last message, at once
	if on := js[string](b, `document.querySelector("#aloud").ariaPressed`); on != "true" {
		t.Errorf("the switch says %q", on)
	}
	b.sends("0.5 mm or 1.25")
	b.until(`spoken.includes("You said: 0.5 mm or 1.25")`) // decimals are not torn apart
	b.click("#aloud")
	n := js[int](b, `spoken.length`)
	b.sends("quiet now")
	b.says("You said: quiet now")
	if js[int](b, `spoken.length`) != n {
		t.Error("it goes on reading after it was switched off")
	}
	b.click("#more")
	b.clickLast("#words button") // read the last message aloud
	b.until(`spoken.at(-1) === "You said: quiet now"`)
}

// TestAwake checks that the screen is kept on during a job, and no longer; and
// that the lock is asked for again when the page is seen again, since a browser
// takes it back from a page that it hides (Screen Wake Lock API, section 5).
func TestAwake(t *testing.T) {
	s := newService(t)
	b := open(t, s.url(), 390, 844)
	js[bool](b, `(() => { globalThis.locks = []; const request = navigator.wakeLock.request.bind(navigator.wakeLock);
		navigator.wakeLock.request = async (kind) => { const lock = await request(kind); locks.push(lock); return lock }; return true })()`)
	awake := func(want string) {
		b.t.Helper()
		b.until(`document.body.dataset.awake === ` + quote(want))
	}
	awake("off")
	b.sends("level")
	awake("on")
	js[bool](b, `locks[0].release().then(() => true), true`)
	awake("off")
	js[bool](b, `document.dispatchEvent(new Event("visibilitychange"))`)
	awake("on")
	if n := js[int](b, `locks.filter((l) => !l.released).length`); n != 1 {
		t.Errorf("%d locks are held", n)
	}
	b.sends("bye")
	b.says("You said: bye")
	awake("off")
	b.quiet()
}
