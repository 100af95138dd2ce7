package reading

import (
	"bufio"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"shimwright/calc"
)

const corpusDir = "../../testdata/utterances"

// utterance is one line of the corpus.
type utterance struct {
	where   string // file:line
	context string
	text    string
	want    string
}

// tally counts one group of utterances.
type tally struct {
	n, right, wrong               int // wrong: taken silently, and not what was meant
	taken, takenRight, shouldTake int
}

// TestCorpus reads every utterance of the corpus and allows no deviation.
func TestCorpus(t *testing.T) {
	contexts := readContexts(t)
	total, refused := 0, 0
	for _, file := range corpusFiles(t, corpusDir) {
		var g tally
		for _, u := range readUtterances(t, file) {
			if problem := g.check(contexts, u); problem != "" {
				t.Errorf("%s: %s %q: want %s, %s", u.where, u.context, u.text, u.want, problem)
			}
			total++
			if w, _, _ := strings.Cut(u.want, " "); w == "ask" || w == "refuse" || w == "doubt" {
				refused++
			}
		}
		t.Log(g.line(filepath.Base(file)))
	}
	t.Logf("%d utterances, %d of them to be asked back, doubted or refused (%.0f %%)", total, refused, 100*float64(refused)/float64(total))
	if total < 600 || refused*5 < total {
		t.Errorf("the corpus is %d utterances with %d to refuse: at least 600 and a fifth are promised", total, refused)
	}
}

// TestSecondSet reads phrases that the grammar was not made from. It fails on a
// wrong silent acceptance and below 97 % right.
func TestSecondSet(t *testing.T) {
	contexts := readContexts(t)
	for _, file := range corpusFiles(t, filepath.Join(corpusDir, "second")) {
		var g tally
		for _, u := range readUtterances(t, file) {
			if problem := g.check(contexts, u); problem != "" {
				t.Logf("%s: %s %q: want %s, %s", u.where, u.context, u.text, u.want, problem)
			}
		}
		t.Log(g.line(filepath.Base(file)))
		if g.wrong > 0 {
			t.Errorf("%s: %d wrong silent acceptances", file, g.wrong)
		}
		if float64(g.right) < 0.97*float64(g.n) {
			t.Errorf("%s: %d of %d right, less than 97 %%", file, g.right, g.n)
		}
	}
}

func (g *tally) line(name string) string {
	return fmt.Sprintf("%-14s %4d utterances, right %5.1f %%, precision %5.1f %%, recall %5.1f %%, wrong silent acceptances %d",
		name, g.n, percent(g.right, g.n), percent(g.takenRight, g.taken), percent(g.takenRight, g.shouldTake), g.wrong)
}

func percent(a, b int) float64 {
	if b == 0 {
		return 100
	}
	return 100 * float64(a) / float64(b)
}

// check parses one utterance and returns what is wrong with the result.
func (g *tally) check(contexts map[string]Expect, u utterance) string {
	e, ok := contexts[u.context]
	if !ok {
		return "there is no such context"
	}
	r := Parse(u.text, e)
	problem := compare(r, u.want)
	g.n++
	should := isValue(u.want)
	if problem == "" {
		g.right++
	}
	if should {
		g.shouldTake++
	}
	if r.Status == Taken {
		g.taken++
		if problem == "" {
			g.takenRight++
		} else {
			g.wrong++
		}
	}
	return problem
}

func isValue(want string) bool {
	w, _, _ := strings.Cut(want, " ")
	switch w {
	case "ask", "refuse", "doubt", "not":
		return false
	}
	return !strings.Contains(want, "refuse") && !strings.Contains(want, "ask") && !strings.Contains(want, "doubt")
}

// compare returns how a result differs from what the corpus says, or "".
func compare(r Result, want string) string {
	if strings.Contains(want, "=") {
		return comparePoints(r, want)
	}
	if len(r.Labelled) > 0 && want != "not" && r.Status == Taken {
		return "got points: " + show(r)
	}
	return compareOne(r.Status, r.Value, r.Alternatives, r.Reason, want, show(r))
}

