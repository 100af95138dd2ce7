package gsm7

import (
	"bufio"
	"os"
	"strconv"
	"strings"
	"testing"
	"unicode/utf8"
)

// The whole table of 3GPP TS 23.038, from testdata/ts23038.txt (its source is
// named there), against ours, both ways.
func TestTable(t *testing.T) {
	f, err := os.Open("testdata/ts23038.txt")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	want := map[rune]int{}
	for in := bufio.NewScanner(f); in.Scan(); {
		line := in.Text()
		if strings.HasPrefix(line, "#") {
			continue
		}
		code, point, _ := strings.Cut(line, " ")
		n, err := strconv.ParseUint(point, 16, 32)
		if err != nil {
			t.Fatalf("%q: %v", line, err)
		}
		want[rune(n)] = len(code) / 2
		if len(code) == 2 {
			c, _ := strconv.ParseUint(code, 16, 8)
			if got := []rune(basic)[c]; got != rune(n) {
				t.Errorf("code %s is %q, the table has %q", code, got, rune(n))
			}
		}
	}
	if len(want) != 137 {
		t.Fatalf("the table has %d characters, want 127 and 10", len(want))
	}
	for r := range rune(0x20000) {
		if got := Septets(r); got != want[r] {
			t.Errorf("%q (U+%04X) takes %d septets, want %d", r, r, got, want[r])
		}
	}
	if n := utf8.RuneCountInString(basic); n != 128 {
		t.Errorf("the basic table has %d codes", n)
	}
}

// Vectors worked out by hand from 140 octets a part.
func TestMeasure(t *testing.T) {
	r := strings.Repeat
	for _, c := range []struct {
		text  string
		units int
		parts int
	}{
		{"", 0, 1}, {"3 thou low", 10, 1},
		{r("a", 160), 160, 1}, {r("a", 161), 161, 2}, {r("a", 306), 306, 2}, {r("a", 307), 307, 3}, {r("a", 459), 459, 3}, {r("a", 460), 460, 4},
		{r("€", 80), 160, 1}, {r("€", 81), 162, 2}, {r("a", 158) + "€", 160, 1}, {r("a", 159) + "€", 161, 2},
		{r("€", 153), 306, 3}, // 76 + 76 + 1: an escape is not parted from what follows
		{r("a", 152) + "€" + r("a", 8), 162, 2},
		{r("ж", 70), 70, 1}, {r("ж", 71), 71, 2}, {r("ж", 134), 134, 2}, {r("ж", 135), 135, 3},
		{r("😀", 35), 70, 1}, {r("😀", 36), 72, 2}, {r("😀", 66), 132, 2}, {r("😀", 67), 134, 3},
		{r("a", 70) + "°", 71, 2}, // one character outside the alphabet, and all travels in 16 bits
	} {
		got := Measure(c.text, Ref8)
		if got.Units != c.units || got.Parts != c.parts {
			t.Errorf("%.10s… (%d characters): %d units in %d parts, want %d in %d",
				c.text, utf8.RuneCountInString(c.text), got.Units, got.Parts, c.units, c.parts)
		}
	}
	if Ref8 != (Concat{153, 67}) || Ref16 != (Concat{152, 66}) {
		t.Errorf("parts hold %v and %v", Ref8, Ref16)
	}
	if got := Measure(r("a", 305), Ref16).Parts; got != 3 {
		t.Errorf("305 septets with a reference of 16 bits take %d parts, want 3", got)
	}
}

func TestCut(t *testing.T) {
	r := strings.Repeat
	for _, c := range []struct {
		text  string
		parts int
		want  int // characters
	}{
		{r("a", 160), 1, 160}, {r("a", 161), 1, 160}, {r("a", 500), 2, 306}, {r("a", 500), 3, 459}, {r("€", 200), 1, 80},
		{r("€", 200), 2, 152}, {r("ж", 100), 1, 70}, {r("😀", 100), 2, 66}, {"short", 3, 5},
	} {
		got := Cut(c.text, c.parts, Ref8)
		if n := utf8.RuneCountInString(got); n != c.want || !strings.HasPrefix(c.text, got) {
			t.Errorf("%.8s… in %d parts: %d characters, want %d", c.text, c.parts, n, c.want)
		}
		if p := Measure(got, Ref8).Parts; p > c.parts {
			t.Errorf("%.8s… cut for %d parts takes %d", c.text, c.parts, p)
		}
	}
}

func TestPlain(t *testing.T) {
	for in, want := range map[string]string{
		"90° and 45°":               "90 deg and 45 deg",
		"at 20 °C, 20°C":            "at 20 deg C, 20 deg C",
		"0.12 mm ± 0.01":            "0.12 mm +/- 0.01",
		"8 × 30, 5 µm, 5 μm":        "8 x 30, 5 um, 5 um",
		"1½ turns, ¼ turn, ⅛":       "1 1/2 turns, 1/4 turn, 1/8",
		"10² mm², m³":               "10^2 mm2, m3",
		"−3 – 4 — 5":                "-3 - 4 - 5",
		"“it’s” ‘so’ „ja“ «sí»":     "\"it's\" 'so' \"ja\" \"si\"",
		"80″, 6′, wait…":            "80\", 6', wait...",
		"• raise → lower ≈ 3":       "- raise -> lower about 3",
		"a ≤ b ≥ c, √2":             "a <= b >= c, sqrt 2",
		"más ácido, così, ço, Łódź": "mas acido, così, co, Lodz",
		"äöüß ñ é è ¿ ¡ Ø € £ Ω":    "äöüß ñ é è ¿ ¡ Ø € £ Ω",
		"a\u00a0b\u2009c\td\u200be": "a b c de",
		"\u202edone\u202c":          "done",
		"Ω\u2126":                   "ΩΩ", // the ohm sign is not the letter
		"Привет 45°":                "Привет 45 deg",
		"nul\x00 bell\x07":          "nul bell",
	} {
		got := Plain(in)
		if got != want {
			t.Errorf("%q becomes\n  %q, want\n  %q", in, got, want)
		}
	}
	// Everything that the list of typography names leaves the alphabet alone.
	for r, s := range written {
		if !Encodable(s) {
			t.Errorf("%q is written %q, which is not in the alphabet", r, s)
		}
		if Septets(r) > 0 {
			t.Errorf("%q is in the alphabet and needs no other writing", r)
		}
	}
}

func FuzzPlain(f *testing.F) {
	for _, s := range []string{"", "90°", "1½", "Привет", "\x1b", "a\u0301", "\xff", "€^", "²³", "ﬁ½"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		p := Plain(s)
		if again := Plain(p); again != p {
			t.Errorf("%q becomes %q and then %q", s, p, again)
		}
		if Encodable(s) && p != s {
			t.Errorf("%q needed no change and became %q", s, p)
		}
		size := Measure(p, Ref8)
		rest, n := p, 0
		for rest != "" { // cutting part by part needs as many as were counted
			head := cutPart(rest, size)
			rest = rest[len(head):]
			n++
		}
		if n = max(n, 1); size.Parts != n {
			t.Errorf("%q takes %d parts, counted %d", p, n, size.Parts)
		}
	})
}

// cutPart cuts one part the slow way.
func cutPart(s string, size Size) string {
	room := map[Coding][2]int{Default: {160, 153}, UCS2: {70, 67}}[size.Coding][min(size.Parts-1, 1)]
	used := 0
	for i, r := range s {
		n := Septets(r)
		if size.Coding == UCS2 {
			n = 1
			if r > 0xffff {
				n = 2
			}
		}
		if used += n; used > room {
			return s[:i]
		}
	}
	return s
}
