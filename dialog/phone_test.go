package dialog_test

import (
	"strings"
	"testing"

	"shimwright/dialog"
	"shimwright/dialog/wording"
)

// septets counts a text in the GSM 7-bit alphabet of 3GPP TS 23.038, as the
// text channel writes it: what is not in the alphabet is written out, and a
// character of the extension table counts two.
func septets(s string) int {
	s = strings.NewReplacer("°", " deg", "±", "+/-", "×", "x", "µ", "u", "–", "-", "—", "-", "’", "'", "…", "...").Replace(s)
	n := 0
	for _, r := range s {
		n++
		if strings.ContainsRune("^{}\\[]~|€", r) {
			n++
		}
	}
	return n
}

// TestTextsFitPhones plays every conversation as over a telephone network, and
// hears every step in every other language too. A question fits one message of
// 160 characters; what asks for a hand or a cut fits three parts of 153 (3GPP TS
// 23.040, with an 8-bit reference); one nut a message.
func TestTextsFitPhones(t *testing.T) {
	longest := map[string]int{}
	seen := map[string]bool{}
	eachTurn(t, func(file, said string, sh *shop) {
		fits := func(lang string, turn dialog.Turn) {
			if len(turn.Advice) > 1 {
				t.Errorf("%s: > %s: %d nuts in one message", file, said, len(turn.Advice))
			}
			for i, r := range turn.Replies {
				kind, most := "what was understood", 3*153
				switch {
				case r.Caution:
					kind = "hands-on"
				case i == len(turn.Replies)-1 && turn.Prompt.Kind != dialog.KindIdle:
					kind, most = "question", 160
				}
				n := septets(r.Text)
				longest[lang+" "+kind] = max(longest[lang+" "+kind], n)
				if n > most && !seen[r.Text] {
					seen[r.Text] = true
					t.Errorf("%s: > %s: %s of %d characters, at most %d:\n%s", file, said, kind, n, most, r.Text)
				}
			}
		}
		lang := sh.view.People.Persons[0].Lang
		fits(lang, sh.result.Turn)
		if lang == "" {
			for _, other := range wording.Languages()[1:] {
				fits(other, sh.in(other, "where"))
			}
		}
	})
	t.Logf("longest: %v", longest)
}

// TestMenuFitsAPhone: how everything on a saw stands, each characteristic with
// its value and day, in one text message of three parts.
func TestMenuFitsAPhone(t *testing.T) {
	for _, s := range []saw{saws[1], saws[3], saws[5]} {
		r := measuredAll(t, s)
		r.view.Limits = dialog.Limits{Segment: 160, Plain: true, OneMove: true}
		for _, said := range []string{"menu", "new blade", "menu", "moved", "menu"} {
			r.tell(said)
			if said != "menu" {
				continue
			}
			text := r.result.Turn.Replies[0].Text
			if n := septets(text); n > 3*153 {
				t.Errorf("%s: %d characters:\n%s", s.name, n, text)
			}
			for _, what := range []string{"Riving knife", "Blade at 45 deg", "Rip fence toe", "2 March 2026"} {
				if !strings.Contains(text, what) {
					t.Errorf("%s: menu does not say %q:\n%s", s.name, what, text)
				}
			}
		}
	}
}

// TestShownNumberCanBePressed: a phone's number pad has no letters, so where "ok"
// keeps the number shown it is offered; where nothing is shown it is not.
func TestShownNumberCanBePressed(t *testing.T) {
	sh := newShop()
	for _, c := range []struct{ said, offered string }{
		{"set up", "mm inch"}, {"inch", "saw"}, {"Birch", "left right no slider"}, {"left", ""}, {"supports", "ok"}, {"ok", "ok"}, {"2", "ok"}, {"4", "ok"},
		{"park", ""}, {"resume", "ok"}, {"ok", "ok"}, {"ok", "ok"}, {"ok", "ok"}, {"ok", ""}, {"ok", ""}, {"level", "unplugged"}, {"unplugged", "done"}, {"done", "-"},
	} {
		turn := sh.say(c.said).Turn
		got := strings.Join(turn.Replies[len(turn.Replies)-1].Choices, " ")
		if c.offered == "-" && got != "" || c.offered != "" && c.offered != "-" && got != c.offered {
			t.Errorf("> %s: %s\noffers %q, want %q", c.said, turn.Replies[len(turn.Replies)-1].Text, got, c.offered)
		}
	}
}
