package dialog

import (
	"crypto/sha256"
	"encoding/hex"
	"math"
	"slices"
	"strings"
	"time"

	"shimwright/calc"
	"shimwright/dialog/wording"
)

// A report is a page that shows one saw's records to whoever has its link. The
// link is made and revoked in the conversation.

// Report is what the page says, worded for whoever made the link.
type Report struct {
	Lang    string
	Title   string // the saw
	Made    string // as of which day
	Glance  string // how many of the characteristics are inside their tolerance
	Next    string // the next check and its reason; "" without records
	Warning string // the saw was left open; "" when it is whole
	Heads   ReportHeads
	Rows    []ReportRow
	Facts   []ReportFact
	Charts  []Drawing // at most maxCharts, the most urgent first
	Foot    string    // what ± means
	Remarks []string
	Safety  []string
}

// ReportHeads are the headings of the page.
type ReportHeads struct {
	Rows, What, State, Found, Left, Tolerance, Date, By, With string
	Charts, Facts, Remarks, Safety                            string
}

// ReportRow is one characteristic as its last record has it.
type ReportRow struct {
	What, Found, Left, Tolerance, Date, By, With string
	State                                        string // in words
	Mark                                         string // within, outside, undecided, open, stale, due or checked
}

// ReportFact is something about the saw.
type ReportFact struct{ Name, Value string }

// maxCharts is how many charts fit on the second of two printed pages.
const maxCharts = 6

// tokenSize is how many characters of View.Token make a report's token: 28 of
// an alphabet of thirty are 137 bits.
const tokenSize = 28

// ReportHash is what the address of a report's token is made of: the directory
// never holds the token itself.
func ReportHash(token string) string {
	sum := sha256.Sum256([]byte("report:" + token))
	return hex.EncodeToString(sum[:])
}

// report gives the link to a saw's report page, or ends it.
func (st *step) report(open bool, name string) {
	saw := st.focus()
	if name != "" {
		saw = st.named(name)
	}
	switch {
	case saw == nil:
		st.sawList()
		return
	case st.person.Role == Measure:
		st.say("role.setup")
	case !open && saw.Report == "":
		st.say("report.none", "Saw", nameOf(saw))
	case !open:
		st.res.ReportEnd = ReportHash(saw.Report)
		st.touch(saw).Report = ""
		st.reportEvent(saw, "end")
		st.say("report.ended", "Saw", nameOf(saw))
	case saw.Report == "" && len(st.v.Token) < tokenSize:
		st.say("invite.later")
	default:
		if saw.Report == "" {
			st.touch(saw).Report = strings.ToLower(st.v.Token[:tokenSize])
			st.reportEvent(saw, "begin")
		}
		// Said again, so that a lost write of the directory is made good.
		st.res.Report = ReportHash(saw.Report)
		st.say("report.link", "Saw", nameOf(saw), "Link", wording.Raw(st.v.Base+ReportPath+saw.Report))
	}
	st.show()
}

// ReportPath is the path of report pages, before their token.
const ReportPath = "/report/"

func (st *step) reportEvent(saw *Saw, what string) {
	saw.Events = append(slices.Clone(saw.Events), Event{Kind: "report", What: what, Person: st.person.ID, At: st.now})
}

