package virtualsaw

import "math"

// readings are the questions that a tool at the saw or at a piece answers.
var readings = map[string]func(*Person, Prompt) string{
	"slider.play": func(p *Person, q Prompt) string {
		return number(math.Abs(p.Tools.indicator(p.Saw.Travel.Play)), p.Tools.Indicator, q.Unit)
	},
	"slider.height":    (*Person).height,
	"slider.indicator": (*Person).rideAlong,
	"blade.face":       (*Person).face,
	"arbor.play": func(p *Person, q Prompt) string {
		return number(math.Abs(p.Tools.indicator(0.006)), p.Tools.Indicator, q.Unit)
	},
	"strip.first":       (*Person).stripWidth,
	"strip.last":        (*Person).stripWidth,
	"strip.length":      (*Person).stripWidth,
	"tilt.gap":          (*Person).tiltGap,
	"tilt.angle":        (*Person).tiltAngle,
	"flip.gap":          (*Person).flipGap,
	"flip.thickness":    func(p *Person, q Prompt) string { return p.byCaliper(p.pair, q) },
	"pair.gap":          (*Person).pairGap,
	"ripfence.distance": (*Person).ripDistance,
	"ripfence.indicator": func(p *Person, q Prompt) string {
		v := p.Tools.indicator(2 - p.Saw.Rip.locked*q.At.X/p.Saw.Profile.Blade)
		return p.signed(v, p.Tools.Indicator, q.Unit, "", "")
	},
	"ripcut.width":    (*Person).ripWidth,
	"ripcut.length":   func(_ *Person, q Prompt) string { return number(600, 1, q.Unit) },
	"knife.thickness": func(p *Person, q Prompt) string { return p.byCaliper(p.Saw.Knife.Thick, q) },
	"knife.gap":       (*Person).knifeGap,
	"knife.top":       (*Person).knifeTop,
	"knife.offset":    (*Person).knifeSide,
	"score.left":      (*Person).scored,
	"score.right":     (*Person).scored,
	"score.depth":     func(p *Person, q Prompt) string { return p.byCaliper(p.Saw.Scoring.Depth, q) },
	"scoring.flank":   func(p *Person, _ Prompt) string { return plain(p.Saw.Scoring.Flank*180/math.Pi, 0.1) },
	"square.gap":      (*Person).lines,
	"repeat": func(p *Person, q Prompt) string {
		return p.signed(p.Tools.indicator(1), p.Tools.Indicator, q.Unit, "", "")
	},
	"caliper.zero": func(p *Person, q Prompt) string { return number(p.Tools.caliper(0), p.Tools.Caliper, q.Unit) },
}

func (p *Person) byCaliper(v float64, q Prompt) string {
	return number(p.Tools.caliper(v), p.Tools.Caliper, q.Unit)
}

// height is the slider over the main table, by indicator.
func (p *Person) height(q Prompt) string {
	i := p.support(q.At)
	v := p.Tools.indicator(p.slipHeight(q, i, p.Saw.Slider.Heights()[i]))
	p.read[i] = &v
	return p.signed(v, p.Tools.Indicator, q.Unit, "high", "low")
}

// rideAlong is an indicator on the slider against one spot of the plate, which
// is turned from the front to the rear: nearly to the same place and height.
func (p *Person) rideAlong(q Prompt) string {
	s := p.Saw
	reach, up := 0.4*s.Profile.Blade, 0.2*s.Profile.Blade
	x, spot := -reach, math.Pi-math.Atan2(up, reach)
	if q.At.X > 0 {
		x, spot = reach, math.Atan2(up, reach)
	}
	turned := spot + float64(q.Tooth)*2*math.Pi/3 + 0.5*p.r.NormFloat64()/reach
	z := s.Blade.Centre.z + up + 0.3*p.r.NormFloat64()
	v := p.Tools.indicator(s.onSlider(x, z, turned))
	return p.signed(v, p.Tools.Indicator, q.Unit, "", "")
}

// plungerAt is where a plunger stands on bare plate: its distance from the
// arbor's centre over the blade's diameter.
const plungerAt = 0.36

// spotOn returns x and z of a plunger on bare plate, above the table.
func (b *Blade) spotOn() (x, z float64) {
	return plungerAt * b.Diameter * math.Cos(0.3), b.Centre.z + plungerAt*b.Diameter*math.Sin(0.3)
}

// face is an indicator fixed in space on bare plate.
func (p *Person) face(q Prompt) string {
	s := p.Saw
	turned := 2*math.Pi**q.Turn + 0.01*p.r.NormFloat64()
	x, z := s.Blade.spotOn()
	v := p.Tools.indicator(1 + s.Blade.surface(x, z, turned))
	return p.signed(v, p.Tools.Indicator, q.Unit, "", "")
}

// scored is the step that the scored line leaves on a piece.
func (p *Person) scored(q Prompt) string {
	v := p.Saw.Scoring.Left
	if q.Name == "score.right" {
		v = p.Saw.Scoring.Right
	}
	v = p.Tools.caliper(math.Abs(v)) * math.Copysign(1, v)
	return p.signed(v, p.Tools.Caliper, q.Unit, "over", "short")
}

