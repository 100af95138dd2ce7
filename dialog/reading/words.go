package reading

import "strings"

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

// Command finds the command that a message is. The vocabulary holds canonical
// names (Word.String), which every language's own words lead to, and any other
// word or phrase that fits the moment, such as the choices just offered or the
// names of jobs. word is an entry of the vocabulary, rest what follows it ("3"
// in "fix 3"). It is never used for a safety acknowledgement: see Exact.
func Command(text string, lang Lang, vocabulary []string) (word, rest string, ok bool) {
	s := strings.ToLower(strings.TrimSpace(text))
	for _, w := range vocabulary {
		if s == w {
			return w, "", true
		}
		if r, found := strings.CutPrefix(s, w+" "); found && w == Fix.String() {
			return w, r, true
		}
	}
	return "", "", false
}

// Exact reports whether the whole message is the word, whatever its case, the
// space around it and one trailing full stop. Nothing else is forgiven: it is
// what safety acknowledgements are checked with.
func Exact(text, word string) bool {
	s := strings.TrimSpace(text)
	s = strings.TrimSpace(strings.TrimSuffix(s, "."))
	return word != "" && strings.EqualFold(s, word)
}
