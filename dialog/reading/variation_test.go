package reading

import (
	"strings"
	"testing"
)

// variations must not change what a message means.
var variations = map[string]func(text string, l Lang) string{
	"capitals":  func(s string, _ Lang) string { return strings.ToUpper(s) },
	"spaces":    func(s string, _ Lang) string { return " " + strings.ReplaceAll(s, " ", "  ") + "\t" },
	"full stop": func(s string, _ Lang) string { return s + "." },
	"thumb":     func(s string, _ Lang) string { return s + " 👍" },
	"politeness": func(s string, l Lang) string {
		return s + " " + map[Lang]string{"en": "please", "de": "bitte", "es": "por favor"}[l]
	},
}

// spoilers make any reading of a number uncertain.
var spoilers = map[string]func(text string, l Lang) string{
	"unknown word first": func(s string, _ Lang) string { return "wibble " + s },
	"unknown word last":  func(s string, _ Lang) string { return s + " wibble" },
	"second number":      func(s string, _ Lang) string { return s + ", 17.31" },
	"question":           func(s string, _ Lang) string { return s + "?" },
	"negation": func(s string, l Lang) string {
		return map[Lang]string{"en": "not ", "de": "nicht ", "es": "no "}[l] + s
	},
}

// TestVariations changes the dress of every utterance: capitals, spaces, a full
// stop, a thumb, a please. The meaning must stay.
func TestVariations(t *testing.T) {
	eachUtterance(t, func(u utterance, e Expect) {
		was := Parse(u.text, e)
		for name, change := range variations {
			if strings.HasSuffix(u.text, "?") && name == "full stop" {
				continue
			}
			s := change(u.text, e.Lang)
			if is := Parse(s, e); is.Status != was.Status || is.Value.Low != was.Value.Low || is.Value.High != was.Value.High {
				t.Errorf("%s: %s: %q was %s, %q is %s", u.where, name, u.text, show(was), s, show(is))
			}
		}
	})
}

// TestSpoilers adds to every utterance what makes it uncertain. None may be
// taken.
func TestSpoilers(t *testing.T) {
	eachUtterance(t, func(u utterance, e Expect) {
		was := Parse(u.text, e)
		for name, spoil := range spoilers {
			s := spoil(u.text, e.Lang)
			is := Parse(s, e)
			if name == "negation" && len(e.Leaves) > 0 && (was.Status != Taken || e.Lang == "es" && is.Value.Low == was.Value.Low) {
				continue // "not" is half of an answer about leaves; "no, no entra" is an emphatic one
			}
			if is.Status == Taken {
				t.Errorf("%s: %s: %q is taken as %s", u.where, name, s, show(is))
			}
		}
	})
}

func eachUtterance(t *testing.T, f func(utterance, Expect)) {
	t.Helper()
	contexts := readContexts(t)
	for _, file := range corpusFiles(t, corpusDir) {
		for _, u := range readUtterances(t, file) {
			f(u, contexts[u.context])
		}
	}
}
