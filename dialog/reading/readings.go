package reading

import "math"

// tier says how a reading comes out of a message. A reading of a later tier
// never beats a plausible one of an earlier tier.
type tier uint8

const (
	literal tier = iota // what the words say
	heard               // what speech software made the words of
	shop                // thousandths, said as a bare number where inches are asked
)

// reading is one meaning of a message, in mm, rad or a count, without sign.
type reading struct {
	lo, hi float64
	tier   tier
	unit   unit
	ask    bool // never taken without asking
}

// shopRange is the widest question, in mm, at which a bare "3" for an inch
// person may mean 3 thou: beyond it, it could be something else entirely.
const shopRange = 25.4

// readings appends every meaning of q to p.cands, or returns why there is none.
func (p *parser) readings(q *quantity) Reason {
	switch {
	case q.num.huge:
		return Huge
	case q.num.n == 0:
		return NotANumber
	case q.noun && p.e.Quantity != Count && p.e.Quantity != Number:
		return WrongQuantity
	case p.e.Quantity == Length && q.unit.isAngle(), p.e.Quantity == Angle && q.unit.isLength():
		return WrongQuantity
	case (p.e.Quantity == Count || p.e.Quantity == Number) && q.unit != uNone:
		return WrongQuantity
	}
	if q.twoUnits {
		p.add(q.base, literal, q.unit)
		if !math.IsNaN(q.other) {
			p.add(q.other, literal, q.unit)
		}
		return NoReason
	}
	for _, n := range q.num.vals[:q.num.n] {
		from := len(p.cands)
		if p.e.Quantity == Length {
			p.lengthReading(q, n)
		} else {
			p.plainReading(q, n)
		}
		for i := range p.cands[from:] {
			p.cands[from+i].ask = n.ask
		}
	}
	if !math.IsNaN(q.other) {
		p.add(q.other*factors[p.e.own()], literal, p.e.own())
	}
	return NoReason
}

func (p *parser) add(v float64, t tier, u unit) {
	p.cands = append(p.cands, reading{lo: v, hi: v, tier: t, unit: u})
}

// plainReading is for angles, counts and plain numbers.
func (p *parser) plainReading(q *quantity, n nval) {
	f := 1.0
	if p.e.Quantity == Angle {
		f = factors[uDegree]
		if q.unit != uNone {
			f = factors[q.unit]
		}
	}
	if n.dec != 0 && n.heard {
		return // nobody counts in thousandths
	}
	p.add(n.v*scaleOf(n.dec)*scaleOf(q.dec)*f, tierOf(n), q.unit)
}

func scaleOf(dec float64) float64 {
	if dec == 0 {
		return 1
	}
	return dec
}

func tierOf(n nval) tier {
	if n.heard {
		return heard
	}
	return literal
}

// lengthReading is for lengths: which unit was meant, and thousandths of what.
func (p *parser) lengthReading(q *quantity, n nval) {
	dec := q.dec
	if dec == 0 {
		dec = n.dec
	} else if n.dec != 0 {
		if n.heard {
			return // 3000 hundredths were not heard as 3 thousandths
		}
		dec *= n.dec
	}
	v, t := n.v*scaleOf(dec), tierOf(n)
	own := p.e.own()
	switch q.unit {
	case uNone:
	case uMil:
		if n.heard && n.dec != 0 {
			return
		}
		p.add(v*factors[uMM], t, uMM) // what a person of millimetres says for one
		if own == uInch {
			p.add(v*factors[uThou], t, uThou)
		}
		return
	default:
		if n.heard && n.dec != 0 && q.unit != uInch && !(q.unit == uMM && n.dec == 0.01) {
			return // thousandths of an inch and hundredths of a millimetre only
		}
		if n.heard && n.dec == 0.01 && q.unit == uInch {
			return
		}
		p.add(v*factors[q.unit], t, q.unit)
		return
	}
	if n.heard && n.dec == 0.01 && own == uInch || n.heard && n.dec == 0.001 && own == uMM {
		return // not what is said in that unit
	}
	p.add(v*factors[own], t, own)
	switch {
	case own == uMM && n.pair && dec == 0:
		p.add(v*factors[uM], t, uM)
	case own == uInch && dec == 0.1:
		p.add(n.v*0.1*factors[uThou], t, uThou) // tenths of a thou
	case own == uInch && dec == 0:
		if !n.heard && n.v >= 1 && q.num.decs <= 1 && p.e.small() {
			p.add(v*factors[uThou], shop, uThou)
		}
	case own == uMM && dec == 0.001 && p.t.inchThou:
		p.add(v*factors[uInch], t, uThou)
	case own == uMM && dec == 0 && q.num.binary:
		p.add(v*factors[uInch], t, uInch)
	}
}

// small reports whether the question is about so little that a bare whole
// number can only be thousandths.
func (e *Expect) small() bool {
	return e.ranged() && math.Max(math.Abs(e.Min), math.Abs(e.Max)) < shopRange
}

// ranged reports whether a plausible range is known.
func (e *Expect) ranged() bool { return e.Min != 0 || e.Max != 0 }
