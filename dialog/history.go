package dialog

import (
	"shimwright/calc"
	"shimwright/dialog/wording"
)

// month is the mean length of one, in days, for rates.
const month = 365.25 / 12

// history says of each characteristic what was left and found, how fast it
// moves and when it would leave its tolerance, with a chart of the one that
// decides the next date.
func (st *step) history() {
	saw := st.focus()
	if saw == nil {
		st.sawList()
		return
	}
	st.past(saw.ID)
	all := st.records(saw.ID, "")
	next, dated := st.nextDate(saw)
	var chart *Drawing
	for _, c := range characteristics(all) {
		records := st.records(saw.ID, c)
		if s := st.standing(saw, c); s.Cause == reread {
			st.sayStanding(s)
		} else {
			st.historyLine(c, records)
		}
		if chart == nil || next.Reason.Characteristic == c {
			chart = st.chart(saw, c, records, next)
		}
	}
	switch {
	case dated:
		st.say("history.next", "Date", st.date(next.Due), "Reason", reason(next))
	case len(characteristics(all)) == 0:
		st.say("history.none", "Saw", nameOf(saw))
	}
	st.show()
	if chart != nil && len(st.res.Turn.Replies) > 0 {
		st.res.Turn.Replies[0].Drawing = chart
	}
}

// historyLine says where one characteristic stands and how it moves.
func (st *step) historyLine(c string, records []Record) {
	last := records[len(records)-1]
	args := []any{"What", whatOf(c), "Date", st.date(last.At), "Left", recordValue(&last)}
	found := last
	found.AsLeft = nil
	if last.AsFound != nil {
		args = append(args, "Found", recordValue(&found))
	} else {
		args = append(args, "Found", wording.T("value.none"))
	}
	line, err := course(records)
	if err != nil {
		st.say("history.line", args...)
		return
	}
	args = append(args, "Rate", unitValue(last.Unit, line.B*month))
	h, _ := historyOf(records)
	next, err := h.Next()
	switch {
	case err != nil || next.Reason.Rule != calc.RuleDrift:
		st.say("history.drift", args...)
	case steady(next, h, last.At):
		st.say("history.holds", args...)
	default:
		st.say("history.until", append(args, "Out", st.date(next.Due))...)
	}
}

// unitValue words a signed value in the unit of a record.
func unitValue(unit string, v float64) wording.Text {
	if unit == "rad" {
		return wording.T("value.angle", "Value", wording.Tilt{Value: calc.Angle(v), Decimals: 3, Signed: true})
	}
	return wording.T("value.length", "Value", wording.Size{Value: calc.Length(v), Resolution: 0.001, Signed: true})
}

// series turns readings into one course without the adjustments between: each
// interval's change, from what was left to what was found next, is kept, and
// the jump of an adjustment taken out, so that the last value is what was left
// last. Times are days after the first reading.
func series(records []Record) (days, values []float64) {
	visits := visitsOf(records)
	shift := 0.0
	for i, v := range visits {
		found := v.Found
		if i == 0 {
			found = v.Left
		}
		days = append(days, v.At.Sub(visits[0].At).Hours()/24)
		values = append(values, found.Value+shift)
		shift += found.Value - v.Left.Value
	}
	for i := range values {
		values[i] -= shift
	}
	return days, values
}

// course fits a straight line to the course of a characteristic. It needs
// three visits or more, a day or more apart: the scatter of readings minutes apart
// is no drift.
func course(records []Record) (calc.Line, error) {
	days, values := series(records)
	if len(calc.Apart(visitsOf(records))) < 3 {
		days, values = nil, nil
	}
	return calc.FitLine(days, values)
}
