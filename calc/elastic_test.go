package calc

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"
)

// line returns n supports in line, l apart.
func line(n int, l Length) []Support {
	out := make([]Support, n)
	for i := range out {
		out[i] = Support{X: Length(i) * l, Pitch: 1.5}
	}
	return out
}

// grid returns n stations of two supports, l apart and width wide.
func grid(n int, l, width Length) []Support {
	var out []Support
	for i := range n {
		x := Length(i)*l + 100
		out = append(out, Support{X: x, Y: 250, Pitch: 1.75}, Support{X: x, Y: 250 + width, Pitch: 1.75})
	}
	return out
}

func model(t testing.TB, s []Support) Model {
	t.Helper()
	m, err := NewModel(s)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func influence(t testing.TB, m Model) *mat.Dense {
	t.Helper()
	out, err := m.Influence()
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// Reactions of continuous beams of equal spans L when one support settles by
// d, in EI·d/L³. Handbook beam tables, from memory; they follow from the
// three-moment equation M_A + 4M_B + M_C = (6EI/L²)(2Δ_B − Δ_A − Δ_C).
var beamTable = []struct {
	name    string
	settles int
	react   []float64
}{
	{"two spans, middle", 1, []float64{3, -6, 3}},
	{"two spans, end", 2, []float64{-1.5, 3, -1.5}},
	{"three spans, second", 1, []float64{3.6, -9.6, 8.4, -2.4}},
	{"three spans, end", 0, []float64{-1.6, 3.6, -2.4, 0.4}},
	{"four spans, middle", 2, []float64{-18. / 7, 66. / 7, -96. / 7, 66. / 7, -18. / 7}},
	{"four spans, second", 1, []float64{51. / 14, -9.857143, 66. / 7, -3.857143, 9. / 14}},
}

// Springs far stiffer than the beam are the rigid supports of the tables. The
// force of spring i is k·(foot − height), so its change by a settling of foot j is
// −k·(M − 1)ᵢⱼ·(−d), and k = EI/(Stiffness·L³).
func TestStiffSpringsGiveTheBeamTables(t *testing.T) {
	for _, c := range beamTable {
		for _, l := range []Length{300, 1000} {
			m := model(t, line(len(c.react), l))
			m.Stiffness = 1e-8
			M := influence(t, m)
			for i, want := range c.react {
				unit := 0.0
				if i == c.settles {
					unit = 1
				}
				within(t, fmt.Sprintf("%s, support %d", c.name, i), (M.At(i, c.settles)-unit)/m.Stiffness, want, 1e-5)
			}
		}
	}
}

// A number with units, from the same tables: E = 110 GPa, 60 × 50 (high) mm
// (EI = 68750 N·m²), L = 0.8 m, the middle of two spans settles 0.1 mm: the
// ends gain 40.2832 N, the middle loses 80.5664 N.
func TestBeamTableInNewtons(t *testing.T) {
	const ei, l, k, d = 68750e6, 800.0, 1e9, 0.1 // N·mm², mm, N/mm, mm
	m := model(t, line(3, l))
	m.Stiffness = ei / (k * l * l * l)
	M := influence(t, m)
	for i, want := range []float64{40.2832, -80.5664, 40.2832} {
		foot := []float64{0, -d, 0}[i]
		within(t, fmt.Sprintf("reaction %d, N", i), k*(foot+d*M.At(i, 1)), want, 0.01)
	}
}

// A rigid table on equal springs lies on the least-squares plane of its nuts
// (equilibrium of forces and moments are its normal equations). The plane here is
// solved apart, by gonum's QR.
func TestRigidTableFollowsTheLeastSquaresPlane(t *testing.T) {
	s := grid(3, 550, 180)
	s[3].X += 7 // within the station
	s[4].Y -= 30
	m := model(t, s)
	m.Stiffness, m.Torsion = 1e9, 1e9
	nuts := []Length{0.3, -0.1, 0.2, 0.05, -0.4, 0.25}
	h, err := m.Predict(make([]Length, len(s)), nuts)
	if err != nil {
		t.Fatal(err)
	}
	a, b := mat.NewDense(len(s), 3, nil), mat.NewVecDense(len(s), nil)
	for i := range s {
		x := s[i].X
		if i == 3 {
			x = s[2].X // a station is one place along x
		}
		a.SetRow(i, []float64{1, float64(x), float64(s[i].Y)})
		b.SetVec(i, float64(nuts[i]))
	}
	var c mat.VecDense
	if err := c.SolveVec(a, b); err != nil {
		t.Fatal(err)
	}
	for i := range s {
		want := mat.Dot(a.RowView(i), &c)
		within(t, fmt.Sprintf("height %d", i), float64(h[i]), want, 1e-6)
	}
}

// The whole matrix against the finite-difference table of the tests, which
// shares no code with it: bending and torsion, two supports or one a station, of
// which single ones may stand on either side.
func TestInfluenceAgainstFiniteDifferences(t *testing.T) {
	mixed := []Support{{X: 0, Y: 200, Pitch: 1.5}, {X: 0, Y: 400, Pitch: 1.5}, {X: 480, Y: 200, Pitch: 1.5},
		{X: 960, Y: 400, Pitch: 1.5}, {X: 1440, Y: 200, Pitch: 1.5}, {X: 1440, Y: 400, Pitch: 1.5}}
	for _, s := range [][]Support{line(4, 480), grid(3, 480, 160), grid(4, 360, 240), mixed} {
		for _, stiffness := range []float64{0.003, 0.1, 1, 30} {
			for _, ratio := range []float64{0.1, 1} { // GJ/EI
				m := model(t, s)
				f, err := newFrame(s)
				if err != nil {
					t.Fatal(err)
				}
				const k = 2e4
				ei := stiffness * k * f.span * f.span * f.span
				m.Stiffness = stiffness
				if f.halfWidth > 0 {
					m.Torsion = ratio * ei / (k * f.span * f.halfWidth * f.halfWidth)
				}
				want := newTable(rand.New(rand.NewPCG(1, 1)), s, ei, ratio*ei, k, 0)
				got := influence(t, m)
				for i := range s {
					for j := range s {
						within(t, fmt.Sprintf("%d supports, stiffness %g, GJ/EI %g, M[%d][%d]", len(s), stiffness, ratio, i, j),
							got.At(i, j), want.m[i][j], 0.012)
					}
				}
			}
		}
	}
}

// What must hold for any table: symmetric (reciprocity), M of a rigid motion is
// that motion, its answers between nothing and the nut's own movement.
func TestInfluenceProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := drawSupports(t)
		m, err := NewModel(s)
		if err != nil {
			t.Fatal(err)
		}
		m.Stiffness = math.Exp(rapid.Float64Range(-12, 12).Draw(t, "ln stiffness"))
		m.Torsion = math.Exp(rapid.Float64Range(-12, 12).Draw(t, "ln torsion"))
		M, err := m.Influence()
		if err != nil {
			t.Fatal(err)
		}
		f, _ := newFrame(s)
		heave, tilt, roll := 0.3, 1e-4, 2e-4
		for i := range s {
			sum, rigid := 0.0, 0.0
			for j := range s {
				within(t, "asymmetry", M.At(i, j)-M.At(j, i), 0, 1e-9)
				sum += M.At(i, j)
				rigid += M.At(i, j) * (heave + tilt*f.at[f.station[j]] + b2f(f.halfWidth > 0)*roll*f.y[j])
			}
			within(t, "row sum", sum, 1, 1e-6)
			within(t, "rigid motion", rigid, heave+tilt*f.at[f.station[i]]+b2f(f.halfWidth > 0)*roll*f.y[i], 1e-6)
			if d := M.At(i, i); d < 0 || d > 1+1e-9 {
				t.Fatalf("own answer of nut %d is %g", i, d)
			}
		}
	})
}

