package calc

// KnifeShift returns how far, in millimetres to the left, to move the riving
// knife so that it stands in the middle of the kerf: left and right are the
// clearances of its faces from the kerf's sides, negative where a face stands
// proud, and the shift is (left − right)/2. reading holds the components of one
// clearance.
//
// Left is the operator's left for either hand of the saw: this is a
// difference of two sides of the blade, not a place across the machine.
func KnifeShift(left, right Length, reading ...Component) (Estimate, error) {
	return halfDifference(left, right, 1, reading)
}

// halfDifference returns sign·(left − right)/2.
func halfDifference(left, right Length, sign float64, reading []Component) (Estimate, error) {
	if err := finiteEach(named{"left", float64(left)}, named{"right", float64(right)}); err != nil {
		return Estimate{}, err
	}
	return estimate("left", sign*float64(left-right)/2, across(reading, 0.5, -0.5))
}

// Knife is a riving knife as measured at the mounted blade.
type Knife struct {
	Thickness   Length   // of the knife
	Plate       Length   // of the blade's body
	Kerf        Length   // of the cut, the width over the teeth
	Gaps        []Length // to the teeth, along the arc
	Top         Length   // height of its top above the blade's top, negative below
	CarriesHood bool     // the guard is mounted on it: its height is the manual's
}

// KnifeRules are the limits for a riving knife.
type KnifeRules struct {
	GapMin, GapMax Length
	Below          Length // most that its top may be below the blade's top
}

// DefaultKnifeRules returns: gap at most 8 mm (HSE, circular saw bench page) and
// at least 3 mm (practice, no source), top at most 25 mm below the blade's
// (HSE information sheet WIS16, from memory). The machine's manual decides
// where it says otherwise.
func DefaultKnifeRules() KnifeRules { return KnifeRules{GapMin: 3, GapMax: 8, Below: 25} }

// KnifeFault is one thing wrong with a riving knife.
type KnifeFault int

// What Check finds.
const (
	KnifeTooThin  KnifeFault = iota + 1 // not thicker than the plate: the kerf can close on the blade
	KnifeTooThick                       // not thinner than the kerf: the work jams on it
	KnifeTooNear                        // a gap below the least
	KnifeTooFar                         // a gap above the most
	KnifeTooHigh                        // its top above the teeth
	KnifeTooLow                         // its top too far below the teeth
)

// String returns the fault's name for programs and tests.
func (f KnifeFault) String() string {
	names := [...]string{"none", "too thin", "too thick", "too near", "too far", "too high", "too low"}
	if f < 0 || int(f) >= len(names) {
		return "unknown"
	}
	return names[f]
}

// Check returns everything that is wrong with a riving knife, each once, in
// the order of the constants. Nothing is forgiven at a limit of thickness; a
// gap or a height at its limit passes. The top of a knife that carries the
// hood is not judged.
func (k Knife) Check(r KnifeRules) ([]KnifeFault, error) {
	if err := k.check(r); err != nil {
		return nil, err
	}
	var faults []KnifeFault
	add := func(wrong bool, f KnifeFault) {
		if wrong {
			faults = append(faults, f)
		}
	}
	near, far := k.Gaps[0], k.Gaps[0]
	for _, g := range k.Gaps {
		near, far = min(near, g), max(far, g)
	}
	add(k.Thickness <= k.Plate, KnifeTooThin)
	add(k.Thickness >= k.Kerf, KnifeTooThick)
	add(near < r.GapMin, KnifeTooNear)
	add(far > r.GapMax, KnifeTooFar)
	add(!k.CarriesHood && k.Top > 0, KnifeTooHigh)
	add(!k.CarriesHood && k.Top < -r.Below, KnifeTooLow)
	return faults, nil
}

func (k Knife) check(r KnifeRules) error {
	if err := positiveEach(named{"Thickness", float64(k.Thickness)}, named{"Plate", float64(k.Plate)},
		named{"Kerf", float64(k.Kerf)}); err != nil {
		return err
	}
	if k.Kerf <= k.Plate {
		return bad("Kerf", "is not wider than the plate")
	}
	if len(k.Gaps) == 0 {
		return bad("Gaps", "are missing")
	}
	for _, g := range k.Gaps {
		if err := notNegative("Gaps", g); err != nil {
			return err
		}
	}
	if err := finite("Top", float64(k.Top)); err != nil {
		return err
	}
	if err := positive("GapMin", r.GapMin); err != nil {
		return err
	}
	if err := finite("GapMax", float64(r.GapMax)); err != nil {
		return err
	}
	if r.GapMax <= r.GapMin {
		return bad("GapMax", "is not above GapMin")
	}
	return notNegative("Below", r.Below)
}