// ReportOf returns the report of a saw of the view, whose History holds its
// records, in the words, unit and time zone of whoever made its link.
func ReportOf(v View, saw *Saw, now time.Time) Report {
	st := &step{v: v, now: now}
	st.v.HasHistory = true
	st.speakReport(saw)
	records := st.records(saw.ID, "")
	st.v.Last = newestOf(records)
	r := Report{Lang: string(st.voice.Lang()), Title: saw.Profile.Name, Heads: st.reportHeads(), Facts: st.facts(saw),
		Made: st.sentence("report.made", "Date", st.date(now)), Foot: st.sentence("report.foot")}
	if next, ok := nextOf(saw, records); ok {
		id := "history.next"
		if !next.Due.After(now) {
			id = "report.overdue"
		}
		r.Next = st.sentence(id, "Date", st.date(next.Due), "Reason", reason(next))
	}
	if saw.Power.Open() {
		r.Warning = st.sentence("report.open")
	}
	inside := 0
	for _, last := range st.inOrder(saw) {
		row := st.reportRow(saw, last)
		r.Rows = append(r.Rows, row)
		if row.Mark == "within" || row.Mark == "open" || row.Mark == "checked" {
			inside++
		}
		if last.Remarks != "" {
			r.Remarks = append(r.Remarks, st.sentence("report.remark", "What", whatOf(last.Characteristic), "Remark", wording.Raw(last.Remarks)))
		}
	}
	r.Glance = st.sentence("report.glance", "Inside", inside, "Count", len(r.Rows))
	if len(r.Rows) == 0 {
		r.Glance = st.sentence("history.none", "Saw", nameOf(saw))
	}
	r.Charts = st.reportCharts(saw, records)
	for _, id := range [...]string{"unplug", "blade", "cut", "stale", "manual"} {
		r.Safety = append(r.Safety, st.sentence("report.safety."+id))
	}
	return r
}

// speakReport speaks as to whoever made the report's link, or an owner.
func (st *step) speakReport(saw *Saw) {
	who := ""
	for _, p := range st.v.People.Persons {
		if who == "" && p.Role == Owner && !p.Removed {
			who = p.ID
		}
	}
	for _, e := range saw.Events {
		if p := st.v.People.find(e.Person); e.Kind == "report" && e.What == "begin" && p != nil && !p.Removed {
			who = e.Person
		}
	}
	st.speak(who)
}

// sentence words a text that stands by itself.
func (st *step) sentence(id string, args ...any) string {
	return sentences(st.voice.Say(wording.T(id, args...)))
}

func (st *step) reportHeads() ReportHeads {
	h := func(id string) string { return st.sentence("report.head." + id) }
	return ReportHeads{Rows: h("rows"), What: h("what"), State: h("state"), Found: h("found"), Left: h("left"), Tolerance: h("tolerance"),
		Date: h("date"), By: h("by"), With: h("with"), Charts: h("charts"), Facts: h("facts"), Remarks: h("remarks"), Safety: h("safety")}
}

// newestOf returns the newest record of each saw and characteristic.
func newestOf(records []Record) []Record {
	var out []Record
	for _, r := range slices.Backward(records) {
		if !slices.ContainsFunc(out, func(o Record) bool { return o.Saw == r.Saw && o.Characteristic == r.Characteristic }) {
			out = append(out, r)
		}
	}
	return out
}

// inOrder returns the newest records of a saw in the order of a full run; those
// of the measuring tools are left out.
func (st *step) inOrder(saw *Saw) []Record {
	var out []Record
	take := func(c string) {
		for _, r := range st.v.Last {
			if r.Saw == saw.ID && r.Characteristic == c && !strings.HasPrefix(c, toolPrefix) &&
				!slices.ContainsFunc(out, func(o Record) bool { return o.Characteristic == c }) {
				out = append(out, r)
			}
		}
	}
	for _, p := range procedures {
		for _, c := range p.Gives() {
			take(c)
		}
	}
	rest := slices.Clone(st.v.Last)
	slices.SortFunc(rest, func(a, b Record) int { return strings.Compare(a.Characteristic, b.Characteristic) })
	for _, r := range rest {
		take(r.Characteristic)
	}
	return out
}

func (st *step) reportRow(saw *Saw, last Record) ReportRow {
	row := ReportRow{What: sentences(st.voice.Say(whatOf(last.Characteristic))), Found: st.measuredWords(&last, last.AsFound), Left: st.measuredWords(&last, last.AsLeft),
		Tolerance: st.toleranceWords(&last), Date: st.voice.Say(st.date(last.At)), By: st.v.People.name(last.Person), Mark: last.Decision}
	s := standingOf(&st.v, saw, last.Characteristic, st.now)
	if h, ok := historyOf(st.records(saw.ID, last.Characteristic)); ok && s.State == Fresh {
		if next, err := h.Next(); err == nil && !next.Due.After(st.now) {
			s.State = DueNow
		}
	}
	switch {
	case s.State == StaleNow || s.State == DueNow:
		row.Mark = s.State.String()
	case row.Mark != "within" && row.Mark != "outside" && row.Mark != "undecided" && row.Mark != "open":
		row.Mark = "checked"
	}
	row.State = st.sentence("report.state." + row.Mark)
	row.With = st.toolWords(last.Tool)
	return row
}

