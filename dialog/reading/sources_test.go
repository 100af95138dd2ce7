package reading

import (
	"math"
	"strings"
	"testing"
)

// rule is one rule of the Unicode CLDR rule-based number formats (RBNF): from
// base on, write text, with "<" for the quotient, ">" for the remainder and "["
// "]" around what is left out when nothing remains.
type rule struct {
	base int
	text string
}

// spellings of whole numbers, after common/rbnf/en.xml, de.xml and es.xml of
// the Unicode CLDR (rulesets spellout-cardinal, spellout-cardinal-verbose,
// spellout-numbering and spellout-cardinal-feminine; read there). "&" stands for
// the private ruleset "and": " and " before a remainder under a hundred.
var spelloutRules = map[string][]rule{
	"en":     append(words(0, "zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen seventeen eighteen nineteen"), englishTens("< hundred[ >]", "< thousand[ >]")...),
	"en and": append(words(0, "zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen seventeen eighteen nineteen"), englishTens("< hundred[&>]", "< thousand[&>]")...),
	"de": append(words(0, "null eins zwei drei vier fünf sechs sieben acht neun zehn elf zwölf dreizehn vierzehn fünfzehn sechzehn siebzehn achtzehn neunzehn"),
		rule{20, "[>und]zwanzig"}, rule{30, "[>und]dreißig"}, rule{40, "[>und]vierzig"}, rule{50, "[>und]fünfzig"}, rule{60, "[>und]sechzig"},
		rule{70, "[>und]siebzig"}, rule{80, "[>und]achtzig"}, rule{90, "[>und]neunzig"}, rule{100, "<hundert[>]"}, rule{1000, "<tausend[>]"}),
	"es":      spanishRules("os"),
	"es fem.": spanishRules("as"),
}

func words(base int, list string) []rule {
	var out []rule
	for i, w := range strings.Fields(list) {
		out = append(out, rule{base + i, w})
	}
	return out
}

func englishTens(hundred, thousand string) []rule {
	return []rule{{20, "twenty[->]"}, {30, "thirty[->]"}, {40, "forty[->]"}, {50, "fifty[->]"}, {60, "sixty[->]"},
		{70, "seventy[->]"}, {80, "eighty[->]"}, {90, "ninety[->]"}, {100, hundred}, {1000, thousand}}
}

func spanishRules(end string) []rule {
	return append(words(0, "cero uno dos tres cuatro cinco seis siete ocho nueve diez once doce trece catorce quince dieciséis diecisiete dieciocho diecinueve veinte veintiuno veintidós veintitrés veinticuatro veinticinco veintiséis veintisiete veintiocho veintinueve"),
		rule{30, "treinta[ y >]"}, rule{40, "cuarenta[ y >]"}, rule{50, "cincuenta[ y >]"}, rule{60, "sesenta[ y >]"}, rule{70, "setenta[ y >]"},
		rule{80, "ochenta[ y >]"}, rule{90, "noventa[ y >]"}, rule{100, "cien"}, rule{101, "ciento >"}, rule{200, "doscient" + end + "[ >]"},
		rule{300, "trescient" + end + "[ >]"}, rule{400, "cuatrocient" + end + "[ >]"}, rule{500, "quinient" + end + "[ >]"},
		rule{600, "seiscient" + end + "[ >]"}, rule{700, "setecient" + end + "[ >]"}, rule{800, "ochocient" + end + "[ >]"},
		rule{900, "novecient" + end + "[ >]"}, rule{1000, "mil[ >]"}, rule{2000, "< mil[ >]"})
}

// spell writes n by the rules.
func spell(rules []rule, n int) string {
	i := len(rules) - 1
	for rules[i].base > n {
		i--
	}
	r := rules[i]
	div := 1
	for div*10 <= r.base {
		div *= 10
	}
	rest := n % div
	text := r.text
	if from, to := strings.IndexByte(text, '['), strings.IndexByte(text, ']'); from >= 0 {
		inner := text[from+1 : to]
		if rest == 0 {
			inner = ""
		}
		text = text[:from] + inner + text[to+1:]
	}
	if strings.Contains(text, "&") {
		and := " "
		if rest < 100 {
			and = " and "
		}
		text = strings.Replace(text, "&", and, 1)
	}
	if strings.Contains(text, "<") {
		q := spell(rules, n/div)
		if q == "eins" {
			q = "ein"
		}
		text = strings.Replace(text, "<", q, 1)
	}
	if strings.Contains(text, ">") {
		r := spell(rules, rest)
		if r == "eins" && strings.Contains(text, "und") {
			r = "ein"
		}
		text = strings.Replace(text, ">", r, 1)
	}
	return text
}

