package virtualsaw

import (
	"math"
	"math/rand/v2"
)

// Tools are the measuring tools of one person, each with a resolution, a
// repeatability in that person's hands (one standard deviation) and errors of
// its own.
type Tools struct {
	Indicator       float64 // resolution, mm
	IndicatorRepeat float64
	Caliper         float64
	CaliperRepeat   float64
	CaliperZero     float64 // what it reads when closed
	Ruler           float64
	Square          float64 // length of its blade
	SquareError     float64 // rad: positive where it is more than 90°
	Level           float64 // rad, resolution
	LevelError      float64 // rad, of one reading, beyond its resolution
	LevelUpright    bool    // it is set to zero upright, and not flat
	LeafSet         int     // index into leafSets
	LeafFeel        float64 // mm: a leaf is felt to go in where the gap is that much smaller or larger, one standard deviation

	r *rand.Rand
}

// leafSets are sets of feeler leaves as they are sold, in the order in which
// the service offers them. From memory, no published source.
var leafSets = [...][]float64{
	{0.05, 0.10, 0.15, 0.20, 0.25, 0.30, 0.40, 0.50, 0.60, 0.70, 0.80, 0.90, 1.00},
	{0.05, 0.10, 0.15, 0.20, 0.25, 0.30, 0.35, 0.40, 0.45, 0.50, 0.55, 0.60, 0.65, 0.70, 0.75, 0.80, 0.85, 0.90, 0.95, 1.00},
	{0.05, 0.10, 0.15, 0.20, 0.25, 0.30, 0.40, 0.50},
	{1.5 * thou, 2 * thou, 3 * thou, 4 * thou, 5 * thou, 6 * thou, 7 * thou, 8 * thou, 9 * thou, 10 * thou, 12 * thou, 15 * thou, 18 * thou, 20 * thou, 25 * thou},
}

const thou = inch / 1000

// drawTools draws the tools of somebody who works in inches or in millimetres.
func drawTools(r *rand.Rand, inches bool) Tools {
	const degree = math.Pi / 180
	t := Tools{Indicator: 0.01, Caliper: 0.01, Ruler: 0.5, LeafSet: r.IntN(3), r: r}
	if inches {
		t.Indicator, t.Caliper, t.Ruler, t.LeafSet = 0.0005*inch, 0.0005*inch, inch/64, 3
	} else if chance(r, 0.2) {
		t.Indicator = 0.002
	} else if chance(r, 0.2) {
		t.Caliper = 0.02
	}
	t.IndicatorRepeat = uniform(r, 0.002, 0.005)
	t.CaliperRepeat = uniform(r, 0.004, 0.012)
	t.Square = pick(r, []float64{100, 150, 200, 300})
	t.SquareError = 0.01 / 150 * r.NormFloat64()
	t.Level, t.LevelError = 0.1*degree, 0.03*degree
	if chance(r, 0.3) {
		t.Level, t.LevelError = 0.01*degree, 0.008*degree
	}
	t.LevelUpright = chance(r, 0.3)
	t.LeafFeel = uniform(r, 0.002, 0.006)
	return t
}

// round returns v as a scale with that step shows it.
func round(v, step float64) float64 { return math.Round(v/step) * step }

func (t *Tools) indicator(v float64) float64 {
	return round(v+t.IndicatorRepeat*t.r.NormFloat64(), t.Indicator)
}

func (t *Tools) caliper(v float64) float64 {
	return round(v+t.CaliperZero+t.CaliperRepeat*t.r.NormFloat64(), t.Caliper)
}

func (t *Tools) ruler(v float64) float64 { return round(v+0.2*t.r.NormFloat64(), t.Ruler) }

func (t *Tools) level(angle float64) float64 {
	return round(angle+t.LevelError*t.r.NormFloat64(), t.Level)
}

// leaves returns the feeler leaves.
func (t *Tools) leaves() []float64 { return leafSets[t.LeafSet] }

// feel tries leaves in a gap: goes is the thickest that goes in, 0 when none
// does, and next the thinnest that does not, 0 when all do.
func (t *Tools) feel(gap float64) (goes, next float64) {
	for _, leaf := range t.leaves() {
		if leaf > gap+t.LeafFeel*t.r.NormFloat64() {
			return goes, leaf
		}
		goes = leaf
	}
	return goes, 0
}
