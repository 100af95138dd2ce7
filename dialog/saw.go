package dialog

import (
	"time"

	"shimwright/calc"
	"shimwright/dialog/guard"
)

// Saw is all that is stored of one saw: its profile, what happened to it, its
// power history, and its jobs.
type Saw struct {
	ID      string      `json:"id"`
	Schema  int         `json:"schema"`
	Profile Profile     `json:"profile"`
	Events  []Event     `json:"events,omitempty"` // moved, bumped, a new blade
	Power   guard.Power `json:"power"`
	Running *Job        `json:"running,omitempty"`
	Parked  []Job       `json:"parked,omitempty"` // newest last
	Retired bool        `json:"retired,omitempty"`
	Report  string      `json:"report,omitempty"` // token of its report page
}

// Event is something that happened to a saw and cannot be derived.
type Event struct {
	Kind   string    `json:"kind"` // moved, bumped, blade, arbor, tool, interval, report, reread
	What   string    `json:"what,omitempty"`
	Person string    `json:"person,omitempty"`
	At     time.Time `json:"at"`
}

// Kinds of saw.
const (
	Sliding = "sliding" // with a sliding table
	Cabinet = "cabinet" // without: the mitre slot takes the slider's place
)

// Profile is what is known of a saw. Lengths are mm.
type Profile struct {
	Name        string        `json:"name"`
	Kind        string        `json:"kind"`
	Hand        calc.Hand     `json:"hand"`               // side of the slider, or of the mitre slot that is used; the rip fence is on the other
	Stations    []Station     `json:"stations"`           // supports of the slider; without one, the bolts that turn the table, front and rear
	Trunnion    bool          `json:"trunnion,omitempty"` // without a slider: the bolts are the trunnion's and turn the blade
	Thread      string        `json:"thread"`             // of the support nuts, e.g. M10
	RaiseCCW    bool          `json:"raise_ccw"`          // turning the height nut anticlockwise, seen from above, raises
	Spanner     calc.Length   `json:"spanner"`            // length of the spanner
	Blade       calc.Length   `json:"blade"`              // diameter
	BladeName   string        `json:"blade_name"`         // what the person calls the mounted blade
	FenceRear   bool          `json:"fence_rear"`         // crosscut fence at the rear of the slider
	FencePivot  calc.Length   `json:"fence_pivot"`        // distance of its pivot from the blade
	FenceReach  calc.Length   `json:"fence_reach"`        // distance of its adjuster from the blade
	FenceThread string        `json:"fence_thread"`       // thread of its adjusting screw; "" where it is moved by hand
	TiltLeft    bool          `json:"tilt_left"`          // the blade leans to the left
	Stops       []float64     `json:"stops"`              // bevel stops besides 90, degrees of tilt
	Mitres      []float64     `json:"mitres,omitempty"`   // mitre positions of the crosscut fence, degrees from square
	Scoring     bool          `json:"scoring"`
	Tools       []Tool        `json:"tools"`
	Leaves      []calc.Length `json:"leaves"` // feeler leaves
	Tol         Tolerances    `json:"tolerances"`
}

// Station is a place along the slider with one or two supports. X is measured
// from the table's front edge, Ys from the blade, away from it.
type Station struct {
	X  calc.Length   `json:"x"`
	Ys []calc.Length `json:"ys"`
}

// Tool is a measuring tool and what it can read.
type Tool struct {
	Kind       string      `json:"kind"` // indicator, feelers, caliper, square, level
	Resolution calc.Length `json:"resolution,omitempty"`
	Angle      calc.Angle  `json:"angle,omitempty"`  // resolution of a level
	Length     calc.Length `json:"length,omitempty"` // of a square

	// What the check of the tool found; zero where it was not checked.
	Correction calc.Length `json:"correction,omitempty"` // to be added to what it reads
	Repeat     calc.Length `json:"repeat,omitempty"`     // standard deviation of one reading on one spot
	RepeatDoF  float64     `json:"repeat_dof,omitempty"`
	Error      calc.Angle  `json:"error,omitempty"`   // of a square, positive where it is more than 90°
	ErrorU     calc.Angle  `json:"error_u,omitempty"` // expanded uncertainty of Error
}

// Tolerances are the windows that a saw is set to; practice where the owner
// gave none of the maker's.
type Tolerances struct {
	LevelLow     calc.Length `json:"level_low"`
	LevelHigh    calc.Length `json:"level_high"`
	ToeHigh      calc.Length `json:"toe_high"` // slider toe over the blade's diameter; low is 0
	ToeLow       calc.Length `json:"toe_low"`
	Crosscut     calc.Length `json:"crosscut"` // over 300 mm
	Tilt         calc.Angle  `json:"tilt"`
	RipHigh      calc.Length `json:"rip_high"`
	RunoutFlange calc.Length `json:"runout_flange"`
	RunoutBlade  calc.Length `json:"runout_blade"`
}

// Job is one job on one saw: nothing but its answers, and what can't be
// derived from them.
type Job struct {
	ID        string    `json:"id"`
	Procedure string    `json:"procedure"`
	Person    string    `json:"person"` // who holds it
	Started   time.Time `json:"started"`
	Answers   []Answer  `json:"answers"`
	Told      *Told     `json:"told,omitempty"`
	Back      bool      `json:"back,omitempty"`  // Then waits parked and is taken up again without asking
	Edits     bool      `json:"edits,omitempty"` // a set-up asked for in the middle of Then: its profile corrects that job too
	Fix       *Key      `json:"fix,omitempty"`   // the answer that is to be given again
	Then      string    `json:"then,omitempty"`  // the procedure to start when this one is finished
	Wrote     []string  `json:"wrote,omitempty"` // ids of the records that it wrote
	Late      *Late     `json:"late,omitempty"`  // the last answer, where it was long under way
}

// Late is an answer that arrived some time after it was sent. The same, sent again
// before that, is the impatience of its sender or of the network, and no answer to the
// question that came next.
type Late struct {
	Said string    `json:"said"`
	Came time.Time `json:"came"`
}

// Key names a question within a job.
type Key = guard.Key

// Told is the outstanding adjustment, as it was told: a later version that
// would advise otherwise still knows what was asked.
type Told struct {
	Key   Key          `json:"k"`
	At    time.Time    `json:"t"`
	Moves []guard.Move `json:"moves"`
	Made  []Made       `json:"made,omitempty"` // answers so far, one a move, when they come singly
	Edit  bool         `json:"edit,omitempty"` // the profile is to be corrected, once it is known what became of the moves
}

// Made is what became of one move of an adjustment.
type Made struct {
	guard.Move
	Status string  `json:"status"`           // made, not, stuck, otherwise
	Actual float64 `json:"actual,omitempty"` // turns (or mm) when made otherwise; signed
}

// Answer is one accepted answer.
type Answer struct {
	Key     Key       `json:"k"`
	At      time.Time `json:"t"`
	Person  string    `json:"p,omitempty"`
	Low     float64   `json:"lo,omitempty"` // a reading, mm or rad; Low = High unless an interval
	High    float64   `json:"hi,omitempty"`
	Text    string    `json:"s,omitempty"` // a choice or a text
	Skipped bool      `json:"skip,omitempty"`
	Tool    string    `json:"tool,omitempty"`
	Moves   []Made    `json:"moves,omitempty"`   // of an adjustment: as told, and what was done
	Profile *Profile  `json:"profile,omitempty"` // in the first answer, and in corrections of it
}
