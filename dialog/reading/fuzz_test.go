package reading

import (
	"math"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"
)

// FuzzParse makes sure that no message crashes the grammar, and that whatever
// is taken is plausible.
func FuzzParse(f *testing.F) {
	contexts := readContexts(f)
	var names []string
	for name := range contexts {
		names = append(names, name)
	}
	slices.Sort(names)
	index := map[string]int{}
	for i, n := range names {
		index[n] = i
	}
	for _, file := range corpusFiles(f, corpusDir) {
		for _, u := range readUtterances(f, file) {
			f.Add(u.text, index[u.context])
		}
	}
	f.Fuzz(func(t *testing.T, text string, context int) {
		if context < 0 {
			t.Skip()
		}
		e := contexts[names[context%len(names)]]
		checkInvariants(t, text, e)
		Command(text, e.Lang, NewVocabulary("done", "fix", "units", "where", "slider-level", text))
		if Exact(text, "unplugged") && strings.TrimSuffix(strings.ToLower(strings.Join(strings.Fields(text), " ")), ".") != "unplugged" &&
			strings.ToLower(strings.Join(strings.Fields(text), " ")) != "unplugged ." {
			t.Errorf("%q passed for the safety word", text)
		}
	})
}

// checkInvariants holds what must be true of every result.
func checkInvariants(t *testing.T, text string, e Expect) {
	t.Helper()
	r := Parse(text, e)
	switch r.Status {
	case Refused:
		if r.Reason == NoReason {
			t.Errorf("%q: refused without a reason", text)
		}
	case AskBack:
		if len(r.Alternatives) == 0 && len(r.Labelled) == 0 {
			t.Errorf("%q: asked back with nothing to choose", text)
		}
	case Doubt:
		if len(r.Slips) == 0 {
			t.Errorf("%q: a doubt that names nothing", text)
		}
	}
	if len(r.Alternatives) > 0 && len(r.Alternatives) != len(r.Slips) {
		t.Errorf("%q: %d alternatives, %d slips", text, len(r.Alternatives), len(r.Slips))
	}
	for _, l := range r.Labelled {
		if l.Status == Taken {
			checkTaken(t, text, labelExpect(e, l.Key), l.Value)
		}
	}
	if r.Status == Taken && len(r.Labelled) == 0 {
		checkTaken(t, text, e, r.Value)
	}
}

func labelExpect(e Expect, key string) Expect {
	for _, l := range e.Labels {
		if l.Key == key && l.Expect != nil {
			return *l.Expect
		}
	}
	return e
}

func checkTaken(t *testing.T, text string, e Expect, v Value) {
	t.Helper()
	mid := v.Mid()
	if math.IsNaN(mid) || math.IsInf(mid, 0) || v.Low > v.High {
		t.Errorf("%q: taken as %v", text, v)
	}
	slack := 1e-9 * math.Max(1, math.Abs(e.Max))
	if (e.Min != 0 || e.Max != 0) && (mid < e.Min-slack || mid > e.Max+slack) {
		t.Errorf("%q: taken as %v, outside %g … %g", text, v, e.Min, e.Max)
	}
	if e.Near != nil && math.Abs(mid-*e.Near) > e.Spread+slack {
		t.Errorf("%q: taken as %v, far from %g", text, v, *e.Near)
	}
	if e.Quantity == Count && v.Low != math.Trunc(v.Low) {
		t.Errorf("%q: taken as %v, not a count", text, v)
	}
	if !strings.Contains(text, v.Text) || !utf8.ValidString(v.Text) {
		t.Errorf("%q: understood from %q, which is not in it", text, v.Text)
	}
}

// TestBadInput tries what no person types.
func TestBadInput(t *testing.T) {
	contexts := readContexts(t)
	bad := map[string]Reason{
		strings.Repeat("3 thou ", 1500):     TooLong, // 10 kB
		strings.Repeat("9", MaxBytes+1):     TooLong,
		strings.Repeat("9", MaxBytes):       Huge,
		strings.Repeat("ein", MaxBytes/3):   NotANumber,
		strings.Repeat("1 ", MaxBytes/2):    TwoNumbers,
		strings.Repeat("-", MaxBytes):       NotANumber,
		strings.Repeat("👍", MaxBytes/4):     Empty,
		strings.Repeat("(", MaxBytes):       Empty,
		strings.Repeat(" ", MaxBytes):       Empty,
		"":                                  Empty,
		"\xff\xfe3":                         NotPlain,
		"3\xff thou":                        NotPlain,
		"\x003":                             NotPlain,
		"NaN":                               NotANumber,
		"+Inf":                              NotANumber,
		"1e400":                             Unclear,
		"1e-400":                            Unclear,
		strings.Repeat("1", 400):            Huge,
		"0." + strings.Repeat("0", 390):     Huge,
		strings.Repeat("minus ", 60):        NoNumber,
		strings.Repeat("point ", 60):        NotANumber,
		strings.Repeat("half ", 80):         TwoNumbers,
		strings.Repeat("hundred ", 50):      TwoNumbers,
		strings.Repeat("a", MaxBytes):       NotANumber,
		strings.Repeat("e\u0301", 100):      NotANumber,
		"\u05d0\u05d1 3":                    NotPlain,
		"3 \u202dthou":                      NotPlain,
		"\uff13":                            NotPlain,
		"\U0001F1E9\U0001F1EA":              NotANumber,
		strings.Repeat("between 1 and ", 9): TwoNumbers,
	}
	for text, want := range bad {
		for name, e := range contexts {
			r := Parse(text, e)
			if r.Status == Taken {
				t.Errorf("%s: %.40q was taken as %v", name, text, r.Value)
			}
			if name == "height.in" && r.Reason != want {
				t.Errorf("%s: %.40q: %s, want %s", name, text, r.Reason, want)
			}
		}
	}
}
