package reading

import "math"

// said is one value as it came out of a message, before it is weighed.
type said struct {
	cands    []reading // magnitudes, without the sign
	sign     int8      // -1, +1; both; 0 when none was said
	text     string
	num      float64 // the number as said, NaN for an interval
	unit     unit    // the unit as said
	unsure   bool    // ask back even when one reading is left
	zeroWord bool    // a word for zero: "flush"
	fraction bool    // a fraction, which has no point to misplace
}

// judge weighs the meanings of a value against what is plausible.
func (p *parser) judge(s said) Result {
	e := p.e
	if len(s.cands) == 0 {
		return refuse(NotANumber)
	}
	switch {
	case s.sign == -1:
		for i, c := range s.cands {
			s.cands[i].lo, s.cands[i].hi = -c.hi, -c.lo
		}
		if !e.Signed && (s.cands[0].lo < 0 || s.cands[0].hi < 0) {
			return refuse(NegativeNotAllowed)
		}
	case s.sign == both && e.Signed, s.sign == 0 && e.SignNeeded:
		return p.askSign(s)
	}
	if e.Quantity == Count && !anyWhole(s.cands) {
		return refuse(NotWhole)
	}
	return p.choose(s)
}

func refuse(r Reason) Result { return Result{Status: Refused, Reason: r} }

// askSign asks back with both signs, unless the value is zero.
func (p *parser) askSign(s said) Result {
	s.sign = 1
	r := p.choose(s)
	if r.Status != Taken && r.Status != AskBack || r.Status == Taken && r.Value.Low == 0 && r.Value.High == 0 {
		return r
	}
	values := r.Alternatives
	if r.Status == Taken {
		values = []Value{r.Value}
	}
	out := Result{Status: AskBack}
	for _, v := range values {
		out.offer(v, NoSlip)
		if v.Low != 0 || v.High != 0 {
			out.offer(Value{Low: -v.High, High: -v.Low, Text: v.Text}, SignSlip)
		}
	}
	return out
}

func (r *Result) offer(v Value, s Slip) {
	r.Alternatives = append(r.Alternatives, v)
	r.Slips = append(r.Slips, s)
}

// choose takes the one plausible meaning, asks back when there are several, and
// doubts when there is none.
func (p *parser) choose(s said) Result {
	var buf, nearBuf [8]reading
	fit := buf[:0]
	for t := literal; t <= shop && (len(fit) == 0 || t < shop); t++ {
		for _, c := range s.cands {
			if c.tier == t && p.e.fits(c) && !contains(fit, c) {
				fit = append(fit, c)
			}
		}
	}
	if len(fit) > 1 {
		near := nearBuf[:0]
		for _, c := range fit {
			if p.e.near(c) {
				near = append(near, c)
			}
		}
		if len(near) > 0 {
			fit = near
		}
	}
	switch {
	case len(fit) == 1 && p.e.mirrored(fit[0]):
		return p.doubt(s, fit)
	case len(fit) == 1 && p.e.near(fit[0]) && !s.unsure && !p.guess && !fit[0].ask:
		return Result{Status: Taken, Value: s.value(fit[0])}
	case len(fit) == 0 && s.zeroWord:
		return refuse(NotANumber)
	case len(fit) == 0 || len(fit) == 1 && !p.e.near(fit[0]):
		return p.doubt(s, fit)
	}
	r := Result{Status: AskBack}
	for _, c := range fit {
		r.offer(s.value(c), NoSlip)
	}
	return r
}

func (s *said) value(c reading) Value { return Value{Low: c.lo, High: c.hi, Text: s.text} }

func contains(list []reading, c reading) bool {
	for _, x := range list {
		if same(x.lo, c.lo) && same(x.hi, c.hi) {
			return true
		}
	}
	return false
}

// same compares two values that were reached by different arithmetic.
func same(a, b float64) bool {
	return a == b || math.Abs(a-b) <= 1e-9*math.Max(math.Abs(a), math.Abs(b))
}

// fits reports whether a meaning is in the plausible range and not finer than
// the tool reads.
func (e *Expect) fits(c reading) bool {
	if e.Quantity == Count && c.lo != math.Trunc(c.lo) {
		return false
	}
	if !e.Signed && c.lo < 0 && e.Min >= 0 {
		return false
	}
	mid := (c.lo + c.hi) / 2
	if slack := 1e-9 * math.Max(math.Abs(e.Min), math.Abs(e.Max)); e.ranged() && (mid < e.Min-slack || mid > e.Max+slack) {
		return false
	}
	return !e.tooFine(c)
}

// tooFine reports whether the tool cannot read so small a value: people
// estimate half of its smallest step, but not less.
func (e *Expect) tooFine(c reading) bool {
	return e.Resolution > 0 && c.lo == c.hi && c.lo != 0 && math.Abs(c.lo) < 0.499*e.Resolution
}

