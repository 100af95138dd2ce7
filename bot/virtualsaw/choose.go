package virtualsaw

import (
	"math"
)

// choosing answers the questions with choices, from what is true of the saw.
var choosing = map[string]func(*Person, Prompt) string{
	"setup.units": func(p *Person, q Prompt) string {
		if p.Unit == "in" {
			return oneOf(q.Choices, "inch")
		}
		return oneOf(q.Choices, "mm")
	},
	"setup.hand":    func(p *Person, q Prompt) string { return sideWord(p.Saw.Left, q) },
	"setup.tilt":    func(p *Person, q Prompt) string { return sideWord(p.Saw.TiltLeft, q) },
	"setup.scoring": func(p *Person, q Prompt) string { return yesNo(p.Saw.Scoring != nil, q) },
	"setup.accept":  (*Person).accept,
	"setup.raises": func(p *Person, q Prompt) string {
		if p.raisesSaid() {
			return oneOf(q.Choices, "anticlockwise")
		}
		return oneOf(q.Choices, "clockwise")
	},
	"setup.fenceplace": func(p *Person, q Prompt) string {
		if p.Saw.Crosscut.AtRear {
			return oneOf(q.Choices, "rear")
		}
		return oneOf(q.Choices, "front")
	},
	"setup.leaves": func(p *Person, _ Prompt) string { return string(rune('1' + p.Tools.LeafSet)) },

	"ask.consent": func(_ *Person, q Prompt) string { return oneOf(q.Choices, "no") },
	"ask.doubt":   (*Person).doubt,
	"ask.resume":  func(_ *Person, q Prompt) string { return q.Choices[0] },
	"before":      func(_ *Person, q Prompt) string { return q.Choices[0] },
	"stopped":     func(_ *Person, q Prompt) string { return q.Choices[0] },
	"impossible":  func(_ *Person, q Prompt) string { return q.Choices[0] },
	"rollers":     func(_ *Person, q Prompt) string { return oneOf(q.Choices, "go on") },
	"slider.locked": func(p *Person, q Prompt) string {
		return yesNo(p.Saw.Slider.lock(p.Saw.random), q)
	},
	"bearings": func(_ *Person, q Prompt) string { return oneOf(q.Choices, "go on") },
	"large":    (*Person).large,

	"method": func(p *Person, q Prompt) string {
		if q.Job == "rip-fence" {
			p.rip = p.Method.Rip
			if p.rip == "edge" && len(q.Choices) < 3 { // not offered while the slider's own toe is not known
				p.rip = "indicator"
			}
			return oneOf(q.Choices, map[string]string{"tooth": "tooth", "edge": "slider's edge", "indicator": "indicator"}[p.rip])
		}
		p.count["tilt.method"]++
		p.tilt = p.Method.Tilt
		if p.count["tilt.method"] == 2 && p.Method.Yields { // told that the level is too coarse
			p.tilt = "gap"
		}
		return oneOf(q.Choices, map[string]string{"gap": "square and feelers", "pair": "pair of cuts", "level": "level"}[p.tilt])
	},
	"tilted": func(_ *Person, q Prompt) string { return q.Choices[0] }, // left out
	"level.shows": func(p *Person, q Prompt) string {
		if p.Tools.LevelUpright {
			return oneOf(q.Choices, "0")
		}
		return oneOf(q.Choices, "90")
	},
	"leans":         func(p *Person, q Prompt) string { return sideWord(p.Saw.leaning(p.Saw.Stop(p.stop)) > 0, q) },
	"slider.tilted": func(_ *Person, q Prompt) string { return oneOf(q.Choices, "leave it out", "leave") },
	"side":          func(p *Person, q Prompt) string { return sideWord(!p.Method.Right, q) },
	"pair.open": func(p *Person, q Prompt) string {
		e := p.pairError()
		switch {
		case math.Abs(e)*100 < p.Tools.leaves()[0]/2:
			return oneOf(q.Choices, "closed")
		case e > 0: // sharper than square: the square does not reach the corner
			return oneOf(q.Choices, "heel")
		}
		return oneOf(q.Choices, "toe")
	},
	"place": func(p *Person, q Prompt) string {
		if p.Saw.Rip.AtRail {
			return oneOf(q.Choices, "rail")
		}
		return oneOf(q.Choices, "head")
	},
	"hood":  func(p *Person, q Prompt) string { return yesNo(p.Saw.Knife.Hood, q) },
	"knife": func(_ *Person, q Prompt) string { return oneOf(q.Choices, "mount another") },
	"clean": func(p *Person, q Prompt) string {
		p.count["clean"]++
		if p.count["clean"] > 1 {
			return oneOf(q.Choices, "leave it")
		}
		return q.Choices[0]
	},
	"counted":          func(_ *Person, q Prompt) string { return q.Choices[0] }, // on the arbor, as was asked
	"scoring.kind":     func(p *Person, q Prompt) string { return oneOf(q.Choices, p.Saw.Scoring.Kind) },
	"references.which": func(_ *Person, q Prompt) string { return q.Choices[0] }, // all
	"references.stand": func(_ *Person, q Prompt) string { return q.Choices[0] },
	"square.side":      func(p *Person, q Prompt) string { return sideWord(p.Tools.SquareError < 0, q) },
	"caliper.zeroed": func(p *Person, q Prompt) string {
		p.Tools.CaliperZero = 0
		return yesNo(true, q)
	},

	"symptom": func(_ *Person, q Prompt) string { return oneOf(q.Choices, "burning") },
	"trouble": func(_ *Person, q Prompt) string { return oneOf(q.Choices, "fence side", "rip fence", "in line") },

	"proof.look": func(p *Person, q Prompt) string {
		switch {
		case p.Saw.Rip.locked < -0.05:
			return oneOf(q.Choices, "pinching")
		case p.Saw.Rip.locked < -0.02:
			return oneOf(q.Choices, "burning")
		}
		return oneOf(q.Choices, "clean")
	},
}

