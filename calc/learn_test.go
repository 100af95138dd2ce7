package calc

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// quietSaw returns a test table of three stations of two supports: readings
// and turns almost exact, so that a finding does not hang on luck.
func quietSaw(seed uint64, stiffness float64) *table {
	r := rand.New(rand.NewPCG(seed, 1))
	s := grid(3, 500, 160)
	const k = 2e4
	ei := stiffness * k * 500 * 500 * 500
	t := newTable(r, s, ei, 0.3*ei, k, 0.02)
	t.jitter, t.settle, t.noise, t.digit = 0.001, 0.001, 0.002, 0.001
	for i := range t.h {
		t.h[i] = 0.1 * r.NormFloat64()
	}
	return t
}

// run turns the nuts and returns the pass.
func (t *table) run(before []Length, turns ...float64) Pass {
	t.turn(turns)
	return Pass{Turns: turns, Before: before, After: t.readAll()}
}

func learn(t testing.TB, m Model, passes []Pass, u Length) (Model, []Finding) {
	t.Helper()
	out, found, err := m.Learn(passes, u)
	if err != nil {
		t.Fatal(err)
	}
	return out, found
}

// Two passes tell how stiff the table is, within its own doubt, over four
// decades: the influence learned is nearer to the true one than the first guess.
func TestLearnTheStiffness(t *testing.T) {
	for _, stiffness := range []float64{0.003, 0.03, 0.3, 3} {
		saw := quietSaw(5, stiffness)
		fresh := model(t, saw.at)
		h := saw.readAll()
		one := saw.run(h, 0.125, 0, 0, 0, 0, 0.0625)
		two := saw.run(one.After, 0, 0.125, 0, -0.125, 0, 0)
		m, found := learn(t, fresh, []Pass{one, two}, 0.005)
		if len(found) > 0 {
			t.Errorf("stiffness %g: found %v where nothing is wrong", stiffness, found)
		}
		off := math.Abs(math.Log(m.Stiffness / stiffness))
		t.Logf("stiffness %g: learned %.3g, ln off by %.2f ± %.2f", stiffness, m.Stiffness, off, m.Spread)
		if off > 2.5*m.Spread || m.Spread > 1.2 {
			t.Errorf("stiffness %g: learned %.3g, ln off by %.2f ± %.2f", stiffness, m.Stiffness, off, m.Spread)
		}
		first, last := influence(t, fresh), influence(t, m)
		var before, after float64
		for i := range saw.at {
			for j := range saw.at {
				before += sq(first.At(i, j) - saw.m[i][j])
				after += sq(last.At(i, j) - saw.m[i][j])
			}
		}
		if stiffness != 0.03 && after > 0.3*before { // at 0.03 the first guess is nearly right
			t.Errorf("stiffness %g: influence off by %.3f, first guess %.3f", stiffness, math.Sqrt(after), math.Sqrt(before))
		}
	}
}

// Learning starts from nothing but the history: in two steps or at once the
// same, and never changing what it was given.
func TestLearnIsPure(t *testing.T) {
	saw := quietSaw(6, 0.1)
	fresh := model(t, saw.at)
	one := saw.run(saw.readAll(), 0.125, 0, 0, 0, 0, 0)
	two := saw.run(one.After, 0, 0, 0, 0, 0.125, 0)
	passes := []Pass{one, two}
	kept := slices.Clone(one.After)
	a, _ := learn(t, fresh, passes, 0.005)
	b, _ := learn(t, fresh, passes, 0.005)
	if a.Stiffness != b.Stiffness || !slices.Equal(a.Gain, b.Gain) {
		t.Errorf("twice the same history: %v and %v", a, b)
	}
	if fresh.Stiffness != firstStiffness || fresh.Gain[0] != 1 || !slices.Equal(kept, passes[0].After) {
		t.Error("the input was changed")
	}
	c, found := learn(t, fresh, nil, 0.005)
	if c.Stiffness != fresh.Stiffness || c.Spread != fresh.Spread || found != nil {
		t.Errorf("no history: %v, %v", c, found)
	}
}

