package dialog_test

import (
	"maps"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"shimwright/calc"
	"shimwright/dialog"
	"shimwright/dialog/reading"
	"shimwright/dialog/wording"
)

// eachTurn plays every conversation as over a telephone network and calls f
// after each message.
func eachTurn(t *testing.T, f func(file, said string, sh *shop)) {
	t.Helper()
	files, err := filepath.Glob("../testdata/conversations/*.txt")
	if err != nil || len(files) == 0 {
		t.Fatalf("no conversations: %v", err)
	}
	for _, name := range files {
		script, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		sh := newShop()
		sh.view.Limits = dialog.Limits{Segment: 160, Plain: true, OneMove: true}
		for line := range strings.Lines(string(script)) {
			line = strings.TrimRight(line, "\n")
			if d, ok := strings.CutPrefix(line, "@ "); ok {
				sh.stage(d)
			}
			if text, ok := strings.CutPrefix(line, "> "); ok {
				sh.say(text)
				f(filepath.Base(name), text, sh)
			}
		}
	}
}

// in returns what a person of another language would hear in the same place,
// asking why. Nothing of the shop changes.
func (s *shop) in(lang, text string) dialog.Turn {
	v := s.view
	v.People.Persons = slices.Clone(v.People.Persons)
	for i := range v.People.Persons {
		v.People.Persons[i].Lang = lang
	}
	v.Saws = slices.Clone(v.Saws)
	for i := range v.Saws {
		if r := v.Saws[i].Running; r != nil && r.Told != nil {
			job := *r
			job.Told = nil // all of it told anew, in that language
			v.Saws[i].Running = &job
		}
	}
	m := dialog.Message{ID: "in", Text: text}
	r := dialog.Step(v, s.states[v.Conversation], m, s.now)
	if r.NeedHistory != "" {
		v.History, v.HasHistory = s.all, true
		r = dialog.Step(v, s.states[v.Conversation], m, s.now)
	}
	return r.Turn
}

// english are words that hardly any English sentence here is without.
var english = regexp.MustCompile(`(?i)\b(the|and|of|with|is|it|are|not|support|blade|rear|left|right|toe|to)\b`)

// ownWords are those of them that a language has itself.
func ownWords(t *testing.T, lang string) map[string]bool {
	own := map[string]bool{}
	v := wording.NewVoice(lang, reading.MM)
	for _, id := range entries(t, lang) {
		if strings.HasPrefix(id, "words.") || strings.HasPrefix(id, "names.") || id == "language.names" {
			continue // what may be typed has English words in it
		}
		for _, w := range english.FindAllString(placeholder.ReplaceAllString(strings.Join(v.Phrases(id), " "), ""), -1) {
			own[strings.ToLower(w)] = true
		}
	}
	return own
}

// TestNothingStaysEnglish plays every conversation and asks at each step what
// is asked and why in every other language.
func TestNothingStaysEnglish(t *testing.T) {
	seen := map[string]bool{}
	own := map[string]map[string]bool{}
	for _, lang := range wording.Languages()[1:] {
		own[lang] = ownWords(t, lang)
	}
	eachTurn(t, func(file, said string, sh *shop) {
		if sh.view.People.Persons[0].Lang != "" {
			return
		}
		for _, lang := range wording.Languages()[1:] {
			for _, text := range []string{"where", "menu"} {
				turn := sh.in(lang, text)
				texts := append([]string{turn.Prompt.Label, turn.Prompt.Acknowledge}, turn.Prompt.Choices...)
				for _, r := range turn.Replies {
					texts = append(append(texts, r.Text), r.Choices...)
					if d := r.Drawing; d != nil {
						texts = append(texts, d.Title, d.Alt, d.Words.Blade, d.Words.Front, d.Words.Rear, d.Words.Slider, d.Words.Table, d.Words.Operator)
						for _, p := range d.Points {
							texts = append(texts, p.Label, p.Reading, p.Move)
						}
						if d.Fence != nil {
							texts = append(texts, d.Fence.LeanText, d.Fence.MoveText, d.Fence.Pivot, d.Fence.Adjust)
						}
					}
				}
				for _, a := range turn.Advice {
					texts = append(texts, a.Part, a.Direction)
				}
				for _, s := range texts {
					for _, w := range english.FindAllString(s, -1) {
						if !own[lang][strings.ToLower(w)] && !seen[lang+s] {
							seen[lang+s] = true
							t.Errorf("%s, after %q, %s: %q in\n%s", file, said, lang, w, s)
						}
					}
				}
			}
		}
	})
}

