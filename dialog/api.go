package dialog

import (
	"encoding/json"
	"time"

	"shimwright/calc"
	"shimwright/dialog/wording"
)

// View is everything that a step may look at besides the state of its
// conversation. A step changes nothing in it.
type View struct {
	Shop         string // id of the shop
	Conversation string // id of the conversation
	Channel      string // name of the channel that the message came by
	Person       string // id of the person speaking, "" when a reminder fires
	Limits       Limits // what the channel can carry
	People       People
	Saws         []Saw
	Last         []Record  // the newest record of each saw and characteristic
	History      []Record  // older records, oldest first; only when a step asked for them
	HasHistory   bool      // History is filled
	Due          []DueMark // reminders that wait in this shop
	ZoneGuess    string    // time zones that the channel suggests for the person, parted by spaces
	LangGuess    string    // language that the channel suggests for a person who has chosen none
	LangHere     string    // language of the shop that somebody speaks in for the first time, "" for everybody else
	Token        string    // fresh random text of 28 letters and digits, for what must not be guessed; used at most once a step
	Networks     []string  // names of the channels on which a person has an address of their own
	Came         string    // how the person came to be known with this very message: CameByJoin, CameByLink
	Held         bool      // the code in this message leads to another shop, and the person cannot leave this one
	LangUnsure   bool      // LangGuess is only where the person's number is from: other languages are offered, as with LangHere
	Base         string    // address under which others reach the service, "" where that is not known

	// Locate returns a time zone of the tz database, nil for an unknown one.
	Locate func(name string) *time.Location
}

// Limits is what a channel can carry, as far as wording depends on it.
type Limits struct {
	Segment  int  // characters of one message part; 0: no limit
	Plain    bool // GSM 7-bit alphabet only, no formatting
	Pictures bool // pictures are shown where they are sent
	OneMove  bool // one nut a message, each answered singly
}

// DueMark is a reminder that is set.
type DueMark struct {
	ID     string
	Saw    string
	Person string
	Due    time.Time
	Body   json.RawMessage // as it was set
}

// Input is what a step handles: Message or Due.
type Input interface{ input() }

// Message is a message of a person.
type Message struct {
	ID     string
	Text   string
	SentAt time.Time // zero when the channel does not say
}

// Due is a reminder that has fallen due.
type Due struct {
	ID   string
	Saw  string
	Body json.RawMessage // as it was set
}

func (Message) input() {}
func (Due) input()     {}

// Result is everything that one step does. It is data: the caller commits it
// and sends what is to be sent.
type Result struct {
	State       State
	Saws        []Saw   // those that changed, whole
	People      *People // set when it changed
	Turn        Turn    // what the person sees
	Records     []Record
	Remind      []Reminder
	Forget      []string  // reminders to drop
	Send        []Send    // unasked messages to others
	Silence     bool      // drop what waits to be sent in this conversation
	Join        string    // hash of a code to join or link by: its address is to lead to this shop
	Unlink      []Address // places that are no longer the person's: they lead here no more
	Report      string    // hash of a report's token: its address is to lead to this shop
	ReportEnd   string    // hash of a report's token that leads nowhere from now on
	EraseSaw    string    // a saw that its owner confirmed to forget
	EraseShop   bool      // its owner confirmed to forget the whole shop
	NeedHistory string    // nothing was done: step again with View.History of this saw ("*": of every saw)
}

// Turn is what a person, or a program in their place, gets for one message.
// Its JSON is that of the HTTP interface.
type Turn struct {
	Replies []Reply    `json:"replies"`
	Prompt  PromptView `json:"prompt"`
	Advice  []Advice   `json:"advice,omitempty"`
	Verdict *Verdict   `json:"verdict,omitempty"`
	Lang    string     `json:"-"` // of the replies (BCP 47), "" where there are none
}

// Reply is one message to the person.
type Reply struct {
	Text    string    `json:"text"`
	Caution bool      `json:"caution,omitempty"` // carries a safety caution, in Text, first
	Choices []string  `json:"choices,omitempty"` // words that answer it, the default first
	Drawing *Drawing  `json:"-"`                 // the caller stores it and adds its address
	Expires time.Time `json:"-"`                 // neither sent nor shown after it; zero: no limit
	More    string    `json:"-"`                 // the fuller explanation, where Text was fitted to a short channel
}

// Kinds of prompt.
const (
	KindReading = "reading"
	KindChoice  = "choice"
	KindConfirm = "confirm"
	KindText    = "text"
	KindIdle    = "idle"
)