func b2f(b bool) float64 { return float64(b2i(b)) }

// drawSupports draws two to eight stations of one or two supports.
func drawSupports(t *rapid.T) []Support {
	var s []Support
	x := rapid.Float64Range(-200, 300).Draw(t, "x")
	width := rapid.Float64Range(60, 400).Draw(t, "width")
	for range rapid.IntRange(MinStations, MaxStations).Draw(t, "stations") {
		pitch := Length(rapid.SampledFrom([]float64{1, 1.25, 1.5, 1.75, 2, 25.4 / 13, 25.4 / 16}).Draw(t, "pitch"))
		switch rapid.IntRange(0, 3).Draw(t, "supports") {
		case 0:
			s = append(s, Support{X: Length(x), Y: 200, Pitch: pitch})
		case 1:
			s = append(s, Support{X: Length(x), Y: Length(200 + width), Pitch: pitch})
		default:
			s = append(s, Support{X: Length(x), Y: 200, Pitch: pitch}, Support{X: Length(x + 5), Y: Length(200 + width), Pitch: pitch})
		}
		x += rapid.Float64Range(120, 900).Draw(t, "span")
	}
	return s
}

// Units and the hand of the saw never matter: the same table in inches, or
// mirrored, answers alike.
func TestInfluenceKnowsNoUnitsAndNoHands(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := drawSupports(t)
		a, err := NewModel(s)
		if err != nil {
			t.Fatal(err)
		}
		mirrored := make([]Support, len(s))
		for i, v := range s {
			mirrored[i] = Support{X: v.X, Y: Right.Mirror(v.Y), Pitch: v.Pitch}
		}
		b, err := NewModel(mirrored)
		if err != nil {
			t.Fatal(err)
		}
		a.Stiffness = math.Exp(rapid.Float64Range(-5, 5).Draw(t, "ln stiffness"))
		a.Torsion, b.Torsion, b.Stiffness = a.Stiffness, a.Stiffness, a.Stiffness
		one, _ := a.Influence()
		two, _ := b.Influence()
		for i := range s {
			for j := range s {
				within(t, "mirrored", two.At(i, j), one.At(i, j), 1e-9)
			}
		}
	})
}

