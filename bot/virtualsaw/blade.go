package virtualsaw

import "math"

// vec is a point or a direction in the machine's axes.
type vec struct{ x, y, z float64 }

func (a vec) plus(b vec) vec             { return vec{a.x + b.x, a.y + b.y, a.z + b.z} }
func (a vec) minus(b vec) vec            { return vec{a.x - b.x, a.y - b.y, a.z - b.z} }
func (a vec) times(k float64) vec        { return vec{k * a.x, k * a.y, k * a.z} }
func (a vec) dot(b vec) float64          { return a.x*b.x + a.y*b.y + a.z*b.z }
func (a vec) cross(b vec) vec            { return vec{a.y*b.z - a.z*b.y, a.z*b.x - a.x*b.z, a.x*b.y - a.y*b.x} }
func (a vec) unit() vec                  { return a.times(1 / math.Sqrt(a.dot(a))) }
func (a vec) along(d vec, t float64) vec { return a.plus(d.times(t)) }

// Blade is a warped disc on the flange of an arbor that is not quite square to
// the machine.
type Blade struct {
	Diameter float64
	Centre   vec     // of the arbor
	Yaw      float64 // dy/dx of the plane in which the blade turns
	Lean     float64 // dy/dz of it: the tilt

	Flange      float64 // slope of the flange's face
	FlangeAngle float64 // direction of its high spot, from the arbor's mark
	Hub         float64 // slope that the blade's own hub adds
	HubAngle    float64 // from the blade's own mark
	Warp        float64 // mm at the rim, twice around: a blade bent like a saddle
	WarpAngle   float64
	Mounted     float64 // angle of the blade's mark from the arbor's
	Flangeseat  float64 // radius of the flange, mm
}

// plane returns the arbor's direction and two directions in the plane in which
// the blade turns: forward and up.
func (b *Blade) plane() (axis, forward, up vec) {
	forward = vec{1, b.Yaw, 0}.unit()
	up = vec{0, b.Lean, 1}
	axis = up.cross(forward).unit() // y for a true machine
	return axis, forward, forward.cross(axis).unit()
}

// plate returns the normal of the plate with the arbor turned, from the slopes
// of flange and hub. up.cross(forward) is y, so angles count from forward
// towards up.
func (b *Blade) plate(turned float64) vec {
	axis, forward, up := b.plane()
	f, h := turned+b.FlangeAngle, turned+b.Mounted+b.HubAngle
	sx := b.Flange*math.Cos(f) + b.Hub*math.Cos(h)
	sz := b.Flange*math.Sin(f) + b.Hub*math.Sin(h)
	return axis.minus(forward.times(sx)).minus(up.times(sz)).unit()
}

// surface returns the y at which a plunger along y, at x and z, meets the
// plate with the arbor turned by an angle: a ray and a plane, then the warp of
// the spot that is met.
func (b *Blade) surface(x, z, turned float64) float64 {
	normal := b.plate(turned)
	from, along := vec{x, 0, z}, vec{0, 1, 0}
	t := b.Centre.minus(from).dot(normal) / along.dot(normal)
	hit := from.along(along, t).minus(b.Centre)
	_, forward, up := b.plane()
	angle := math.Atan2(hit.dot(up), hit.dot(forward)) - turned - b.Mounted
	radius := math.Hypot(hit.dot(up), hit.dot(forward)) / (b.Diameter / 2)
	return t + b.Warp/2*radius*radius*math.Cos(2*(angle-b.WarpAngle))
}

// TIR returns the full indicator movement over one turn at a fixed place, from
// a fine sweep.
func (b *Blade) TIR(x, z float64) float64 {
	low, high := math.Inf(1), math.Inf(-1)
	for i := range 720 {
		y := b.surface(x, z, float64(i)*math.Pi/360)
		low, high = math.Min(low, y), math.Max(high, y)
	}
	return high - low
}