// PromptView is the open question, for programs.
type PromptView struct {
	Kind        string   `json:"kind"`
	Name        string   `json:"name,omitempty"`
	Job         string   `json:"job,omitempty"`
	Saw         string   `json:"saw,omitempty"`
	Quantity    string   `json:"quantity,omitempty"` // height, length, angle, gap, count, indicator
	Unit        string   `json:"unit,omitempty"`     // mm, in, deg; of the number asked
	At          *Point   `json:"at,omitempty"`       // mm, in the machine's axes
	Label       string   `json:"label,omitempty"`
	Acknowledge string   `json:"acknowledge,omitempty"` // the word that confirms
	Choices     []string `json:"choices,omitempty"`
	Tool        string   `json:"tool,omitempty"`
	Side        string   `json:"side,omitempty"`
	Turn        *float64 `json:"turn,omitempty"`  // of a revolution, from a mark on the arbor or flange
	Set         int      `json:"set,omitempty"`   // 1 or 2
	Tooth       int      `json:"tooth,omitempty"` // 1…
	N           int      `json:"n,omitempty"`
	Stop        *float64 `json:"stop,omitempty"`   // degrees
	Height      *float64 `json:"height,omitempty"` // mm, of a gap on a square
	Number      int      `json:"number,omitempty"` // for "fix N"
}

// Point is a place, mm, in the axes of the machine.
type Point struct {
	X float64 `json:"x"`
	Y float64 `json:"y"`
	Z float64 `json:"z,omitempty"`
}

// Advice is one move, for programs.
type Advice struct {
	Part      string  `json:"part"`
	At        *Point  `json:"at,omitempty"`
	Move      string  `json:"move"`                // raise, lower, left, right, forward, back, tilt-more, tilt-less, turn, wider, narrower
	Amount    float64 `json:"amount"`              // always positive
	Unit      string  `json:"unit"`                // turn, mm, in, deg
	Direction string  `json:"direction,omitempty"` // in words
	Change    Change  `json:"change"`
}

// Change is the motion of a part in the machine's axes, mm, or for a tilt the
// angle in radians, where it is known.
type Change struct {
	X     float64  `json:"x"`
	Y     float64  `json:"y"`
	Z     float64  `json:"z"`
	Angle *float64 `json:"angle,omitempty"`
}

// Verdict is a decision on one characteristic, for programs. Lengths are mm,
// angles radians.
type Verdict struct {
	Name        string   `json:"name"`
	Value       float64  `json:"value"`
	Uncertainty float64  `json:"uncertainty"`
	Low         *float64 `json:"low,omitempty"`
	High        *float64 `json:"high,omitempty"`
	Decision    string   `json:"decision"` // within, outside, undecided, open
}

// Record is one characteristic of a saw as a finished procedure found and
// left it. It never changes; a correction is a new record.
type Record struct {
	ID             string          `json:"id"`
	Saw            string          `json:"saw"`
	Procedure      string          `json:"procedure"`
	Characteristic string          `json:"characteristic"` // e.g. slider.level, slider.toe, crosscut:90, tilt:45
	At             time.Time       `json:"at"`
	Person         string          `json:"person,omitempty"`
	Unit           string          `json:"unit"` // mm or rad
	AsFound        *Measured       `json:"as_found,omitempty"`
	AsLeft         *Measured       `json:"as_left,omitempty"`
	Low            *float64        `json:"low,omitempty"`  // tolerance
	High           *float64        `json:"high,omitempty"` // tolerance
	Decision       string          `json:"decision"`
	Adjusted       bool            `json:"adjusted,omitempty"`
	Tool           string          `json:"tool,omitempty"`
	Resolution     float64         `json:"resolution,omitempty"`
	Blade          string          `json:"blade,omitempty"`
	Remarks        string          `json:"remarks,omitempty"`
	Corrects       string          `json:"corrects,omitempty"` // id of the record that this one puts right
	Readings       []RecordReading `json:"readings,omitempty"`

	remark wording.Text // Remarks, before they are worded for the person
}

// Measured is a value with its expanded (95 %) uncertainty and time.
type Measured struct {
	Value       float64   `json:"value"`
	Uncertainty float64   `json:"uncertainty"`
	At          time.Time `json:"at"`
}

// RecordReading is one reading as it was given.
type RecordReading struct {
	Name  string    `json:"name"`
	Label string    `json:"label,omitempty"`
	Round int       `json:"round,omitempty"`
	Low   float64   `json:"low"`
	High  float64   `json:"high"`
	At    time.Time `json:"at"`
}

