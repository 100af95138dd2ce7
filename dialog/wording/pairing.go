package wording

import "time"

// What a page says that a link opens, before anybody is known.

// Page is such a page: a heading, a text and a button, empty where there is none.
type Page struct{ Title, Text, Button Text }

// PairFor asks whether a device is to be paired for somebody; whoever has no name
// is named by owning the shop or not at all.
func PairFor(name string, owner bool) Page {
	text := T("pairing.nameless")
	switch {
	case name != "":
		text = T("pairing.for", "Name", Raw(name))
	case owner:
		text = T("pairing.owner")
	}
	return Page{T("pairing.title"), text, T("pairing.button")}
}

// PairSpent says that a link opens nothing any more.
func PairSpent(life time.Duration) Page {
	return Page{Title: T("pairing.spent"), Text: T("pairing.another", "Count", int(life.Minutes()))}
}

// PairOff says that no device is paired here.
func PairOff() Page { return Page{Title: T("pairing.off"), Text: T("pairing.offwhy")} }

// PairHost says that the link was opened in a way by which nobody is let in.
func PairHost() Page { return Page{Title: T("pairing.host"), Text: T("pairing.hostwhy")} }

// PairAway says that the service cannot answer.
func PairAway() Page { return Page{Title: T("pairing.away"), Text: T("pairing.awaywhy")} }

// ReportClosed says that the link of a report leads to none, or to none any more.
func ReportClosed() Page { return Page{Title: T("report.closed"), Text: T("report.closedwhy")} }