// Supports seen from above, sorted by eye.
func TestStationsAndLines(t *testing.T) {
	for _, c := range []struct {
		name     string
		s        []Support
		stations int
		inLine   bool
	}{
		{"three in line", line(3, 400), 3, true},
		{"two by two", grid(2, 600, 160), 2, false},
		{"skew pair counts as one station", []Support{{X: 0, Y: 0, Pitch: 1}, {X: 18, Y: 160, Pitch: 1}, {X: 500, Y: 0, Pitch: 1}}, 2, false},
		{"in no order", []Support{{X: 900, Pitch: 1}, {X: 0, Pitch: 1}, {X: 450, Pitch: 1}}, 3, true},
		{"on a slanted line", []Support{{X: 0, Y: 0, Pitch: 1}, {X: 500, Y: 100, Pitch: 1}, {X: 1000, Y: 200, Pitch: 1}}, 3, true},
		{"zigzag", []Support{{X: 0, Y: 0, Pitch: 1}, {X: 500, Y: 150, Pitch: 1}, {X: 1000, Y: 0, Pitch: 1}}, 3, false},
	} {
		f, err := newFrame(c.s)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if len(f.at) != c.stations || (f.halfWidth == 0) != c.inLine {
			t.Errorf("%s: %d stations, half width %g", c.name, len(f.at), f.halfWidth)
		}
	}
}

func TestSupportsThatCannotBeUsed(t *testing.T) {
	bad := func(change func(s []Support) []Support) []Support { return change(grid(3, 500, 160)) }
	for name, s := range map[string][]Support{
		"none":                 nil,
		"one":                  line(1, 100),
		"all at one station":   {{X: 0, Y: 0, Pitch: 1}, {X: 5, Y: 160, Pitch: 1}},
		"nine stations":        line(9, 300),
		"three at a station":   append(grid(2, 500, 160), Support{X: 100, Y: 330, Pitch: 1}),
		"two at one place":     append(line(2, 500), Support{X: 505, Y: 3, Pitch: 1}),
		"NaN":                  bad(func(s []Support) []Support { s[1].X = Length(math.NaN()); return s }),
		"infinite":             bad(func(s []Support) []Support { s[1].Y = Length(math.Inf(1)); return s }),
		"pitch NaN":            bad(func(s []Support) []Support { s[1].Pitch = Length(math.NaN()); return s }),
		"no pitch":             bad(func(s []Support) []Support { s[2].Pitch = 0; return s }),
		"backward pitch":       bad(func(s []Support) []Support { s[2].Pitch = -1; return s }),
		"no thread is so fine": bad(func(s []Support) []Support { s[2].Pitch = 1e-3; return s }),
		"pitch in metres":      bad(func(s []Support) []Support { s[2].Pitch = 1500; return s }),
		"beyond the horizon":   bad(func(s []Support) []Support { s[2].X = 1e9; return s }),
	} {
		_, err := NewModel(s)
		t.Run(name, func(t *testing.T) { refused(t, err, "supports") })
	}
}

