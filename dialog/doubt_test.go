package dialog_test

import (
	"strings"
	"testing"
)

// TestDoubts questions readings and answers in the ways people do. A yes confirms
// what was said and never a slip that was only offered; of two readings it takes
// none; a number that is a reading is not the number of a choice; and a reading that
// is one digit from an offered one is no slip of the finger.
func TestDoubts(t *testing.T) {
	at := func(said ...string) *shop {
		sh := newShop()
		for _, text := range append([]string{"level", "mm", "Birch", "left", "ok", "unplugged", "done", "0.01", "-0.12", "-0.11"}, said...) {
			sh.say(text)
		}
		return sh
	}
	for _, c := range []struct {
		said []string
		name string // what is asked then
		want string // is said then
	}{
		{[]string{"8"}, "ask.doubt", "Is it right as said"}, {[]string{"8", "yes"}, "slider.height", "8.00 mm high at support 3"},
		{[]string{"8", "ok"}, "slider.height", "8.00 mm high at support 3"}, {[]string{"8", "👍"}, "slider.height", "8.00 mm high at support 3"},
		{[]string{"8", "no"}, "slider.height", "Support 3"}, {[]string{"8", "read again"}, "slider.height", "Support 3"},
		{[]string{"8", "0.08 high"}, "slider.height", "0.08 mm high at support 3"}, {[]string{"8", "-0.09"}, "slider.height", "0.09 mm low at support 3"},
		{[]string{"8", "0.09 mm high"}, "slider.height", "0.09 mm high at support 3"},
		{[]string{"8", "0"}, "ask.doubt", "did not understand"}, {[]string{"8", "back"}, "slider.height", "Support 2"},
		{[]string{"8", "where"}, "slider.height", "Support 3"}, {[]string{"8", "menu"}, "slider.height", "is running"},
	} {
		sh := at(c.said...)
		if p := sh.result.Turn.Prompt; p.Name != c.name || !strings.Contains(said(sh.result), c.want) {
			t.Errorf("%v: %s is asked, want %s, and %q said:\n%s", c.said, p.Name, c.name, c.want, said(sh.result))
		}
	}
	sh := newShop()
	for _, c := range []struct{ say, name, want string }{
		{"tilt", "setup.units", ""}, {"mm", "setup.name", ""}, {"Birch", "setup.hand", ""}, {"left", "setup.accept", ""}, {"ok", "method", ""},
		{"square", "side", ""}, {"left", "safety.unplugged", ""}, {"unplugged", "tilt.set", ""}, {"done", "tilt.gap", ""},
		{"0.2", "ask.doubt", "more than one way"}, {"ok", "ask.doubt", "did not understand"}, {"yes", "ask.doubt", "did not understand"},
		{"open", "tilt.gap", "Say top or bottom"}, {"0.2", "ask.doubt", ""}, {"bottom", "tilt.height", "0.20 mm open at the bottom"}, {"0.1", "ask.doubt", "I can only use 30 to 1000 mm"}, {"no", "tilt.height", "How high"},
	} {
		if p := sh.say(c.say).Turn.Prompt; p.Name != c.name || !strings.Contains(said(sh.result), c.want) {
			t.Errorf("%q: %s is asked, want %s, and %q said:\n%s", c.say, p.Name, c.name, c.want, said(sh.result))
		}
	}
}
