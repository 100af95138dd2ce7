package dialog

import (
	"slices"
	"strconv"
	"strings"
)

// What a saw does not have is never asked for.

// applies reports whether a procedure is of use on a saw.
func applies(p Procedure, saw Profile) bool {
	switch p.Name() {
	case "scoring":
		return saw.Scoring
	}
	return true
}

// appliesTo reports whether a characteristic exists on a saw.
func appliesTo(characteristic string, saw Profile) bool {
	if s, ok := strings.CutPrefix(characteristic, "tilt:"); ok && s != "90" {
		return slices.ContainsFunc(saw.Stops, func(d float64) bool { return strconv.FormatFloat(d, 'g', -1, 64) == s })
	}
	return true
}
