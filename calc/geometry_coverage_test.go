package calc

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

// A measurement of a procedure: the truth is drawn, read with a tool, and given
// to the procedure. read is one reading of a true length (or angle) with the
// tool's noise and steps; largest is the largest error that the tool's steps
// alone can make of the result.
type measurement struct {
	name    string
	step    float64 // of the tool, mm or rad
	measure func(r *rand.Rand, read func(v float64) Length, parts []Component) (Estimate, float64, error)
	largest float64 // in steps of the tool
}

var measurements = []measurement{
	{"slider toe", 0.01, func(r *rand.Rand, read func(float64) Length, parts []Component) (Estimate, float64, error) {
		toe, at := 0.3*r.NormFloat64(), 5+r.Float64()
		e, err := SliderToe(read(at), read(at-toe*250/315), 250, 315, parts...)
		return e, toe, err
	}, 315.0 / 250},
	{"five cuts", 0.01, func(r *rand.Rand, read func(float64) Length, parts []Component) (Estimate, float64, error) {
		eps, at := 3e-4*r.NormFloat64(), 18+5*r.Float64()
		e, err := FiveCut(read(at+4*eps*550), read(at), 550, parts...)
		return e, eps, err
	}, 1.0 / (4 * 550)},
	{"fence to the tooth", 0.05, func(r *rand.Rand, read func(float64) Length, parts []Component) (Estimate, float64, error) {
		toe, at := 0.2*r.NormFloat64(), 200+r.Float64()
		e, err := FenceToe(read(at), read(at+toe*280/315), 280, 315, parts...)
		return e, toe, err
	}, 315.0 / 280},
	{"tilt by gap", 0.01, func(r *rand.Rand, read func(float64) Length, parts []Component) (Estimate, float64, error) {
		delta := 2e-3 * r.NormFloat64()
		e, err := TiltByGap(read(80*math.Tan(delta)), 80, AwaySide, parts...)
		return e, delta, err
	}, 0.5 / 80},
	{"tilt by level", 0.1 * math.Pi / 180, func(r *rand.Rand, read func(float64) Length, parts []Component) (Estimate, float64, error) {
		delta, table := 3e-3*r.NormFloat64(), 0.02*r.Float64()
		e, err := TiltByLevel(Angle(read(table+math.Pi/4+delta)), Angle(read(table)), 45*Degree, parts...)
		return e, delta, err
	}, 1},
	{"tilt by flip", 0.01, func(r *rand.Rand, read func(float64) Length, parts []Component) (Estimate, float64, error) {
		delta := 1e-3 * r.NormFloat64()
		e, err := TiltByFlip(read(2*60*math.Tan(delta)), 60, TowardSide, parts...)
		return e, delta, err
	}, 0.5 / 120},
	{"bevel pair", 0.05, func(r *rand.Rand, read func(float64) Length, parts []Component) (Estimate, float64, error) {
		delta := 1e-3 + 2e-3*r.Float64() // a gap is never read as negative
		e, err := BevelPair(max(0, read(100*math.Tan(2*delta))), 100, OpenAtHeel, parts...)
		return e, delta, err
	}, 0.5 / 200},
	{"riving knife", 0.05, func(r *rand.Rand, read func(float64) Length, parts []Component) (Estimate, float64, error) {
		left, right := r.Float64(), r.Float64()
		e, err := KnifeShift(read(left), read(right), parts...)
		return e, (left - right) / 2, err
	}, 0.5},
	{"scoring", 0.05, func(r *rand.Rand, read func(float64) Length, parts []Component) (Estimate, float64, error) {
		left, right := r.Float64(), r.Float64()
		e, err := ScoreShift(read(left), read(right), parts...)
		return e, (right - left) / 2, err
	}, 0.5},
	{"square", 0.05, func(r *rand.Rand, read func(float64) Length, parts []Component) (Estimate, float64, error) {
		eps := 5e-4 * r.NormFloat64()
		e, err := SquareFlip(read(2*300*math.Tan(eps)), 300, parts...)
		return e, eps, err
	}, 0.5 / 600},
}

const trials = 10000

// hits counts the trials in which the truth lay within ± U.
func (m measurement) hits(t testing.TB, r *rand.Rand, noise float64, parts []Component) (count int, u float64) {
	read := func(v float64) Length {
		return Length(m.step * math.Round((v+noise*r.NormFloat64())/m.step))
	}
	for range trials {
		e, truth, err := m.measure(r, read, parts)
		if err != nil {
			t.Fatal(m.name, err)
		}
		count += b2i(math.Abs(e.Value-truth) <= e.U*(1+1e-12))
		u = e.U
	}
	return count, u
}

