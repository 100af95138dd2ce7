package calc

// Pass is one round of moves with the heights read before and after it.
type Pass struct {
	Turns         []float64 // as made, positive raises; 0 for a nut left alone
	Before, After []Length
	Missing       []bool // heights that were not read, before or after; nil: none
}

// FindingKind names what a pass showed that the model had not expected.
type FindingKind int

// What Learn finds. The zero value is no finding.
const (
	NoFinding     FindingKind = iota
	Stuck                     // the nut was turned and nothing moved
	Reversed                  // turning it as told to raise lowers
	WrongPitch                // it moves as another thread would; Finding.Gain says by which factor
	Swapped                   // the readings of Support and Other were exchanged
	OddReading                // the reading at Support fits nothing; read it again
	Contradiction             // no elastic table answers like this; each nut is now moved by its own reading
)

// String returns the kind's name for programs and tests.
func (k FindingKind) String() string {
	names := [...]string{"none", "stuck", "reversed", "wrong pitch", "swapped", "odd reading", "contradiction"}
	if k < 0 || int(k) >= len(names) {
		return "unknown"
	}
	return names[k]
}

// Finding is one thing that a pass showed.
type Finding struct {
	Kind    FindingKind
	Support int     // index of the support that it is about; -1 for Contradiction
	Other   int     // the other support, for Swapped; otherwise -1
	Pass    int     // index of the pass whose After reading it is about; -1 for a Before
	Gain    float64 // measured answer of the nut, 1 = as its thread says
}

// Learn returns the model after the whole history of passes, and what the
// history shows. It is pure: start from the model of NewModel and hand in
// every pass made so far. u is the expanded uncertainty (95 %) of one reading.
//
// A finding about a reading (Swapped, OddReading) leaves the model as if that
// reading had not been taken; a finding about a nut is in the returned gains.
func (m Model) Learn(passes []Pass, u Length) (Model, []Finding, error) {
	return m, nil, nil
}