// TestSpelledOut reads every whole number to 9999 in words. Source: Unicode CLDR,
// see spelloutRules.
func TestSpelledOut(t *testing.T) {
	for name, rules := range spelloutRules {
		e := Expect{Quantity: Count, Lang: Lang(name[:2]), Min: 0, Max: 9999}
		for n := 0; n <= 9999; n++ {
			s := spell(rules, n)
			if r := Parse(s, e); r.Status != Taken || r.Value.Low != float64(n) {
				t.Fatalf("%s: %d is %q and was read as %s", name, n, s, show(r))
			}
		}
	}
}

// TestSpelledDecimals reads 0.00 … 99.99 digit by digit. Source: Unicode CLDR,
// rule x.x of the same rulesets: "←← point →→", "←← Komma →→", "←← coma →→".
func TestSpelledDecimals(t *testing.T) {
	for lang, point := range map[string]string{"en": " point ", "de": " Komma ", "es": " coma "} {
		rules := spelloutRules[lang]
		e := Expect{Quantity: Number, Lang: Lang(lang), Min: 0, Max: 100}
		for n := 1; n <= 9999; n++ {
			s := spell(rules, n/100) + point + spell(rules, n/10%10) + " " + spell(rules, n%10)
			if r := Parse(s, e); r.Status != Taken || math.Abs(r.Value.Low-float64(n)/100) > 1e-9 {
				t.Fatalf("%s: %d hundredths are %q and were read as %s", lang, n, s, show(r))
			}
		}
	}
}

// TestUnits compares with the definitions of the units, in mm and rad.
func TestUnits(t *testing.T) {
	for _, c := range []struct {
		text   string
		q      Quantity
		want   float64
		source string
	}{
		{"1 m", Length, 1000, "SI Brochure, 9th ed., table 7: milli 10⁻³"},
		{"1 cm", Length, 10, "SI Brochure, table 7: centi 10⁻²"},
		{"1 µm", Length, 0.001, "SI Brochure, table 7: micro 10⁻⁶, symbol µ"},
		{"1 um", Length, 0.001, "u for µ where it is missing: ISO 2955, from memory"},
		{"1 in", Length, 25.4, "international inch, 1959: 25.4 mm exactly; NIST SP 811, appendix B"},
		{"1 ft", Length, 304.8, "international foot: 0.3048 m exactly; NIST SP 811, appendix B"},
		{"1 thou", Length, 0.0254, "a thousandth of an inch; NIST SP 811, appendix B: mil 2.54 E-05 m"},
		{"1/64 in", Length, 0.396875, "handbook table of inch fractions: 1/64 in = 0.396875 mm"},
		{"1/32 in", Length, 0.79375, "the same table"},
		{"63/64 in", Length, 25.003125, "the same table"},
		{"1°", Angle, math.Pi / 180, "SI Brochure, table 8: 1° = (π/180) rad"},
		{"1'", Angle, math.Pi / 10800, "SI Brochure, table 8: 1′ = (1/60)°"},
		{`1"`, Angle, math.Pi / 648000, "SI Brochure, table 8: 1″ = (1/60)′"},
	} {
		r := Parse(c.text, Expect{Quantity: c.q, Unit: MM, Lang: "en"})
		if r.Status != Taken || math.Abs(r.Value.Low-c.want) > 1e-12*c.want {
			t.Errorf("%q: %s, want %g (%s)", c.text, show(r), c.want, c.source)
		}
	}
}

// TestDecimalSigns holds the decimal signs and the groups of digits. Sources:
// DIN 1333 (decimal comma; from memory), SI Brochure 5.4.4 and ISO 80000-1
// (comma or point; groups of three by a thin space), common usage of point and
// comma as group signs in the three languages.
func TestDecimalSigns(t *testing.T) {
	for _, c := range []struct {
		text string
		lang Lang
		want float64
	}{
		{"1250.5", "en", 1250.5}, {"1,250.5", "en", 1250.5}, {"1,250", "en", 1250}, {"1250,5", "en", 1250.5},
		{"1250,5", "de", 1250.5}, {"1.250,5", "de", 1250.5}, {"1.250", "de", 1250}, {"1250.5", "de", 1250.5},
		{"1250,5", "es", 1250.5}, {"1.250,5", "es", 1250.5}, {"1.250", "es", 1250}, {"1250.5", "es", 1250.5},
		{"1\u2009250", "en", 1250}, {"1\u202f250,5", "de", 1250.5}, {"1\u00a0250 mm", "es", 1250},
	} {
		r := Parse(c.text, Expect{Quantity: Length, Unit: MM, Lang: c.lang, Min: 100, Max: 3500})
		if r.Status != Taken || r.Value.Low != c.want {
			t.Errorf("%s: %q: %s, want %g", c.lang, c.text, show(r), c.want)
		}
	}
}
