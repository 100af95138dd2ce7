package reading

import (
	"bytes"
	"cmp"
	"embed"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"path"
	"slices"
	"strings"
)

// The tables of the languages, one file each. Adding a language is adding one.
//
//go:embed lang/*.json
var langFiles embed.FS

// languages holds the tables. It is filled once, before main, and never
// changes.
var languages = mustLoad()

// table is one language, ready for use.
type table struct {
	lang     Lang
	point    byte             // the decimal sign that is never a grouping sign
	compound bool             // number words are written together: dreiundzwanzig
	onesLead bool             // ones before tens: drei und zwanzig
	inchThou bool             // a person of millimetres who says thousandths may mean inches
	interval string           // how a range is written
	inch     string           // how inches are written
	thou     string           // how thousandths of an inch are written; "" for decimals of an inch
	words    *node            // phrases by word
	pieces   map[byte][]piece // by first letter, longest first: "dreizehn" is not "drei" and "zehn"
	commands commands
	spelt    map[byte][]spelling // single words, by first letter
}

// node is one word of a phrase: what the phrase means if it ends here, and how
// it may go on.
type node struct {
	meaning meaning
	next    map[string]*node
}

// meaning is what a word or phrase is to the grammar.
type meaning struct {
	val  float64
	homo float64 // the number that it may be by its sound; NaN if none
	kind kind
	unit unit
	weak bool // a unit or a sign only right after a number: "in", "m", "hi"
}

// file is the form of a language file. Every list is required to be there,
// though it may be empty.
type file struct {
	Language          Lang                `json:"language"`
	Note              string              `json:"note"`
	Decimal           string              `json:"decimal"`
	Compound          bool                `json:"compound"`
	OnesBeforeTens    bool                `json:"ones_before_tens"`
	Numbers           map[string]float64  `json:"numbers"`
	AndAHalf          map[string]float64  `json:"and_a_half"`
	Homophones        map[string]float64  `json:"homophones"`
	Articles          []string            `json:"articles"`
	Binary            map[string]float64  `json:"binary"`
	Decimals          map[string]float64  `json:"decimals"`
	ThousandthsOfInch bool                `json:"thousandths_of_inch"`
	Units             map[string][]string `json:"units"`
	NeedNumber        []string            `json:"need_a_number"`
	Words             map[string][]string `json:"words"`
	Interval          string              `json:"interval"`
	Written           map[string]string   `json:"written"`
	Polite            []string            `json:"polite"`
	NotTypos          []string            `json:"not_typos"`
	Commands          map[string][]string `json:"commands"`
}

// classes are the keys of "words" in a language file.
var classes = map[string]kind{
	"point": kPoint, "double": kDouble, "and": kAnd, "of": kOf, "by": kBy, "to": kTo, "between": kBetween, "or": kOr,
	"ordinal": kOrdinal, "plus": kPlus, "minus": kMinusWord, "plus or minus": kPlusMinus, "positive": kPos,
	"negative": kNeg, "positive or more": kPosMore, "negative or less": kNegLess, "zero": kZero, "dead on": kDeadOn,
	"goes": kGoes, "does not go": kNoGo, "none goes": kNoneGoes, "next": kNext, "not": kNot, "no": kNo, "loose": kLoose,
	"snug": kSnug, "tight": kTight, "largest": kLargest, "touching": kTouching, "gap": kGap, "less than": kLess,
	"more than": kMore, "vague": kVague, "pair": kPair, "dozen": kDozen, "correction": kCorrection, "noun": kNoun,
	"filler": kFiller, "is": kFiller, "yes": kFiller, "tried": kFiller, "dimension": kDimension, "smallest": kSmallest,
}

// Fillers that mean something in a place of their own.
const (
	isWord    = 1 + iota // may stand between the number of a point and its value
	yesWord              // says of a feeler leaf that it goes
	triedWord            // tells of a leaf, but not whether it goes
)

// symbols are the unit symbols that are the same in every language (SI
// Brochure, 9th edition, tables 2, 4, 7 and 8; in for the inch of 25.4 mm).
var symbols = map[string]unit{"mm": uMM, "cm": uCM, "m": uM, "um": uMicron, "µm": uMicron, "in": uInch}

func mustLoad() map[Lang]*table {
	entries, err := langFiles.ReadDir("lang")
	if err != nil {
		panic(err)
	}
	all := make(map[Lang]*table, len(entries))
	for _, e := range entries {
		data, err := langFiles.ReadFile(path.Join("lang", e.Name()))
		if err != nil {
			panic(err)
		}
		t, err := load(data)
		if err != nil {
			panic(fmt.Sprintf("reading: language file %s: %v", e.Name(), err))
		}
		all[t.lang] = t
	}
	return all
}