// lines is the gap between two knife lines of a flip test, by a ruler and a
// good eye.
func (p *Person) lines(q Prompt) string {
	v := math.Abs(0.02 * p.r.NormFloat64())
	if q.Tool == "square" {
		v = 2 * p.Tools.Square * math.Abs(p.Tools.SquareError)
	}
	v = math.Max(0, round(v+0.015*p.r.NormFloat64(), 0.05))
	if q.Unit == "in" {
		return plain(math.Round(v/thou), 1) + " thou"
	}
	return plain(v, 0.05)
}

// stripWidth is the caliper on the strip of the fifth cut.
func (p *Person) stripWidth(q Prompt) string {
	first, last, apart := p.strip.widths(0.04)
	switch q.Name {
	case "strip.first":
		return p.byCaliper(first, q)
	case "strip.last":
		return p.byCaliper(last, q)
	}
	return number(p.Tools.ruler(apart), p.Tools.Ruler, q.Unit)
}

// gap writes a gap at a square, open at the top or at the bottom.
func (p *Person) gap(v float64, q Prompt) string {
	where := "at the top"
	if v+0.002*p.r.NormFloat64() < 0 {
		where = "at the bottom"
	}
	return where + " " + p.leaves(math.Abs(v), q.Unit)
}

// leaning returns the blade's lean towards positive y from where a stop should
// hold it, as it stands locked.
func (s *Saw) leaning(st *Stop) float64 {
	if s.TiltLeft {
		return st.at
	}
	return -st.at
}

// tiltGap is a square, or a bevel set to the stop, against the plate. The plate
// leans out over the square where it leans to its side: the gap is then at the
// bottom. So it is where the square, of more than 90°, leans to the plate.
func (p *Person) tiltGap(q Prompt) string {
	st := p.Saw.Stop(*q.Stop)
	h := p.Tools.Square
	if q.Height != nil {
		h = *q.Height
	}
	lean := p.Saw.leaning(st) // towards the left
	if q.Side == "right" {
		lean = -lean
	}
	return p.gap((-lean-p.Tools.SquareError)*h, q)
}

// tiltAngle is a level on the table or on the plate. It shows how much a plate
// leans, not which way.
func (p *Person) tiltAngle(q Prompt) string {
	const degree = math.Pi / 180
	v := 0.0
	if q.Side == "plate" {
		st := p.Saw.Stop(*q.Stop)
		v = math.Abs(st.at + (90-st.Degrees)*degree)
		if !p.Tools.LevelUpright {
			v = 90*degree - v
		}
	}
	return plain(p.Tools.level(v)/degree, p.Tools.Level/degree)
}

func (p *Person) flipGap(q Prompt) string {
	return p.gap(flipGap(p.pair, p.Saw.leaning(p.Saw.Stop(90))), q)
}

// pairError returns by how much the corner of two bevel cuts is less than
// square, against the person's square.
func (p *Person) pairError() float64 {
	st := p.Saw.Stop(45)
	tilt := (90-st.Degrees)*math.Pi/180 + st.at
	return math.Pi/2 + p.Tools.SquareError - corner(p.pair, tilt)
}

// pairGap is the gap at a square in the corner of a pair, 100 mm or 4 in along
// its arm.
func (p *Person) pairGap(q Prompt) string {
	arm := 100.0
	if q.Unit == "in" {
		arm = 4 * inch
	}
	return p.leaves(arm*math.Abs(p.pairError()), q.Unit)
}

// ripDistance is the fence to a tooth, or to the slider's edge, at two places.
func (p *Person) ripDistance(q Prompt) string {
	s := p.Saw
	toe := s.Rip.locked
	if q.Tooth == 0 {
		toe += s.Toe() // measured to the slider's edge
	}
	return p.byCaliper(s.Rip.Away+toe*q.At.X/s.Profile.Blade, q)
}

// ripWidth is a ripped piece at one of its ends, the one cut first at x = 0.
func (p *Person) ripWidth(q Prompt) string {
	w := p.Saw.Rip.Away
	if q.At != nil && q.At.X > 0 {
		w -= p.taper
	}
	return p.byCaliper(w, q)
}

func (p *Person) knifeGap(q Prompt) string {
	v := p.Saw.Knife.Near
	if q.Side == "widest" {
		v = p.Saw.Knife.Far
	}
	return number(math.Max(0, p.Tools.ruler(v)), p.Tools.Ruler, q.Unit)
}

func (p *Person) knifeTop(q Prompt) string {
	v := p.Tools.ruler(p.Saw.Knife.Top)
	if v < 0 {
		return number(-v, p.Tools.Ruler, q.Unit) + " " + q.Unit + " below"
	}
	return number(v, p.Tools.Ruler, q.Unit) + " " + q.Unit + " above"
}

// knifeSide is a straightedge against two teeth and feelers under it.
func (p *Person) knifeSide(q Prompt) string {
	c := p.Saw.Knife.Clear(q.Side)
	if c < 0 {
		proud := math.Max(0.05, round(-c, 0.05))
		if q.Unit == "in" {
			return plain(round(proud, thou)/thou, 1) + " thou proud"
		}
		return plain(proud, 0.01) + " proud"
	}
	return p.leaves(c, q.Unit)
}
