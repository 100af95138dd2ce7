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
	folded   string // the words, a space between them
	words    []word
	question bool
	thumb    bool
}

// word is where a word starts and ends in the text and in the folded text.
type word struct{ from, to, start, end int }

// phrase returns the words from i up to j, folded.
func (m *message) phrase(i, j int) string { return m.folded[m.words[i].start:m.words[j-1].end] }

// whole returns all the words, folded.
func (m *message) whole() string { return m.phrase(0, len(m.words)) }

// Typed is a text that was taken apart to be compared, once for all that it may
// be compared with.
type Typed struct {
	message
	ok bool // it may be a command at all
}

// Type takes a text apart.
func Type(text string) Typed {
	if len(text) > MaxCommand {
		return Typed{}
	}
	m, ok := split(text)
	return Typed{m, ok}
}

// Command finds the command that a message is. word is an entry of one of the
// vocabularies, the earlier one where several have it. rest is what follows it,
// for the commands that take something: a number as digits after fix, a unit
// after units, the rest of a question. Case, accents, punctuation, a trailing
// please and a thumb do not matter, and one slip of the finger is forgiven when
// only one command is that near and the text is no other word that is known
// here. Stop, start and help are taken only as the whole message, letter by
// letter. It is never used for a safety acknowledgement: see Exact.
func Command(text string, lang Lang, vocabularies ...*Vocabulary) (word, rest string, ok bool) {
	return Type(text).Command(lang, vocabularies...)
}

