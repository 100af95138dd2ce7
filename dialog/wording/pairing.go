package wording

import "time"

// What a page says that a pairing link opens, before anybody is known.

// Page is such a page: a heading, a text and a button, empty where there is none.
type Page struct{ Title, Text, Button Text }

// PairFor asks whether a device is to be paired for somebody; whoever has no name
// is named by owning the shop or not at all.
func PairFor(name string, owner bool) Page {
	text := T("pair.nameless")
	switch {
	case name != "":
		text = T("pair.for", "Name", Raw(name))
	case owner:
		text = T("pair.owner")
	}
	return Page{T("pair.title"), text, T("pair.button")}
}

// PairSpent says that a link opens nothing any more.
func PairSpent(life time.Duration) Page {
	return Page{Title: T("pair.spent"), Text: T("pair.another", "Count", int(life.Minutes()))}
}

// PairOff says that no device is paired here.
func PairOff() Page { return Page{Title: T("pair.off"), Text: T("pair.offwhy")} }

// PairHost says that the link was opened in a way by which nobody is let in.
func PairHost() Page { return Page{Title: T("pair.host"), Text: T("pair.hostwhy")} }

// PairAway says that the service cannot answer.
func PairAway() Page { return Page{Title: T("pair.away"), Text: T("pair.awaywhy")} }
