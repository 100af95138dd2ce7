package reading

// minNear is the shortest word that a wrong letter is forgiven in. In shorter
// ones only swapped and doubled letters are: "six" is not "fix".
const minNear = 4

// near finds the one command that is a slip of the finger away.
func (c *commander) near(m message) (word, rest string) {
	if word := c.nearest(m, len(m.words)); word != "" {
		return word, ""
	}
	if n := len(m.words) - 1; n > 0 { // "fxi 3"
		word := c.nearest(m, n)
		if word == "" {
			return "", ""
		}
		if w := WordOf(word); w == Fix || w == Units {
			if rest, ok := c.rest(word, m, n); ok {
				return word, rest
			}
		}
	}
	return "", ""
}

// nearest returns the entry of the vocabulary that the first n words are one edit from,
// if it is the only one, and if they are not something else in their own right.
func (c *commander) nearest(m message, n int) string {
	phrase := m.phrase(0, n)
	if len(phrase) > 40 || c.t.commands.notTypos[phrase] || c.known(m, n) || c.t.commands.phrases[phrase] != "" {
		return ""
	}
	found := ""
	try := func(entry, phrase2 string) bool {
		if !oneEdit(phrase, phrase2) || reserved(entry) {
			return true
		}
		if found != "" && found != entry {
			return false
		}
		found = entry
		return true
	}
	for _, v := range c.vocabularies {
		for i, w := range v.words {
			if !try(w, v.plain[i]) {
				return ""
			}
			for _, p := range c.t.commands.byName[w] {
				if !try(w, p) {
					return ""
				}
			}
		}
	}
	return found
}

// known reports whether the first n words are known to the reading grammar: a number
// is never taken for a misspelt command.
func (c *commander) known(m message, n int) bool {
	for i := range n {
		w := m.phrase(i, i+1)
		if n := c.t.words.next[w]; n == nil && !(w[0] >= '0' && w[0] <= '9') {
			return false
		}
	}
	return true
}

// oneEdit reports whether a and b differ by one letter that is wrong, missing
// or too many, or by two letters swapped. Digits are never part of it, and in
// words below minNear only a swap or a doubled letter is.
func oneEdit(a, b string) bool {
	switch editOf(a, b) {
	case noEdit, swapped, doubled:
		return true
	case wrong, extra:
		return len(b) >= minNear
	}
	return false
}

// edit is how two words differ.
type edit int

const (
	noEdit  edit = iota
	swapped      // two letters
	doubled      // a letter, in the longer one
	wrong        // one letter
	extra        // one letter, in the longer one
	far          // by more than that, or in a digit
)

func editOf(a, b string) edit {
	if a == b {
		return noEdit
	}
	short, long := a, b
	if len(a) > len(b) {
		short, long = b, a
	}
	if len(long)-len(short) > 1 || len(short) < 2 {
		return far
	}
	i := 0
	for i < len(short) && short[i] == long[i] {
		i++
	}
	if len(short) == len(long) {
		switch {
		case isDigit(rune(a[i])) || isDigit(rune(b[i])):
		case i+1 < len(a) && a[i] == b[i+1] && a[i+1] == b[i] && a[i+2:] == b[i+2:]:
			return swapped
		case a[i+1:] == b[i+1:]:
			return wrong
		}
		return far
	}
	switch more := long[i]; {
	case short[i:] != long[i+1:] || isDigit(rune(more)):
		return far
	case i > 0 && long[i-1] == more || i+1 < len(long) && long[i+1] == more:
		return doubled
	}
	return extra
}