func sideWord(left bool, q Prompt) string {
	if left {
		return oneOf(q.Choices, "left")
	}
	return oneOf(q.Choices, "right")
}

func yesNo(yes bool, q Prompt) string {
	if yes {
		return oneOf(q.Choices, "yes")
	}
	return oneOf(q.Choices, "no")
}

// accept goes through every part of the profile once, then takes it.
func (p *Person) accept(q Prompt) string {
	if len(p.parts) == 0 {
		return oneOf(q.Choices, "ok")
	}
	part := p.parts[0]
	p.parts = p.parts[1:]
	return oneOf(q.Choices, part)
}

// doubt answers a reading that was questioned: the person looks at the tool
// again and reads it anew; when it says the same again, that is what it says.
func (p *Person) doubt(q Prompt) string {
	if p.Slip != nil {
		p.Slip.Questioned = true
	}
	p.count["doubt/"+p.asked]++
	if p.count["doubt/"+p.asked] > 1 {
		for _, c := range q.Choices {
			if amount(c) == amount(p.told) {
				return c
			}
		}
	}
	return oneOf(q.Choices, "read again")
}

// large answers a move that is doubted: read again, and when it is the same
// again it is right.
func (p *Person) large(q Prompt) string {
	key := "large/" + q.Job
	if p.twice[key] {
		return oneOf(q.Choices, "right", "it is right")
	}
	p.twice[key] = true
	return oneOf(q.Choices, "read again")
}

// naming answers the questions for a text.
var naming = map[string]func(*Person, Prompt) string{
	"setup.name":       func(*Person, Prompt) string { return "Ash" },
	"setup.thread":     func(p *Person, _ Prompt) string { return p.threadSaid() },
	"setup.fencescrew": func(*Person, Prompt) string { return "none" },
	"setup.stops":      func(*Person, Prompt) string { return "45" },
}

