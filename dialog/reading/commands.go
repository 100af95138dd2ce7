package reading

import (
	"errors"
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"
)

// commands is one language's words for what may be typed anywhere.
type commands struct {
	phrases  map[string]string   // folded phrase → canonical name
	polite   map[string]bool     // folded phrases that add nothing at either end
	notTypos map[string]bool     // words that are no misspelling of a command
	byName   map[string][]string // canonical name → phrases
}

func loadCommands(f *file) (commands, error) {
	c := commands{phrases: map[string]string{}, polite: map[string]bool{}, notTypos: map[string]bool{}, byName: map[string][]string{}}
	var err error
	for name, list := range f.Commands {
		if WordOf(name) == NoWord {
			err = errors.Join(err, fmt.Errorf("%q is not a command", name))
		}
		for _, phrase := range list {
			for _, s := range Spellings(phrase) {
				if old, ok := c.phrases[s]; ok && old != name {
					err = errors.Join(err, fmt.Errorf("%q means both %s and %s", phrase, old, name))
				}
				c.phrases[s] = name
				c.byName[name] = append(c.byName[name], s)
			}
		}
	}
	for i, name := range wordNames {
		if _, ok := f.Commands[name]; i > 0 && !ok {
			err = errors.Join(err, fmt.Errorf("the command %q is missing", name))
		}
	}
	for _, phrase := range f.Polite {
		c.polite[Spellings(phrase)[0]] = true
	}
	for _, w := range f.NotTypos {
		c.notTypos[Spellings(w)[0]] = true
	}
	return c, err
}

// MaxCommand is the longest message that Command looks at: a longer one is a
// story, not a command.
const MaxCommand = 120

// message is a text as Command compares it.
type message struct {
	text     string
	words    []string // folded
	from, to []int    // where each word starts and ends in text
	question bool
	thumb    bool
}

// Command finds the command that a message is. The vocabulary holds canonical
// names (Word.String), which every language's own words lead to, and any other
// word or phrase that fits the moment, such as the choices just offered or the
// names of jobs. word is an entry of the vocabulary. rest is what follows it,
// for the commands that take something: a number as digits after fix, a unit
// after units, the rest of a question. Case, accents, punctuation, a trailing
// please and a thumb do not matter, and one slip of the finger is forgiven when
// only one command is that near and the text is no other word that is known
// here. Stop, start and help are taken only as the whole message, letter by
// letter. It is never used for a safety acknowledgement: see Exact.
func Command(text string, lang Lang, vocabulary []string) (word, rest string, ok bool) {
	if len(text) > MaxCommand {
		return "", "", false
	}
	t := tableOf(lang)
	m, ok := split(text)
	if !ok {
		return "", "", false
	}
	c := commander{t: t, vocabulary: vocabulary}
	if len(m.words) == 0 {
		return c.thumb(m)
	}
	if word := c.exact(strings.Join(m.words, " ")); word != "" {
		return word, "", !m.question || asks(word)
	}
	full := m
	for c.soften(&m) {
		if word := c.exact(strings.Join(m.words, " ")); word != "" && !reserved(word) {
			return word, "", !m.question || asks(word)
		}
	}
	if word := c.afterYes(full); word != "" {
		return word, "", !m.question || asks(word)
	}
	for _, m := range []message{full, m} {
		if word, rest := c.withRest(m); word != "" {
			return word, rest, true
		}
	}
	if word, rest := c.near(m); word != "" && (!m.question || asks(word)) {
		return word, rest, true
	}
	return "", "", false
}

// Whole is Command without forgiveness: the whole text is the command, in any of
// the language's words for it, with nothing polite around it and no letter wrong.
// It tells a command from a name that resembles one.
func Whole(text string, lang Lang, vocabulary []string) (word, rest string, ok bool) {
	if len(text) > MaxCommand {
		return "", "", false
	}
	m, ok := split(text)
	if !ok || len(m.words) == 0 {
		return "", "", false
	}
	c := commander{t: tableOf(lang), vocabulary: vocabulary}
	if word := c.exact(strings.Join(m.words, " ")); word != "" {
		return word, "", !m.question || asks(word)
	}
	word, rest = c.withRest(m)
	return word, rest, word != ""
}

// split cuts a text into folded words. It refuses what Parse refuses unread,
// and signs that say no.
func split(text string) (m message, ok bool) {
	m.text = text
	var buf []byte
	start := -1
	flush := func(end int) {
		if start >= 0 {
			buf = fold(buf[:0], text[start:end])
			m.words, m.from, m.to = append(m.words, string(buf)), append(m.from, start), append(m.to, end)
			start = -1
		}
	}
	for i := 0; i < len(text); {
		r, n := utf8.DecodeRuneInString(text[i:])
		switch {
		case unicode.IsSpace(r):
			flush(i)
		case notPlain(r, n), strings.ContainsRune(shaking, r):
			return m, false
		case unicode.IsLetter(r), isDigit(r), unicode.Is(unicode.Mn, r) && start >= 0:
			if start < 0 {
				start = i
			}
		case (r == '\'' || r == '’') && start >= 0:
		default:
			flush(i)
			m.question = m.question || r == '?'
			m.thumb = m.thumb || r == '👍'
			if r == '+' || r == '=' || r == '±' || r == '°' || r == '"' {
				return m, false // a reading
			}
		}
		i += n
	}
	flush(len(text))
	return m, true
}

