package dialog

import (
	"slices"
	"strings"
	"unicode"

	"shimwright/dialog/guard"
	"shimwright/dialog/reading"
)

// longestMention is the most words of an answer in which a choice is looked for.
const longestMention = 8

// mentioned finds the one choice whose words stand in a longer answer: "it's on
// the right", "8 stations". A denial, a question or a guess names none, and
// neither does a mere yes or no, which may be about anything.
func (st *step) mentioned(choices []guard.Choice, text string) (value string, ok bool) {
	said := words(text)
	for _, w := range st.phrases("words.idioms") {
		said = strings.ReplaceAll(said, words(w), " ") // "about right" is no side
	}
	if strings.Count(said, " ") > longestMention+1 {
		return "", false
	}
	longest := ""
	for _, c := range choices {
		if c.Value == "yes" || c.Value == "no" || c.Value == "asis" {
			continue
		}
		for _, w := range append([]string{st.voice.Say(c.Text)}, st.phrases(c.Also)...) {
			at := strings.Index(said, words(w))
			if at < 0 || !reading.Plain(said[:at]+" "+said[at+len(words(w))-1:], st.voice.Lang()) {
				continue
			}
			switch {
			case longest == "" || value == c.Value || strings.Contains(words(w), longest):
				value, longest = c.Value, words(w)
			case !strings.Contains(longest, words(w)):
				return "", false // two of them
			}
		}
	}
	return value, longest != "" && !slices.Contains([]rune(text), '?')
}

// words is a text in small letters without accents, its words between single
// spaces.
func words(text string) string {
	fields := strings.FieldsFunc(reading.Fold(text), func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) && r != '\'' })
	return " " + strings.Join(fields, " ") + " "
}
