package calc

import (
	"math"
	"slices"
)

// What is expected of a height and of a table after a pass, on which the search
// for the best turns rests.

// limits are a height's window.
type limits struct{ low, high float64 }

// miss returns how far h is outside.
func (l limits) miss(h float64) float64 { return max(0, l.low-h, h-l.high) }

// scenario is one stiffness that the table may have.
type scenario struct {
	weight float64
	m      []float64 // change of height i by one step of nut j, at j·n + i
	z      []float64 // heights predicted for the turns in hand
	own    float64   // mean answer of a height to its own nut: 1 limp, less stiff
}

// Weights of the expected cost, tuned on simulated saws.
const (
	// crowd is how much each height that is expected to be out makes another
	// pass likelier than one alone.
	crowd = 0.1
	// leastGain is the least answer that is planned with. A nut that seems to
	// answer less, but is not known to be stuck, is turned as if it did: what
	// it does then tells.
	leastGain = 0.3
	// negligible is the weight of a scenario that is left out.
	negligible = 0.02
)

// judge sets the windows of height i. After the pass it is known from the
// estimate now, less exactly for the turning, and from one more reading.
func (s *search) judge(i int, pitch float64) {
	reading := max(float64(s.o.U)/2, 1e-6)
	now := reading
	if s.o.Us != nil {
		now = max(float64(s.o.Us[i])/2, 1e-6)
	}
	moved := sq(now) + sq(turnSigma*pitch)
	next := 1 / (1/moved + 1/sq(reading))
	guard := 2 * s.o.Guard * now
	s.now[i] = limits{float64(s.o.Low) + guard, float64(s.o.High) - guard}
	guard = 2 * s.o.Guard * math.Min(now, math.Sqrt(next))
	s.next[i] = limits{float64(s.o.Low) + guard, float64(s.o.High) - guard}
	s.perSigma[i] = 1 / math.Sqrt(moved-next)
}

// addScenarios spreads the model's stiffness over its uncertainty. Heights as
// they were found tell something about it too: a stiff table is flat however
// its nuts stand.
func (s *search) addScenarios(m Model, md modes, missing []bool) {
	grid := []float64{0}
	if m.Spread > 0.1 && !m.Direct {
		grid = []float64{-2, -1.5, -1, -0.5, 0, 0.5, 1, 1.5, 2}
	}
	shape := md.shape(s.h)
	weight := make([]float64, len(grid))
	for g, at := range grid {
		weight[g] = -at * at / 2
		if m.Spread >= firstSpread && missing == nil {
			weight[g] += md.evidence(m.Stiffness*math.Exp(at*m.Spread), shape, float64(s.o.U)/2)
		}
	}
	total := normalise(weight)
	tmp := make([]float64, s.n*s.n)
	for g, at := range grid {
		if weight[g] < negligible*total {
			continue
		}
		sc := scenario{weight: weight[g], m: make([]float64, s.n*s.n), z: slices.Clone(s.h)}
		m.influence(md, m.Stiffness*math.Exp(at*m.Spread), tmp)
		for j := range s.n {
			gain := m.Gain[j]
			if gain != 0 && math.Abs(gain) < leastGain {
				gain = math.Copysign(leastGain, gain)
			}
			step := gain * float64(m.Supports[j].Pitch) * s.o.Step
			for i := range s.n {
				sc.m[j*s.n+i] = tmp[i*s.n+j] * step
			}
			sc.own += tmp[j*s.n+j] / float64(s.n)
		}
		s.scenarios = append(s.scenarios, sc)
	}
	slices.SortFunc(s.scenarios, func(a, b scenario) int { return compare(b.weight, a.weight) })
	total = 0
	for _, sc := range s.scenarios {
		total += sc.weight
	}
	for g := range s.scenarios {
		s.scenarios[g].weight /= total
	}
}

// normalise turns logarithms into weights of which the largest is 1, and
// returns their sum.
func normalise(log []float64) (total float64) {
	top := slices.Max(log)
	for i := range log {
		log[i] = math.Exp(log[i] - top)
		total += log[i]
	}
	return total
}

func compare(a, b float64) int {
	switch {
	case a < b:
		return -1
	case a > b:
		return 1
	}
	return 0
}

// cost returns the expected seconds until the window is reached when nut j is
// at k steps, and the further passes in it. It stops as soon as it is past
// limit.
func (s *search) cost(j, k int, limit float64) (seconds, more float64) {
	moved := s.moved + b2i(k != 0) - b2i(s.turns[j] != 0)
	if moved == 0 {
		return math.Inf(1), 0 // reading again is no plan
	}
	pass := s.o.ReadingTime*float64(s.n) + s.price*float64(moved)
	r := s.rest(j, k, limit-pass)
	return pass + r.seconds, r.passes
}

// rest is what is expected to remain after a pass.
type rest struct{ seconds, passes float64 }

// rest returns what remains when nut j is at k steps: as likely as a height is
// out then, the readings of another pass and the moves that it will need. That
// is one for each height that is out where the table is limp, fewer where it
// is stiff, and more where the need is beyond what one pass can do.
func (s *search) rest(j, k int, limit float64) rest {
	var r rest
	d := float64(k - s.turns[j])
	round := s.o.ReadingTime * float64(s.n)
	for g := range s.scenarios {
		if r.seconds > limit {
			break
		}
		sc := &s.scenarios[g]
		col := sc.m[j*s.n : (j+1)*s.n]
		in, far, out, beyond := 1.0, 0.0, 0.0, 0.0
		for i, z := range sc.z {
			z += d * col[i]
			up, down := (s.next[i].high-z)*s.perSigma[i], (z-s.next[i].low)*s.perSigma[i]
			if up > 4 && down > 4 {
				continue
			}
			p := tail(up) + tail(down) // of being out
			in *= 1 - p
			out += p
			if v := -min(up, down); v > 0 {
				v /= s.perSigma[i] * s.reach[i]
				beyond += v
				far = max(far, v)
			}
		}
		passes := (1-in)*(1+crowd*out) + far
		r.passes += sc.weight * passes
		r.seconds += sc.weight * (passes*round + (out*sc.own+beyond)*s.o.MoveTime)
	}
	return r
}

// tail approximates the probability that a standard normal variable is above x
// to 2.5e-4 (Abramowitz and Stegun, 26.2.18, from memory).
func tail(x float64) float64 {
	switch {
	case x > 4:
		return 0
	case x < -4:
		return 1
	}
	a := math.Abs(x)
	p := 1 + a*(0.196854+a*(0.115194+a*(0.000344+a*0.019527)))
	p *= p
	p = 0.5 / (p * p)
	if x < 0 {
		return 1 - p
	}
	return p
}
