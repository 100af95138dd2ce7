package wording

import (
	"embed"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"
	"sync"

	"github.com/BurntSushi/toml"
	"github.com/nicksnyder/go-i18n/v2/i18n"
	"golang.org/x/text/language"

	"shimwright/calc"
	"shimwright/dialog/reading"
)

//go:embed *.toml
var files embed.FS

// defaultLanguage is spoken to people who have not chosen one.
const defaultLanguage = "en"

// Languages returns the languages that have a catalogue, the default first. A
// catalogue beside this file is all that a language needs here.
func Languages() []string { return slices.Clone(load().languages) }

// Accepted returns the language that suits a list of languages best, as HTTP's
// Accept-Language has it (RFC 9110, section 12.5.4), or "" when none does.
func Accepted(list string) string {
	tags, _, err := language.ParseAcceptLanguage(list)
	if err != nil || len(tags) == 0 {
		return ""
	}
	_, i, sure := load().matcher.Match(tags...)
	if sure == language.No {
		return ""
	}
	return load().languages[i]
}

// Named returns the language that a word names, in whatever language.
func Named(word string) (lang string, ok bool) {
	for _, l := range load().languages {
		if which(load().forms[l]["language.names"], word) >= 0 {
			return l, true
		}
	}
	return "", false
}

// book is every catalogue, read once. Most texts are plain, or have nothing but
// arguments in them; those are worded here, twenty times as fast as through a
// template. Conditions and plural forms go through go-i18n.
type book struct {
	languages []string // the default first
	matcher   language.Matcher
	local     map[string]*i18n.Localizer
	bundle    *i18n.Bundle

	plain   map[string]map[string][]string   // language, id → text, argument, text …
	phrases map[string]map[string][]string   // language, id → alternatives
	forms   map[string]map[string][][]string // of those that people type, as compared
}

// load reads the catalogues; a fault in one is a mistake in the program.
var load = sync.OnceValue(func() *book {
	b := &book{bundle: i18n.NewBundle(language.English), local: map[string]*i18n.Localizer{}, plain: map[string]map[string][]string{}, phrases: map[string]map[string][]string{}, forms: map[string]map[string][][]string{}}
	b.bundle.RegisterUnmarshalFunc("toml", toml.Unmarshal)
	b.languages = catalogues()
	var tags []language.Tag
	for _, l := range b.languages {
		tags = append(tags, language.MustParse(l))
		f, err := b.bundle.LoadMessageFileFS(files, l+".toml")
		if err != nil {
			panic("wording: " + l + ".toml: " + err.Error())
		}
		b.plain[l], b.phrases[l], b.forms[l] = map[string][]string{}, map[string][]string{}, map[string][][]string{}
		for _, m := range f.Messages {
			if parts, ok := split(m.Other); ok && m.One == "" {
				b.plain[l][m.ID] = parts
			}
			b.phrases[l][m.ID] = strings.Split(m.Other, "|")
			if strings.HasPrefix(m.ID, "words.") || m.ID == "language.names" {
				b.forms[l][m.ID] = spelled(b.phrases[l][m.ID])
			}
		}
	}
	for _, l := range b.languages {
		b.local[l] = i18n.NewLocalizer(b.bundle, l)
	}
	b.matcher = language.NewMatcher(tags)
	return b
})

// catalogues lists the languages of the files, the default first. What is said
// in a language must be understood in it too.
func catalogues() []string {
	entries, err := files.ReadDir(".")
	if err != nil {
		panic(err)
	}
	list := []string{defaultLanguage}
	for _, e := range entries {
		l := strings.TrimSuffix(e.Name(), ".toml")
		if !reading.Has(reading.Lang(l)) {
			panic("wording: " + e.Name() + " is a catalogue of a language without a grammar: dialog/reading/lang/" + l + ".json is missing")
		}
		if l != defaultLanguage {
			list = append(list, l)
		}
	}
	return list
}

var field = regexp.MustCompile(`\{\{\.([A-Z][A-Za-z0-9]*)\}\}`)

