package page

import (
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

// TestKept types while the service is away: the messages are kept, survive the
// page, and are sent once, in order, with their ids and times.
func TestKept(t *testing.T) {
	s := newService(t)
	b := open(t, s.url(), 390, 844)
	b.sends("which")
	b.says("left or right")
	s.gone(b)
	typed := time.Now()
	b.sends("first")
	b.says("Kept here")
	b.sends("second")
	b.sends("third, by mistake")
	b.until(`document.querySelectorAll(".mine.unsent").length === 3`)
	b.shot("phone-away")
	b.clickLast(`.mine.unsent button`) // do not send it
	b.until(`document.querySelectorAll(".mine.unsent").length === 2`)
	kept := js[[]struct{ ID, Text, Sent_at string }](b, `Object.keys(localStorage).filter((k) => k.startsWith("shimwright.out."))
		.map((k) => JSON.parse(localStorage[k])).sort((a, b) => a.n - b.n).map((m) => ({ID: m.id, Text: m.text, Sent_at: m.sent_at}))`)
	if len(kept) != 2 {
		t.Fatalf("kept are %+v", kept)
	}
	// The phone puts the page away; the service comes back; the page is opened.
	b.do(chromedp.Navigate("about:blank"))
	s.start()
	b.do(chromedp.Navigate(s.url()))
	b.says("You said: first")
	b.says("You said: second")
	b.until(`document.querySelectorAll(".mine.unsent").length === 0 && document.querySelector("#line").hidden`)
	got := s.received()
	if said(got) != "which|first|second" || len(got) != 3 {
		t.Fatalf("the service got %+v", got)
	}
	for i, m := range kept {
		if got[i+1].ID != m.ID || got[i+1].SentAt != m.Sent_at {
			t.Errorf("%q was kept as %s of %s and sent as %s of %s", m.Text, m.ID, m.Sent_at, got[i+1].ID, got[i+1].SentAt)
		}
		at, err := time.Parse(time.RFC3339, m.Sent_at)
		if err != nil || at.Before(typed.Add(-time.Minute)) || at.After(typed.Add(time.Minute)) {
			t.Errorf("it says that it was sent at %s (%v); it was typed at %s", m.Sent_at, err, typed)
		}
	}
	b.quiet()
}

// TestAnswerLost drops the answer to a message that was handled: it is sent
// again under its id and has no second effect.
func TestAnswerLost(t *testing.T) {
	s := newService(t)
	b := open(t, s.url(), 390, 844)
	b.sends("which")
	b.says("left or right")
	s.set(func(s *service) { s.lose = true })
	b.sends("left")
	b.says("You said: left")
	b.until(`document.querySelectorAll(".mine.unsent").length === 0`)
	if got := said(s.received()); got != "which|left" {
		t.Errorf("the service got %q", got)
	}
	if n := js[int](b, `[...document.querySelectorAll("#log article")].filter((a) => a.innerText.includes("You said: left")).length`); n != 1 {
		t.Errorf("the answer is shown %d times", n)
	}
}

// asking is a phone whose open question is whether the saw is unplugged.
func asking(t *testing.T) (*service, *tab) {
	t.Helper()
	s := newService(t)
	b := open(t, s.url(), 390, 844)
	b.sends("level")
	b.says("Answer with the word unplugged")
	return s, b
}

// gone takes the service away and waits until the page has noticed.
func (s *service) gone(b *tab) {
	b.t.Helper()
	s.stop()
	b.until(`!document.querySelector("#line").hidden`)
}

// TestLateWord gives words of safety while the service is away: none of them is
// ever sent; each is asked again.
func TestLateWord(t *testing.T) {
	never := func(t *testing.T, s *service, text string) {
		t.Helper()
		for _, m := range s.received() {
			if strings.Contains(m.Text, text) {
				t.Errorf("%q was sent late, as %+v", text, m)
			}
		}
	}
	asked := func(b *tab, s *service) {
		b.t.Helper()
		b.until(`!document.querySelector("#again").hidden`)
		if text := js[string](b, `document.querySelector("#again").innerText`); !strings.Contains(text, "must be true now") {
			b.t.Errorf("it is asked again as %q", text)
		}
		b.says("Asked again")
		never(b.t, s, "unplugged")
		b.press("unplugged")
		b.says("Support 1")
		b.until(`document.querySelector("#again").hidden && !document.querySelector("#log").innerText.includes("Asked again")`)
	}
	t.Run("button", func(t *testing.T) {
		s, b := asking(t)
		s.gone(b)
		b.press("unplugged")
		b.says("must be true at the moment")
		b.shot("phone-late-word")
		s.start()
		b.until(`document.querySelector("#line").hidden`)
		b.until(`!document.querySelector("#again").hidden`)
		b.shot("phone-asked-again")
		asked(b, s)
		b.quiet()
	})
	t.Run("typed, and the service gone without a sign", func(t *testing.T) {
		s, b := asking(t)
		s.stop()
		b.sends("Unplugged.")
		b.says("must be true at the moment")
		s.start()
		asked(b, s)
	})
	t.Run("typed before it was asked", func(t *testing.T) {
		s := newService(t)
		b := open(t, s.url(), 390, 844)
		b.sends("which")
		b.says("left or right")
		s.gone(b)
		b.sends("level")
		b.sends("unplugged")
		b.sends("0.05 low")
		b.until(`document.querySelectorAll(".mine.unsent").length === 3`)
		s.start()
		b.says("it came after a word that is asked again")
		if got := said(s.received()); got != "which|level" {
			t.Errorf("the service got %q", got)
		}
		asked(b, s)
		// What was typed after it is not lost.
		b.clickLast(`.mine.unsent button`)
		if v := js[string](b, `document.querySelector("#text").value`); v != "0.05 low" {
			t.Errorf("the field has %q", v)
		}
		b.sends("")
		b.says("Support 2")
	})
	t.Run("moves", func(t *testing.T) {
		// What became of the moves is asked again as well, whatever it was.
		s := newService(t)
		b := open(t, s.url(), 390, 844)
		b.sends("level")
		b.press("unplugged")
		b.says("Support 1")
		b.sends("0.1")
		b.says("Support 2")
		b.sends("0.1")
		b.says("Tighten both")
		s.gone(b)
		b.press("2 stuck")
		b.sends("1 done, 2 stuck")
		b.sends("back") // no word of safety: kept
		b.says("Kept here")
		s.start()
		b.says("You said: back")
		if got := said(s.received()); got != "level|unplugged|0.1|0.1|back" {
			t.Errorf("the service got %q", got)
		}
	})
	t.Run("page closed in between", func(t *testing.T) {
		s, b := asking(t)
		s.gone(b)
		b.press("unplugged")
		b.says("must be true at the moment")
		b.do(chromedp.Navigate("about:blank"))
		s.start()
		b.do(chromedp.Navigate(s.url()))
		asked(b, s)
	})
	t.Run("its answer was lost", func(t *testing.T) {
		// The service has the word: it is not asked again, and not sent twice.
		s, b := asking(t)
		s.set(func(s *service) { s.lose = true })
		b.press("unplugged")
		b.says("Support 1")
		b.until(`document.querySelector("#again").hidden && document.querySelectorAll(".mine.unsent").length === 0`)
		if got := s.received(); len(got) != 2 {
			t.Errorf("the service got %+v", got)
		}
		b.quiet()
	})
	t.Run("its answer was read before it was lost", func(t *testing.T) {
		s, b := asking(t)
		hold := make(chan struct{})
		s.set(func(s *service) { s.lose, s.hold = true, hold })
		b.press("unplugged")
		b.says("Support 1") // in what the page reads besides
		close(hold)
		b.until(`!document.querySelector("#line").hidden || document.querySelectorAll(".mine.unsent").length > 0`)
		b.until(`document.querySelector("#line").hidden`)
		b.until(`document.querySelector("#again").hidden && document.querySelectorAll(".mine.unsent").length === 0`)
		if got := s.received(); len(got) != 2 {
			t.Errorf("the service got %+v", got)
		}
		b.quiet()
	})
}

// TestSecondTap taps again in the moment in which a button for a word of safety
// comes up: that tap does not answer it.
func TestSecondTap(t *testing.T) {
	s := newService(t)
	b := open(t, s.url(), 390, 844)
	b.says("One question")
	js[bool](b, `(() => { globalThis.taps = 0; new MutationObserver(() => { const button = document.querySelector("#choices .confirm");
		if (button && taps === 0) { taps++; button.click(); } }).observe(document.querySelector("#choices"), { childList: true }); return true })()`)
	b.click("#choices button") // level
	b.until(`taps === 1 && !document.querySelector("#choices .confirm[aria-disabled]")`)
	if got := said(s.received()); got != "level" {
		t.Errorf("the service got %q", got)
	}
	b.click("#choices .confirm")
	b.says("Support 1")
}

// TestExpiry lets a hands-on question grow too old while the page is open.
func TestExpiry(t *testing.T) {
	s := newService(t)
	b := open(t, s.url(), 390, 844)
	s.set(func(s *service) { s.expires = 4 * time.Second })
	b.sends("level")
	b.press("unplugged")
	b.says("Support 1")
	b.says("No longer valid")
	b.until(`document.querySelector("#choices").innerText === "where"`)
	if mode := js[string](b, `document.querySelector("#text").inputMode`); mode == "decimal" {
		t.Error("a reading is still asked for")
	}
	b.shot("phone-expired")
	b.press("where")
	b.says("You said: where")
	b.quiet()
}
