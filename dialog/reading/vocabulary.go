package reading

import "strings"

// Vocabulary is words and phrases that fit a moment, made ready to be compared
// with messages: canonical names (Word.String), which every language's own words
// lead to, and any others, such as the choices just offered or the names of
// jobs. It does not change.
type Vocabulary struct {
	words   []string
	plain   []string          // of each, as a message is folded
	forms   map[string]string // folded, also as written without ä, ö and ü → the first that is written so
	entries map[string]bool
}

// NewVocabulary returns the vocabulary of those words.
func NewVocabulary(words ...string) *Vocabulary {
	v := &Vocabulary{words: words, plain: make([]string, len(words)),
		forms: make(map[string]string, len(words)), entries: make(map[string]bool, len(words))}
	for i, w := range words {
		v.plain[i] = plain(w)
		v.entries[w] = true
		v.add(v.plain[i], w)
		if !isASCII(w) {
			v.add(plain(wide(w)), w)
		}
	}
	return v
}

func (v *Vocabulary) add(form, word string) {
	if v.forms[form] == "" {
		v.forms[form] = word
	}
}

// plain folds a word as split folds a message.
func plain(word string) string {
	return strings.Map(func(r rune) rune {
		if r == '-' || r == '_' {
			return ' '
		}
		return r
	}, Fold(word))
}
