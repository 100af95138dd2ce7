// Package calc is the geometry of setting up a sliding table saw, and the
// arithmetic of how far its answers can be trusted.
//
// # Axes and signs
//
// The frame stands on the saw and is right-handed, as the operator at the
// infeed side sees it:
//
//   - x runs forward along the feed. It is 0 at the table's front edge; front
//     is the operator's side, rear the outfeed side.
//   - y runs to the left. It is 0 in the plane of the blade.
//   - z runs up.
//
// A slider on the left of the blade has y > 0. A saw with its slider on the
// right is mirrored once, by [Hand.Mirror], before anything is calculated and
// once more when it is told; no other function knows of hands.
//
// Positive means:
//
//   - height of the slider at a point: above the main table
//   - toe of the slider: the blade's rear is farther from the line that the
//     slider travels than the blade's front (toe-out)
//   - toe of the rip fence: the fence is farther from the blade at the rear
//     (toe-out); toe-in, which pinches the work, is negative
//   - error of the crosscut fence: its far end, away from the blade, leans to
//     the rear
//   - error of tilt: the blade leans over further than the nominal angle
//   - runout (TIR, total indicator reading): never negative, the largest less
//     the smallest reading over one turn
//
// # Units
//
// Lengths are millimetres ([Length]), angles radians ([Angle]). Where a
// calculation does not care what it works on, it takes bare numbers in
// whichever unit is used throughout.
//
// # Errors and uncertainty
//
// What cannot be calculated gives an [*InputError] that names the input, never
// a NaN. Every uncertainty named U is expanded to 95 %, one named u or S is a
// standard uncertainty; [Combine] says how the one comes from the other. A
// function without an error result says what it does with an unusable input;
// an uncertainty made from one is +Inf, on which no decision can be taken.
//
// The package has no clock, no randomness, no files and no wording, and keeps
// nothing between two calls.
package calc