func comparePoints(r Result, want string) string {
	points := strings.Split(want, "; ")
	if len(points) != len(r.Labelled) {
		return "got " + show(r)
	}
	for i, w := range points {
		key, w, _ := strings.Cut(w, "=")
		l := r.Labelled[i]
		if l.Key != key {
			return "got " + show(r)
		}
		if p := compareOne(l.Status, l.Value, l.Alternatives, l.Reason, w, show(r)); p != "" {
			return p
		}
	}
	return ""
}

func compareOne(s Status, v Value, alts []Value, reason Reason, want, got string) string {
	word, rest, _ := strings.Cut(want, " ")
	switch word {
	case "not":
		if s == Taken {
			return "taken as " + got
		}
		return ""
	case "refuse":
		if s != Refused || rest != "" && rest != reason.String() {
			return "got " + got
		}
		return ""
	case "ask", "doubt":
		if word == "ask" && s != AskBack || word == "doubt" && s != Doubt {
			return "got " + got
		}
		if rest != "" && !sameSet(alts, rest) {
			return "got " + got
		}
		return ""
	}
	low, high := mustValue(want)
	if s != Taken || !close9(v.Low, low) || !close9(v.High, high) {
		return "got " + got
	}
	return ""
}

func sameSet(alts []Value, want string) bool {
	parts := strings.Split(want, " | ")
	if len(parts) != len(alts) {
		return false
	}
	for _, w := range parts {
		low, high := mustValue(w)
		found := false
		for _, a := range alts {
			found = found || close9(a.Low, low) && close9(a.High, high)
		}
		if !found {
			return false
		}
	}
	return true
}

func close9(a, b float64) bool { return math.Abs(a-b) <= 1e-9*math.Max(1e-3, math.Abs(b)) }

// testUnits are the units of the corpus in mm and rad. 1 in = 25.4 mm exactly,
// 1 thou = 1/1000 in, µm = 1e-6 m (SI Brochure, 9th ed.), 1° = π/180 rad.
var testUnits = map[string]float64{"mm": 1, "um": 1e-3, "in": 25.4, "thou": 0.0254, "deg": math.Pi / 180, "": 1}

// mustValue reads "3 thou", "63/64 in", "[0.1 0.15] mm", "4".
func mustValue(s string) (low, high float64) {
	s = strings.TrimSpace(s)
	if strings.HasPrefix(s, "[") {
		pair, unit, _ := strings.Cut(s[1:], "]")
		a, b, _ := strings.Cut(pair, " ")
		f := mustUnit(strings.TrimSpace(unit))
		return mustNumber(a) * f, mustNumber(b) * f
	}
	n, unit, _ := strings.Cut(s, " ")
	v := mustNumber(n) * mustUnit(unit)
	return v, v
}

func mustUnit(s string) float64 {
	f, ok := testUnits[s]
	if !ok {
		panic("no unit " + s)
	}
	return f
}

func mustNumber(s string) float64 {
	a, b, fraction := strings.Cut(s, "/")
	v, err := strconv.ParseFloat(a, 64)
	if err != nil {
		panic(err)
	}
	if fraction {
		d, err := strconv.ParseFloat(b, 64)
		if err != nil {
			panic(err)
		}
		v /= d
	}
	return v
}

// show writes a result for a failing test.
func show(r Result) string {
	names := [...]string{"taken", "ask", "doubt", "refuse"}
	s := fmt.Sprintf("%s %s [%.6g %.6g] %q", names[r.Status], r.Reason, r.Value.Low, r.Value.High, r.Value.Text)
	for i, a := range r.Alternatives {
		s += fmt.Sprintf(" | %d [%.6g %.6g]", r.Slips[i], a.Low, a.High)
	}
	for _, l := range r.Labelled {
		s += fmt.Sprintf("; %s=%s %s [%.6g %.6g]", l.Key, names[l.Status], l.Reason, l.Value.Low, l.Value.High)
	}
	return s
}

func corpusFiles(t testing.TB, dir string) []string {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(dir, "*.tsv"))
	if err != nil || len(files) == 0 {
		t.Fatalf("no utterances in %s: %v", dir, err)
	}
	out := files[:0]
	for _, f := range files {
		if filepath.Base(f) != "contexts.tsv" && filepath.Base(f) != "words.tsv" {
			out = append(out, f)
		}
	}
	return out
}

