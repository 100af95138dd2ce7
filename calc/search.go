package calc

import (
	"math"
	"slices"
)

// search looks for the turns of one pass with the fewest expected minutes.
// Turns are whole numbers of steps; a height's window is what it must read
// after the pass to be left alone.
type search struct {
	o         PlanOptions
	n         int
	h         []float64 // heights now, missing ones estimated
	now, next []limits  // window of each height now, and after the pass
	perSigma  []float64 // 1/σ of the height read after the pass about the prediction, 1/mm
	reach     []float64 // change of a height by a full turn of its own nut, mm
	fixed     []bool    // nuts that are stuck
	scenarios []scenario
	least     int // move, in steps
	most      int

	price   float64 // seconds for one nut in this pass
	turns   []int   // in hand
	moved   int     // nuts moved in it
	best    []int   // best so far, with its expected seconds and further passes
	seconds float64
	more    float64
}

func (m Model) newSearch(md modes, heights []Length, missing []bool, o PlanOptions) *search {
	n := md.n
	s := &search{
		o: o, n: n,
		h: make([]float64, n), now: make([]limits, n), next: make([]limits, n),
		perSigma: make([]float64, n), reach: make([]float64, n), fixed: make([]bool, n),
		turns: make([]int, n), best: make([]int, n), price: o.MoveTime,
		most: o.most(), least: o.least(),
	}
	for i, h := range heights {
		s.h[i] = float64(h)
		s.reach[i] = o.MaxTurn * float64(m.Supports[i].Pitch) * math.Max(leastGain, math.Abs(m.Gain[i]))
		s.fixed[i] = m.Gain[i] == 0
		s.judge(i, float64(m.Supports[i].Pitch))
	}
	if missing != nil {
		md.fill(s.h, missing)
		for i := range n {
			if missing[i] {
				s.now[i] = limits{math.Inf(-1), math.Inf(1)}
				s.next[i] = limits{float64(o.Low), float64(o.High)}
			}
		}
	}
	s.addScenarios(m, md, missing)
	return s
}

// outside lists the supports whose heights are out of the window now.
func (s *search) outside() []int {
	var out []int
	for i, h := range s.h {
		if s.now[i].miss(h) > 1e-9 {
			out = append(out, i)
		}
	}
	return out
}

// run searches from two beginnings: every nut left alone, and all together by
// least squares.
func (s *search) run() {
	s.leave()
	s.seconds = math.Inf(1)
	s.descend()
	for j, k := range s.leastSquares() {
		if !s.fixed[j] {
			s.set(j, s.nearest(k))
		}
	}
	s.descend()
}

// middle is the middle of the window.
func (s *search) middle() float64 { return float64(s.o.Low+s.o.High) / 2 }

// leastSquares returns the steps that bring all heights nearest to the middle
// over all scenarios, drawn to nothing where they hardly matter.
func (s *search) leastSquares() []float64 {
	n := s.n
	a, b := make([]float64, n*n), make([]float64, n)
	for g := range s.scenarios {
		sc := &s.scenarios[g]
		for j := range n {
			cj := sc.m[j*n : (j+1)*n]
			for i, h := range s.h {
				b[j] += sc.weight * cj[i] * (s.middle() - h)
			}
			for k := range j + 1 {
				for i, v := range sc.m[k*n : (k+1)*n] {
					a[j*n+k] += sc.weight * cj[i] * v
				}
			}
		}
	}
	trace := 0.0
	for j := range n {
		trace += a[j*n+j] / float64(n)
		for k := range j {
			a[k*n+j] = a[j*n+k]
		}
	}
	for j := range n {
		a[j*n+j] += 0.01*trace + 1e-30
	}
	invert(a, n)
	t := make([]float64, n)
	for j := range n {
		for k, v := range b {
			t[j] += a[j*n+k] * v
		}
	}
	return t
}

// nearest returns the allowed number of steps next to k.
func (s *search) nearest(k float64) int {
	v := int(math.Round(clamp(k, float64(s.most))))
	if v != 0 && v < s.least && v > -s.least {
		if k < 0 {
			return -s.least
		}
		return s.least
	}
	return v
}

// descend betters the turns in hand, one nut at a time, as long as it can.
func (s *search) descend() {
	now := s.first()
	for range 8 {
		bettered := false
		for j := range s.n {
			if s.fixed[j] {
				continue
			}
			k, c := s.bestOf(j, now)
			if k != s.turns[j] {
				s.set(j, k)
				bettered = true
			}
			now = c
		}
		if !bettered {
			break
		}
	}
	if now < s.seconds {
		s.seconds, s.best = now, slices.Clone(s.turns)
		_, s.more = s.cost(0, s.turns[0], math.Inf(1))
	}
}

