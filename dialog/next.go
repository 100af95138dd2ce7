package dialog

import (
	"slices"
	"strconv"
	"strings"
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

// records returns every record of a saw and characteristic ("": of all), oldest
// first, those of this step included.
func (st *step) records(saw, characteristic string) []Record {
	return ofSaw(append(slices.Clone(st.v.History), st.res.Records...), saw, characteristic)
}

// ofSaw returns the records of a saw and characteristic ("": of all) that
// stand, oldest first. One that was corrected is left out.
func ofSaw(all []Record, saw, characteristic string) []Record {
	corrected := map[string]bool{}
	for _, r := range all {
		if r.Corrects != "" {
			corrected[r.Corrects] = true
		}
	}
	var out []Record
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

// historyOf turns records into what calc reckons the next date from. A measuring
// tool and a proof have none: the one belongs to no saw, the other proves what
// the rest has set.
func historyOf(records []Record) (calc.History, bool) {
	if len(records) == 0 {
		return calc.History{}, false
	}
	last := records[len(records)-1]
	if strings.HasPrefix(last.Characteristic, toolPrefix) || strings.HasPrefix(last.Characteristic, "proof.") || last.Low == nil && last.High == nil {
		return calc.History{}, false
	}
	h := calc.History{Name: last.Characteristic, Window: windowOf(&last)}
	h.Visits = visitsOf(records)
	return h, len(h.Visits) > 0
}

// visitsOf is what was found and left at each time; where nothing was found
// before an adjustment, what was left stands for it.
func visitsOf(records []Record) []calc.Visit {
	var visits []calc.Visit
	for _, r := range records {
		if r.AsLeft == nil {
			continue
		}
		v := calc.Visit{At: r.At, Left: r.AsLeft.estimate(), Found: r.AsLeft.estimate()}
		if r.AsFound != nil {
			v.Found = r.AsFound.estimate()
		}
		visits = append(visits, v)
	}
	return visits
}

// windowOf is the tolerance of a record. What pinches the work below its low
// limit is held to it by the whole uncertainty.
func windowOf(r *Record) calc.Window {
	var w calc.Window
	switch {
	case r.Low != nil && r.High != nil:
		w = calc.Window{Low: *r.Low, High: *r.High}
	case r.High != nil:
		w = calc.AtMost(*r.High)
	case r.Low != nil:
		w = calc.AtLeast(*r.Low)
	}
	w.ToeIn = r.Low != nil && strings.HasSuffix(r.Characteristic, ".toe")
	return w
}

// nextDate says when a saw is due and why.
func (st *step) nextDate(saw *Saw) (calc.Next, bool) {
	st.past(saw.ID)
	return nextOf(saw, st.records(saw.ID, ""))
}

// nextOf says when a saw is due and why, from its records, oldest first, a
// fixed interval of its owner's, and what happened to it since.
func nextOf(saw *Saw, records []Record) (calc.Next, bool) {
	var histories []calc.History
	var newest []Record
	for _, c := range characteristics(records) {
		list := ofSaw(records, saw.ID, c)
		if h, ok := historyOf(list); ok {
			histories, newest = append(histories, h), append(newest, list[len(list)-1])
		}
	}
	next, err := calc.NextDate(histories)
	if err != nil {
		return calc.Next{}, false
	}
	for i, h := range histories {
		if steady(next, h, newest[i].At) {
			next.Reason.Months = calc.LongestInterval
		}
	}
	// A quick check stands for the whole saw for a while, though it reads little.
	for _, r := range records {
		if rest := monthsAfter(r.At, calc.ShortestInterval); r.Procedure == (quickCheck{}).Name() && next.Due.Before(rest) && next.Reason.Rule != calc.RuleLeftOutside {
			next.Due = rest
		}
	}
	if n := saw.interval(); n > 0 {
		next = calc.Next{Due: monthsAfter(records[len(records)-1].At, n)}
	}
	for _, e := range saw.Events {
		for i := range newest {
			if e.spoils(&newest[i]) {
				next = next.NoLaterThan(e.At.AddDate(0, 0, 1))
			}
		}
	}
	return next, true
}

// steady reports whether a next date rests on a drift that reaches no limit
// within the longest interval.
func steady(n calc.Next, h calc.History, last time.Time) bool {
	return n.Reason.Rule == calc.RuleDrift && n.Reason.Limited && n.Reason.Characteristic == h.Name &&
		n.Due.After(monthsAfter(last, calc.LongestInterval-1))
}

// interval is the fixed interval of a saw in months, 0 for none.
func (s *Saw) interval() int {
	months := 0
	for _, e := range s.Events {
		if n, err := strconv.Atoi(e.What); e.Kind == "interval" && err == nil {
			months = n
		}
	}
	return months
}

// monthsAfter is the same day some months later, or the last of that month.
func monthsAfter(t time.Time, months int) time.Time {
	d := t.AddDate(0, months, 0)
	if d.Day() < t.Day() {
		d = d.AddDate(0, 0, -d.Day())
	}
	return d
}

// reason words why a date is what it is, in one line.
func reason(n calc.Next) wording.Text {
	names := map[calc.Rule]string{calc.RuleFirst: "first", calc.RuleSame: "same", calc.RuleLonger: "longer", calc.RuleShorter: "shorter",
		calc.RuleDrift: "drift", calc.RuleLeftOutside: "outside", calc.RuleEvent: "event"}
	id, ok := names[n.Reason.Rule]
	if !ok {
		return wording.T("reason.fixed")
	}
	if n.Reason.Rule == calc.RuleDrift && n.Reason.Months == calc.LongestInterval {
		id = "steady"
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