// readUtterances reads a file of the corpus. An utterance may hold the escapes
// of a Go string.
func readUtterances(t testing.TB, file string) []utterance {
	t.Helper()
	var out []utterance
	for where, f := range rows(t, file, 3) {
		text, err := strconv.Unquote(`"` + strings.ReplaceAll(f[1], `"`, `\"`) + `"`)
		if err != nil {
			t.Fatalf("%s: %v", where, err)
		}
		out = append(out, utterance{where, f[0], text, f[2]})
	}
	return out
}

// rows yields the tab-separated fields of a file with their place.
func rows(t testing.TB, file string, fields int) func(func(string, []string) bool) {
	t.Helper()
	data, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	return func(yield func(string, []string) bool) {
		sc := bufio.NewScanner(strings.NewReader(string(data)))
		for n := 1; sc.Scan(); n++ {
			line := sc.Text()
			if line == "" || line[0] == '#' {
				continue
			}
			f := strings.Split(line, "\t")
			where := fmt.Sprintf("%s:%d", filepath.Base(file), n)
			if len(f) != fields {
				t.Fatalf("%s: %d fields, not %d", where, len(f), fields)
			}
			if !yield(where, f) {
				return
			}
		}
	}
}

// readContexts reads the questions that the utterances answer.
func readContexts(t testing.TB) map[string]Expect {
	t.Helper()
	specs := map[string]string{}
	for _, f := range rows(t, filepath.Join(corpusDir, "contexts.tsv"), 2) {
		specs[f[0]] = f[1]
	}
	out := map[string]Expect{}
	for name := range specs {
		out[name] = context(t, specs, name)
	}
	return out
}

func context(t testing.TB, specs map[string]string, name string) Expect {
	words := strings.Fields(specs[name])
	e := Expect{
		Quantity: map[string]Quantity{"length": Length, "angle": Angle, "count": Count, "number": Number}[words[0]],
		Unit:     map[string]Unit{"mm": MM, "in": Inch, "deg": Degree, "none": None}[words[1]],
		Lang:     Lang(words[2]),
	}
	f := 1.0
	if e.Quantity == Angle {
		f = math.Pi / 180
	}
	num := func(s string) float64 {
		i := strings.IndexFunc(s, func(r rune) bool { return r != '-' && r != '.' && (r < '0' || r > '9') })
		if i < 0 {
			return mustNumber(s) * f
		}
		return mustNumber(s[:i]) * mustUnit(s[i:])
	}
	for _, w := range words[3:] {
		key, v, _ := strings.Cut(w, "=")
		switch {
		case w == "signed":
			e.Signed = true
		case w == "needed":
			e.SignNeeded = true
		case w[0] == '+':
			e.Positive = append(e.Positive, w[1:])
		case w[0] == '-':
			e.Negative = append(e.Negative, w[1:])
		case key == "min":
			e.Min = num(v)
		case key == "max":
			e.Max = num(v)
		case key == "res":
			e.Resolution = num(v)
		case key == "spread":
			e.Spread = num(v)
		case key == "near":
			near := num(v)
			e.Near = &near
		case key == "tried":
			tried := calc.Length(num(v))
			e.Tried = &tried
		case key == "leaves":
			unit := strings.TrimLeft(v, "0123456789.,")
			for _, l := range strings.Split(strings.TrimSuffix(v, unit), ",") {
				e.Leaves = append(e.Leaves, calc.Length(mustNumber(l)*mustUnit(unit)))
			}
		case key == "labels":
			e.Labels = labels(t, specs, strings.TrimPrefix(strings.Join(words, " "), strings.Split(strings.Join(words, " "), "labels=")[0]+"labels="))
			return e
		default:
			t.Fatalf("context %s: %q is not a setting", name, w)
		}
	}
	return e
}

func labels(t testing.TB, specs map[string]string, spec string) []Label {
	var out []Label
	for _, l := range strings.Split(spec, "|") {
		key, names, _ := strings.Cut(l, "=")
		names, own, _ := strings.Cut(names, "@")
		label := Label{Key: key, Names: strings.Split(names, "/")}
		if own != "" {
			e := context(t, specs, own)
			label.Expect = &e
		}
		out = append(out, label)
	}
	return out
}
