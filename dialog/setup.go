package dialog

import (
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"shimwright/calc"
	"shimwright/dialog/guard"
	"shimwright/dialog/reading"
	"shimwright/dialog/wording"
)

// setup asks for the profile of a saw. The common arrangement is taken with
// one word; whoever has another goes through the parts that differ, now or
// later.
type setup struct{}

func (setup) Name() string        { return "setup" }
func (setup) Gives() []string     { return nil }
func (setup) Needs() []string     { return nil }
func (setup) Minimum(Profile) int { return 0 }

func (setup) Run(t *Script) {
	p := t.profile
	if t.person.Unit == "" || t.has(Key{Name: "setup.units"}) {
		a := question(Key{Name: "setup.units"}, "setup.units")
		a.Choices = choices("mm", "in")
		for i, c := range a.Choices {
			a.Choices[i].Also = "words.unit." + c.Value
		}
		unit := t.Pick(a, wording.Text{})
		t.SetPerson(func(p *Person) { p.Unit = unit })
		if unit == "in" && p.Name == "" {
			p = p.inInches()
		}
	}
	a := question(Key{Name: "setup.name"}, "setup.name")
	a.Choices = []guard.Choice{{Value: "saw", Text: wording.T("setup.name.default")}}
	if p.Name != "" {
		a.Choices = []guard.Choice{{Value: p.Name, Text: wording.Raw(p.Name)}}
	}
	p.Name = t.Words(a)

	setupKind(t, &p)
	for round := 0; ; round++ {
		id, parts := "setup.accept", []string{"asis", "supports", "nuts", "blade", "stops", "fence", "tools", "tolerances"}
		if p.Kind == Cabinet {
			id, parts = "setup.cabinet", []string{"asis", "bolts", "blade", "stops", "gauge", "tools", "tolerances"}
		}
		a = question(Key{Name: "setup.accept", Round: round}, id, p.summary()...)
		a.Choices = choices(parts...)
		for i, part := range parts[1:] {
			a.Choices[i+1].Also = "words.part." + part
		}
		part := t.Pick(a, wording.Text{})
		if part == "asis" {
			break
		}
		setupParts[part](t, round, &p)
	}
	t.SetProfile(p)
}

// setupParts are the parts of a profile that can be gone through.
var setupParts = map[string]func(*Script, int, *Profile){
	"supports": setupSupports, "nuts": setupNuts, "blade": setupBlade, "bolts": setupBolts, "stops": setupStops,
	"fence": setupFence, "gauge": setupGauge, "tools": setupTools, "tolerances": setupTolerances,
}

// setupKind asks for the side of the slider, or for that of the mitre slot on a
// saw without one. A saw that turns out to be of the other kind begins with
// what is common for it.
func setupKind(t *Script, p *Profile) {
	a := question(Key{Name: "setup.hand"}, "setup.hand")
	a.Choices = order(p.Hand == calc.Right, "left", "right", "none")
	if p.Kind == Cabinet {
		a.Choices = choices("none", "left", "right")
	}
	side, was := t.Pick(a, wording.Text{}), p.Kind
	if side == "none" {
		*p = p.asCabinet()
		side = t.pickOf("setup.slot", 0, order(p.Hand == calc.Right, "left", "right"))
	} else {
		*p = p.asSliding()
	}
	if p.Kind != was && slices.Equal(p.Leaves, inchLeaves()) {
		*p = p.wholeInches()
	}
	p.Hand = calc.Left
	if side == "right" {
		p.Hand = calc.Right
	}
}

// has reports whether a question was answered in this job.
func (t *Script) has(k Key) bool {
	for i := range t.job.Answers {
		if t.job.Answers[i].Key == k {
			return true
		}
	}
	return false
}

// hasFrom reports whether the question, or one of a higher index in its round,
// was answered.
func (t *Script) hasFrom(k Key) bool {
	for i := range t.job.Answers {
		if a := &t.job.Answers[i].Key; a.Name == k.Name && a.Round == k.Round && a.Index >= k.Index {
			return true
		}
	}
	return false
}

// order offers the values, with second first when it is the present one.
func order(second bool, values ...string) []guard.Choice {
	if second {
		values[0], values[1] = values[1], values[0]
	}
	return choices(values...)
}

