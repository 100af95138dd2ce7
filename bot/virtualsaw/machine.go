package virtualsaw

import (
	"math"
	"math/rand/v2"
)

// Travel is the line along which the slider runs.
type Travel struct {
	Yaw    float64 // dy/dx
	Wander float64 // mm across, each time that it comes to a place, one standard deviation
	Play   float64 // mm up and down, of the carriage on its rollers
}

// Crosscut is the crosscut fence.
type Crosscut struct {
	Lean   float64 // ε: positive when its far end leans to the rear
	AtRear bool
	Pivot  float64 // distance from the blade
	Adjust float64 // distance of the adjuster from the blade
	seat   float64 // rad, how an edge comes to lie on it each time
	slack  float64 // mm, play at the adjuster before it is locked
}

// move moves the fence at its adjuster along the feed, positive to the rear,
// then locks it.
func (c *Crosscut) move(x float64, r *rand.Rand) {
	x += c.slack * r.NormFloat64()
	c.Lean += math.Atan(x / (c.Adjust - c.Pivot))
}

// Rip is the rip fence. Its toe over the blade is drawn anew each time that it
// is locked.
type Rip struct {
	Toe     float64 // mm over the blade's diameter, the mean of all lockings
	Scatter float64 // its standard deviation
	Away    float64 // mm from the blade now
	Reach   float64 // length behind the head at which its rear end is read
	Near    float64 // distances of the rail's fixings from the blade
	Far     float64
	AtRail  bool // it is set at the rail, not at the head
	locked  float64
}

// lock locks the fence anew.
func (f *Rip) lock(r *rand.Rand) {
	f.locked = f.Toe + f.Scatter*r.NormFloat64()
	f.Away += 0.3 * r.NormFloat64()
}

// Knife is the riving knife at the mounted blade.
type Knife struct {
	Thick, Plate, Kerf float64
	Off                float64 // of its middle from the kerf's, positive to the left
	Near, Far          float64 // gaps to the teeth
	Top                float64 // over the highest tooth
	Hood               bool
}

// Clear returns the clearance of a face from the kerf's side.
func (k *Knife) Clear(side string) float64 {
	room := (k.Kerf - k.Thick) / 2
	if side == "left" {
		return room - k.Off
	}
	return room + k.Off
}

// Stop is one stop of the tilt, with its screw.
type Stop struct {
	Degrees float64 // 90 for the square stop, otherwise the bevel
	Error   float64 // rad: the blade leans further over than it should
	Rate    float64 // rad by a turn clockwise
	Slack   float64 // turns that the screw loses when its way changes
	Scatter float64 // rad, of coming to the stop and locking
	last    float64 // way of the last turn
	at      float64 // error as it stands locked now
}

// turn turns the stop's screw, clockwise positive.
func (s *Stop) turn(turns float64) {
	if turns == 0 {
		return
	}
	way := math.Copysign(1, turns)
	if s.last != 0 && way != s.last {
		turns -= way * math.Min(s.Slack, math.Abs(turns))
	}
	s.last = way
	s.Error += s.Rate * turns
}

// come brings the blade to the stop and locks it.
func (s *Stop) come(r *rand.Rand) { s.at = s.Error + s.Scatter*r.NormFloat64() }

// Scoring is a scoring blade: how far its line stands over the kerf's sides.
type Scoring struct {
	Left, Right, Depth float64
	Kind               string  // split, conical or neither
	Flank              float64 // rad, of a conical one: how its teeth widen on each side
}

// Profile is what is true of a saw and can be looked up, measured with a ruler
// or read off a thread.
type Profile struct {
	Left      bool // side of the slider
	Thread    string
	RaisesCCW bool
	Blade     float64
	TiltLeft  bool
	Spanner   float64
}

// Saw is one virtual saw.
type Saw struct {
	Seed uint64
	Kind string // stiff, middle or soft
	Profile
	Slider   *Slider
	Travel   Travel
	Blade    *Blade
	Stops    []Stop
	Crosscut Crosscut
	Rip      Rip
	Knife    Knife
	Scoring  *Scoring
	random   *rand.Rand // of what the machine does differently each time
}

// side is +1 with the slider on the left of the blade, −1 on the right.
func (s *Saw) side() float64 {
	if s.Left {
		return 1
	}
	return -1
}

// Toe returns the slider's toe: how much farther the blade's rear is from its
// line of travel than the blade's front, over the blade's diameter.
func (s *Saw) Toe() float64 {
	return s.side() * s.Profile.Blade * (s.Travel.Yaw - s.Blade.Yaw)
}

// Stop returns the stop at a number of degrees, or nil.
func (s *Saw) Stop(degrees float64) *Stop {
	for i := range s.Stops {
		if s.Stops[i].Degrees == degrees {
			return &s.Stops[i]
		}
	}
	return nil
}

// shift moves the rear end of the slider by y about its front end, which
// disturbs the height of the rear supports a little.
func (s *Saw) shift(y, reach float64) {
	s.Travel.Yaw += y / reach
	last := 0
	for _, t := range s.Slider.Supports {
		last = max(last, t.Station)
	}
	for i := range s.Slider.Supports {
		if t := &s.Slider.Supports[i]; t.Station == last {
			t.Foot += 0.004 * s.random.NormFloat64()
		}
	}
	s.Slider.heights = nil
}

// onSlider returns what an indicator reads that rides on the slider with its
// plunger on one spot of the plate, x behind the arbor and z above it, with the
// arbor turned: larger is pushed in.
func (s *Saw) onSlider(x, z, turned float64) float64 {
	line := s.Travel.Yaw*x + s.Travel.Wander*s.random.NormFloat64()
	return 5 + s.side()*(s.Blade.surface(x, z, turned)-line)
}

// clone returns a saw that does the same from here on, given the same seed.
func (s *Saw) clone(seed uint64) *Saw {
	c := *s
	c.Slider = s.Slider.clone()
	b := *s.Blade
	c.Blade = &b
	c.Stops = append([]Stop(nil), s.Stops...)
	if s.Scoring != nil {
		v := *s.Scoring
		c.Scoring = &v
	}
	c.random = rand.New(rand.NewPCG(seed, 11))
	return &c
}