// split parts a text into what stands between its arguments and their names,
// in turn. ok is false when it holds anything else.
func split(s string) (parts []string, ok bool) {
	at := 0
	for _, m := range field.FindAllStringSubmatchIndex(s, -1) {
		parts = append(parts, s[at:m[0]], s[m[2]:m[3]])
		at = m[1]
	}
	parts = append(parts, s[at:])
	for i := 0; i < len(parts); i += 2 {
		if strings.Contains(parts[i], "{{") {
			return nil, false
		}
	}
	return parts, true
}

// Voice words texts in one language and unit. Make one for a message and use
// it by one goroutine.
type Voice struct {
	lang  reading.Lang
	unit  reading.Unit
	local *i18n.Localizer
}

// NewVoice returns the voice for a language ("" and unknown ones mean the
// default) and a unit of length.
func NewVoice(lang string, unit reading.Unit) *Voice {
	known := defaultLanguage
	if slices.Contains(load().languages, lang) {
		known = lang
	}
	return &Voice{lang: reading.Lang(known), unit: unit, local: load().local[known]}
}

// Lang returns the language of the voice.
func (v *Voice) Lang() reading.Lang { return v.lang }

// Unit returns the unit of length of the voice.
func (v *Voice) Unit() reading.Unit { return v.unit }

// Say words a text. An unknown id or a missing argument is a mistake in the
// program: it panics, and a test renders every text of every language.
func (v *Voice) Say(t Text) string {
	switch t.ID {
	case "":
		return ""
	case "raw":
		return fmt.Sprint(t.Args[1])
	}
	if parts, ok := load().plain[string(v.lang)][t.ID]; ok {
		return v.fill(t, parts)
	}
	data := make(map[string]any, len(t.Args)/2)
	var count any
	for i := 0; i+1 < len(t.Args); i += 2 {
		name := t.Args[i].(string)
		if n, ok := t.Args[i+1].(int); ok && name == "Count" {
			count = n
		}
		data[name] = v.word(t.Args[i+1])
	}
	s, err := v.local.Localize(&i18n.LocalizeConfig{MessageID: t.ID, TemplateData: data, PluralCount: count})
	if err != nil {
		panic("wording: " + t.ID + ": " + err.Error())
	}
	if strings.Contains(s, "<no value>") {
		panic("wording: " + t.ID + ": an argument is missing in " + s)
	}
	return strings.TrimSpace(s)
}

// Phrases returns the alternatives that an entry lists, parted by "|".
func (v *Voice) Phrases(id string) []string { return load().phrases[string(v.lang)][id] }

// fill puts the arguments between the parts of a text.
func (v *Voice) fill(t Text, parts []string) string {
	if len(parts) == 1 {
		return parts[0]
	}
	var b strings.Builder
	for i, p := range parts {
		if i%2 == 0 {
			b.WriteString(p)
			continue
		}
		found := false
		for j := 0; j+1 < len(t.Args) && !found; j += 2 {
			if found = t.Args[j] == p; found {
				fmt.Fprint(&b, v.word(t.Args[j+1]))
			}
		}
		if !found {
			panic("wording: " + t.ID + ": the argument " + p + " is missing")
		}
	}
	return strings.TrimSpace(b.String())
}

// word turns one argument into what the template prints.
func (v *Voice) word(a any) any {
	switch a := a.(type) {
	case Text:
		return v.Say(a)
	case List:
		return v.join(a, "list.and")
	case Either:
		return v.join(a, "list.or")
	case Lines:
		return strings.Join(v.each(a), "\n")
	case Size:
		return v.size(a)
	case Span:
		return v.span(a)
	case Number:
		return reading.Format(float64(a), reading.Number, reading.None, v.lang, 0)
	case Tilt:
		s := reading.Format(float64(a.Value), reading.Angle, reading.Degree, v.lang, tiltStep(a))
		return plus(s, a.Signed && a.Value > 0)
	}
	return a
}

// each words what says something.
func (v *Voice) each(texts []Text) []string {
	parts := make([]string, 0, len(texts))
	for _, t := range texts {
		if s := v.Say(t); s != "" {
			parts = append(parts, s)
		}
	}
	return parts
}

// join words a list with the word that stands before its last part.
func (v *Voice) join(texts []Text, last string) string {
	parts := v.each(texts)
	if len(parts) < 2 {
		return strings.Join(parts, "")
	}
	return strings.Join(parts[:len(parts)-1], ", ") + " " + v.Say(T(last)) + " " + parts[len(parts)-1]
}

