// Package wording turns what the dialog has to say into the words of a
// language. Every sentence that a person reads stands in one of the catalogues
// beside it, one file a language (go-i18n messages, CLDR plural rules).
package wording

import "shimwright/calc"

// Text is a message of the catalogue with its arguments: it has neither a
// language nor a unit until it is rendered.
type Text struct {
	ID   string
	Args []any // name, value, name, value …
}

// T returns the text with that id. Arguments come in pairs of a name and a
// value: string, int, Text, Size, Turn, Tilt, List or anything that prints well.
func T(id string, args ...any) Text { return Text{ID: id, Args: args} }

// Empty reports whether the text says nothing.
func (t Text) Empty() bool { return t.ID == "" }

// Size is a length to be shown in the person's unit, rounded to what the tool
// can read. With Words, the sign is said: "0.08 mm low".
type Size struct {
	Value      calc.Length
	Resolution calc.Length // 0: 0.01 mm, or half a thousandth
	Beside     calc.Length // the largest value of the same sentence: in inches one unit serves both
	Signed     bool        // write a plus as well
	Coarse     bool        // a dimension: whole mm, or inches with a fraction
	Given      bool        // finer than that where the value is, as a person gave it
	Least      bool        // what rounds to nothing is said to be less than a step
}

// Tilt is an angle to be shown in degrees.
type Tilt struct {
	Value    calc.Angle
	Decimals int
	Signed   bool
}

// Span is a range between two Sizes or two Tilts. Its unit is said once: 0 to
// 0.10 mm.
type Span struct{ Low, High any }

// Number is a plain number, written with the decimal sign of the language: 22.5.
type Number float64

// List is texts joined as the language joins a list: a, b and c.
type List []Text

// Either is texts of which one is meant: a, b or c.
type Either []Text

// Lines is texts each on a line of its own.
type Lines []Text

// Raw is a text that needs no translation: a name that a person gave.
func Raw(s string) Text { return Text{ID: "raw", Args: []any{"Text", s}} }