// load builds a table and refuses a file that contradicts itself.
func load(data []byte) (*table, error) {
	var f file
	dec := json.NewDecoder(bytes.NewReader(data))
	dec.DisallowUnknownFields()
	if err := dec.Decode(&f); err != nil {
		return nil, err
	}
	if len(f.Decimal) != 1 || f.Language == "" || strings.Count(f.Interval, "%s") != 2 || f.Written["in"] == "" {
		return nil, fmt.Errorf("language, decimal, interval and written are needed: %q, %q, %q, %q", f.Language, f.Decimal, f.Interval, f.Written)
	}
	t := &table{lang: f.Language, point: f.Decimal[0], compound: f.Compound, onesLead: f.OnesBeforeTens,
		inchThou: f.ThousandthsOfInch, interval: f.Interval, inch: f.Written["in"], thou: f.Written["thou"], words: &node{}, pieces: map[byte][]piece{}}
	b := builder{t: t}
	b.numbers(&f)
	b.units(&f)
	for class, list := range f.Words {
		k, ok := classes[class]
		if !ok {
			return nil, fmt.Errorf("%q is not a class of words", class)
		}
		for _, w := range list {
			m := meaning{kind: k, weak: slices.Contains(f.NeedNumber, w)}
			switch class {
			case "is":
				m.val = isWord
			case "yes":
				m.val = yesWord
			case "tried":
				m.val = triedWord
			}
			b.add(w, m)
		}
	}
	for class := range classes {
		if _, ok := f.Words[class]; !ok {
			return nil, fmt.Errorf("the class of words %q is missing", class)
		}
	}
	for w, v := range f.Homophones {
		b.sound(w, v)
	}
	if b.err != nil {
		return nil, b.err
	}
	t.spelt = t.spellings()
	var err error
	t.commands, err = loadCommands(&f)
	return t, err
}

// builder adds phrases to a table and keeps every contradiction.
type builder struct {
	t   *table
	err error
}

func (b *builder) numbers(f *file) {
	for w, v := range f.Numbers {
		b.add(w, meaning{kind: kCard, val: v})
		b.piece(w, meaning{kind: kCard, val: v})
	}
	for w, v := range f.AndAHalf {
		b.add(w, meaning{kind: kHalfWord, val: v})
		b.piece(w, meaning{kind: kHalfWord, val: v})
	}
	for _, w := range f.Articles {
		b.add(w, meaning{kind: kArticle, val: 1})
		if f.Compound {
			b.piece(w, meaning{kind: kCard, val: 1})
		}
	}
	for w, v := range f.Binary {
		b.add(w, meaning{kind: kBinary, val: v})
	}
	for w, v := range f.Decimals {
		b.add(w, meaning{kind: kDecimal, val: v})
		b.piece(w, meaning{kind: kDecimal, val: v})
	}
	if f.Compound {
		for class, k := range map[string]kind{"and": kAnd, "point": kPoint} {
			for _, w := range f.Words[class] {
				b.piece(w, meaning{kind: k})
			}
		}
	}
}

func (b *builder) units(f *file) {
	weak := map[string]bool{}
	for _, s := range f.NeedNumber {
		weak[s] = true
	}
	for s, u := range symbols {
		b.add(s, meaning{kind: kUnit, unit: u, weak: weak[s]})
	}
	for name, list := range f.Units {
		u, ok := unitNames[name]
		if !ok {
			b.fail("%q is not a unit", name)
			return
		}
		for _, w := range list {
			b.add(w, meaning{kind: kUnit, unit: u, weak: weak[w]})
			if f.Compound && len(w) > 3 { // Hundertstelmillimeter
				b.piece(w, meaning{kind: kUnit, unit: u})
			}
		}
	}
}

func (b *builder) fail(format string, args ...any) {
	b.err = errors.Join(b.err, fmt.Errorf(format, args...))
}

// add enters a phrase under each of its spellings.
func (b *builder) add(phrase string, m meaning) {
	m.homo = math.NaN()
	for _, s := range Spellings(phrase) {
		n := b.t.words
		for _, w := range strings.Fields(s) {
			if n.next == nil {
				n.next = map[string]*node{}
			}
			if n.next[w] == nil {
				n.next[w] = &node{meaning: meaning{homo: math.NaN()}}
			}
			n = n.next[w]
		}
		if old := n.meaning; old.kind != kUnknown && (old.kind != m.kind || old.val != m.val || old.unit != m.unit) {
			b.fail("%q has two meanings (%v and %v)", phrase, old, m)
		}
		n.meaning = m
	}
}

// sound marks a word as one that dictation writes for a number.
func (b *builder) sound(w string, v float64) {
	n := b.t.words.next[w]
	if n == nil {
		b.add(w, meaning{kind: kUnknown})
		n = b.t.words.next[w]
	}
	n.meaning.homo = v
}

// piece marks a word that may be a part of a longer one.
func (b *builder) piece(w string, m meaning) {
	for _, s := range Spellings(w) {
		list := append(b.t.pieces[s[0]], piece{text: s, kind: m.kind, val: m.val, unit: m.unit})
		slices.SortFunc(list, func(a, b piece) int { return cmp.Or(len(b.text)-len(a.text), strings.Compare(a.text, b.text)) })
		b.t.pieces[s[0]] = list
	}
}

// Spellings returns the phrase as Fold folds it, with a space for a hyphen, and
// once more with ae, oe and ue for umlauts where it has some.
func Spellings(phrase string) []string {
	plain := strings.Join(strings.Fields(strings.ReplaceAll(string(fold(nil, phrase)), "-", " ")), " ")
	if w := wide(phrase); w != phrase {
		return []string{plain, string(fold(nil, w))}
	}
	return []string{plain}
}

// wide writes ä, ö and ü as those do whose keyboard has none.
func wide(s string) string { return umlauts.Replace(s) }

var umlauts = strings.NewReplacer("ä", "ae", "ö", "oe", "ü", "ue", "Ä", "Ae", "Ö", "Oe", "Ü", "Ue")

// Has reports whether a language has tables of its own.
func Has(l Lang) bool { return languages[l] != nil }

// tableOf returns the table of a language ("de-AT" is "de"), English for an
// unknown one.
func tableOf(l Lang) *table {
	if t, ok := languages[l]; ok {
		return t
	}
	if i := strings.IndexAny(string(l), "-_"); i > 0 {
		if t, ok := languages[l[:i]]; ok {
			return t
		}
	}
	return languages["en"]
}