// summary says in one sentence what is taken for granted.
func (p Profile) summary() []any {
	way := "way.ccw"
	if !p.RaiseCCW {
		way = "way.cw"
	}
	bolts := "setup.bolts.table"
	if p.Trunnion {
		bolts = "setup.bolts.trunnion"
	}
	return []any{"Bolts", wording.T(bolts), "Stations", len(p.Stations), "Each", wording.T("setup.supports." + itoa(len(p.Stations[0].Ys))),
		"Length", wording.Size{Value: p.Stations[len(p.Stations)-1].X - p.Stations[0].X, Coarse: true},
		"Thread", wording.Raw(p.Thread), "Way", wording.T(way),
		"Blade", wording.Size{Value: p.Blade, Coarse: true},
		"Indicator", wording.Size{Value: p.tool(Indicator).Resolution, Resolution: p.tool(Indicator).Resolution}}
}

// number asks for a dimension or a count whose default is taken with `ok`.
func (t *Script) number(name string, round, index int, def calc.Length, e guard.Ask, args ...any) calc.Length {
	e.Key = Key{Name: name, Round: round, Index: index}
	d := float64(def)
	e.Default, e.Hard = &d, true
	shown := any(wording.Size{Value: def, Coarse: true})
	switch {
	case e.Quantity == "count":
		shown = int(def)
	case e.Expect.Max <= 2:
		e.Expect.Resolution = settingStep
		shown = wording.Size{Value: def, Resolution: def}
	}
	e.Text = wording.T(name+".ask", append(args, "Default", shown)...)
	e.Why = wording.T("setup.why")
	if v := t.Read(e, wording.Text{}); !v.Skipped {
		return v.Length()
	}
	return def
}

// settingStep is how fine a tolerance or a tool's resolution may be given, mm.
const settingStep = 0.0001

func dimension(min, max calc.Length) guard.Ask {
	a := guard.Ask{Expect: dims(min, max), Quantity: "length"}
	if max > 2 {
		a.Tool = Ruler // not the resolution of another tool, nor a tolerance
	}
	return a
}

func count(min, max int) guard.Ask { return guard.Ask{Expect: counts(min, max), Quantity: "count"} }

// pickOf asks for one of a few values in set-up.
func (t *Script) pickOf(name string, round int, choices []guard.Choice) string {
	a := guard.Ask{Key: Key{Name: name, Round: round}, Text: wording.T(name + ".ask"), Why: wording.T("setup.why"), Choices: choices}
	return t.Pick(a, wording.Text{})
}

func setupSupports(t *Script, r int, p *Profile) {
	old := p.Stations
	n := int(t.number("setup.stations", r, 0, calc.Length(len(old)), count(calc.MinStations, calc.MaxStations)))
	each := int(t.number("setup.each", r, 0, calc.Length(len(old[0].Ys)), count(1, 2)))
	near := t.number("setup.near", r, 0, old[0].Ys[0], dimension(20, 2000))
	far := near + 240
	if len(old[0].Ys) > 1 {
		far = max(old[0].Ys[1], near+60)
	}
	if each == 2 {
		far = t.number("setup.far", r, 0, far, dimension(near+20, 3000))
	}
	last := max(old[len(old)-1].X, old[0].X+calc.Length(n-1)*100)
	p.Stations = make([]Station, n)
	for i := range p.Stations {
		def := old[0].X + (last-old[0].X)*calc.Length(i)/calc.Length(n-1)
		least := calc.Length(-500)
		if i > 0 {
			least = p.Stations[i-1].X + 50
			def = max(def, least)
		}
		p.Stations[i].X = t.number("setup.station", r, i, def, dimension(least, 6000), "Station", i+1)
		p.Stations[i].Ys = []calc.Length{near}
		if each == 2 {
			p.Stations[i].Ys = append(p.Stations[i].Ys, far)
		}
	}
}

func setupNuts(t *Script, r int, p *Profile) {
	a := question(Key{Name: "setup.thread", Round: r}, "setup.thread", "Default", wording.Raw(p.Thread))
	a.Choices = []guard.Choice{{Value: p.Thread, Text: wording.Raw(p.Thread)}}
	t.wordsThat(a, wording.T("setup.thread.bad"), func(text string) bool {
		th, err := calc.ThreadByName(text)
		if err == nil {
			p.Thread = th.Name
		}
		return err == nil
	})
	p.RaiseCCW = t.pickOf("setup.raises", r, order(!p.RaiseCCW, "ccw", "cw")) == "ccw"
	p.Spanner = t.number("setup.spanner", r, 0, p.Spanner, dimension(50, 1000))
}