// Each slip is named, with its support, from a limp table to a stiff one.
func TestLearnNamesTheSlip(t *testing.T) {
	all := []float64{0.125, -0.125, 0.09375, 0.125, -0.125, -0.09375}
	one := []float64{0, -0.125, 0, 0.125, 0, 0}
	for _, stiffness := range []float64{0.003, 0.3} {
		for _, c := range []struct {
			name string
			saw  func(t *table)
			data func(p []Pass)
			want Finding
			tol  float64
		}{
			{"nothing", func(*table) {}, func([]Pass) {}, Finding{}, 0},
			{"stuck", func(t *table) { t.gain[3] = 0 }, func([]Pass) {}, Finding{Stuck, 3, -1, -1, 0}, 0},
			{"reversed", func(t *table) { t.gain[1] = -1 }, func([]Pass) {}, Finding{Reversed, 1, -1, -1, -1}, 0},
			{"fine thread", func(t *table) { t.gain[3] = 1.25 / 1.75 }, func([]Pass) {}, Finding{WrongPitch, 3, -1, -1, 1.25 / 1.75}, 0.08},
			{"coarse thread", func(t *table) { t.gain[1] = 2.5 / 1.75 }, func([]Pass) {}, Finding{WrongPitch, 1, -1, -1, 2.5 / 1.75}, 0.08},
			{"all of a fine thread", func(t *table) {
				for i := range t.gain {
					t.gain[i] = 1.25 / 1.75
				}
			}, func([]Pass) {}, Finding{WrongPitch, AllSupports, -1, -1, 1.25 / 1.75}, 0.08},
			{"all reversed", func(t *table) {
				for i := range t.gain {
					t.gain[i] = -1
				}
			}, func([]Pass) {}, Finding{Reversed, AllSupports, -1, -1, -1}, 0},
			{"odd last reading", func(*table) {}, func(p []Pass) { p[1].After[4] += 0.1 }, Finding{OddReading, 4, -1, 1, 1}, 0},
			{"odd reading between", func(*table) {}, func(p []Pass) {
				p[0].After[2] -= 0.1
				p[1].Before[2] -= 0.1
			}, Finding{OddReading, 2, -1, 0, 1}, 0},
			{"readings exchanged", func(*table) {}, func(p []Pass) { swap(p[1].After, 0, 5) }, Finding{Swapped, 0, 5, 1, 1}, 0},
			{"first readings exchanged", func(*table) {}, func(p []Pass) { swap(p[0].Before, 2, 3) }, Finding{Swapped, 2, 3, -1, 1}, 0},
		} {
			saw := quietSaw(11, stiffness)
			copy(saw.h, []float64{0.15, -0.1, 0.05, -0.12, 0.1, -0.08}) // told apart when exchanged
			if c.name == "fine thread" && stiffness > 0.1 {
				continue // a quarter of one move, half taken up by the neighbours: two passes do not tell
			}
			c.saw(saw)
			first := saw.run(saw.readAll(), all...)
			second := saw.run(slices.Clone(first.After), one...)
			passes := []Pass{first, second}
			c.data(passes)
			m, found := learn(t, model(t, saw.at), passes, 0.005)
			if c.want.Kind == NoFinding {
				if len(found) > 0 {
					t.Errorf("stiffness %g, %s: found %v", stiffness, c.name, found)
				}
				continue
			}
			if len(found) != 1 || found[0].Kind != c.want.Kind || found[0].Support != c.want.Support ||
				found[0].Other != c.want.Other || found[0].Pass != c.want.Pass {
				t.Errorf("stiffness %g, %s: found %v, want %v", stiffness, c.name, found, c.want)
				continue
			}
			within(t, c.name+", gain found", found[0].Gain, c.want.Gain, c.tol)
			for j := range saw.at {
				within(t, c.name+", gain learned", m.Gain[j], saw.gain[j], 0.15)
			}
		}
	}
}

