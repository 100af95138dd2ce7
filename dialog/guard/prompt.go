package guard

import (
	"fmt"
	"strings"
	"time"

	"shimwright/calc"
	"shimwright/dialog/reading"
	"shimwright/dialog/wording"
)

// Key names a question within a job: the prompt's name, the round, and the
// place of the question in it.
type Key struct {
	Name  string `json:"n"`
	Round int    `json:"r,omitempty"`
	Index int    `json:"i,omitempty"`
}

// Choice is one way to answer a question.
type Choice struct {
	Value string
	Text  wording.Text
	Also  string // id of an entry that lists other words for it; may be empty
}

// Form is what kind of answer a question takes.
type Form int

// The forms.
const (
	Reading Form = iota // a number, as Ask.Expect says
	Pick                // one of Ask.Choices
	Words               // any text
	Confirm             // the word Ask.Word
)

// Ask is a question as a procedure puts it. It is data; only a Prompt is sent.
type Ask struct {
	Key  Key
	Form Form
	Text wording.Text // the question itself, one sentence or two
	Why  wording.Text // what it is for, said on `where` and `why`
	How  wording.Text // how to do it, said on `how far`, `how`; may be empty
	// Label says where, for the echo and for programs: "support 2, blade side".
	Label wording.Text

	Expect   reading.Expect // for Reading: quantity, sign words, plausible range
	Quantity string         // for programs: height, gap, length, indicator, angle, count
	Tool     string
	Side     string
	At       *[2]calc.Length // x, y in the machine's axes
	Turn     *float64
	Set      int
	Tooth    int
	N        int
	Stop     *float64
	Height   calc.Length
	Choices  []Choice // for Pick; the first is the default
	Word     string   // for Confirm: id of the word in the catalogue
	Instead  string   // for Reading: id of a safety word that, alone and exact, answers in its place
	Default  *float64 // for Reading: taken by `ok`, mm or a count
	NoSkip   bool     // it cannot be skipped
	Hard     bool     // for Reading: outside of Expect's range nothing is taken, confirmed or not
	Supports Group    // for Reading: the supports that one message may give together
	// Plus and Minus are ids of entries that list words for either sign of a
	// reading, where the language's own would mean the other.
	Plus, Minus string
	// Signs words the sign of a reading in its echo: ids for positive,
	// negative and zero. Empty: the number is said with its sign.
	Signs [3]string
}

// Group is questions of which one message may answer several, each by the number
// of its point: "1: -0.2, 2: -0.3".
type Group struct {
	Size int
	Key  func(n int) Key // of point n, from 0
}

// Move is one motion that an adjustment asks for.
type Move struct {
	Part      wording.Text    `json:"-"`
	Label     string          `json:"label"` // Part as it was told
	At        *[2]calc.Length `json:"at,omitempty"`
	Verb      string          `json:"verb"`            // raise, lower, left, right, rear, front, more, less
	Turns     float64         `json:"turns,omitempty"` // signed, + raises (or moves along the positive axis)
	Clockwise bool            `json:"cw,omitempty"`
	Travel    calc.Length     `json:"travel,omitempty"` // signed, of the part
	Skew      calc.Angle      `json:"skew,omitempty"`   // of a travel to the rear: turned this far towards the blade
	Angle     calc.Angle      `json:"angle,omitempty"`
	Index     int             `json:"i"` // of the part in its procedure
	Swing     calc.Length     `json:"swing,omitempty"`
	Thread    string          `json:"thread,omitempty"`
	Stack     []calc.Length   `json:"stack,omitempty"` // feeler leaves that make up the travel
}

// Adjustment is what a person is asked to move.
type Adjustment struct {
	Key   Key
	Text  wording.Text // the order of hands: what to loosen, what to watch
	Why   wording.Text
	Moves []Move
	After wording.Text // what to do when all are made
	// Drawing is the picture of it, worded when it is sent.
	Drawing *Sketch
}

// handsOn lists the prompts that bring a hand, a tool or a gauge near the
// saw, by the first part of their names. They can be built by HandsOn only.
var handsOn = [...]string{
	"blade.", "slider.", "tilt.", "ripfence.", "knife.", "score.", "arbor.", "table.", "fence.", "slot.",
}

// powered lists the prompts during which the blade runs.
var powered = [...]string{"cut.", "flip.cut", "ripcut.cut", "proof.cut"}

// NeedsHands reports whether a prompt of this name is hands-on.
func NeedsHands(name string) bool { return hasPrefix(handsOn[:], name) }

// NeedsPower reports whether the blade runs during a prompt of this name.
func NeedsPower(name string) bool { return hasPrefix(powered[:], name) }

func hasPrefix(list []string, name string) bool {
	for _, p := range list {
		if strings.HasPrefix(name, p) {
			return true
		}
	}
	return false
}

// Class is what a prompt asks of the person's body.
type Class int

// The classes.
const (
	Hands    Class = iota + 1 // hand, tool or gauge near the saw: unplugged
	Adjusts                   // loosens or moves something: unplugged
	Runs                      // the blade runs
	Unplug                    // asks for the acknowledgement that it is unplugged
	MakeSafe                  // asks for the acknowledgement that it is ready, or put right
	Harmless                  // none of these
)

