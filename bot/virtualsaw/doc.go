// Package virtualsaw is a sliding table saw that exists in numbers only, with
// tools to measure it and a person who stands at it. It closes the loop with the
// service: the service asks over its public HTTP interface, the person measures,
// the service advises, the person turns nuts and screws, until the service says
// that it is done. Then the saw itself says whether that is true.
//
// It shares no code with the service, and its physics is worked out on other
// lines than the service's arithmetic: the slider is a beam on a grid of finite
// differences, the blade a warped disc met by a ray, a cut the clipping of a
// polygon. So a mistake in a formula there cannot hide behind the same mistake
// here.
//
// Axes are those of the interface: x forward along the feed, y to the left seen
// by the operator, z up; millimetres and radians. The blade stands about y = 0.
// A saw with its slider on the right is built in the mirror.
//
// Distributions of what saws, tools and people do are estimates from common
// practice, with no published source, unless a comment names one.
package virtualsaw