func swap(h []Length, i, j int) { h[i], h[j] = h[j], h[i] }

// A reading that was taken again and agreed is not doubted: then it is the nut.
func TestLearnBelievesWhatIsConfirmed(t *testing.T) {
	saw := quietSaw(12, 0.003)
	saw.gain[2] = 0.6
	p := saw.run(saw.readAll(), 0, 0, 0.125, 0, 0, 0)
	_, found := learn(t, model(t, saw.at), []Pass{p}, 0.005)
	if len(found) != 1 || found[0].Kind != OddReading || found[0].Support != 2 || found[0].Pass != 0 {
		t.Errorf("unconfirmed: %v, want the last reading at 2 asked again", found)
	}
	p.Confirmed = []bool{false, false, true, false, false, false}
	m, found := learn(t, model(t, saw.at), []Pass{p}, 0.005)
	if slices.ContainsFunc(found, func(f Finding) bool { return f.Kind == OddReading && f.Pass == 0 }) {
		t.Errorf("confirmed: %v", found)
	}
	within(t, "gain after a confirmed reading", m.Gain[2], 0.6, 0.15)
}

// What fits no table makes the model move each nut by what it did, and the
// plans still end.
func TestLearnFallsBack(t *testing.T) {
	at := grid(3, 500, 160)
	r := rand.New(rand.NewPCG(3, 3))
	h := make([]float64, 6) // no table: every nut moves its own height, and another one as far
	for i := range h {
		h[i] = 0.1 * r.NormFloat64()
	}
	read := func() []Length {
		out := make([]Length, 6)
		for i := range out {
			out[i] = Length(h[i])
		}
		return out
	}
	o := DefaultPlanOptions()
	var passes []Pass
	direct := false
	for round := 0; ; round++ {
		if round == 25 {
			t.Fatalf("still turning after %d passes, at %.3f", round, h)
		}
		m, found := learn(t, model(t, at), passes, o.U)
		if m.Direct {
			direct = true
			if last := found[len(found)-1]; last.Kind != Contradiction || last.Support != AllSupports {
				t.Fatalf("direct, but found %v", found)
			}
		}
		p := plan(t, m, read(), nil, o)
		if p.Done {
			break
		}
		before := read()
		for j, v := range p.Turns {
			h[j] += 1.75 * v
			h[(j+2)%6] -= 0.8 * 1.75 * v
		}
		passes = append(passes, Pass{Turns: p.Turns, Before: before, After: read()})
		if movedNuts(p) == 0 {
			t.Fatalf("blocked at %.3f", h)
		}
	}
	if !direct {
		t.Error("the contradiction was not seen")
	}
}

// A table whose model was kept from an earlier job starts from it.
func TestLearnFromAKeptModel(t *testing.T) {
	saw := quietSaw(14, 0.3)
	kept := model(t, saw.at)
	kept.Stiffness, kept.Spread = 0.3, 0.35
	p := saw.run(saw.readAll(), 0.03125, 0, 0, 0, 0, 0)
	m, _ := learn(t, kept, []Pass{p}, 0.02)
	if m.Stiffness < 0.15 || m.Stiffness > 0.6 {
		t.Errorf("one small move took a known stiffness of 0.3 to %g", m.Stiffness)
	}
	fixed := kept
	fixed.Spread = 0
	if m, _ = learn(t, fixed, []Pass{p}, 0.02); m.Stiffness != 0.3 || m.Spread != 0 {
		t.Errorf("a stiffness beyond doubt became %g ± %g", m.Stiffness, m.Spread)
	}
}

// A height that is never read does not hide a stuck nut. The truth is that of the
// table of the tests.
func TestLearnWithMissingHeights(t *testing.T) {
	saw := quietSaw(15, 0.03)
	saw.gain[0] = 0
	nan := Length(math.NaN())
	p := saw.run(saw.readAll(), 0.125, 0, -0.125, 0, 0.125, 0)
	p.Before[5], p.After[5] = nan, nan
	p.Missing = []bool{false, false, false, false, false, true}
	_, found := learn(t, model(t, saw.at), []Pass{p}, 0.005)
	if len(found) != 1 || found[0].Kind != Stuck || found[0].Support != 0 {
		t.Errorf("found %v, want nut 0 stuck", found)
	}
}

