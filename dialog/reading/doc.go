// Package reading decides what a message from the shop floor means, from what
// is being asked: a number with its unit, sign and plausible range, or a word.
//
// It is pure: no state, no clock, no input or output. Lengths are millimetres
// and angles radians; the person's unit exists only in the text that Parse
// takes and Format gives.
package reading
