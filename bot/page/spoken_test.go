package page

import "testing"

// TestLanguageOfTheAnswers asks for another language than the browser's, on the
// page of the program itself: what is said is marked as being in that language
// (WCAG 2.2, 3.1.2), and is read aloud by its voice; what the page says is not.
func TestLanguageOfTheAnswers(t *testing.T) {
	b := open(t, startProgram(t).url, 390, 844)
	js[bool](b, `(() => { globalThis.spoken = []; speechSynthesis.speak = (u) => spoken.push(u.lang); return true })()`)
	b.sends("menu")
	b.says("No saw is set up yet")
	b.click("#aloud")
	b.until(`spoken.length > 0 && spoken.every((l) => l === "en")`)
	b.sends("deutsch")
	b.says("Ab jetzt auf Deutsch")
	b.until(`spoken.at(-1) === "de"`)
	b.sends("höhe")
	b.says("Millimeter oder Zoll")
	const last = `[...document.querySelectorAll(".theirs .said")].at(-1)`
	if got := js[string](b, last+`.closest("[lang]").lang + " " + document.querySelector(".mine .state").closest("[lang]").lang + " " + document.querySelector("#choices button").closest("[lang]").lang`); got != "de en de" {
		t.Errorf("answer, page and choices are marked %q, want de en de", got)
	}
	b.reload()
	b.says("Millimeter oder Zoll")
	if got := js[string](b, last+`.closest("[lang]").lang`); got != "de" {
		t.Errorf("read again it is marked %q", got)
	}
	b.quiet()
}