// setupBolts asks what sets the blade along the mitre slot, and where its bolts
// are.
func setupBolts(t *Script, r int, p *Profile) {
	p.Trunnion = t.pickOf("setup.bolts", r, order(p.Trunnion, "table", "trunnion")) == "trunnion"
	front, rear := p.Stations[0].X, p.Stations[len(p.Stations)-1].X
	front = t.number("setup.boltfront", r, 0, front, dimension(-500, 3000))
	rear = t.number("setup.boltrear", r, 0, max(rear, front+100), dimension(front+50, 4000))
	p.Stations = []Station{{X: front, Ys: p.Stations[0].Ys[:1]}, {X: rear, Ys: p.Stations[0].Ys[:1]}}
}

func setupBlade(t *Script, r int, p *Profile) {
	p.Blade = t.number("setup.blade", r, 0, p.Blade, dimension(100, 1000))
	p.TiltLeft = t.pickOf("setup.tilt", r, order(!p.TiltLeft, "left", "right")) == "left"
	if p.Kind != Cabinet {
		p.Scoring = t.pickOf("setup.scoring", r, order(p.Scoring, "no", "yes")) == "yes"
	}
}

func setupStops(t *Script, r int, p *Profile) {
	p.Stops = t.degrees("setup.stops", r, p.Stops, stopLeast, stopMost)
}

// Bevel stops and mitre positions that can be asked for, in degrees.
const (
	stopLeast = 5
	stopMost  = 75
	stopsMost = 6
)

// degrees asks for a list of angles: "45", "22.5 and 45", "none".
func (t *Script) degrees(name string, round int, now []float64, least, most float64) []float64 {
	none := wording.T("choice.nothing")
	shown := none
	if len(now) > 0 {
		var list wording.List
		for _, v := range now {
			list = append(list, stopText(v))
		}
		shown = wording.T("setup.degrees", "List", list)
	}
	a := question(Key{Name: name, Round: round}, name, "Default", shown)
	a.Choices = []guard.Choice{{Value: "now", Text: shown}}
	var out []float64
	t.wordsThat(a, wording.T("setup.degrees.bad", "Least", int(least), "Most", int(most)), func(text string) (ok bool) {
		out, ok = angles(text, least, most)
		return ok || t.says("words.none", text)
	})
	return out
}

// wordsThat asks for a text until one fits. Only the last refusal is said: those
// before it were said when they were given.
func (t *Script) wordsThat(a guard.Ask, bad wording.Text, fits func(text string) bool) {
	for !fits(t.Words(a)) {
		a.Key.Index++
		if !t.has(a.Key) {
			t.Say(bad.ID, bad.Args...)
		}
	}
}

// says reports whether a text is one of the alternatives of a catalogue entry.
func (t *Script) says(id, text string) bool {
	return wording.NewVoice(t.person.Lang, reading.MM).Is(id, strings.Trim(text, " .")) >= 0
}

// halves finds half degrees that are written with a comma.
var halves = regexp.MustCompile(`(\d),5\b`)

// angles reads a list of angles in degrees, in any order and each once.
func angles(text string, least, most float64) ([]float64, bool) {
	var out []float64
	for _, f := range strings.FieldsFunc(halves.ReplaceAllString(text, "$1.5"), func(r rune) bool { return !unicode.IsDigit(r) && r != '.' }) {
		v, err := strconv.ParseFloat(strings.Trim(f, "."), 64)
		if err != nil || v < least || v > most {
			return nil, false
		}
		if !slices.Contains(out, v) {
			out = append(out, v)
		}
	}
	slices.Sort(out)
	return out, len(out) > 0 && len(out) <= stopsMost
}

func setupFence(t *Script, r int, p *Profile) {
	p.FenceRear = t.pickOf("setup.fenceplace", r, order(p.FenceRear, "front", "rear")) == "rear"
	setupLever(t, r, p, "setup.pivot", "setup.reach")
	now := wording.Raw(p.FenceThread)
	if p.FenceThread == "" {
		now = wording.T("choice.nothing")
	}
	a := question(Key{Name: "setup.fencescrew", Round: r}, "setup.fencescrew", "Default", now)
	a.Choices = []guard.Choice{{Value: "now", Text: now}}
	t.wordsThat(a, wording.T("setup.thread.bad"), func(text string) bool {
		th, err := calc.ThreadByName(text)
		if err == nil {
			p.FenceThread = th.Name
		} else if t.says("words.none", text) {
			p.FenceThread, err = "", nil
		}
		return err == nil
	})
}

