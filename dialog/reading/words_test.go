package reading

import (
	"fmt"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// vocabularies are the moments that the corpus of words plays at.
func vocabularies() map[string][]string {
	any := append([]string(nil), wordNames[1:]...)
	any = append(any, "slider-level", "level", "crosscut-fence", "crosscut", "full run", "runout", "rip-fence")
	return map[string][]string{
		"any": any, "yn": {"yes", "no"}, "conf": {"done", "yes", "ok"}, "ok": {"ok"},
		"sides": {"left", "right", "3 stuck", "all good"},
	}
}

// TestWords reads the corpus of commands, and allows no deviation.
func TestWords(t *testing.T) {
	n, _, taken, faults := readWords(t, filepath.Join(corpusDir, "words.tsv"))
	for _, f := range faults {
		t.Error(f)
	}
	t.Logf("%d messages, %d of them commands", n, taken)
}

// TestWordsSecondSet reads commands that the lists of words were not made from. It
// fails on a message that is taken for another command than it is, and below 97 %
// right.
func TestWordsSecondSet(t *testing.T) {
	n, wrong, _, faults := readWords(t, filepath.Join(corpusDir, "second", "words.tsv"))
	for _, f := range faults {
		t.Log(f)
	}
	t.Logf("%d messages, right %.1f %%, taken for another command %d", n, percent(n-len(faults), n), wrong)
	if wrong > 0 || float64(len(faults)) > 0.03*float64(n) {
		t.Errorf("%d of %d messages wrong, %d taken for another command", len(faults), n, wrong)
	}
}

// readWords reads a file of commands. wrong counts the messages that are taken
// for a command that they are not.
func readWords(t *testing.T, file string) (n, wrong, taken int, faults []string) {
	t.Helper()
	vocab := vocabularies()
	for where, f := range rows(t, file, 3) {
		lang, set, _ := strings.Cut(f[0], ".")
		text, err := strconv.Unquote(`"` + strings.ReplaceAll(f[1], `"`, `\"`) + `"`)
		if err != nil || vocab[set] == nil {
			t.Fatalf("%s: %v", where, err)
		}
		word, rest, ok := Command(text, Lang(lang), NewVocabulary(vocab[set]...))
		got := "-"
		if ok {
			taken++
			got = word
			if rest != "" {
				got += "|" + rest
			}
		}
		n++
		if got != f[2] {
			faults = append(faults, fmt.Sprintf("%s: %s %q: got %s, want %s", where, f[0], text, got, f[2]))
			if ok {
				wrong++
			}
		}
	}
	return n, wrong, taken, faults
}

// TestWhole tells a command from a name that resembles one.
func TestWhole(t *testing.T) {
	vocab := NewVocabulary(append(vocabularies()["any"], "Säge wechseln")...)
	for _, c := range []struct {
		lang       Lang
		text, want string
	}{
		{"en", "back", "back|"}, {"en", "Undo that.", "back|"}, {"en", "fix 3", "fix|3"}, {"en", "bakc", ""}, {"en", "Parker", ""},
		{"en", "back please", ""}, {"en", "menu?", "menu|"}, {"en", "skip?", ""}, {"de", "zurück", "back|"}, {"de", "zurueck", "back|"},
		{"de", "Menü", "menu|"}, {"de", "menu", "menu|"}, {"de", "saege wechseln", "Säge wechseln|"}, {"de", "SÄGE WECHSELN", "Säge wechseln|"},
		{"es", "atras", "back|"}, {"es", "corregir dos", "fix|2"}, {"es", "la vieja azul", ""}, {"en", "", ""}, {"en", "👍", ""},
	} {
		word, rest, ok := Whole(c.text, c.lang, vocab)
		got := ""
		if ok {
			got = word + "|" + rest
		}
		if got != c.want {
			t.Errorf("%s %q: got %q, want %q", c.lang, c.text, got, c.want)
		}
	}
}

// TestNumbersAreNoCommands makes sure that no reading of the corpus, in any
// language, is taken for a command that changes anything.
func TestNumbersAreNoCommands(t *testing.T) {
	contexts := readContexts(t)
	var any []string // what may be typed while a reading is asked
	for _, w := range vocabularies()["any"] {
		switch WordOf(w) {
		case Yes, No, Done, OK:
		default:
			any = append(any, w)
		}
	}
	fits := NewVocabulary(any...)
	for _, file := range corpusFiles(t, corpusDir) {
		for _, u := range readUtterances(t, file) {
			e := contexts[u.context]
			word, _, ok := Command(u.text, e.Lang, fits)
			if ok && isValue(u.want) && word != "level" {
				t.Errorf("%s: %q is a reading, and was taken for the command %q", u.where, u.text, word)
			}
		}
	}
}

// TestExact holds the safety rule: nothing but the asked word itself.
func TestExact(t *testing.T) {
	for _, c := range []struct {
		text, word string
		want       bool
	}{
		{"unplugged", "unplugged", true}, {"Unplugged", "unplugged", true}, {"UNPLUGGED", "unplugged", true},
		{" unplugged ", "unplugged", true}, {"unplugged.", "unplugged", true}, {"unplugged\n", "unplugged", true},
		{"unplugged .", "unplugged", true}, {"stecker gezogen", "Stecker gezogen", true},
		{"Stecker  gezogen.", "Stecker gezogen", true}, {"GEPRÜFT", "geprüft", true}, {"gepru\u0308ft", "geprüft", true},
		{"", "unplugged", false}, {"", "", false}, {"unplugged", "", false}, {".", "", false},
		{"unpluged", "unplugged", false}, {"unpluggd", "unplugged", false}, {"unplugged?", "unplugged", false},
		{"unplugged!", "unplugged", false}, {"unplugged..", "unplugged", false}, {"not unplugged", "unplugged", false},
		{"unplugged 👍", "unplugged", false}, {"👍", "unplugged", false}, {"ok", "unplugged", false},
		{"yes", "unplugged", false}, {"done", "unplugged", false}, {"yes unplugged", "unplugged", false},
		{"unplugged please", "unplugged", false}, {"it's unplugged", "unplugged", false},
		{"un plugged", "unplugged", false}, {"un-plugged", "unplugged", false}, {"plugged", "unplugged", false},
		{"unplugged unplugged", "unplugged", false}, {"isn't unplugged", "unplugged", false},
		{"guarded", "unplugged", false}, {"\u202eunplugged", "unplugged", false}, {"unplugged\u200b", "unplugged", false},
		{"Stecker nicht gezogen", "Stecker gezogen", false}, {"gepruft", "geprüft", false},
		{"un\u017flugged", "unslugged", false}, {"ｕｎｐｌｕｇｇｅｄ", "unplugged", false},
	} {
		if got := Exact(c.text, c.word); got != c.want {
			t.Errorf("Exact(%q, %q) = %v, want %v", c.text, c.word, got, c.want)
		}
	}
}
