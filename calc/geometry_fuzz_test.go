package calc

import (
	"encoding/binary"
	"math"
	"testing"
)

// Each public entry of the geometry, fed with any numbers: an answer without NaN
// or a typed error that names the input, never a panic.

// numbers cuts bytes into floats.
func numbers(data []byte, n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		if len(data) >= 8 {
			out[i] = math.Float64frombits(binary.LittleEndian.Uint64(data))
			data = data[8:]
		}
	}
	return out
}

// bytesOf packs floats for a seed.
func bytesOf(v ...float64) []byte {
	var out []byte
	for _, x := range v {
		out = binary.LittleEndian.AppendUint64(out, math.Float64bits(x))
	}
	return out
}

func lengthsOf(v []float64) []Length {
	out := make([]Length, len(v))
	for i, x := range v {
		out[i] = Length(x)
	}
	return out
}

func bareOf(v []Length) []float64 {
	out := make([]float64, len(v))
	for i, x := range v {
		out[i] = float64(x)
	}
	return out
}

// fuzzTable makes three stations of two supports, a model and heights of them.
func fuzzTable(data []byte) (m Model, h []Length, rest []float64, err error) {
	v := numbers(data, 40)
	s := make([]Support, 6)
	for i := range s {
		s[i] = Support{X: Length(v[i]), Y: Length(v[6+i]), Pitch: Length(v[12+i])}
	}
	m, err = NewModel(s)
	m.Stiffness, m.Torsion, m.Spread = v[18], v[19], v[20]
	return m, lengthsOf(v[21:27]), v[27:], err
}

func addTables(f *testing.F) {
	good := []float64{0, 0, 500, 500, 1000, 1000, 0, 160, 0, 160, 0, 160, 1.5, 1.5, 1.5, 1.5, 1.5, 1.5, 0.1, 1, 2,
		0.1, -0.1, 0.05, 0.2, -0.3, 0.04, 0.125, 0, -0.125, 0, 0.0625, 0}
	f.Add(bytesOf(good...))
	bent := append([]float64(nil), good...)
	bent[18], bent[20], bent[23] = 1e9, 0, 1
	f.Add(bytesOf(bent...))
	f.Add(bytesOf(math.NaN(), 1, 2))
	f.Add([]byte{})
}

func FuzzModel(f *testing.F) {
	addTables(f)
	f.Fuzz(func(t *testing.T, data []byte) {
		m, h, rest, err := fuzzTable(data)
		sane(t, err)
		if err != nil {
			return
		}
		M, err := m.Influence()
		sane(t, err)
		if err == nil {
			for i := range h {
				sane(t, nil, M.RawRowView(i)...)
			}
		}
		moves, err := m.Moves(rest[:6])
		sane(t, err, bareOf(moves)...)
		after, err := m.Predict(h, lengthsOf(rest[:6]))
		sane(t, err, bareOf(after)...)
	})
}

func FuzzPlan(f *testing.F) {
	addTables(f)
	f.Fuzz(func(t *testing.T, data []byte) {
		m, h, rest, err := fuzzTable(data)
		if err != nil {
			return
		}
		o := DefaultPlanOptions()
		if rest[6] != 0 {
			o.Low, o.High, o.U, o.Guard = Length(rest[6]), Length(rest[7]), Length(rest[8]), rest[9]
			o.MaxTurn, o.MinTurn, o.ReadingTime, o.MoveTime = rest[10], rest[11], rest[12], 45
		}
		copy(m.Gain, rest[:6])
		p, err := m.Plan(h, nil, o)
		sane(t, err, append(bareOf(p.Predicted), p.Turns...)...)
		sane(t, err, append(bareOf(p.Watch), p.Minutes)...)
		if err == nil && !p.Done && p.Passes == 0 && len(p.Blocked) == 0 {
			t.Errorf("neither done nor turns nor blocked: %+v", p)
		}
	})
}

