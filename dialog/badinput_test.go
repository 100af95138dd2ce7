package dialog_test

import (
	"encoding/json"
	"strings"
	"testing"

	"shimwright/dialog"
)

// TestBadInput says each kind of bad input to an open question: the answer is
// one clear sentence with an example of a good one, the question stays open
// word for word, and nothing is lost or taken.
func TestBadInput(t *testing.T) {
	heights := func() *shop {
		sh := newShop()
		for _, s := range []string{"level", "mm", "Old Blue", "left", "ok", "unplugged", "done", "0.01", "0.03"} {
			sh.say(s)
		}
		return sh
	}
	for name, text := range map[string]string{
		"nonsense":          "flibbertigibbet",
		"a sentence":        "the cat sat on the slider",
		"empty":             "",
		"spaces":            " \t ",
		"10 kB":             strings.Repeat("0.03 ", 2000),
		"emoji":             "🪚🔧",
		"a thumb":           "👍",
		"right to left":     "שלוש",
		"arabic digits":     "٣",
		"a hidden mark":     "0.03\u202e",
		"control character": "0.0\x003",
		"broken text":       "0.0\xff3",
		"two numbers":       "0.03 0.05",
		"another quantity":  "3 degrees",
		"not a reading":     "not 0.03",
		"another point":     "support 9: 0.03",
		"infinity":          "1e400",
		"NaN":               "NaN",
	} {
		t.Run(name, func(t *testing.T) {
			sh := heights()
			before := job(t, sh)
			asked := sh.result.Turn.Prompt
			question := last(sh.result.Turn)
			turn := sh.say(text).Turn
			if after := job(t, sh); after != before {
				t.Errorf("the answers changed:\n%s\n%s", before, after)
			}
			if turn.Prompt.Name != asked.Name || turn.Prompt.Label != asked.Label {
				t.Errorf("asked %s at %s, then %s at %s", asked.Name, asked.Label, turn.Prompt.Name, turn.Prompt.Label)
			}
			if last(turn) != question {
				t.Errorf("the question is now %q", last(turn))
			}
			if len(turn.Replies) != 2 || !strings.Contains(turn.Replies[0].Text, "xample") && !strings.Contains(turn.Replies[0].Text, "?") {
				t.Errorf("no sentence with an example: %+v", turn.Replies)
			}
			if n := len(turn.Replies[0].Text); n > 160 {
				t.Errorf("the sentence has %d characters", n)
			}
		})
	}
	// What may be meant is asked back once, with the slip named, and taken when
	// it is confirmed.
	for name, c := range map[string]struct{ text, says string }{
		"25 times too large": {"1.27", "unit"},
		"the other unit":     {"3 inches", ""},
		"the point":          {"30", "point"},
	} {
		t.Run(name, func(t *testing.T) {
			sh := heights()
			turn := sh.say(c.text).Turn
			if turn.Prompt.Kind != dialog.KindChoice || !strings.Contains(turn.Replies[len(turn.Replies)-1].Text, c.says) {
				t.Fatalf("%q was not asked back: %+v", c.text, turn)
			}
			choice := turn.Prompt.Choices[0]
			turn = sh.say(choice).Turn
			if turn.Prompt.Name != "slider.height" || !strings.HasPrefix(turn.Prompt.Label, "support 3") {
				t.Errorf("%q was not taken: %+v", choice, turn)
			}
		})
	}
}

// job returns the running job's answers as they are stored.
func job(t *testing.T, sh *shop) string {
	t.Helper()
	b, err := json.Marshal(sh.view.Saws[0].Running.Answers)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

func last(t dialog.Turn) string { return t.Replies[len(t.Replies)-1].Text }

// TestPure steps twice with the same view, state, message and time, and finds
// the same result and an unchanged view.
func TestPure(t *testing.T) {
	sh := newShop()
	for _, s := range []string{"level", "mm", "Old Blue", "left", "ok", "unplugged", "done", "0.01", "0.03", "0.05", "-0.06", "0.02", "0.04", "0.03"} {
		before, err := json.Marshal(sh.view.Saws)
		if err != nil {
			t.Fatal(err)
		}
		m := dialog.Message{ID: "m-x", Text: s}
		var results [2]string
		for i := range results {
			r := dialog.Step(sh.view, sh.states[sh.view.Conversation], m, sh.now)
			b, err := json.Marshal(r)
			if err != nil {
				t.Fatal(err)
			}
			results[i] = string(b)
		}
		if results[0] != results[1] {
			t.Errorf("> %s: two results", s)
		}
		if after, err := json.Marshal(sh.view.Saws); err != nil || string(after) != string(before) {
			t.Errorf("> %s: the view changed, or %v", s, err)
		}
		sh.say(s)
	}
}