// Where noise dominates, the true value is within ± U in 93 to 97.5 % of 10,000
// trials of every procedure.
func TestProceduresCoverNoise(t *testing.T) {
	for k, m := range measurements {
		r := rand.New(rand.NewPCG(uint64(k), 21))
		noise := 2 * m.step
		n, _ := m.hits(t, r, noise, []Component{Rectangular(m.step / 2), Normal(noise, math.Inf(1))})
		covers(t, m.name+", noise twice the step", n, trials, 0.93, 0.975)
	}
}

// Where the tool's steps dominate, it is at least 95 %, less three standard
// deviations of so many draws (0.65 %), and U is at most 1.2 times the largest
// possible error.
func TestProceduresCoverResolution(t *testing.T) {
	for k, m := range measurements {
		r := rand.New(rand.NewPCG(uint64(k), 22))
		n, u := m.hits(t, r, 0, []Component{Rectangular(m.step / 2)})
		covers(t, m.name+", resolution alone", n, trials, 0.9435, 1)
		ratio := u / (m.largest * m.step)
		t.Logf("%s: U is %.3f of the largest possible error", m.name, ratio)
		if ratio > 1.2 {
			t.Errorf("%s: U is %.3f of the largest possible error", m.name, ratio)
		}
	}
}

// Spots of one blade, whose runout differs from spot to spot and cancels.
func TestSliderToeMeanCovers(t *testing.T) {
	for _, c := range []struct {
		name        string
		noise       float64
		spots       int
		least, most float64
	}{{"three spots, noise", 0.02, 3, 0.93, 0.975}, {"five spots, noise", 0.02, 5, 0.93, 0.975}, {"three spots, steps", 0.001, 3, 0.93, 1}} {
		r := rand.New(rand.NewPCG(31, 3))
		n := 0
		for range trials {
			toe := 0.2 * r.NormFloat64()
			spots := make([]Travel, c.spots)
			for i := range spots {
				runout := 3 + 0.2*r.NormFloat64()
				read := func(v float64) Length { return Length(0.01 * math.Round((v+c.noise*r.NormFloat64())/0.01)) }
				spots[i] = Travel{Front: read(runout), Rear: read(runout - toe*260/315)}
			}
			e, err := SliderToeMean(spots, 260, 315, Rectangular(0.005))
			if err != nil {
				t.Fatal(err)
			}
			n += b2i(math.Abs(e.Value-toe) <= e.U)
		}
		covers(t, "slider toe, "+c.name, n, trials, c.least, c.most)
	}
}

// The fence through a slider whose own toe is an estimate.
func TestFenceThroughSliderCovers(t *testing.T) {
	r := rand.New(rand.NewPCG(32, 3))
	n := 0
	for range trials {
		slider, fence := 0.05*r.NormFloat64(), 0.1*r.NormFloat64()
		read := func(v float64) Length { return Length(0.01 * math.Round((v+0.015*r.NormFloat64())/0.01)) }
		parts := []Component{Rectangular(0.005), Normal(0.015, math.Inf(1))}
		own, err := SliderToe(read(5), read(5-slider*250/315), 250, 315, parts...)
		if err != nil {
			t.Fatal(err)
		}
		e, err := FenceToeThroughSlider(read(600), read(600+(slider+fence)*800/315), 800, 315, own, parts...)
		if err != nil {
			t.Fatal(err)
		}
		n += b2i(math.Abs(e.Value-fence) <= e.U)
	}
	covers(t, "fence through the slider", n, trials, 0.93, 0.975)
}

// Heights of levelled tables, from all readings of two passes over three or four
// stations of any stiffness: the truth within ± U at every support. 2,500
// supports of each, for a table of the tests takes its time.
func TestHeightsCover(t *testing.T) {
	for _, b := range []bench{
		{"limp", 3, 2, 0.001, 0.01, 0.15}, {"between", 3, 2, 0.1, 1, 0.15}, {"stiff", 4, 1, 10, 100, 0.15},
	} {
		r := rand.New(rand.NewPCG(33, uint64(len(b.name))))
		n, all := 0, 0
		for all < trials/4 {
			saw := b.draw(r)
			saw.digit = 0.005
			o := DefaultPlanOptions()
			fresh := model(t, saw.at)
			var passes []Pass
			before := saw.readAll()
			h := before
			for range 2 {
				m, _ := learn(t, fresh, passes, 0.0165)
				p := plan(t, m, h, nil, o)
				saw.turn(p.Turns)
				after := saw.readAll()
				passes = append(passes, Pass{Turns: p.Turns, Before: before, After: after})
				before, h = after, after
			}
			m, found := learn(t, fresh, passes, 0.0165)
			e, err := m.Heights(passes, found, 0.0165, 0)
			if err != nil {
				t.Fatal(err)
			}
			for i := range e {
				n += b2i(math.Abs(e[i].Value-saw.h[i]) <= e[i].U)
				all++
			}
		}
		covers(t, fmt.Sprintf("heights, %s", b.name), n, all, 0.93, 0.975)
	}
}