func FuzzLearn(f *testing.F) {
	addTables(f)
	f.Fuzz(func(t *testing.T, data []byte) {
		m, h, rest, err := fuzzTable(data)
		if err != nil {
			return
		}
		passes := []Pass{
			{Turns: rest[:6], Before: h, After: lengthsOf(rest[7:13])},
			{Turns: rest[6:12], Before: lengthsOf(rest[7:13]), After: h},
		}
		learned, found, err := m.Learn(passes, 0.02)
		sane(t, err, append([]float64{learned.Stiffness, learned.Torsion, learned.Spread}, learned.Gain...)...)
		if err != nil {
			return
		}
		e, err := learned.Heights(passes, found, 0.02, 0.01)
		sane(t, err)
		for _, v := range e {
			sane(t, nil, v.Value, v.U)
		}
	})
}

func FuzzLinesAndAngles(f *testing.F) {
	f.Add(25.6, 25.2, 400.0, 315.0, 0.01)
	f.Add(0.0, 0.0, 0.0, 0.0, 0.0)
	f.Add(math.NaN(), math.Inf(1), -1.0, 1e308, 1e-308)
	f.Fuzz(func(t *testing.T, a, b, c, d, half float64) {
		A, B, C, D := Length(a), Length(b), Length(c), Length(d)
		r := Rectangular(half)
		check := func(e Estimate, err error) { t.Helper(); sane(t, err, e.Value, e.U) }
		length := func(l Length, err error) { t.Helper(); sane(t, err, float64(l)) }
		toe, err := SliderToe(A, B, C, D, r)
		check(toe, err)
		check(SliderToeMean([]Travel{{A, B}, {B, A}, {C, D}}, C, D, r))
		length(ShiftAt(A, B, C, D, A))
		check(FiveCut(A, B, C, r))
		length(FenceMove(Angle(a), C, D))
		s, err := Express(Angle(a), B)
		sane(t, err, float64(s.Over), float64(s.PerMetre), float64(s.PerFoot), float64(s.Perimeter))
		p, err := Panel(Angle(a), B, C)
		sane(t, err, float64(p.End), float64(p.Diagonals), float64(p.Length))
		check(MitrePair(A, B, OpenAtHeel, r))
		check(BevelPair(A, B, OpenAtToe, r))
		if MitreFenceError(MitreFenceError(Angle(a), false), false) != Angle(a) && a == a {
			t.Errorf("the error of %g rad does not come back", a)
		}
		check(TiltByGap(A, B, AwaySide, r))
		check(TiltByLevel(Angle(a), Angle(b), Angle(c), r))
		check(TiltByFlip(A, B, TowardSide, r))
		check(FenceToe(A, B, C, D, r))
		check(FenceToeThroughSlider(A, B, C, D, toe, r))
		check(FenceToeThroughSlider(A, B, C, D, Estimate{Value: a, U: b, DoF: c}, r))
		length(ToeTarget(A, Window{Low: b, High: c, ToeIn: true}))
		moves, err := RailMoves(A, B, C, []Length{D, A, B}, C)
		sane(t, err, bareOf(moves)...)
		length(HeadMove(A, B, C, D))
		if Right.Mirror(Right.Mirror(A)) != A && a == a || Left.Mirror(A) != A && a == a {
			t.Errorf("%g is mirrored for good", a)
		}
		check(KnifeShift(A, B, r))
		_, err = Knife{Thickness: A, Plate: B, Kerf: C, Gaps: []Length{D}, Top: A}.Check(KnifeRules{GapMin: B, GapMax: C, Below: D})
		sane(t, err)
		check(ScoreShift(A, B, r))
		length(ScoreWiden(A, B, C))
		length(ConicalDepth(A, Angle(b)))
		check(SquareFlip(A, B, r))
		length(SquareCorrection(Estimate{Value: a, U: b, DoF: c}, D))
		check(StraightedgeFlip(A, r))
	})
}

func FuzzNextScrew(f *testing.F) {
	f.Add(0.125, 0.004, 0.005, 0.005, 0.0002, 0.0625)
	f.Add(math.Inf(1), 1e308, -1e308, 0.0, 1e-320, 1e-310)
	f.Fuzz(func(t *testing.T, turns, before, after, value, u, step float64) {
		o := DefaultScrewOptions(before, u)
		o.Step = step
		a, s, err := NextScrew([]ScrewMove{{turns, before, after}, {step, after, value}}, value, o)
		sane(t, err, a.Turns, a.Past, a.Predicted, s.Rate, s.RateU)
		if err == nil && math.Abs(a.Turns) > o.MaxTurn+step {
			t.Errorf("%g turns at once", a.Turns)
		}
	})
}
