package dialog

import (
	"slices"
	"strconv"
	"strings"

	"shimwright/dialog/wording"
)

// What a saw does not have is never asked for, and what it has is called by its
// name.

// applies reports whether a procedure is of use on a saw.
func applies(p Procedure, saw Profile) bool {
	switch p.Name() {
	case "scoring":
		return saw.Scoring
	case "slider-level":
		return saw.Kind != Cabinet
	}
	return true
}

// lacking is the sentence for a procedure that does not apply.
func lacking(p Procedure) string {
	if p.Name() == "scoring" {
		return "scoring.none"
	}
	return "level.nothing"
}

// gives lists what a procedure measures on a saw.
func gives(p Procedure, saw Profile) []string { return existing(p.Gives(), saw) }

// existing lists those characteristics that a saw has. One that ends in ":"
// stands for each stop of that kind.
func existing(list []string, saw Profile) []string {
	var out []string
	for _, c := range list {
		switch {
		case c == "tilt:":
			for _, s := range saw.Stops {
				out = append(out, tiltName(s))
			}
		case c == "crosscut:":
			for _, s := range saw.Mitres {
				out = append(out, mitreName(s))
			}
		case strings.HasPrefix(c, "slider.") && saw.Kind == Cabinet, strings.HasPrefix(c, "slot.") && saw.Kind != Cabinet:
		default:
			out = append(out, c)
		}
	}
	return out
}

// byKind are the procedures that a saw without a slider calls otherwise.
var byKind = [...]string{"slider-parallel", "crosscut-fence"}

// titleOf names a procedure to a person, as it is called on this saw.
func titleOf(name string, saw Profile) wording.Text {
	if saw.Kind == Cabinet && slices.Contains(byKind[:], name) {
		return wording.T("job." + name + ".cabinet")
	}
	return wording.T("job." + name)
}

// whatOf names a characteristic to a person.
func whatOf(characteristic string) wording.Text {
	kind, stop, ok := strings.Cut(characteristic, ":")
	degrees, err := strconv.ParseFloat(stop, 64)
	if !ok || err != nil || degrees == 90 {
		return wording.T("what." + characteristic)
	}
	return wording.T("what."+kind, "Stop", stopText(degrees))
}

// stopText words an angle as a person names a stop: 45, 22.5.
func stopText(degrees float64) wording.Text {
	return wording.T("size", "Value", wording.Number(degrees))
}

// degreesOf writes an angle as the names of characteristics have it.
func degreesOf(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }
