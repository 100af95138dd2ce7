package dialog

import (
	"slices"
	"strconv"
	"time"

	"shimwright/calc"
	"shimwright/dialog/wording"
)

// needHistory ends a step that cannot go on without a saw's older records: the
// caller steps again with them.
type needHistory struct{ saw string }

// past makes sure that the older records of a saw are at hand ("*": of all).
func (st *step) past(saw string) {
	if !st.v.HasHistory {
		panic(needHistory{saw})
	}
}

// records returns every record of a saw and characteristic, oldest first,
// those of this step included. A record that was corrected is left out.
func (st *step) records(saw, characteristic string) []Record {
	var out []Record
	corrected := map[string]bool{}
	all := append(slices.Clone(st.v.History), st.res.Records...)
	for _, r := range all {
		if r.Corrects != "" {
			corrected[r.Corrects] = true
		}
	}
	seen := map[string]bool{}
	for _, r := range all {
		if r.Saw == saw && (characteristic == "" || r.Characteristic == characteristic) && !corrected[r.ID] && !seen[r.ID] {
			seen[r.ID] = true
			out = append(out, r)
		}
	}
	slices.SortStableFunc(out, func(a, b Record) int { return a.At.Compare(b.At) })
	return out
}

// characteristics lists what a saw has records with values of.
func characteristics(records []Record) []string {
	var out []string
	for _, r := range records {
		if r.AsLeft != nil && (r.Low != nil || r.High != nil) && !slices.Contains(out, r.Characteristic) {
			out = append(out, r.Characteristic)
		}
	}
	return out
}

// estimate returns a measured value as calc knows it.
func (m *Measured) estimate() calc.Estimate {
	return calc.Estimate{Value: m.Value, U: m.Uncertainty, DoF: calc.ManyDoF}
}

// historyOf turns records into what calc reckons the next date from.
func historyOf(records []Record) (calc.History, bool) {
	if len(records) == 0 {
		return calc.History{}, false
	}
	last := records[len(records)-1]
	h := calc.History{Name: last.Characteristic}
	switch {
	case last.Low != nil && last.High != nil:
		h.Window = calc.Window{Low: *last.Low, High: *last.High}
	case last.High != nil:
		h.Window = calc.AtMost(*last.High)
	case last.Low != nil:
		h.Window = calc.AtLeast(*last.Low)
	default:
		return calc.History{}, false
	}
	for _, r := range records {
		if r.AsLeft == nil {
			continue
		}
		v := calc.Visit{At: r.At, Left: r.AsLeft.estimate(), Found: r.AsLeft.estimate()}
		if r.AsFound != nil {
			v.Found = r.AsFound.estimate()
		}
		h.Visits = append(h.Visits, v)
	}
	return h, len(h.Visits) > 0
}

// nextDate says when a saw is due and why, from its records, a fixed interval
// of its owner's, and what happened to it since.
func (st *step) nextDate(saw *Saw) (calc.Next, bool) {
	st.past(saw.ID)
	all := st.records(saw.ID, "")
	var histories []calc.History
	for _, c := range characteristics(all) {
		if h, ok := historyOf(st.records(saw.ID, c)); ok {
			histories = append(histories, h)
		}
	}
	next, err := calc.NextDate(histories)
	if err != nil {
		return calc.Next{}, false
	}
	lastWork := all[len(all)-1].At
	for _, e := range saw.Events {
		switch {
		case e.Kind == "interval":
			if n, err := strconv.Atoi(e.What); err == nil && n > 0 {
				next = calc.Next{Due: lastWork.AddDate(0, n, 0)}
			}
		case e.At.After(lastWork) && (e.Kind == "moved" || e.Kind == "bumped" || e.Kind == "blade"):
			next = next.NoLaterThan(e.At.AddDate(0, 0, 1))
		}
	}
	return next, true
}

// reason words why a date is what it is, in one line.
func reason(n calc.Next) wording.Text {
	names := map[calc.Rule]string{calc.RuleFirst: "first", calc.RuleSame: "same", calc.RuleLonger: "longer", calc.RuleShorter: "shorter",
		calc.RuleDrift: "drift", calc.RuleLeftOutside: "outside", calc.RuleEvent: "event"}
	id, ok := names[n.Reason.Rule]
	if !ok {
		return wording.T("reason.fixed")
	}
	if n.Reason.Characteristic == "" {
		return wording.T("reason." + id)
	}
	return wording.T("reason."+id, "What", whatOf(n.Reason.Characteristic), "Months", n.Reason.Months)
}

// The hours of a person: when messages that nobody asked for may
// be sent, in the person's own zone.
const (
	DecentHour = 10
	quietUntil = 8
	quietFrom  = 20
)

// place returns the person's time zone.
func (st *step) place(p *Person) *time.Location {
	if p != nil && p.Zone != "" && st.v.Locate != nil {
		if loc := st.v.Locate(p.Zone); loc != nil {
			return loc
		}
	}
	return time.UTC
}

// decent returns the decent hour of the day of t, or of a later day where that
// has passed.
func (st *step) decent(t time.Time, p *Person) time.Time {
	l := t.In(st.place(p))
	d := time.Date(l.Year(), l.Month(), l.Day(), DecentHour, 0, 0, 0, l.Location())
	if d.Before(st.now) {
		n := st.now.In(l.Location())
		d = time.Date(n.Year(), n.Month(), n.Day(), DecentHour, 0, 0, 0, l.Location())
		if !d.After(st.now) {
			d = time.Date(n.Year(), n.Month(), n.Day()+1, DecentHour, 0, 0, 0, l.Location())
		}
	}
	return d
}

// quiet reports whether it is a time at which a person is left alone.
func (st *step) quiet(p *Person) bool {
	h := st.now.In(st.place(p)).Hour()
	return h < quietUntil || h >= quietFrom
}