// TestSafetyWords holds what the words of the safety acknowledgements of a
// language must be: one word each, like no other thing that may be typed.
func TestSafetyWords(t *testing.T) {
	for _, lang := range wording.Languages() {
		v := wording.NewVoice(lang, reading.MM)
		say := func(id string) string { return v.Say(wording.T(id)) }
		var others []string
		for w := reading.Yes; w.String() != ""; w++ {
			others = append(others, w.String())
		}
		for _, p := range dialog.Procedures() {
			others = append(others, v.Phrases("names."+p.Name())...)
		}
		for _, id := range entries(t, lang) {
			if strings.HasPrefix(id, "words.") {
				others = append(others, v.Phrases(id)...)
			}
		}
		words := map[string]bool{}
		for _, id := range []string{"word.unplugged", "word.guarded", "word.fits"} {
			w := say(id)
			if words[w] || len(strings.Fields(w)) != 1 {
				t.Errorf("%s: %q is not one word of its own", lang, w)
			}
			words[w] = true
			if !reading.Exact(strings.ToUpper(w), w) {
				t.Errorf("%s: %q in capitals is not taken", lang, w)
			}
			if meant, _, ok := reading.Command(w, v.Lang(), reading.NewVocabulary(others...)); ok {
				t.Errorf("%s: %q may also be meant for %q", lang, w, meant)
			}
			for _, e := range []reading.Expect{{Signed: true, Leaves: []calc.Length{0.05, 0.1}}, {Quantity: reading.Count}, {Quantity: reading.Angle}} {
				e.Lang = v.Lang()
				if r := reading.Parse(w, e); r.Status == reading.Taken {
					t.Errorf("%s: %q may also be the reading %v", lang, w, r.Value)
				}
			}
		}
	}
}

// entries returns the ids of the texts of a language.
func entries(t *testing.T, lang string) []string {
	t.Helper()
	b, err := os.ReadFile("wording/" + lang + ".toml")
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	for line := range strings.Lines(string(b)) {
		if id, _, ok := strings.Cut(line, `" = "`); ok {
			out = append(out, strings.TrimPrefix(id, `"`))
		}
	}
	return out
}

// placeholder finds what a text leaves open.
var placeholder = regexp.MustCompile(`\{\{[^}]*\}\}`)

// TestQuestionsFitPhones: what fits one message of a telephone network in
// English does so in every language, whether or not a conversation gets there.
func TestQuestionsFitPhones(t *testing.T) {
	long := func(v *wording.Voice, id string) int {
		return septets(placeholder.ReplaceAllString(strings.Join(v.Phrases(id), "|"), "123 mm"))
	}
	en := wording.NewVoice("en", reading.MM)
	for _, lang := range wording.Languages()[1:] {
		v := wording.NewVoice(lang, reading.MM)
		for _, id := range entries(t, "en") {
			if a, b := long(en, id), long(v, id); (strings.HasSuffix(id, ".ask") || strings.HasPrefix(id, "stop.")) && a <= 160 && b > 160 {
				t.Errorf("%s: %s has %d characters, at most 160: %s", lang, id, b, v.Phrases(id))
			}
		}
	}
}