// near reports whether a meaning is where the reading is expected.
func (e *Expect) near(c reading) bool {
	if e.Near == nil || e.Spread <= 0 {
		return true
	}
	return math.Abs((c.lo+c.hi)/2-*e.Near) <= e.Spread*(1+1e-9)
}

// mirrored reports whether a meaning is what was expected but for its sign, by
// so much that chance does not explain it: more than three steps of the tool and
// half the spread. A wrong sign is the slip that costs most, because the
// adjustment that follows doubles the error.
func (e *Expect) mirrored(c reading) bool {
	if !e.Signed || e.Near == nil || e.Spread <= 0 {
		return false
	}
	mid := (c.lo + c.hi) / 2
	return math.Abs(mid) >= 2.999*e.Resolution && math.Abs(mid-*e.Near) > e.Spread/2 &&
		math.Abs(mid+*e.Near) <= math.Max(e.Resolution, 0.1*math.Abs(mid))
}

// doubt names the likely slips behind a value that is not plausible. fit holds
// a meaning that is in range, but not near, if there is one.
func (p *parser) doubt(s said, fit []reading) Result {
	said := s.cands[0]
	if len(fit) > 0 {
		said = fit[0]
	}
	r := Result{Status: Doubt, Value: s.value(said)}
	for _, c := range s.cands {
		p.slip(&r, s, c.lo, c.hi, slipOf(c, said))
	}
	p.unitSlips(&r, s, said)
	if p.e.Signed {
		p.slip(&r, s, -said.hi, -said.lo, SignSlip)
	}
	if said.lo == said.hi && !s.fraction {
		p.pointSlips(&r, s, said.lo)
	}
	for _, l := range p.e.Labels {
		if l.Expect != nil && l.Expect.Near != nil && l.Expect.fits(said) && l.Expect.near(said) {
			v := s.value(said)
			v.Key = l.Key
			r.offer(v, OtherPoint)
		}
	}
	if len(r.Alternatives) == 0 {
		r.Slips = []Slip{TooLarge}
		if p.e.tooFine(said) {
			r.Slips[0] = TooFine
		}
	}
	return r
}

func slipOf(c, said reading) Slip {
	if c.unit != said.unit {
		return UnitSlip
	}
	return PointSlip
}

// unitSlips offers the number as said in the other units.
func (p *parser) unitSlips(r *Result, s said, said reading) {
	if math.IsNaN(s.num) {
		return
	}
	sign := 1.0
	if said.lo < 0 {
		sign = -1
	}
	others := [...]unit{uMM, uInch, uThou}
	if p.e.Quantity == Angle {
		others = [...]unit{uDegree, uMinute, uDegree}
	} else if p.e.Quantity != Length {
		return
	}
	for _, u := range others {
		v := sign * s.num * factors[u]
		if u == s.unit || u == uThou && (math.Abs(v) > shopRange || p.e.Unit != Inch && s.num < 1) {
			continue // nobody says so many or so few thousandths
		}
		p.slip(r, s, v, v, UnitSlip)
	}
}

// roundTens is the count from which on people count in round tens, so that a 6
// may have lost its zero. A 1 of the steps of a turn may have lost any digit, or
// none.
const roundTens = 100

// pointSlips offers the value with its decimal point elsewhere, where the tool
// could have shown that.
func (p *parser) pointSlips(r *Result, s said, v float64) {
	for _, f := range [...]float64{0.1, 10, 0.01, 100, 0.001, 1000} {
		if f > 1 && p.e.Quantity == Count && p.e.Max < roundTens {
			continue
		}
		w := v * f
		if step := w / p.e.Resolution; p.e.Resolution > 0 && math.Abs(step-math.Round(step)) > 1e-6 {
			continue
		}
		p.slip(r, s, w, w, PointSlip)
	}
}

// maxAlternatives is how many slips a question can name and still be short.
const maxAlternatives = 4

// slip offers one likely slip if it is plausible in every respect.
func (p *parser) slip(r *Result, s said, lo, hi float64, kind Slip) {
	c := reading{lo: lo, hi: hi}
	if len(r.Alternatives) >= maxAlternatives || !p.e.fits(c) || !p.e.near(c) || lo < 0 && !p.e.Signed {
		return
	}
	for _, a := range r.Alternatives {
		if same(a.Low, lo) && same(a.High, hi) {
			return
		}
	}
	if same(r.Value.Low, lo) && same(r.Value.High, hi) {
		return
	}
	r.offer(s.value(c), kind)
}

func anyWhole(cands []reading) bool {
	for _, c := range cands {
		if c.lo == math.Trunc(c.lo) {
			return true
		}
	}
	return false
}
