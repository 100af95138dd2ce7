package calc

import "math"

// The toe of a rip fence is how much farther it is from the blade at the rear
// than at the front, over one reference length, the blade's diameter D. Below
// zero it pinches the work against the rising teeth, so nothing here aims at
// less than zero or passes through it on the way.

// FenceToe returns the toe over d, in millimetres, from the distances of the
// fence to one tooth, turned to the front and to the rear, l apart:
// (rear − front)·d/l. reading holds the components of one distance.
func FenceToe(front, rear, l, d Length, reading ...Component) (Estimate, error) {
	if err := distances(front, rear); err != nil {
		return Estimate{}, err
	}
	return overReference("rear", float64(rear-front), l, d, across(reading, 1, -1)...)
}

func distances(front, rear Length) error {
	if err := notNegative("front", front); err != nil {
		return err
	}
	return notNegative("rear", rear)
}

// FenceToeThroughSlider returns the toe over d from the distances of the fence
// to the slider's edge (or a mitre slot), l apart along x:
//
//	toe = (rear − front)·d/l − toe of the slider
//
// slider is that toe over the same d, with its uncertainty, which is added.
// The difference alone would pass a fence that pinches beside a slider that is
// toed out, so a slider of unknown toe is refused.
func FenceToeThroughSlider(front, rear, l, d Length, slider Estimate, reading ...Component) (Estimate, error) {
	if err := distances(front, rear); err != nil {
		return Estimate{}, err
	}
	own, err := slider.component()
	if err != nil {
		return Estimate{}, bad("slider", "has no known toe")
	}
	if err := positiveEach(named{"l", float64(l)}, named{"d", float64(d)}); err != nil {
		return Estimate{}, err
	}
	k := float64(d / l)
	parts := append(across(reading, k, -k), own)
	return estimate("rear", float64(rear-front)*k-slider.Value, parts)
}

// component returns the standard uncertainty of an estimate as one component
// of another.
func (e Estimate) component() (Component, error) {
	if err := e.check(); err != nil {
		return Component{}, err
	}
	if !(e.DoF >= 0.1) {
		return Component{}, bad("estimate", "has no degrees of freedom")
	}
	dof := e.DoF
	if dof >= ManyDoF {
		dof = math.Inf(1)
	}
	return Normal(e.U/studentT(Coverage, e.DoF), dof), nil
}

// ToeTarget returns the toe to adjust to: the middle of the window, but at least the
// uncertainty u of reading it again above zero, even past the window's upper
// limit. A window whose lower limit is toe-in is refused.
func ToeTarget(u Length, w Window) (Length, error) {
	if w.Low < 0 {
		return 0, bad("window", "reaches into toe-in")
	}
	w.ToeIn = true
	t, err := Aim(float64(u), w)
	return Length(t), err
}

// RailMoves returns how far, along the feed and positive to the rear, to move
// the rail of a rip fence at each of its fixings so that the fence's toe over d
// becomes target, the rail turning about pivot:
//
//	Δx(y) = (target − toe)/D · (y − pivot)
//
// fixings and pivot are places across the machine in the frame of a left-hand
// slider, where the fence is at y < 0; those of a right-hand saw are mirrored
// with Hand.Mirror. A fixing at the pivot stays. Moving them one after another
// takes the toe one way from toe to target, never past it.
func RailMoves(toe, target, d Length, fixings []Length, pivot Length) ([]Length, error) {
	if err := toeChange(toe, target, d); err != nil {
		return nil, err
	}
	if err := finite("pivot", float64(pivot)); err != nil {
		return nil, err
	}
	if err := finiteLengths("fixings", fixings); err != nil {
		return nil, err
	}
	out := make([]Length, len(fixings))
	moved := false
	for i, y := range fixings {
		out[i] = (target - toe) / d * (y - pivot)
		if err := inRange("fixings", float64(out[i])); err != nil {
			return nil, err
		}
		moved = moved || y != pivot
	}
	if !moved {
		return nil, bad("fixings", "are none but the pivot")
	}
	return out, nil
}

// HeadMove returns how far to move the fence sideways at its head's adjusting
// screw, lever behind the head's pivot, so that its toe over d becomes target:
// (target − toe)/D · lever, positive away from the blade. A screw in front of
// the pivot has a negative lever.
func HeadMove(toe, target, d, lever Length) (Length, error) {
	if err := toeChange(toe, target, d); err != nil {
		return 0, err
	}
	if err := finite("lever", float64(lever)); err != nil {
		return 0, err
	}
	if lever == 0 {
		return 0, bad("lever", "is zero")
	}
	return checked("lever", (target-toe)/d*lever)
}

// toeChange checks what every correction of a toe needs.
func toeChange(toe, target, d Length) error {
	if err := finiteEach(named{"toe", float64(toe)}, named{"target", float64(target)}); err != nil {
		return err
	}
	if target < 0 {
		return bad("target", "is toe-in")
	}
	return positive("d", d)
}