// Prompt is what may be sent. It has no exported fields: whoever holds one
// that is hands-on had an Isolated to build it with, and one for a powered
// step a Guarded.
type Prompt struct {
	class   Class
	ask     Ask
	adjust  *Adjustment
	told    *told
	caution wording.Text
	expires time.Time
}

// Class returns what the prompt asks of the person.
func (p Prompt) Class() Class { return p.class }

// Ask returns the question; for an adjustment, its confirmation.
func (p Prompt) Ask() Ask { return p.ask }

// Adjustment returns what is to be moved, or nil.
func (p Prompt) Adjustment() *Adjustment {
	if p.told != nil {
		return p.told.adjustment()
	}
	return p.adjust
}

// Why returns what the prompt is for.
func (p Prompt) Why() wording.Text {
	if a := p.Adjustment(); a != nil {
		return a.Why
	}
	return p.ask.Why
}

// told is an adjustment that was told before. Its words and picture cost a plan
// and are wanted only when it is said again.
type told struct {
	word func() Adjustment
	once *Adjustment
}

func (t *told) adjustment() *Adjustment {
	if t.once == nil {
		a := t.word()
		t.once = &a
	}
	return t.once
}

// Caution returns the caution, which stands first in the message. It is empty
// for a harmless prompt only.
func (p Prompt) Caution() wording.Text { return p.caution }

// Expires returns when the prompt may no longer be sent or shown; zero: never.
func (p Prompt) Expires() time.Time { return p.expires }

// Plain returns a prompt that asks nothing of the person's body. It panics
// when the name says otherwise.
func Plain(a Ask) Prompt {
	if NeedsHands(a.Key.Name) || NeedsPower(a.Key.Name) {
		panic(fmt.Sprintf("guard: %s is not harmless", a.Key.Name))
	}
	return Prompt{class: Harmless, ask: a}
}

// HandsOn returns a hands-on question. It panics without a valid proof or a
// caution: that is a mistake in the program.
func HandsOn(iso Isolated, caution wording.Text, a Ask) Prompt {
	need(iso.person, caution)
	return Prompt{class: Hands, ask: a, caution: caution, expires: iso.expires}
}

// Adjust returns an adjustment, confirmed with the word `done`.
func Adjust(iso Isolated, caution wording.Text, a Adjustment) Prompt {
	need(iso.person, caution)
	return Prompt{class: Adjusts, adjust: &a, caution: caution, expires: iso.expires,
		ask: Ask{Key: a.Key, Form: Confirm, Text: a.Text, Why: a.Why, Word: "word.done", NoSkip: true}}
}

// AdjustAgain is Adjust for an adjustment that was told before: word is called
// only when it is said again.
func AdjustAgain(iso Isolated, caution wording.Text, k Key, word func() Adjustment) Prompt {
	need(iso.person, caution)
	return Prompt{class: Adjusts, told: &told{word: word}, caution: caution, expires: iso.expires,
		ask: Ask{Key: k, Form: Confirm, Word: "word.done", NoSkip: true}}
}

// Powered returns a step during which the blade runs, answered with its word.
func Powered(g Guarded, caution wording.Text, a Ask) Prompt {
	need(g.person, caution)
	return Prompt{class: Runs, ask: a, caution: caution, expires: g.expires}
}

// AskUnplugged asks for the acknowledgement that the saw is unplugged.
func AskUnplugged(text, why wording.Text) Prompt {
	return Prompt{class: Unplug, caution: text, ask: Ask{
		Key: Key{Name: "safety.unplugged"}, Form: Confirm, Text: text, Why: why, Word: "word.unplugged", NoSkip: true}}
}

// AskGuarded asks for the acknowledgement that the saw is ready to cut: the
// checks are made by hand while it is still unplugged.
func AskGuarded(iso Isolated, text, why wording.Text) Prompt {
	need(iso.person, text)
	return Prompt{class: MakeSafe, caution: text, expires: iso.expires, ask: Ask{
		Key: Key{Name: "safety.guarded"}, Form: Confirm, Text: text, Why: why, Word: "word.guarded", NoSkip: true}}
}

// AskPutRight asks, at the end of a job or when it is left, that nothing is
// loose and guard and riving knife are back. It needs no proof: whoever leaves
// a saw must be told in any case.
func AskPutRight(text, why wording.Text) Prompt {
	return Prompt{class: MakeSafe, caution: text, ask: Ask{
		Key: Key{Name: "safety.guarded", Index: 1}, Form: Confirm, Text: text, Why: why, Word: "word.guarded", NoSkip: true}}
}

func need(person string, caution wording.Text) {
	if person == "" {
		panic("guard: no valid acknowledgement")
	}
	if caution.ID == "" {
		panic("guard: no caution")
	}
}

// Sketch is what an adjustment's picture shows, before it is worded.
type Sketch struct {
	Kind   string
	Title  wording.Text
	Alt    wording.Text
	Points []SketchPoint
	// Of a crosscut fence: y of pivot, adjuster and far end; the lean; the move.
	Pivot, Adjuster, End calc.Length
	AtRear               bool
	Lean                 calc.Angle
	Move                 calc.Length
	LeanText, MoveText   wording.Text
}

// SketchPoint is one part in the picture.
type SketchPoint struct {
	Label   wording.Text
	X, Y    calc.Length
	Reading wording.Text
	Sign    int
	Move    wording.Text
	Dir     int
	Turns   float64
	Clock   int
}
