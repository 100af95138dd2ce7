package dialog_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"shimwright/dialog"
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

// TestTextsFitPhones plays every conversation as over a telephone network. A
// question fits one message of 160 characters; what asks for a hand or a cut
// fits three parts of 153 (3GPP TS 23.040, with an 8-bit reference); one nut a
// message.
func TestTextsFitPhones(t *testing.T) {
	files, err := filepath.Glob("../testdata/conversations/*.txt")
	if err != nil || len(files) == 0 {
		t.Fatalf("no conversations: %v", err)
	}
	longest := map[string]int{}
	for _, f := range files {
		script, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		sh := newShop()
		sh.view.Limits = dialog.Limits{Segment: 160, Plain: true, OneMove: true}
		for line := range strings.Lines(string(script)) {
			line = strings.TrimRight(line, "\n")
			if d, ok := strings.CutPrefix(line, "@ "); ok {
				sh.stage(d)
			}
			text, ok := strings.CutPrefix(line, "> ")
			if !ok {
				continue
			}
			turn := sh.say(text).Turn
			if len(turn.Advice) > 1 {
				t.Errorf("%s: > %s: %d nuts in one message", filepath.Base(f), text, len(turn.Advice))
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
				longest[kind] = max(longest[kind], n)
				if n > most {
					t.Errorf("%s: > %s: %s of %d characters, at most %d:\n%s", filepath.Base(f), text, kind, n, most, r.Text)
				}
			}
		}
	}
	t.Logf("longest: %v", longest)
}
