package reading

import (
	"math"
	"testing"
)

// TestFormat shows what is written.
func TestFormat(t *testing.T) {
	const in, deg = 25.4, math.Pi / 180
	for _, c := range []struct {
		v    float64
		q    Quantity
		u    Unit
		lang Lang
		res  float64
		want string
	}{
		{0.08, Length, MM, "en", 0.01, "0.08 mm"},
		{0.083, Length, MM, "en", 0.01, "0.08 mm"},
		{-0.08, Length, MM, "en", 0, "-0.08 mm"},
		{0.0801, Length, MM, "en", 0.001, "0.080 mm"},
		{-0.001, Length, MM, "en", 0.01, "0.00 mm"},
		{410.3, Length, MM, "en", 0.5, "410.5 mm"},
		{1250, Length, MM, "en", 1, "1250 mm"},
		{0.08, Length, MM, "de", 0.01, "0,08 mm"},
		{0.08, Length, MM, "es", 0.01, "0,08 mm"},
		{0.003 * in, Length, Inch, "en", 0, "3 thou"},
		{-0.003 * in, Length, Inch, "en", 0.001 * in, "-3 thou"},
		{0.0025 * in, Length, Inch, "en", 0.0005 * in, "2.5 thou"},
		{0.982 * in, Length, Inch, "en", 0.001 * in, "0.982 in"},
		{0.25 * in, Length, Inch, "en", 0.001 * in, "0.250 in"},
		{0.003 * in, Length, Inch, "de", 0, "0,003 Zoll"},
		{0.003 * in, Length, Inch, "es", 0, "0,003 pulg"},
		{49.25 * in, Length, Inch, "en", in / 64, "49 1/4 in"},
		{49.24 * in, Length, Inch, "en", in / 16, "49 1/4 in"},
		{0.125 * in, Length, Inch, "en", in / 64, "1/8 in"},
		{-0.125 * in, Length, Inch, "en", in / 64, "-1/8 in"},
		{16 * in, Length, Inch, "en", in / 64, "16 in"},
		{45.05 * deg, Angle, Degree, "en", 0, "45.05°"},
		{45.05 * deg, Angle, Degree, "de", 0.05 * deg, "45,05°"},
		{45.04 * deg, Angle, Degree, "en", 0.1 * deg, "45.0°"},
		{4, Count, None, "en", 0, "4"},
		{11.5, Number, None, "en", 0, "11.5"},
		{11.5, Number, None, "de", 0, "11,5"},
		{math.NaN(), Length, MM, "en", 0, "?"},
		{math.Inf(-1), Angle, Degree, "en", 0, "?"},
	} {
		if got := Format(c.v, c.q, c.u, c.lang, c.res); got != c.want {
			t.Errorf("Format(%g, %v, %v, %s, %g) = %q, want %q", c.v, c.q, c.u, c.lang, c.res, got, c.want)
		}
	}
	v := Value{Low: 0.10, High: 0.15}
	for lang, want := range map[Lang]string{"en": "0.10 to 0.15 mm", "de": "0,10 bis 0,15 mm", "es": "0,10 a 0,15 mm"} {
		if got := FormatValue(v, Length, MM, lang, 0.01); got != want {
			t.Errorf("FormatValue in %s = %q, want %q", lang, got, want)
		}
	}
}

// resolutions are those of the tools that a person has, in mm or rad.
var resolutions = []struct {
	q   Quantity
	u   Unit
	res float64
}{
	{Length, MM, 0.001}, {Length, MM, 0.01}, {Length, MM, 0.05}, {Length, MM, 0.5}, {Length, MM, 1},
	{Length, Inch, 0.0001 * 25.4}, {Length, Inch, 0.0005 * 25.4}, {Length, Inch, 0.001 * 25.4},
	{Length, Inch, 25.4 / 64}, {Length, Inch, 25.4 / 16},
	{Angle, Degree, 0.01 * math.Pi / 180}, {Angle, Degree, 0.05 * math.Pi / 180}, {Angle, Degree, 0.5 * math.Pi / 180},
	{Count, None, 1}, {Number, None, 0.5}, {Number, None, 0.001},
}

// backAndForth writes n steps of a tool and reads them again.
func backAndForth(t *testing.T, n int, tool int, lang Lang) {
	t.Helper()
	r := resolutions[tool]
	x := float64(n) * r.res
	s := Format(x, r.q, r.u, lang, r.res)
	got := Parse(s, Expect{Quantity: r.q, Unit: r.u, Lang: lang, Signed: true, Resolution: r.res})
	if got.Status != Taken || math.Abs(got.Value.Low-x) > 1e-9*math.Max(1e-3, math.Abs(x)) || !got.Value.Plain() {
		t.Errorf("%s: %g was written %q and read as %s", lang, x, s, show(got))
	}
}

// TestParseFormat reads back every reading of every tool up to ±1000 steps, in
// every language.
func TestParseFormat(t *testing.T) {
	for lang := range languages {
		for tool := range resolutions {
			for n := -1000; n <= 1000; n++ {
				backAndForth(t, n, tool, lang)
				if t.Failed() {
					return
				}
			}
		}
	}
}

// TestParseFormatInterval reads back intervals.
func TestParseFormatInterval(t *testing.T) {
	for lang := range languages {
		for _, r := range resolutions {
			if r.q != Length && r.q != Angle {
				continue
			}
			for _, n := range [][2]float64{{1, 2}, {0, 5}, {-7, -3}, {-2, 3}, {90, 110}, {-120, -60}, {1000, 3000}} {
				v := Value{Low: n[0] * r.res, High: n[1] * r.res}
				s := FormatValue(v, r.q, r.u, lang, r.res)
				got := Parse(s, Expect{Quantity: r.q, Unit: r.u, Lang: lang, Signed: true})
				if got.Status != Taken || !close9(got.Value.Low, v.Low) || !close9(got.Value.High, v.High) {
					t.Errorf("%s: %v was written %q and read as %s", lang, v, s, show(got))
				}
			}
		}
	}
}

// FuzzParseFormat is TestParseFormat for any number of steps.
func FuzzParseFormat(f *testing.F) {
	f.Add(3, 7, "en")
	f.Add(-2495, 1, "de")
	f.Add(49*64+16, 8, "es")
	f.Fuzz(func(t *testing.T, n, tool int, lang string) {
		if n < -1_000_000 || n > 1_000_000 || tool < 0 {
			t.Skip()
		}
		backAndForth(t, n, tool%len(resolutions), Lang(lang))
	})
}
