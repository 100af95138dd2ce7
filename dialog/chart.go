package dialog

import (
	"time"

	"shimwright/calc"
	"shimwright/dialog/wording"
)

// chartSteps is how many points the drawn line and its band have.
const chartSteps = 24

// ChartOf returns the chart of one characteristic from its records, oldest
// first: what was found and left with uncertainty, the tolerance, the fitted
// line with the 95 % prediction band of one further visit, and the next date
// (zero: none). The report page and the chat draw the same chart.
func ChartOf(records []Record, next time.Time) *DrawChart {
	c := &DrawChart{Next: next}
	for _, r := range records {
		if r.AsLeft == nil {
			continue
		}
		c.Unit, c.Low, c.High = r.Unit, r.Low, r.High
		c.Points = append(c.Points, ChartPoint{At: r.At, Found: r.AsFound, Left: r.AsLeft, Adjusted: r.Adjusted})
	}
	if len(c.Points) == 0 {
		return nil
	}
	line, err := course(records)
	if err != nil {
		return c
	}
	first := c.Points[0].At
	c.Line = &ChartLine{From: first, A: line.A, B: line.B, SA: line.SA, SB: line.SB, S: line.S, DoF: line.DoF}
	last := c.Points[len(c.Points)-1].At
	if next.After(last) {
		last = next
	}
	span := last.Sub(first)
	for i := range chartSteps + 1 {
		at := first.Add(span * time.Duration(i) / chartSteps)
		if e, err := line.Predict(at.Sub(first).Hours() / 24); err == nil {
			c.Band = append(c.Band, ChartBand{At: at, Value: e.Value, Low: e.Value - e.U, High: e.Value + e.U})
		}
	}
	return c
}

// chart is the drawing of a characteristic's course, worded for the person.
func (st *step) chart(saw *Saw, characteristic string, records []Record, next calc.Next) *Drawing {
	c := ChartOf(records, next.Due)
	if c == nil {
		return nil
	}
	what := whatOf(characteristic)
	say := func(t wording.Text) string { return st.voice.Say(t) }
	title := wording.T("chart.title", "What", what, "Saw", nameOf(saw))
	c.Words = ChartWords{Found: say(wording.T("chart.found")), Left: say(wording.T("chart.left")), Tolerance: say(wording.T("chart.tolerance")),
		Line: say(wording.T("chart.line")), Next: say(wording.T("chart.next")), Unit: st.unitName(), Point: say(wording.T("chart.point"))}
	if c.Unit == "rad" {
		c.Words.Unit = "deg"
	}
	last := records[len(records)-1]
	alt := wording.T("chart.alt", "What", what, "Value", recordValue(&last), "Date", st.date(last.At), "Next", st.date(next.Due))
	return &Drawing{Kind: "chart", Title: sentences(say(title)), Alt: sentences(say(alt)), Chart: c}
}
