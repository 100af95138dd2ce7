package reading

import "shimwright/calc"

// Quantity says what kind of thing is asked.
type Quantity int

// The quantities that a question can ask for.
const (
	Length Quantity = iota // millimetres in Value
	Angle                  // radians in Value
	Count                  // a whole number
	Number                 // a plain number without a unit
)

// Unit is the unit that a person works in. A bare number is in it.
type Unit int

// The units of a person.
const (
	MM     Unit = iota // millimetres, read to hundredths
	Inch               // inches, read to thousandths
	Degree             // degrees
	None               // for Count and Number
)

// Lang is a language of the grammar tables: "en", "de", "es". An unknown one is
// read as English.
type Lang string

// Expect describes the question that a message answers.
type Expect struct {
	Quantity Quantity
	Unit     Unit // the person's unit; a bare number is in it
	Lang     Lang

	// Signed says that a sign means something. An unsigned question refuses a
	// negative number.
	Signed bool
	// SignNeeded says that a number without a sign is not enough: anything but
	// zero is asked back with both signs.
	SignNeeded bool
	// Positive and Negative are words that give the sign for this question.
	// They win over the language's own (plus, high, over, above, top …).
	Positive, Negative []string

	// Min and Max are the plausible range, in mm, rad or as a count. Both zero
	// means that no range is known. What is outside is never taken silently.
	Min, Max float64
	// Near is where the reading is expected (neighbours, last pass), nil if
	// unknown; a reading farther from it than Spread is doubted.
	Near   *float64
	Spread float64
	// Resolution is what the tool reads to, in the unit of Min and Max; 0 when
	// unknown. A reading finer than half of it is not plausible.
	Resolution float64

	// Leaves are the feeler leaves that the person owns, ascending.
	Leaves []calc.Length
	// Tried is the leaf that the question asked to try, nil when the person
	// chooses: "won't go in" is then about this leaf.
	Tried *calc.Length

	// Labels are the points that one message may carry together.
	Labels []Label
}

// Label names a point that a message may give a value for.
type Label struct {
	Key   string
	Names []string // in the person's language: "front", "support 1", "1", "A"
	// Expect is the question at this point; nil when it is the question asked.
	// Its own Labels, Positive and Negative are not looked at: the words of a
	// message are those of the question asked.
	Expect *Expect
}

// Value is a reading: Low == High for a plain number, an interval otherwise.
type Value struct {
	Low, High float64 // mm, rad or a count
	Text      string  // the words that it was understood from
	Key       string  // the other point that it fits, with the slip OtherPoint
}

// Mid returns the middle of the value.
func (v Value) Mid() float64 { return v.Low + (v.High-v.Low)/2 }

// Plain reports whether the value is one number and no interval.
func (v Value) Plain() bool { return v.Low == v.High }

// Status says what became of a message.
type Status int

// What became of a message.
const (
	Taken   Status = iota // Value is what was meant
	AskBack               // Alternatives are the plausible readings: ask which
	Doubt                 // Value is what was said, but it is not plausible; Alternatives are likely slips
	Refused               // not understood: Reason says why
)

// Slip is a likely mistake, named so that a doubt can name it.
type Slip int

// The likely mistakes.
const (
	NoSlip     Slip = iota
	UnitSlip        // the other unit was meant
	SignSlip        // the other sign was meant
	PointSlip       // the decimal point is elsewhere
	TooLarge        // outside the plausible range, and no single slip explains it
	OtherPoint      // it fits another point of the round
	TooFine         // finer than the tool reads, and no single slip explains it
)

// Reason says why a message was refused.
type Reason int

// Why a message was refused.
const (
	NoReason           Reason = iota
	Empty                     // nothing, or only spaces, punctuation and emoji
	TooLong                   // more than MaxBytes
	NotPlain                  // control characters, right-to-left text, digits of another script
	NotANumber                // words that give no number
	TwoNumbers                // more numbers than were asked for
	NegativeNotAllowed        // a negative number where none makes sense
	WrongQuantity             // degrees for a length, millimetres for a count
	NotWhole                  // a count with a fraction
	Huge                      // a number beyond anything in a workshop
	Negated                   // "not 3"
	NotExact                  // "just under 3", "a few thou"
	NoLeaf                    // about a feeler leaf, but not which
	NextLeaf                  // a leaf goes in loosely: does the next one?
	UnknownLeaf               // a leaf that the person does not own, nor two of them together
	Unclear                   // a number, and words that are not known or that contradict it
	UnknownLabel              // a value for a point that is not asked
	SameLabel                 // one point twice
	NoNumber                  // a label or a unit without its number
)

// MaxBytes is the longest message that Parse looks at.
const MaxBytes = 400

// Result is what Parse understood.
type Result struct {
	Status       Status
	Value        Value
	Alternatives []Value
	Slips        []Slip // one for each alternative; without alternatives, what is wrong with Value
	Reason       Reason
	Labelled     []Labelled // when the message named its points
}

// Labelled is the value of one named point. Its Status, Alternatives, Slips and
// Reason are those of this point; the Result's Status is the worst of them.
type Labelled struct {
	Key          string
	Value        Value
	Status       Status
	Alternatives []Value
	Slips        []Slip
	Reason       Reason
}