func TestModelsThatCannotBeUsed(t *testing.T) {
	for _, c := range []struct {
		input  string
		change func(m *Model)
	}{
		{"Gain", func(m *Model) { m.Gain = m.Gain[1:] }},
		{"Gain", func(m *Model) { m.Gain[2] = math.NaN() }},
		{"Gain", func(m *Model) { m.Gain[2] = -1e300 }},
		{"Stiffness", func(m *Model) { m.Stiffness = -1 }},
		{"Stiffness", func(m *Model) { m.Stiffness = math.Inf(1) }},
		{"Torsion", func(m *Model) { m.Torsion = math.NaN() }},
		{"Spread", func(m *Model) { m.Spread = -0.1 }},
		{"Spread", func(m *Model) { m.Spread = 50 }},
		{"Stiffness", func(m *Model) { m.Stiffness = 1e20 }},
		{"supports", func(m *Model) { m.Supports[0].Pitch = -2 }},
	} {
		m := model(t, grid(3, 500, 160))
		c.change(&m)
		_, err := m.Influence()
		refused(t, err, c.input)
		_, err = m.Predict(make([]Length, len(m.Supports)), make([]Length, len(m.Supports)))
		refused(t, err, c.input)
		_, err = m.Plan(make([]Length, len(m.Supports)), nil, DefaultPlanOptions())
		refused(t, err, c.input)
		_, _, err = m.Learn(nil, 0.02)
		refused(t, err, c.input)
	}
}

// By hand: an eighth of a turn of 1.75 mm (M12, ISO 261) is 0.21875 mm, and a limp
// table moves by that where the nut stands, times its gain.
func TestPredictAndMoves(t *testing.T) {
	m := model(t, grid(2, 500, 160)) // four supports carry a table of any stiffness but for its twist
	m.Stiffness, m.Torsion = 0, 0
	m.Gain = []float64{1, -1, 0, 0.5}
	moves, err := m.Moves([]float64{0.125, 0.125, 0.125, -0.25})
	if err != nil {
		t.Fatal(err)
	}
	h, err := m.Predict([]Length{0.1, 0.1, 0.1, 0.1}, moves)
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []float64{0.1 + 0.21875, 0.1 - 0.21875, 0.1, 0.1 - 0.21875} {
		within(t, fmt.Sprintf("height %d", i), float64(h[i]), want, 1e-12)
	}
	_, err = m.Moves([]float64{1})
	refused(t, err, "turns")
	_, err = m.Moves([]float64{1, 1, math.NaN(), 1})
	refused(t, err, "turns")
	_, err = m.Moves([]float64{1, 1, 1.5e308, 1})
	refused(t, err, "turns")
	four := make([]Length, 4)
	_, err = m.Predict(four[:3], four)
	refused(t, err, "heights")
	_, err = m.Predict(four, four[:3])
	refused(t, err, "moves")
	_, err = m.Predict([]Length{0, 0, 0, Length(math.Inf(1))}, four)
	refused(t, err, "heights")
	_, err = m.Predict(four, []Length{0, 0, 0, Length(math.NaN())})
	refused(t, err, "moves")
	_, err = m.Predict([]Length{1e308, 0, 0, 0}, []Length{1.7e308, 0, 0, 0})
	refused(t, err, "moves")
}

// A Direct model moves each height by its own nut alone, whatever the table.
func TestDirectModelIsUncoupled(t *testing.T) {
	m := model(t, grid(3, 500, 160))
	m.Direct = true
	M := influence(t, m)
	for i := range m.Supports {
		for j := range m.Supports {
			within(t, "direct influence", M.At(i, j), b2f(i == j), 1e-12)
		}
	}
}
