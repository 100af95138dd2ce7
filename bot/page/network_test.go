package page

import (
	"fmt"
	"net/http"
	"strings"
	"testing"
	"time"
)

// TestSomebodyElseAnswers puts a network in front of the service whose sign-in
// page, or whose proxy, answers in its place, with any status (RFC 6585,
// section 6, names 511 for it; many say 200, 403 or 404) and a clock of its own.
// It is not taken for the service's word, and nothing is lost.
func TestSomebodyElseAnswers(t *testing.T) {
	s := newService(t)
	b := open(t, s.url(), 390, 844)
	b.sends("which")
	b.says("left or right")
	for _, status := range []int{200, 401, 403, 404, 410, 413, 502, 511} {
		s.set(func(s *service) {
			s.refuse = func(w http.ResponseWriter, r *http.Request) bool {
				w.Header().Set("Content-Type", "text/html")
				w.Header().Set("Date", time.Now().Add(-20*time.Minute).UTC().Format(http.TimeFormat))
				w.WriteHeader(status)
				w.Write([]byte("<h1>Sign in to the network</h1>"))
				return true
			}
		})
		before, text := len(s.received()), fmt.Sprint("left ", status)
		b.sends(text)
		b.says("Kept here")
		b.until(`document.querySelector("#line").innerText.includes("does not answer")`)
		if status == 401 {
			b.shot("phone-network")
		}
		s.set(func(s *service) { s.refuse = nil })
		b.says("You said: " + text)
		b.until(`document.querySelector("#line").hidden`)
		got := s.received()[before:]
		if len(got) != 1 || got[0].Text != text {
			t.Fatalf("%d: the service got %+v", status, got)
		}
		// What is sent next is timed by the service's clock, not by that one.
		b.sends("right" + text)
		b.says("You said: right" + text)
	}
	for _, m := range s.received() {
		at, err := time.Parse(time.RFC3339, m.SentAt)
		if err != nil || time.Since(at) > 5*time.Minute {
			t.Errorf("%q was sent at %s: %v", m.Text, m.SentAt, err)
		}
	}
}

// TestFocusAfterTryingAgain presses the button of the line by keyboard: when it
// goes, the focus goes to the field, not to nowhere (WCAG 2.2, 2.4.3).
func TestFocusAfterTryingAgain(t *testing.T) {
	s := newService(t)
	s.refuse = func(w http.ResponseWriter, r *http.Request) bool { problem(w, 401, "Not paired."); return true }
	b := open(t, s.url(), 1280, 800)
	b.until(`document.querySelector("#line button")`)
	s.set(func(s *service) { s.refuse = nil })
	js[bool](b, `(document.querySelector("#line button").focus(), document.querySelector("#line button").click(), true)`)
	b.until(`document.querySelector("#line").hidden`)
	if got := js[string](b, `document.activeElement.id || document.activeElement.tagName`); got != "text" {
		t.Errorf("the focus is on %q", got)
	}
}

// TestReportIsLinked reads an answer with the address of a report, as the
// service gives it by whatever name it knows of itself, and others beside it.
func TestReportIsLinked(t *testing.T) {
	s := newService(t)
	b := open(t, s.url(), 390, 844)
	s.unasked("The report of Fir: https://saw.example.org/report/z97sf3wnjr\nNot this: https://example.org/x or javascript:alert(1)")
	b.says("Not this")
	if got := js[string](b, `[...document.querySelectorAll("#log a")].map((a) => a.href + " " + a.target + " " + a.rel).join("|")`); got != s.url()+"report/z97sf3wnjr _blank noopener noreferrer" {
		t.Errorf("the links are %q", got)
	}
	if got := js[string](b, `document.querySelector("#log .said").textContent`); got != "The report of Fir: https://saw.example.org/report/z97sf3wnjr" {
		t.Errorf("it reads %q", got)
	}
	if high := js[float64](b, `document.querySelector("#log a").getBoundingClientRect().height`); high < 24 {
		t.Errorf("the link is %g px high (WCAG 2.2, 2.5.8: at least 24)", high)
	}
	b.shot("phone-report-link")
	if strings.Contains(js[string](b, `document.title`), "alert") {
		t.Error("a script ran")
	}
}