// toolWords names a measuring tool; one that came from elsewhere is named as it
// was written down.
func (st *step) toolWords(kind string) string {
	switch kind {
	case Indicator, Feelers:
		return st.sentence("tool." + kind)
	case Caliper, Square, Level:
		return st.sentence("choice." + kind)
	}
	return kind
}

// measuredWords words a value with its uncertainty, "" for none.
func (st *step) measuredWords(r *Record, m *Measured) string {
	if m == nil {
		return ""
	}
	if r.Unit == "rad" {
		return st.sentence("report.value", "Value", wording.Tilt{Value: calc.Angle(m.Value), Decimals: 3, Signed: true},
			"U", wording.Tilt{Value: calc.Angle(m.Uncertainty), Decimals: 3})
	}
	return st.sentence("report.value", "Value", wording.Size{Value: calc.Length(m.Value), Resolution: 0.001, Signed: true},
		"U", wording.Size{Value: calc.Length(m.Uncertainty), Resolution: 0.001})
}

// toleranceWords words the tolerance of a record, "" for none.
func (st *step) toleranceWords(r *Record) string {
	limit := func(v float64) any {
		if r.Unit == "rad" {
			return wording.Tilt{Value: calc.Angle(v), Decimals: 2}
		}
		if math.Abs(v*100-math.Round(v*100)) > 1e-6 {
			return wording.Size{Value: calc.Length(v), Resolution: 0.001}
		}
		return wording.Size{Value: calc.Length(v)}
	}
	switch {
	case r.Low != nil && r.High != nil:
		return st.sentence("report.between", "Span", wording.Span{Low: limit(*r.Low), High: limit(*r.High)})
	case r.High != nil:
		return st.sentence("report.atmost", "High", limit(*r.High))
	case r.Low != nil:
		return st.sentence("report.atleast", "Low", limit(*r.Low))
	}
	return ""
}

// reportCharts draws the characteristics that were measured more than once,
// the one that is due first at the front.
func (st *step) reportCharts(saw *Saw, records []Record) []Drawing {
	type dated struct {
		next calc.Next
		d    *Drawing
	}
	var list []dated
	for _, c := range characteristics(records) {
		of := st.records(saw.ID, c)
		h, ok := historyOf(of)
		if !ok || len(h.Visits) < 2 {
			continue
		}
		next, err := h.Next()
		if err != nil {
			continue
		}
		d := st.chart(saw, c, of, next)
		d.Title = sentences(st.voice.Say(whatOf(c)))
		list = append(list, dated{next, d})
	}
	slices.SortStableFunc(list, func(a, b dated) int { return a.next.Due.Compare(b.next.Due) })
	var out []Drawing
	for _, l := range list[:min(len(list), maxCharts)] {
		out = append(out, *l.d)
	}
	return out
}

// facts are what is known of the saw.
func (st *step) facts(saw *Saw) []ReportFact {
	p := saw.Profile
	var out []ReportFact
	fact := func(id string, value wording.Text) {
		if v := st.voice.Say(value); v != "" {
			out = append(out, ReportFact{st.sentence("report.fact." + id), v})
		}
	}
	if p.Kind != Cabinet {
		fact("hand", wording.T(map[calc.Hand]string{calc.Left: "choice.left", calc.Right: "choice.right"}[p.Hand]))
		fact("thread", wording.Raw(p.Thread))
	}
	fact("diameter", wording.T("size", "Value", wording.Size{Value: p.Blade, Coarse: true}))
	fact("blade", wording.Raw(p.BladeName))
	if n := saw.interval(); n > 0 {
		fact("interval", wording.T("report.months", "Count", n))
	}
	return out
}

// LabelWords are the words on a saw's label: what its code does, and the
// caution.
func LabelWords(lang string) (scan, caution string) {
	voice := wording.NewVoice(lang, 0)
	return voice.Say(wording.T("label.scan")), voice.Say(wording.T("label.caution"))
}