// commander holds what one call compares with.
type commander struct {
	t          *table
	vocabulary []string
}

// has returns the entry of the vocabulary that is the given canonical name.
func (c *commander) has(name string) string {
	for _, v := range c.vocabulary {
		if v == name {
			return v
		}
	}
	return ""
}

// exact returns the entry that the whole phrase means.
func (c *commander) exact(phrase string) string {
	var buf [64]byte
	for _, v := range c.vocabulary {
		if string(plain(buf[:0], v)) == phrase || !isASCII(v) && string(plain(buf[:0], wide(v))) == phrase {
			return v
		}
	}
	return c.has(c.t.commands.phrases[phrase])
}

// plain folds a vocabulary entry as split folds a message.
func plain(b []byte, v string) []byte {
	b = fold(b, v)
	for i, x := range b {
		if x == '-' || x == '_' {
			b[i] = ' '
		}
	}
	return b
}

// soften drops one polite phrase from an end of the message.
func (c *commander) soften(m *message) bool {
	for n := min(3, len(m.words)-1); n > 0; n-- {
		if last := len(m.words) - n; c.t.commands.polite[strings.Join(m.words[last:], " ")] {
			m.text = m.text[:m.from[last]]
			m.words, m.from, m.to = m.words[:last], m.from[:last], m.to[:last]
			return true
		}
		if c.t.commands.polite[strings.Join(m.words[:n], " ")] {
			m.words, m.from, m.to = m.words[n:], m.from[n:], m.to[n:]
			return true
		}
	}
	return false
}

// afterYes finds the command behind a yes that only leads up to it: "yep, all
// done". What is itself a yes, a no or an ok is not taken so.
func (c *commander) afterYes(m message) string {
	for n := 1; n < len(m.words) && n <= 2; n++ {
		if c.t.commands.phrases[strings.Join(m.words[:n], " ")] != Yes.String() {
			continue
		}
		rest := message{text: m.text, words: m.words[n:], from: m.from[n:], to: m.to[n:]}
		for ok := true; ok; ok = c.soften(&rest) {
			word := c.exact(strings.Join(rest.words, " "))
			switch w := WordOf(word); {
			case w == Yes, w == No, w == OK, reserved(word):
				return ""
			case w != NoWord:
				return word
			}
		}
	}
	return ""
}

// thumb takes a thumb alone for the one of ok, yes and done that fits.
func (c *commander) thumb(m message) (string, string, bool) {
	word, n := "", 0
	for _, w := range [...]Word{OK, Yes, Done} {
		if v := c.has(w.String()); v != "" {
			word = v
			n++
		}
	}
	return word, "", m.thumb && n == 1
}

// asks says which commands may be put as a question.
func asks(name string) bool {
	switch WordOf(name) {
	case Where, Why, Which, HowFar, Due, History, Menu, Help:
		return true
	}
	return false
}

// reserved are the words of telephone networks.
func reserved(name string) bool {
	switch WordOf(name) {
	case Stop, Start, Help:
		return true
	}
	return false
}

// withRest finds a command at the start that takes something after it.
func (c *commander) withRest(m message) (word, rest string) {
	for n := len(m.words) - 1; n > 0; n-- {
		word := c.exact(strings.Join(m.words[:n], " "))
		if word == "" {
			continue
		}
		if rest, ok := c.rest(word, m, n); ok {
			return word, rest
		}
	}
	return "", ""
}

// rest returns what follows the first n words if the command takes it.
func (c *commander) rest(word string, m message, n int) (string, bool) {
	switch WordOf(word) {
	case Fix:
		p := Parse(m.text[m.to[n-1]:], Expect{Quantity: Count, Lang: c.t.lang, Min: 1, Max: 999})
		if p.Status != Taken {
			return "", false
		}
		return fmt.Sprint(int(p.Value.Low)), true
	case Units:
		last := m.words[len(m.words)-1]
		if u := c.t.words.next[last]; u != nil && (u.meaning.unit == uMM || u.meaning.unit == uInch) && len(m.words)-n <= 2 {
			return strings.TrimSpace(strings.Trim(m.text[m.from[len(m.words)-1]:], ".!?, ")), true
		}
	case Where, Why, Which, HowFar:
		return strings.TrimSpace(m.text[m.from[n]:]), true
	}
	return "", false
}