// TestSaidBackIsUnderstood takes what Shimwright says a reading is and gives it
// as the answer: in every language it must be the same reading.
func TestSaidBackIsUnderstood(t *testing.T) {
	signs := map[string]struct {
		ids         [3]string
		plus, minus string
	}{
		"height": {ids: [3]string{"height.high", "height.low", "height.level"}},
		"gap":    {[3]string{"gap.top", "gap.bottom", "gap.none"}, "words.top", "words.bottom"},
		"score":  {[3]string{"score.over", "score.short", "score.flush"}, "words.over", "words.short"},
		"knife":  {[3]string{"knife.clear", "knife.proud", "knife.touches"}, "words.clear", "words.proud"},
	}
	for _, lang := range wording.Languages() {
		for _, unit := range []reading.Unit{reading.MM, reading.Inch} {
			v := wording.NewVoice(lang, unit)
			for _, name := range slices.Sorted(maps.Keys(signs)) {
				s := signs[name]
				e := reading.Expect{Lang: v.Lang(), Unit: unit, Signed: true, Min: -2, Max: 2}
				if s.plus != "" {
					e.Positive, e.Negative = v.Phrases(s.plus), v.Phrases(s.minus)
				}
				for i, want := range []float64{0.254, -0.254, 0} {
					size := wording.Size{Value: calc.Length(math.Abs(want)), Resolution: 0.001}
					text := v.Say(wording.T(s.ids[i], "Value", size))
					r := reading.Parse(text, e)
					if r.Status != reading.Taken || math.Abs(r.Value.Low-want) > 1e-9 {
						t.Errorf("%s %s: %q is %v %v, want %g", lang, name, text, r.Status, r.Value, want)
					}
				}
				for i, want := range [][2]float64{{0.254, 0.508}, {-0.508, -0.254}} {
					span := wording.Span{Low: wording.Size{Value: 0.254, Resolution: 0.001}, High: wording.Size{Value: 0.508, Resolution: 0.001}}
					text := v.Say(wording.T(s.ids[i], "Value", span))
					r := reading.Parse(text, e)
					if r.Status != reading.Taken || math.Abs(r.Value.Low-want[0]) > 1e-9 || math.Abs(r.Value.High-want[1]) > 1e-9 {
						t.Errorf("%s %s: %q is %v %v, want %v", lang, name, text, r.Status, r.Value, want)
					}
				}
			}
		}
	}
}

// TestExamplesAreGoodAnswers takes the examples that a slip is answered with.
func TestExamplesAreGoodAnswers(t *testing.T) {
	for _, lang := range wording.Languages() {
		for unit, name := range map[reading.Unit]string{reading.MM: "mm", reading.Inch: "in"} {
			v := wording.NewVoice(lang, unit)
			for id, want := range map[string]float64{
				"example.signed.mm": -0.08, "example.gap.mm": 0.10, "example.plain.mm": 0.05, "example.thick.mm": 2.8, "example.long.mm": 410,
				"example.signed.in": -0.003 * 25.4, "example.gap.in": 0.004 * 25.4, "example.plain.in": 0.002 * 25.4,
				"example.thick.in": 0.11 * 25.4, "example.long.in": 16.125 * 25.4,
			} {
				if !strings.HasSuffix(id, "."+name) {
					continue
				}
				text := v.Say(wording.T(id))
				e := reading.Expect{Lang: v.Lang(), Unit: unit, Signed: want < 1, Min: min(want, 0) - 1, Max: want + 1}
				if strings.Contains(id, "gap") {
					e.Positive, e.Negative = v.Phrases("words.top"), v.Phrases("words.bottom")
				}
				if r := reading.Parse(text, e); r.Status != reading.Taken || math.Abs(r.Value.Low-want) > 1e-9 {
					t.Errorf("%s: %q is %v %v, want %g", lang, text, r.Status, r.Value, want)
				}
			}
		}
	}
}

// TestPlaces finds the time zone of every place that a language names, and of
// cities written as people there write them.
func TestPlaces(t *testing.T) {
	for _, lang := range wording.Languages() {
		for _, p := range wording.NewVoice(lang, reading.MM).Phrases("words.places") {
			name, zone, ok := strings.Cut(p, "=")
			if loc := locate(zone); !ok || name == "" || loc == nil {
				t.Errorf("%s: %q names no time zone", lang, p)
			}
		}
	}
	for place, want := range map[string]string{"Zürich": "Europe/Zurich", "bogotá": "America/Bogota", "München": "", "Berlin": "Europe/Berlin"} {
		sh := newShop()
		sh.say("time zone " + place)
		if got := sh.view.People.Persons[0].Zone; got != want {
			t.Errorf("%s: %q, want %q", place, got, want)
		}
	}
	sh := newShop()
	sh.say("deutsch")
	sh.say("Zeitzone Muenchen")
	if got := sh.view.People.Persons[0].Zone; got != "Europe/Berlin" {
		t.Errorf("Muenchen: %q", got)
	}
}