// dimensions are what a ruler, a label or a count answers: the value and what
// it is read to.
var dimensions = map[string]func(*Person, Prompt) (float64, float64){
	"setup.stations": func(p *Person, _ Prompt) (float64, float64) {
		p.count["setup.station"] = 0
		return float64(p.stations()), 1
	},
	"setup.each": func(p *Person, _ Prompt) (float64, float64) { return float64(p.rows()), 1 },
	"setup.near": func(p *Person, _ Prompt) (float64, float64) { return p.row(0), 1 },
	"setup.far":  func(p *Person, _ Prompt) (float64, float64) { return p.row(1), 1 },
	"setup.station": func(p *Person, _ Prompt) (float64, float64) {
		i := p.count["setup.station"] * p.rows()
		p.count["setup.station"]++
		return p.Saw.Slider.Supports[i].X, 1
	},
	"setup.spanner":   func(p *Person, _ Prompt) (float64, float64) { return p.Saw.Spanner, 1 },
	"setup.blade":     func(p *Person, _ Prompt) (float64, float64) { return p.Saw.Profile.Blade, 1 },
	"setup.pivot":     func(p *Person, _ Prompt) (float64, float64) { return p.Saw.Crosscut.Pivot, 1 },
	"setup.reach":     func(p *Person, _ Prompt) (float64, float64) { return p.Saw.Crosscut.Adjust, 1 },
	"setup.indicator": func(p *Person, _ Prompt) (float64, float64) { return p.Tools.Indicator, 0.0001 },
	"setup.caliper":   func(p *Person, _ Prompt) (float64, float64) { return p.Tools.Caliper, 0.0001 },
	"setup.square":    func(p *Person, _ Prompt) (float64, float64) { return p.Tools.Square, 1 },
	"slider.travel":   func(p *Person, _ Prompt) (float64, float64) { return 0.8 * p.Saw.Profile.Blade, 1 },
	"tilt.height":     func(p *Person, _ Prompt) (float64, float64) { return p.Tools.Square, 1 },
	"ripfence.travel": func(p *Person, _ Prompt) (float64, float64) {
		if p.rip == "edge" {
			return 600, 1
		}
		return 0.8 * p.Saw.Profile.Blade, 1
	},
	"ripfence.reach": func(p *Person, _ Prompt) (float64, float64) { return p.Saw.Rip.Reach, 1 },
	"ripfence.near":  func(p *Person, _ Prompt) (float64, float64) { return p.Saw.Rip.Near, 1 },
	"ripfence.far":   func(p *Person, _ Prompt) (float64, float64) { return p.Saw.Rip.Far, 1 },
	"knife.plate":    func(p *Person, _ Prompt) (float64, float64) { return p.Saw.Knife.Plate, 0.05 },
	"knife.kerf":     func(p *Person, _ Prompt) (float64, float64) { return p.Saw.Knife.Kerf, 0.05 },
	"runout.steps":   func(*Person, Prompt) (float64, float64) { return 8, 1 },
	"arbor.plunger":  func(p *Person, _ Prompt) (float64, float64) { return plungerAt * p.Saw.Profile.Blade, 1 },
	"arbor.flange":   func(p *Person, _ Prompt) (float64, float64) { return p.Saw.Blade.Flangeseat, 1 },
	"square.length":  func(p *Person, _ Prompt) (float64, float64) { return p.Tools.Square, 1 },
}

func (p *Person) stations() int {
	return p.Saw.Slider.Supports[len(p.Saw.Slider.Supports)-1].Station + 1
}

func (p *Person) rows() int { return len(p.Saw.Slider.Supports) / p.stations() }

// row returns the distance of a row of supports from the blade.
func (p *Person) row(i int) float64 { return math.Abs(p.Saw.Slider.Supports[i].Y) }
