package wording

import (
	"slices"
	"strings"

	"shimwright/dialog/reading"
)

// What people type is compared with the words of the catalogue without regard
// to case and accents. An entry lists alternatives, parted by "|"; an
// alternative may have several forms, parted by "/": "day/days|week/weeks".

// spelled returns the forms of each alternative as they are compared.
func spelled(alternatives []string) [][]string {
	out := make([][]string, len(alternatives))
	for i, a := range alternatives {
		for form := range strings.SplitSeq(a, "/") {
			out[i] = append(out[i], reading.Spellings(form)...)
		}
	}
	return out
}

// Forms returns the forms of each alternative that an entry lists, folded as
// reading.Fold folds what was typed.
func (v *Voice) Forms(id string) [][]string { return load().forms[string(v.lang)][id] }

// Is returns which alternative of an entry a text is, or -1.
func (v *Voice) Is(id, text string) int { return which(v.Forms(id), text) }

func which(alternatives [][]string, text string) int {
	text = reading.Fold(strings.TrimSpace(text))
	return slices.IndexFunc(alternatives, func(forms []string) bool { return slices.Contains(forms, text) })
}

// Starts returns which alternative of an entry folded words begin with, the
// longest where several do, and how many words it has: 0 where none does.
func (v *Voice) Starts(id string, words []string) (alternative, n int) {
	return v.longest(id, func(k int) []string { return words[:k] }, len(words))
}

// Ends is Starts for the end of the words.
func (v *Voice) Ends(id string, words []string) (alternative, n int) {
	return v.longest(id, func(k int) []string { return words[len(words)-k:] }, len(words))
}

// Begins returns how many of some folded words an alternative of an entry has, in
// whatever language they begin with the longest of them.
func Begins(id string, words []string) (n int) {
	for _, l := range load().languages {
		_, k := longest(load().forms[l][id], func(k int) []string { return words[:k] }, len(words))
		n = max(n, k)
	}
	return n
}

func (v *Voice) longest(id string, part func(n int) []string, most int) (alternative, n int) {
	return longest(v.Forms(id), part, most)
}

func longest(alternatives [][]string, part func(n int) []string, most int) (alternative, n int) {
	for i, forms := range alternatives {
		for _, f := range forms {
			if k := strings.Count(f, " ") + 1; k > n && k <= most && equal(part(k), f) {
				alternative, n = i, k
			}
		}
	}
	return alternative, n
}

// equal reports whether the words are the phrase.
func equal(words []string, phrase string) bool {
	for i, w := range words {
		rest, ok := strings.CutPrefix(phrase, w)
		if !ok || i < len(words)-1 && !strings.HasPrefix(rest, " ") {
			return false
		}
		phrase = strings.TrimPrefix(rest, " ")
	}
	return phrase == ""
}