// TestForeignCommands: a command in another language is understood where
// nothing else can be meant; a name is a name.
func TestForeignCommands(t *testing.T) {
	sh := newShop()
	for _, c := range []struct{ say, want string }{
		{"höhe", "No saw is set up yet"}, // the name of a job, in its own language only
		{"menü", "No saw is set up yet"},
		{"level", "Millimetres or inches?"},
		{"dónde", "in your unit"},
		{"mm", "What do you call"},
		{"zurück", "is the sliding table left"}, // a saw may be called so
		{"atrás", "What do you call"},
		{"Old Blue", "is the sliding table left"},
		{"deutsch", "liegt der Schiebetisch links"},
		{"back", "Wie nennst du"},
	} {
		said := sh.say(c.say).Turn.Replies
		text := ""
		for _, r := range said {
			text += r.Text + "\n"
		}
		if !strings.Contains(text, c.want) {
			t.Errorf("> %s\n%swant %q", c.say, text, c.want)
		}
	}
}

// TestDatesInEveryLanguage answers a reminder with a day, as people say it. It
// is Monday, 8 June 2026.
func TestDatesInEveryLanguage(t *testing.T) {
	for _, c := range []struct{ lang, say, want string }{
		{"de", "morgen", "2026-06-09"}, {"de", "nächsten Samstag", "2026-06-13"}, {"de", "in drei Wochen", "2026-06-29"},
		{"de", "12. Juli", "2026-07-12"}, {"de", "am 3. März", "2027-03-03"}, {"de", "Maerz 20", "2027-03-20"}, {"de", "in einem Monat", "2026-07-08"},
		{"de", "in 10 Tagen", "2026-06-18"}, {"de", "Jänner", "2027-01-01"}, {"de", "Do.", "2026-06-11"},
		{"es", "mañana", "2026-06-09"}, {"es", "manana", "2026-06-09"}, {"es", "el sábado", "2026-06-13"}, {"es", "el miercoles", "2026-06-10"},
		{"es", "dentro de tres semanas", "2026-06-29"}, {"es", "12 de julio", "2026-07-12"}, {"es", "el 1º de mayo", "2027-05-01"},
		{"es", "en un mes", "2026-07-08"}, {"es", "10 días", "2026-06-18"}, {"es", "en un año", "2027-06-08"},
	} {
		sh := keeper("Europe/Berlin", "Old Blue")
		sh.view.People.Persons[0].Lang = c.lang
		sh.now = time.Date(2026, 6, 8, 10, 0, 0, 0, time.UTC)
		sh.plant("saw-1", sh.now)
		sh.fire()
		sh.say(c.say)
		if got := sh.remind["check-saw-1-owner"].Due.Format(time.DateOnly); got != c.want {
			t.Errorf("%s %q: %s, want %s\n%s", c.lang, c.say, got, c.want, said(sh.result))
		}
	}
}

// TestTitlesStartTheirJobs: what a job is called in a menu is a word for it.
func TestTitlesStartTheirJobs(t *testing.T) {
	for _, lang := range wording.Languages() {
		v := wording.NewVoice(lang, reading.MM)
		for _, p := range dialog.Procedures() {
			names := reading.NewVocabulary(append(v.Phrases("names."+p.Name()), v.Phrases("words."+p.Name())...)...)
			for _, id := range entries(t, lang) {
				if id != "job."+p.Name() && id != "job."+p.Name()+".cabinet" {
					continue
				}
				if _, rest, ok := reading.Whole(v.Say(wording.T(id)), v.Lang(), names); !ok || rest != "" {
					t.Errorf("%s: %q starts no job", lang, v.Say(wording.T(id)))
				}
			}
		}
	}
}