// first turns the one nut that betters most, when none is turned in hand, and
// returns the cost.
func (s *search) first() float64 {
	cost := math.Inf(1)
	if s.moved > 0 {
		cost, _ = s.cost(0, s.turns[0], cost)
		return cost
	}
	nut, steps := 0, 0
	for j := range s.n {
		if s.fixed[j] {
			continue
		}
		if k, c := s.bestOf(j, cost); c < cost {
			nut, steps, cost = j, k, c
		}
	}
	s.set(nut, steps)
	return cost
}

// bestOf returns the best number of steps of nut j, and its cost, tried near
// what it is, at nothing, and where it would bring its own height or all
// heights nearest to the middle.
func (s *search) bestOf(j int, now float64) (int, float64) {
	mid := s.middle()
	var own, sum, norm float64
	for g := range s.scenarios {
		sc := &s.scenarios[g]
		col := sc.m[j*s.n : (j+1)*s.n]
		own += sc.weight * (mid - sc.z[j]) / col[j]
		for i, z := range sc.z {
			sum += sc.weight * col[i] * (mid - z)
			norm += sc.weight * col[i] * col[i]
		}
	}
	at := float64(s.turns[j])
	all := sum / norm
	best, cost := s.turns[j], now
	var tried [9]int
	for c, k := range [...]float64{0, at, at - 1, at + 1, at - 3, at + 3, at + own, at + all, at + (own+all)/2} {
		tried[c] = s.nearest(k)
		if slices.Contains(tried[:c], tried[c]) {
			continue
		}
		if v, _ := s.cost(j, tried[c], cost); v < cost-1e-9 {
			best, cost = tried[c], v
		}
	}
	return best, cost
}

// set puts nut j at k steps.
func (s *search) set(j, k int) {
	d := float64(k - s.turns[j])
	if d == 0 {
		return
	}
	for g := range s.scenarios {
		sc := &s.scenarios[g]
		for i, v := range sc.m[j*s.n : (j+1)*s.n] {
			sc.z[i] += d * v
		}
	}
	s.moved += b2i(k != 0) - b2i(s.turns[j] != 0)
	s.turns[j] = k
}

func b2i(b bool) int {
	if b {
		return 1
	}
	return 0
}

// worthwhile says whether the best turns are worth making. Where the cheapest
// are not, what the nuts can do at any price is tried before giving up; and
// nobody gives up for a height that is out by no more than its noise.
func (s *search) worthwhile(out []int) bool {
	if s.progress(out) {
		return true
	}
	slight := true
	for _, i := range out {
		slight = slight && s.now[i].miss(s.h[i])*s.perSigma[i] < 2
	}
	if slight {
		return s.any()
	}
	s.reset()
	s.price = 0
	s.run()
	better := s.progress(out)
	s.price = s.o.MoveTime
	for _, k := range s.best {
		s.seconds += s.price * float64(b2i(k != 0))
	}
	return better
}

// progress says whether the best turns leave less to do, or bring the heights
// that are out nearer to the window by a tenth of what one pass can do.
func (s *search) progress(out []int) bool {
	if !s.any() {
		return false
	}
	left := s.seconds - s.o.ReadingTime*float64(s.n)
	for _, k := range s.best {
		left -= s.price * float64(b2i(k != 0))
	}
	s.reset()
	if now := s.rest(0, 0, math.Inf(1)); left < 0.95*now.seconds {
		return true
	}
	before, after := s.misses(out)
	able := 0.0
	for _, i := range out {
		able += s.reach[i]
	}
	return before-after > 0.1*able
}

// any says whether the best turns turn any nut.
func (s *search) any() bool {
	return slices.ContainsFunc(s.best, func(k int) bool { return k != 0 })
}

// reset takes the turns in hand back to nothing.
func (s *search) reset() {
	for j := range s.turns {
		s.set(j, 0)
	}
}

// misses sums how far the heights that are out are from the window, now and
// as the best turns predict.
func (s *search) misses(out []int) (before, after float64) {
	for _, i := range out {
		before += s.next[i].miss(s.h[i])
		for g := range s.scenarios {
			sc := &s.scenarios[g]
			z := s.h[i]
			for j, k := range s.best {
				z += float64(k) * sc.m[j*s.n+i]
			}
			after += sc.weight * s.next[i].miss(z)
		}
	}
	return before, after
}

// held lists those of the supports whose own nut does not answer.
func (s *search) held(out []int) []int {
	var held []int
	for _, i := range out {
		if s.fixed[i] {
			held = append(held, i)
		}
	}
	return held
}

// release takes the supports out of the search, and returns them.
func (s *search) release(out []int) []int {
	for _, i := range out {
		s.now[i] = limits{math.Inf(-1), math.Inf(1)}
		s.next[i] = s.now[i]
	}
	s.reset()
	return out
}

// leave takes every nut back to where it is.
func (s *search) leave() {
	s.best = make([]int, s.n)
	s.seconds, s.more = 0, 0
}
