package reading

import (
	"strings"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"
)

// Word is a command or an answer that a person may type anywhere.
type Word int

// The words. NoWord is none of them.
const (
	NoWord Word = iota
	Yes
	No
	Done
	OK
	Back
	Fix
	Where
	Skip
	Park
	Menu
	Units
	History
	Due
	Moved
	Help
	Stop
	Start
	Why
	HowFar
	Which
)

var wordNames = [...]string{"", "yes", "no", "done", "ok", "back", "fix", "where", "skip", "park", "menu", "units",
	"history", "due", "moved", "help", "stop", "start", "why", "how far", "which"}

// String returns the canonical name of the word, as it stands in a vocabulary:
// "yes", "how far". It is the same in every language.
func (w Word) String() string {
	if w < 0 || int(w) >= len(wordNames) {
		return ""
	}
	return wordNames[w]
}

// WordOf returns the word whose canonical name is given, or NoWord.
func WordOf(name string) Word {
	for i, n := range wordNames {
		if i > 0 && n == name {
			return Word(i)
		}
	}
	return NoWord
}

// Exact reports whether the whole message is the word, whatever its case, the
// space around and between its words, and one trailing full stop. Nothing else
// is forgiven: no question mark, no negation, no other word, no wrong letter,
// no emoji. It is what safety acknowledgements are checked with.
func Exact(text, word string) bool {
	text = strings.TrimSpace(text)
	text = strings.TrimSpace(strings.TrimSuffix(text, "."))
	if word == "" || isASCII(word) && !isASCII(text) {
		return false // a letter that only folds to the right one is not it
	}
	a, b := strings.Fields(norm.NFC.String(text)), strings.Fields(norm.NFC.String(word))
	if len(a) != len(b) || len(a) == 0 {
		return false
	}
	for i := range a {
		if !strings.EqualFold(a[i], b[i]) {
			return false
		}
	}
	return true
}

func isASCII(s string) bool {
	for i := 0; i < len(s); i++ {
		if s[i] >= utf8.RuneSelf {
			return false
		}
	}
	return true
}