func TestLearnRefusesWhatItCannotUse(t *testing.T) {
	m := model(t, line(3, 500))
	nan := Length(math.NaN())
	ok := func() Pass {
		return Pass{Turns: []float64{0.1, 0, 0}, Before: []Length{0, 0, 0}, After: []Length{0.1, 0, 0}}
	}
	for _, c := range []struct {
		input  string
		u      Length
		change func(p *Pass)
	}{
		{"u", -0.1, func(*Pass) {}}, {"u", nan, func(*Pass) {}}, {"u", 1e6, func(*Pass) {}},
		{"turns", 0.01, func(p *Pass) { p.Turns = p.Turns[1:] }},
		{"turns", 0.01, func(p *Pass) { p.Turns[0] = math.Inf(1) }},
		{"turns", 0.01, func(p *Pass) { p.Turns[0] = 1e6 }},
		{"passes", 0.01, func(p *Pass) { p.Before = nil }},
		{"passes", 0.01, func(p *Pass) { p.After = p.After[:2] }},
		{"passes", 0.01, func(p *Pass) { p.After[1] = nan }},
		{"passes", 0.01, func(p *Pass) { p.Before[1] = 1e9 }},
		{"passes", 0.01, func(p *Pass) { p.Missing = []bool{true} }},
		{"passes", 0.01, func(p *Pass) { p.Confirmed = []bool{true} }},
	} {
		p := ok()
		c.change(&p)
		_, _, err := m.Learn([]Pass{p}, c.u)
		refused(t, err, c.input)
		_, err = m.Heights([]Pass{p}, nil, c.u, 0)
		refused(t, err, c.input)
	}
}

func TestFindingKindNames(t *testing.T) {
	seen := map[string]bool{}
	for k := NoFinding; k <= Contradiction; k++ {
		seen[k.String()] = true
	}
	if len(seen) != 7 || FindingKind(99).String() != "unknown" || FindingKind(-1).String() != "unknown" || Stuck.String() != "stuck" {
		t.Errorf("names: %v", seen)
	}
}

// Heights draws on every reading: of a support left alone the mean, of a moved
// one little more than its last.
func TestHeightsOfALimpTable(t *testing.T) {
	m := knownModel(t, line(3, 500), 1e-9)
	passes := []Pass{
		{Turns: []float64{0.125, 0, 0}, Before: []Length{0, 0.05, 0.09}, After: []Length{0.20, 0.07, 0.10}},
		{Turns: []float64{0.125, 0, 0}, Before: []Length{0.20, 0.07, 0.10}, After: []Length{0.39, 0.06, 0.08}},
	}
	e, err := m.Heights(passes, nil, 0.02, 0)
	if err != nil {
		t.Fatal(err)
	}
	within(t, "mean of three", e[1].Value, 0.06, 1e-6)
	within(t, "mean of three", e[2].Value, 0.09, 1e-6)
	within(t, "U of a mean of three", e[1].U, 1.96*0.01/math.Sqrt(3), 1e-5)
	within(t, "last reading of a moved one", e[0].Value, 0.39, 0.01)
	if e[0].U >= 1.96*0.01 || e[0].U <= e[1].U {
		t.Errorf("U of a moved height %g, of one left alone %g", e[0].U, e[1].U)
	}
	// what reading again does not shrink stays
	f, err := m.Heights(passes, nil, 0.02, 0.016)
	if err != nil {
		t.Fatal(err)
	}
	within(t, "U with a floor", f[1].U, 1.96*math.Hypot(0.008, 0.006/math.Sqrt(3)), 1e-5)
	// a doubted reading is left out, exchanged ones are put right
	e, _ = m.Heights(passes, []Finding{{Kind: OddReading, Support: 2, Other: -1, Pass: 1}}, 0.02, 0)
	within(t, "without the last", e[2].Value, 0.095, 1e-6)
	e, _ = m.Heights(passes, []Finding{{Kind: Swapped, Support: 1, Other: 2, Pass: 1}}, 0.02, 0)
	within(t, "exchanged", e[1].Value, (0.05+0.07+0.08)/3, 1e-6)
	// confirmed counts twice
	passes[1].Confirmed = []bool{false, true, false}
	e, _ = m.Heights(passes, nil, 0.02, 0)
	within(t, "confirmed", e[1].Value, (0.05+0.07+2*0.06)/4, 1e-6)
	// never read: through the table
	stiff := knownModel(t, line(3, 500), 1e5)
	for i := range passes {
		passes[i].Missing = []bool{false, true, false}
	}
	e, _ = stiff.Heights(passes[:1], nil, 0.02, 0)
	if !(e[1].U > 10) {
		t.Errorf("a height that was never read is known to ± %g", e[1].U)
	}
}

