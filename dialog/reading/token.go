package reading

// kind is what a token is to the grammar.
type kind uint8

const (
	kUnknown kind = iota
	kEnd
	// numbers
	kDigits    // 24.95
	kFraction  // ½
	kCard      // three, hundred
	kHalfWord  // einhalb, anderthalb
	kArticle   // a thou
	kBinary    // half, quarter, eighth
	kDecimal   // tenth, hundredth, thousandth
	kPoint     // point, Komma
	kDouble    // double oh
	kOrdinal   // the th of 3000th
	kSlash     // /
	kBadNumber // 0.0.4
	// units
	kUnit
	kTick       // ' : minutes, feet
	kDoubleTick // " : inches, seconds
	// signs
	kPlus      // plus, +
	kMinusWord // minus
	kMinus     // a dash of any kind
	kPlusMinus // ±
	kPos       // high
	kNeg       // low
	kPosMore   // over: high after a number, more than before one
	kNegLess   // under
	// joints
	kAnd
	kOf
	kBy
	kTo
	kBetween
	kOr
	kComma
	kColon
	kStop
	kQuestion
	// statements
	kZero   // flush
	kDeadOn // dead on: zero alone, "exactly" beside a number
	kGoes
	kNoGo
	kNoneGoes
	kNext
	kNot
	kNo // the answer, which may also be a negation
	kLoose
	kSnug
	kTight
	kLargest
	kSmallest
	kTouching
	kGap
	kLess
	kMore
	kVague
	kPair
	kDozen
	kCorrection
	kNoun
	kFiller
	kDimension // "24.9 mm wide": nothing new, behind a number
	kLabel
	// what the message level makes of tokens
	kQuantity
)

// token is a piece of a message with what it means.
type token struct {
	meaning
	start, end    int32 // bytes of the message
	fold, foldEnd int32 // its letters in parser.folded
	label         int16 // index into Expect.Labels, for kLabel
	spaceBefore   bool  // white space or the start before it
	spaceAfter    bool
	word          bool
}

// isDash reports whether r is written for a minus or a range.
func isDash(r rune) bool {
	switch r {
	case '-', '−', '–', '—', '‐', '‑', '‒', '﹣':
		return true
	}
	return false
}

// vulgar are the fractions that have a character of their own.
var vulgar = map[rune]float64{'½': 1. / 2, '¼': 1. / 4, '¾': 3. / 4, '⅛': 1. / 8, '⅜': 3. / 8, '⅝': 5. / 8, '⅞': 7. / 8}

// nodding are emoji that add nothing to a reading or a word, with the marks
// that vary them.
const nodding = "👍👌✅✔☑🙂😀😃😄😁😊😉😅🙏💪🤙👊🤝👏😎🆗🔧🪚📏📐" +
	"\U0001F3FB\U0001F3FC\U0001F3FD\U0001F3FE\U0001F3FF\uFE0F\u200D"

// shaking are emoji that deny.
const shaking = "👎❌🚫🛑🙅🤷❓⛔"
