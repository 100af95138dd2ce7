package dialog_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"shimwright/dialog"
)

// disc is a blade on an arbor as a test rig would measure it: the flange leans
// and so does the blade, each about its own high spot. It shares no arithmetic
// with the package that judges the readings.
type disc struct {
	flange, blade     float64 // half the travel of each, at the plunger, mm
	flangeAt, bladeAt float64 // their high spots, part of a turn from the arbor's mark
	warp              float64
	half              bool // the blade sits half a turn on
	noise             *rand.Rand
}

func (d disc) read(turn float64) float64 {
	blade := d.bladeAt
	if d.half {
		blade += 0.5
	}
	v := 0.4 + d.flange*math.Cos(2*math.Pi*(turn-d.flangeAt)) + d.blade*math.Cos(2*math.Pi*(turn-blade)) +
		d.warp*math.Cos(4*math.Pi*(turn-blade))
	if d.noise != nil {
		v += d.noise.NormFloat64() * 0.001
	}
	return math.Round(v*100) / 100
}

// measure answers the runout job until it is through. onBlade: the second turn
// is counted from a mark on the blade, as people do by mistake.
func (d disc) measure(t *testing.T, onBlade bool, says ...string) *shop {
	t.Helper()
	sh := begin("runout")
	for range 120 {
		p := sh.prompt()
		switch {
		case p.Name == "blade.face":
			turn := *p.Turn
			if onBlade && p.Set == 2 && p.N != 2 {
				turn += 0.5
			}
			sh.say(fmt.Sprintf("%.2f mm", d.read(turn)))
		case p.Name == "arbor.half":
			d.half = true
			sh.say("done")
		case p.Name == "arbor.play":
			sh.say("0")
		case p.Name == "arbor.flange":
			sh.say("45")
		case p.Name == "runout.steps" && len(says) > 0:
			sh.say(says[0])
		case p.Name == "clean":
			sh.say("leave it")
		case p.Kind == dialog.KindConfirm && p.Name != "safety.guarded":
			sh.say(p.Acknowledge)
		case p.Kind == dialog.KindReading:
			sh.say("ok")
		default:
			return sh
		}
	}
	t.Fatal("runout never ended")
	return nil
}

// TestRunoutBlames finds who is to blame on simulated discs, whichever mark the
// second turn was counted from.
func TestRunoutBlames(t *testing.T) {
	const at, flangeRadius = 315.0/2 - 25, 45.0
	for seed := range 60 {
		r := rand.New(rand.NewPCG(uint64(seed), 3))
		d := disc{flangeAt: r.Float64(), bladeAt: r.Float64(), noise: r}
		bad := "runout.flange"
		switch seed % 2 {
		case 0:
			d.flange, d.blade = 0.07+0.1*r.Float64(), 0.005*r.Float64()
		default:
			d.flange, d.blade, bad = 0.012*r.Float64(), 0.08+0.1*r.Float64(), "runout.blade"
		}
		sh := d.measure(t, seed%3 == 0)
		flange := sh.last(t, "runout.flange")
		if want := map[string]string{"runout.flange": "outside", "runout.blade": "within"}[bad]; flange.Decision != want {
			t.Errorf("seed %d: %+v: flange %s, want %s\n%s", seed, d, flange.Decision, want, sh.text())
		}
		want := 2 * d.flange * flangeRadius / at
		if got := flange.AsLeft; math.Abs(got.Value-want) > got.Uncertainty+0.001 {
			t.Errorf("seed %d: flange %.4f ± %.4f, made with %.4f", seed, got.Value, got.Uncertainty, want)
		}
		if b := sh.last(t, "runout.blade"); b.Decision != "outside" {
			t.Errorf("seed %d: mounted blade %s", seed, b.Decision)
		}
	}
}

// TestRunoutNoSecondTurn: whoever needs not tell flange from blade takes
// nothing apart.
func TestRunoutNoSecondTurn(t *testing.T) {
	for name, d := range map[string]disc{
		"true":         {flange: 0.004, blade: 0.015, bladeAt: 0.3},
		"warped plate": {flange: 0.002, blade: 0.01, warp: 0.09},
	} {
		sh := d.measure(t, false)
		r := sh.last(t, "runout.blade")
		for _, v := range r.Readings {
			if v.Label[0] == '2' {
				t.Errorf("%s: a second turn was read", name)
				break
			}
		}
		want := map[string]string{"true": "within", "warped plate": "outside"}[name]
		if r.Decision != want {
			t.Errorf("%s: %s", name, r.Decision)
		}
	}
}

// TestRunoutFewSteps: with four steps a warp would pass for a wobble, so eight
// are asked for then.
func TestRunoutFewSteps(t *testing.T) {
	d := disc{blade: 0.01, warp: 0.06}
	sh := d.measure(t, false, "4")
	eighths := 0
	for _, v := range sh.last(t, "runout.blade").Readings {
		if v.Label == "1: 1/8" {
			eighths++
		}
	}
	if eighths == 0 {
		t.Error("no turn was read in eight steps")
	}
}

// TestRunoutCoarseIndicator: before anything is read it is said that a tool
// cannot decide.
func TestRunoutCoarseIndicator(t *testing.T) {
	for _, c := range []struct {
		resolution string
		coarse     bool
	}{{"0.01", false}, {"0.1", true}} {
		sh := newShop()
		sh.says("runout", "mm", "Old Blue", "left", "tools", c.resolution, "ok", "ok", "ok", "ok", "unplugged", "done", "0")
		if got := contains(sh.text(), "too coarse"); got != c.coarse || sh.prompt().Name != "runout.steps" {
			t.Errorf("%s mm: said too coarse: %v\n%s", c.resolution, got, sh.text())
		}
	}
}

// TestRunoutBearings: play is not measured away.
func TestRunoutBearings(t *testing.T) {
	sh := begin("runout")
	sh.says("unplugged", "done", "0.08", "bearings first")
	if p := sh.prompt(); p.Name != "stopped" {
		t.Errorf("it goes on: %+v\n%s", p, sh.text())
	}
}

// TestRunoutOneStep: a 1 is out of the range of steps, and no ten is put into the
// person's mouth.
func TestRunoutOneStep(t *testing.T) {
	for _, typed := range []string{"1", "one", "2"} {
		sh := begin("runout")
		sh.says("unplugged", "done", "0")
		if p := sh.prompt(); p.Name != "runout.steps" {
			t.Fatalf("%s is asked, not the steps\n%s", p.Name, sh.text())
		}
		sh.says(typed)
		if got := sh.text(); !contains(got, "4 to 24") || contains(got, "10") || contains(got, "20") || sh.prompt().Name != "runout.steps" {
			t.Errorf("%q: %s", typed, got)
		}
	}
}