// A nut that was turned and moved nothing: the reading counts, and not what the
// turn should have done. Both numbers are the reading and its own uncertainty.
func TestHeightsBelieveTheReadingOfANutThatDidNotAnswer(t *testing.T) {
	m := knownModel(t, line(3, 500), 1e-9)
	p := []Pass{{Turns: []float64{0, 0.0625, 0}, Before: []Length{0.05, -0.01, 0.05}, After: []Length{0.05, 0, 0.05}}}
	e, err := m.Heights(p, nil, 0.02, 0)
	if err != nil {
		t.Fatal(err)
	}
	within(t, "height", e[1].Value, 0, 0.002)
	within(t, "its U", e[1].U, 1.96*0.01, 0.001)
}

// A height that is not read between two passes keeps its first reading, and gets
// the last: the mean of both, and √2 surer. What was put there in between does not
// count.
func TestHeightsNotReadBetweenPasses(t *testing.T) {
	m := knownModel(t, line(3, 500), 1e-9)
	nan := Length(math.NaN())
	last := []bool{false, false, true}
	p := []Pass{
		{Turns: []float64{0, 0.0625, 0}, Before: []Length{0.05, -0.10, 0.05}, After: []Length{0.05, -0.006, nan}, Unread: last},
		{Turns: []float64{0, 0.0312, 0}, Before: []Length{0.05, -0.006, nan}, Missing: last, After: []Length{0.05, 0.04, 0.07}, Unread: make([]bool, 3)},
	}
	e, err := m.Heights(p, nil, 0.02, 0)
	if err != nil {
		t.Fatal(err)
	}
	within(t, "height", e[2].Value, 0.06, 1e-6)
	within(t, "its U", e[2].U, 1.96*0.01/math.Sqrt2, 1e-4)
	within(t, "U of one that was read three times", e[0].U, 1.96*0.01/math.Sqrt(3), 1e-4)
	if _, found, err := m.Learn(p, 0.02); err != nil || len(found) > 0 {
		t.Errorf("found %v, %v", found, err)
	}
}

func TestHeightsRefusesWhatItCannotUse(t *testing.T) {
	m := model(t, line(3, 500))
	p := []Pass{{Turns: []float64{0.1, 0, 0}, Before: []Length{0, 0, 0}, After: []Length{0.1, 0, 0}}}
	_, err := m.Heights(nil, nil, 0.02, 0)
	refused(t, err, "passes")
	_, err = m.Heights(p, nil, 0.02, 0.03)
	refused(t, err, "floor")
	_, err = m.Heights(p, nil, 0.02, -0.03)
	refused(t, err, "floor")
	for _, f := range []Finding{
		{Kind: OddReading, Support: 0, Pass: 5}, {Kind: OddReading, Support: 7}, {Kind: Swapped, Support: 0, Other: 9}, {Kind: Swapped, Support: -1, Other: 1},
	} {
		_, err = m.Heights(p, []Finding{f}, 0.02, 0)
		refused(t, err, "findings")
	}
}