// Command is the function Command of the text.
func (typed Typed) Command(lang Lang, vocabularies ...*Vocabulary) (word, rest string, ok bool) {
	if !typed.ok {
		return "", "", false
	}
	m, t := typed.message, tableOf(lang)
	c := commander{t: t, vocabularies: vocabularies}
	if len(m.words) == 0 {
		return c.thumb(m)
	}
	if word := c.exact(m.whole()); word != "" {
		return word, "", !m.question || asks(word)
	}
	full, softened := m, false
	for c.soften(&m) {
		softened = true
		if word := c.exact(m.whole()); word != "" && !reserved(word) {
			return word, "", !m.question || asks(word)
		}
	}
	if word := c.afterYes(full); word != "" {
		return word, "", !m.question || asks(word)
	}
	if word := c.twice(full); word != "" {
		return word, "", !m.question
	}
	if word := c.led(full); word != "" {
		return word, "", !m.question
	}
	if word, rest := c.withRest(full); word != "" {
		return word, rest, true
	}
	if softened {
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
func Whole(text string, lang Lang, vocabularies ...*Vocabulary) (word, rest string, ok bool) {
	return Type(text).Whole(lang, vocabularies...)
}

// Whole is the function Whole of the text.
func (typed Typed) Whole(lang Lang, vocabularies ...*Vocabulary) (word, rest string, ok bool) {
	m := typed.message
	if !typed.ok || len(m.words) == 0 {
		return "", "", false
	}
	c := commander{t: tableOf(lang), vocabularies: vocabularies}
	if word := c.exact(m.whole()); word != "" {
		return word, "", !m.question || asks(word)
	}
	word, rest = c.withRest(m)
	return word, rest, word != ""
}

// split cuts a text into folded words. It refuses what Parse refuses unread,
// and signs that say no.
func split(text string) (m message, ok bool) {
	m.text = text
	var room [64]byte
	folded, start := room[:0], -1
	flush := func(end int) {
		if start < 0 {
			return
		}
		if len(m.words) == 0 {
			m.words = make([]word, 0, 8)
		} else {
			folded = append(folded, ' ')
		}
		w := word{from: start, to: end, start: len(folded)}
		folded = fold(folded, text[start:end])
		w.end, start = len(folded), -1
		m.words = append(m.words, w)
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
	m.folded = string(folded)
	return m, true
}

// commander holds what one call compares with.
type commander struct {
	t            *table
	vocabularies []*Vocabulary
}

// has returns the entry that is the given canonical name.
func (c *commander) has(name string) string {
	for _, v := range c.vocabularies {
		if v.entries[name] {
			return name
		}
	}
	return ""
}

// exact returns the entry that the whole phrase means.
func (c *commander) exact(phrase string) string {
	for _, v := range c.vocabularies {
		if entry := v.forms[phrase]; entry != "" {
			return entry
		}
	}
	return c.has(c.t.commands.phrases[phrase])
}

// soften drops one polite phrase from an end of the message.
func (c *commander) soften(m *message) bool {
	all := len(m.words)
	for n := min(3, all-1); n > 0; n-- {
		if c.t.commands.polite[m.phrase(all-n, all)] {
			m.text, m.words = m.text[:m.words[all-n].from], m.words[:all-n]
			return true
		}
		if c.t.commands.polite[m.phrase(0, n)] {
			m.words = m.words[n:]
			return true
		}
	}
	return false
}

// afterYes finds the command behind a yes that only leads up to it: "yep, all
// done". What is itself a yes, a no or an ok is not taken so.
func (c *commander) afterYes(m message) string {
	for n := 1; n < len(m.words) && n <= 2; n++ {
		if c.t.commands.phrases[m.phrase(0, n)] != Yes.String() {
			continue
		}
		rest := message{text: m.text, folded: m.folded, words: m.words[n:]}
		for ok := true; ok; ok = c.soften(&rest) {
			word := c.exact(rest.whole())
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

// twice finds a yes or no that is said in two ways or more: "yep yep", "yes,
// definitely". "Back back" may be two steps back.
func (c *commander) twice(m message) string {
	for n := 1; n < len(m.words) && n <= 3; n++ {
		word := c.exact(m.phrase(0, n))
		if w := WordOf(word); w != Yes && w != No {
			continue
		}
		rest := message{text: m.text, folded: m.folded, words: m.words[n:]}
		if c.exact(rest.whole()) == word || c.twice(rest) == word {
			return word
		}
	}
	return ""
}

// led finds the yes or no that leads, before a comma, what only bears it out: "no, none",
// "yes, 3". It is looked for where nothing else is asked.
func (c *commander) led(m message) string {
	if c.has(Yes.String()) == "" || c.has(No.String()) == "" || c.has(Done.String()) != "" {
		return ""
	}
	for n := 1; n < len(m.words) && n <= 3; n++ {
		word := c.exact(m.phrase(0, n))
		if w := WordOf(word); w != Yes && w != No || strings.TrimSpace(m.text[m.words[n-1].to:m.words[n].from]) == "" {
			continue
		}
		if bearsOut(m.text[m.words[n].from:], c.t) {
			return word
		}
	}
	return ""
}

// shown finds what is asked to be shown: "show me the history".
func (c *commander) shown(m message, n int) string {
	rest := message{text: m.text, folded: m.folded, words: m.words[n:]}
	for {
		if word := c.exact(rest.whole()); asks(word) && !reserved(word) {
			return word
		}
		if !c.soften(&rest) {
			return ""
		}
	}
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
		word := c.exact(m.phrase(0, n))
		if word == "" {
			continue
		}
		if WordOf(word) == Where {
			if shown := c.shown(m, n); shown != "" {
				return shown, ""
			}
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
		p := Parse(m.text[m.words[n-1].to:], Expect{Quantity: Count, Lang: c.t.lang, Min: 1, Max: 999})
		if p.Status != Taken {
			return "", false
		}
		return fmt.Sprint(int(p.Value.Low)), true
	case Units:
		last := len(m.words) - 1
		if u := c.t.words.next[m.phrase(last, last+1)]; u != nil && (u.meaning.unit == uMM || u.meaning.unit == uInch) && len(m.words)-n <= 2 {
			return strings.TrimSpace(strings.Trim(m.text[m.words[last].from:], ".!?, ")), true
		}
	case Where, Why, Which, HowFar:
		return strings.TrimSpace(m.text[m.words[n].from:]), true
	}
	return "", false
}