// Reminder is to be set for a person.
type Reminder struct {
	ID     string
	Person string
	Saw    string
	Due    time.Time
	Body   json.RawMessage
}

// Send is an unasked message to a person, in the conversation where they last
// spoke. Unless Reminder is set it is an answer to something they did.
type Send struct {
	Person   string
	Reply    Reply
	Reminder bool
}

// State is all that is stored of one conversation: nothing that could be
// derived. Jobs live with their saw, so that a person can go on by another
// channel and hand a job to somebody else.
type State struct {
	Schema  int               `json:"schema"`
	Person  string            `json:"person,omitempty"` // who speaks here, when the channel knows only one
	Saw     string            `json:"saw,omitempty"`    // the saw that is spoken of
	Pending string            `json:"pending,omitempty"`
	Args    map[string]string `json:"args,omitempty"` // of the pending question
	Stopped bool              `json:"stopped,omitempty"`
	Asked   string            `json:"asked,omitempty"` // the safety question that was put last, and only if it was the last one put
}

// People is the people of one shop.
type People struct {
	Schema  int      `json:"schema"`
	Name    string   `json:"name,omitempty"` // of the shop
	Persons []Person `json:"persons"`
	Joins   []Join   `json:"joins,omitempty"`  // join codes that are open
	Erased  bool     `json:"erased,omitempty"` // the shop is forgotten: it goes as soon as somebody comes by
	Gone    string   `json:"gone,omitempty"`   // the shop to which the conversation of this one has moved
	Moves   []Move   `json:"moves,omitempty"`  // moves out of this shop that have begun
}

// Move is a move of somebody to another shop that has begun: until it is done,
// nothing else of theirs is handled here. Body is the caller's.
type Move struct {
	Door string          `json:"door"` // what the directory knows them by
	Body json.RawMessage `json:"body"`
}

// Role is what a person may do in a shop.
type Role string

// The roles, each including those after it.
const (
	Owner   Role = "owner"   // everything, and the people
	Setter  Role = "setter"  // sets up saws and measures
	Measure Role = "measure" // measures
)

// Person is one person of a shop.
type Person struct {
	ID        string     `json:"id"`
	Name      string     `json:"name,omitempty"`
	Role      Role       `json:"role"`
	Unit      string     `json:"unit,omitempty"` // mm or in; "" until chosen
	Lang      string     `json:"lang,omitempty"` // en, de, es; "" means en
	Zone      string     `json:"zone,omitempty"` // of the tz database
	Work      *Work      `json:"work,omitempty"` // what they make most
	Consent   *Consent   `json:"consent,omitempty"`
	Removed   bool       `json:"removed,omitempty"`
	Into      string     `json:"into,omitempty"` // id of the person that they turned out to be; then Removed
	Addresses []Address  `json:"addresses,omitempty"`
	Devices   []Device   `json:"devices,omitempty"`
	Links     []LinkCode `json:"links,omitempty"`
}

// Consent is the answer to whether reminders may be sent.
type Consent struct {
	Given bool      `json:"given"`
	At    time.Time `json:"at"`
}

// Address is where a person is reached.
type Address struct {
	Channel      string    `json:"channel"`
	To           string    `json:"to"`
	Conversation string    `json:"conversation"`
	Used         time.Time `json:"used,omitzero"` // to the day
	Out          bool      `json:"out,omitempty"` // of a lost phone: whoever writes from it is a stranger
}

// Device is a paired browser.
type Device struct {
	Hash    string    `json:"hash"` // SHA-256 of its token, hex
	Label   string    `json:"label,omitempty"`
	Created time.Time `json:"created"`
	Revoked bool      `json:"revoked,omitempty"`
}

// LinkCode is a short code by which a person links another channel.
type LinkCode struct {
	Hash    string    `json:"hash"`
	Expires time.Time `json:"expires"`
}

// Join is an open invitation.
type Join struct {
	Hash    string    `json:"hash"`
	Role    Role      `json:"role"`
	Expires time.Time `json:"expires"`
	By      string    `json:"by,omitempty"` // id of whoever invites
}