// setupGauge asks for what a mitre gauge has of a crosscut fence.
func setupGauge(t *Script, r int, p *Profile) {
	setupLever(t, r, p, "setup.gaugepivot", "setup.gaugeend")
}

// setupLever asks where a fence turns and where it is moved.
func setupLever(t *Script, r int, p *Profile, pivot, reach string) {
	p.FencePivot = t.number(pivot, r, 0, p.FencePivot, dimension(0, 4000))
	for i := 0; ; i++ {
		at := t.number(reach, r, i, p.FenceReach, dimension(0, 4000))
		if (at - p.FencePivot).Abs() >= fenceLever {
			p.FenceReach = at
			return
		}
		if !t.has(Key{Name: reach, Round: r, Index: i + 1}) {
			t.Say("setup.reach.bad", "Least", sized(fenceLever))
		}
	}
}

// fenceLever is the least distance between a fence's pivot and its adjuster: two
// inches.
const fenceLever = 2 * calc.Inch

func setupTools(t *Script, r int, p *Profile) {
	kept := func(kind string, res calc.Length) Tool { return Tool{Kind: kind, Resolution: res} }
	res := t.number("setup.indicator", r, 0, p.tool(Indicator).Resolution, dimension(0.0005, 0.1))
	cal := t.number("setup.caliper", r, 0, p.tool(Caliper).Resolution, dimension(0.001, 0.1))
	square := t.number("setup.square", r, 0, p.tool(Square).Length, dimension(50, 1000))
	p.Tools = []Tool{kept(Indicator, res), kept(Caliper, cal), {Kind: Square, Length: square}, p.tool(Feelers), p.tool(Level), p.tool(Ruler)}
	a := question(Key{Name: "setup.leaves", Round: r}, "setup.leaves")
	a.Choices = choices("leaves13", "leaves20", "leaves8", "leavesinch")
	switch t.Pick(a, wording.Text{}) {
	case "leaves13":
		p.Leaves = must(calc.FeelerSet(13))
	case "leaves20":
		p.Leaves = must(calc.FeelerSet(20))
	case "leaves8":
		p.Leaves = must(calc.FeelerSet(8))
	case "leavesinch":
		p.Leaves = inchLeaves()
	}
}

// inInches is the default for people who work in inches: their tools, and a
// blade of twelve inches (practice, no published source).
func (p Profile) inInches() Profile {
	p.Blade = 12 * calc.Inch
	p.Tools = []Tool{{Kind: Indicator, Resolution: calc.Thou / 2}, {Kind: Feelers, Resolution: calc.Thou},
		{Kind: Caliper, Resolution: calc.Thou}, {Kind: Square, Length: 6 * calc.Inch}, {Kind: Ruler, Resolution: calc.Inch / 64}}
	p.Leaves = inchLeaves()
	return p.wholeInches()
}

// wholeInches rounds the common distances to inches, for people who would measure
// them so.
func (p Profile) wholeInches() Profile {
	whole := func(l calc.Length) calc.Length { return calc.Length(math.Round(l.Inches())) * calc.Inch }
	p.Stations = slices.Clone(p.Stations)
	for i, s := range p.Stations {
		ys := make([]calc.Length, len(s.Ys))
		for j, y := range s.Ys {
			ys[j] = whole(y)
		}
		p.Stations[i] = Station{X: whole(s.X), Ys: ys}
	}
	p.Spanner, p.FencePivot, p.FenceReach = whole(p.Spanner), whole(p.FencePivot), whole(p.FenceReach)
	return p
}

// inchLeaves is a common inch set (practice, no published source).
func inchLeaves() []calc.Length {
	var out []calc.Length
	for _, n := range []calc.Length{1.5, 2, 3, 4, 5, 6, 7, 8, 9, 10, 12, 15, 18, 20, 25} {
		out = append(out, n*calc.Thou)
	}
	return out
}

func setupTolerances(t *Script, r int, p *Profile) {
	if p.Kind != Cabinet {
		p.Tol.LevelHigh = t.number("setup.tol.level", r, 0, p.Tol.LevelHigh, dimension(0.02, 0.5))
	}
	p.Tol.ToeHigh = t.number("setup.tol.toe", r, 0, p.Tol.ToeHigh, dimension(0.01, 0.3))
	p.Tol.Crosscut = t.number("setup.tol.crosscut", r, 0, p.Tol.Crosscut, dimension(0.01, 0.5))
	p.Tol.RipHigh = t.number("setup.tol.rip", r, 0, p.Tol.RipHigh, dimension(0.01, 0.3))
}