// size shows a length: mm to the tool's resolution, inches in thousandths; a
// dimension in whole millimetres or in inches to a sixteenth.
func (v *Voice) size(s Size) string {
	if step := calc.Length(v.stepOf(s)); s.Least && s.Value.Abs() < step/2 {
		return v.Say(T("size.under", "Size", Size{Value: step, Resolution: s.Resolution}))
	}
	out := reading.FormatBeside(float64(s.Value), float64(s.Beside), reading.Length, v.unit, v.lang, v.stepOf(s))
	return plus(out, s.Signed && s.Value > 0)
}

// plus writes a plus before a number, unless nothing of it is left to show.
func plus(s string, positive bool) string {
	if positive && strings.ContainsAny(s, "123456789") {
		return "+" + s
	}
	return s
}

// stepOf returns the step to which a length is shown.
func (v *Voice) stepOf(s Size) float64 {
	res := float64(s.Resolution)
	switch inch := v.unit == reading.Inch; {
	case s.Coarse && inch:
		res = 25.4 / 16
	case s.Coarse:
		res = 1
	case res == 0 && inch:
		res = 0.0127
	case res == 0:
		res = 0.01
	}
	if s.Given {
		return v.Given(float64(s.Value), v.Step(res))
	}
	return v.Step(res)
}

// span shows a range to the step of its first end.
func (v *Voice) span(s Span) string {
	switch low := s.Low.(type) {
	case Size:
		high := s.High.(Size)
		return reading.FormatValue(reading.Value{Low: float64(low.Value), High: float64(high.Value)}, reading.Length, v.unit, v.lang, v.stepOf(low))
	case Tilt:
		high := s.High.(Tilt)
		return reading.FormatValue(reading.Value{Low: float64(low.Value), High: float64(high.Value)}, reading.Angle, reading.Degree, v.lang, tiltStep(low))
	}
	panic("wording: a span of what is neither a size nor a tilt")
}

// tiltStep returns the step in rad to which an angle is shown.
func tiltStep(t Tilt) float64 { return float64(calc.Degree) * pow10(-t.Decimals) }

// steps are what lengths are rounded to: decimal in mm; in inches decimal
// thousandths, above those fractions. Ascending, in mm.
var (
	stepsMM   = [...]float64{0.001, 0.005, 0.01, 0.05, 0.1, 0.5, 1}
	stepsInch = [...]float64{0.05 * 0.0254, 0.1 * 0.0254, 0.5 * 0.0254, 0.0254, 5 * 0.0254, 25.4 / 64, 25.4 / 32, 25.4 / 16}
)

// Step returns the step in mm to which a length is shown that a tool of that
// resolution (mm) has read: the tool may be graduated in the other unit. 0 stays
// 0, the usual step.
func (v *Voice) Step(resolution float64) float64 {
	steps := stepsMM[:]
	if v.unit == reading.Inch {
		steps = stepsInch[:]
	}
	step := 0.0
	for _, s := range steps {
		if resolution > 0 && (step == 0 || s <= 1.3*resolution) {
			step = s
		}
	}
	return step
}

// Holds returns the coarsest step in mm in which a length is shown as it is, the
// finest where there is none.
func (v *Voice) Holds(l float64) float64 {
	steps := stepsMM[:]
	if v.unit == reading.Inch {
		steps = stepsInch[:]
	}
	for _, s := range slices.Backward(steps) {
		if n := l / s; math.Abs(n-math.Round(n)) < 1e-6 {
			return s
		}
	}
	return steps[0]
}

// finestGiven is how fine a dimension is said back, mm: a twentieth of a
// millimetre or a thousandth of an inch. What is finer comes of the other unit.
const finestGiven = 0.02

// Given returns the step in mm in which a dimension is said back: that of the
// tool, or a finer one where it was given finer.
func (v *Voice) Given(l, step float64) float64 {
	if s := v.Holds(l); s >= finestGiven {
		return min(s, step)
	}
	return step
}

func pow10(n int) float64 {
	f := 1.0
	for ; n < 0; n++ {
		f /= 10
	}
	for ; n > 0; n-- {
		f *= 10
	}
	return f
}