// Drawing is the specification of a picture; it is stored, and rendered when
// it is fetched. Every text in it is already worded for the person.
type Drawing struct {
	Kind   string      `json:"kind"`  // slider, parallel, fence, rail, tilt, runout
	Title  string      `json:"title"` // one line above the drawing
	Alt    string      `json:"alt"`   // says the same in words
	Hand   calc.Hand   `json:"hand"`  // side of the slider
	Words  DrawWords   `json:"words"`
	Points []DrawPoint `json:"points,omitempty"` // supports, slider ends, rail fixings
	Fence  *DrawFence  `json:"fence,omitempty"`
	Tilt   *DrawTilt   `json:"tilt,omitempty"`
	Chart  *DrawChart  `json:"chart,omitempty"`
}

// DrawChart is the course of one characteristic. Values are in Unit (mm or
// rad); Words.Unit is the unit to show them in.
type DrawChart struct {
	Unit   string       `json:"unit"`
	Low    *float64     `json:"low,omitempty"`  // tolerance
	High   *float64     `json:"high,omitempty"` // tolerance
	Points []ChartPoint `json:"points"`
	Line   *ChartLine   `json:"line,omitempty"`
	Band   []ChartBand  `json:"band,omitempty"`
	Next   time.Time    `json:"next,omitzero"`
	Words  ChartWords   `json:"words"`
}

// ChartPoint is one visit.
type ChartPoint struct {
	At       time.Time `json:"at"`
	Found    *Measured `json:"found,omitempty"`
	Left     *Measured `json:"left"`
	Adjusted bool      `json:"adjusted,omitempty"`
}

// ChartLine is the line A + B·days through the visits, with the standard
// uncertainties of A and B and the standard deviation S about it.
type ChartLine struct {
	From time.Time `json:"from"` // day 0
	A    float64   `json:"a"`
	B    float64   `json:"b"`
	SA   float64   `json:"sa"`
	SB   float64   `json:"sb"`
	S    float64   `json:"s"`
	DoF  float64   `json:"dof"`
}

// ChartBand is the 95 % prediction band of one further visit.
type ChartBand struct {
	At    time.Time `json:"at"`
	Value float64   `json:"value"`
	Low   float64   `json:"low"`
	High  float64   `json:"high"`
}

// ChartWords are the words of a chart.
type ChartWords struct {
	Found     string `json:"found"`
	Left      string `json:"left"`
	Tolerance string `json:"tolerance"`
	Line      string `json:"line"`
	Next      string `json:"next"`
	Unit      string `json:"unit"`            // mm, in or deg
	Point     string `json:"point,omitempty"` // the decimal mark, "" for a point
}

// DrawWords are the words that a drawing needs besides its own labels.
type DrawWords struct {
	Blade    string `json:"blade"`
	Front    string `json:"front"`
	Rear     string `json:"rear"`
	Slider   string `json:"slider"`
	Table    string `json:"table"`
	Operator string `json:"operator"`
}

// DrawPoint is a place with what was read there and what to do there.
type DrawPoint struct {
	Label   string  `json:"label"`
	X       float64 `json:"x"` // mm, machine axes
	Y       float64 `json:"y"`
	Reading string  `json:"reading,omitempty"` // in the person's unit
	Sign    int     `json:"sign"`              // of the reading against its window: -1 below, 0 inside, +1 above
	Move    string  `json:"move,omitempty"`    // "raise 1/8 turn"
	Dir     int     `json:"dir"`               // +1 raise or left, -1 lower or right, 0 leave
	Turns   float64 `json:"turns,omitempty"`   // signed part of a turn, + in the direction that raises
	Clock   int     `json:"clock,omitempty"`   // +1 clockwise from above, -1 anticlockwise
}

// DrawFence is a fence with its lean exaggerated.
type DrawFence struct {
	PivotY   float64 `json:"pivot_y"`
	AdjustY  float64 `json:"adjust_y"`
	EndY     float64 `json:"end_y"`
	AtRear   bool    `json:"at_rear"` // the fence stands at the rear of the slider
	Lean     float64 `json:"lean"`    // radians, + the far end leans to the rear
	LeanText string  `json:"lean_text"`
	Move     float64 `json:"move"` // mm along x at the adjuster, + to the rear
	MoveText string  `json:"move_text"`
	Pivot    string  `json:"pivot"`  // label
	Adjust   string  `json:"adjust"` // label
}

// DrawTilt is a blade seen from the front with its error exaggerated.
type DrawTilt struct {
	Nominal float64 `json:"nominal"` // radians
	Error   float64 `json:"error"`   // radians, + leans further
	Left    bool    `json:"left"`    // leans to the left
	Text    string  `json:"text"`
	Move    string  `json:"move"`
}
