package dialog_test

import (
	"slices"
	"strings"
	"testing"

	"shimwright/dialog"
)

// measuredAll is a saw on which everything has been measured, and nothing moved.
func measuredAll(t *testing.T, s saw) *rig {
	t.Helper()
	m := newMachine(s.complete())
	r := newRig(m)
	r.setUp(t)
	for _, p := range dialog.Procedures() {
		if len(p.Gives()) > 0 && !(p.Name() == "slider-level" && s.cabinet) && !(p.Name() == "scoring" && !s.scoring) {
			r.run(t, p.Name())
		}
	}
	if list := r.stale(t); len(list) > 0 {
		t.Fatalf("%s: stale from the beginning: %v", s.name, list)
	}
	return r
}

// stale is what menu calls stale, in the menu's words.
func (r *rig) stale(t *testing.T) []string {
	t.Helper()
	r.tell("menu")
	var out []string
	for line := range strings.Lines(r.text()) {
		if what, _, ok := strings.Cut(line, ": stale"); ok {
			out = append(out, what)
		}
	}
	return out
}

// TestStale moves each thing that can be moved, on a saw on which everything is
// fresh, and holds the list of what is stale then against the rules of the
// trade: level → parallel, crosscut, tilt; parallel → crosscut, rip fence (the
// level at the moved supports is checked at once and stays fresh); blade → runout,
// riving knife, scoring; trunnion → tilt, rip fence, riving knife, scoring; moved
// or hit → everything; a tool → what was read with it.
func TestStale(t *testing.T) {
	sliding := saw{name: "Alder", stations: []float64{120, 600, 1080}, near: 120, far: 360, pivot: 300, reach: 1200,
		bevels: []float64{22.5, 45}, mitres: []float64{45}, scoring: true}
	table := saw{name: "Fir", cabinet: true, stations: []float64{110, 570}, pivot: 150, reach: 480, bevels: []float64{45}}
	trunnion := table
	trunnion.trunnion = true
	all := []string{"Runout of the blade", "Runout of the flange", "Riving knife", "Slider level", "Slider toe", "Blade at 90 deg", "Blade at 22.5 deg",
		"Blade at 45 deg", "Crosscut square", "Mitre at 45 deg", "Rip fence toe", "Scoring line", "Rip cut"}
	for name, c := range map[string]struct {
		saw  saw
		move func(*machine) // puts one thing out
		job  string         // and sets it right; or
		say  string         // something is said
		want []string
	}{
		"nothing moved": {sliding, nil, "slider-level", "", nil},
		"level": {sliding, func(m *machine) { m.heights[0] -= 0.15 }, "slider-level", "",
			[]string{"Slider toe", "Blade at 90 deg", "Blade at 22.5 deg", "Blade at 45 deg", "Crosscut square", "Mitre at 45 deg"}},
		"parallel":                {sliding, func(m *machine) { m.setToe(-0.2) }, "slider-parallel", "", []string{"Crosscut square", "Mitre at 45 deg", "Rip fence toe"}},
		"the table's bolts":       {table, func(m *machine) { m.setToe(-0.2) }, "slider-parallel", "", []string{"Crosscut square", "Rip fence toe"}},
		"the trunnion":            {trunnion, func(m *machine) { m.setToe(-0.2) }, "slider-parallel", "", []string{"Riving knife", "Blade at 90 deg", "Blade at 45 deg", "Crosscut square", "Rip fence toe"}},
		"a tilt stop":             {sliding, func(m *machine) { m.stops[90] = 0.003 }, "tilt-stops", "", nil},
		"the crosscut fence":      {sliding, func(m *machine) { m.fence = 0.001 }, "crosscut-fence", "", nil},
		"a mitre position":        {sliding, func(m *machine) { m.mitres[45] = 0.004 }, "mitre-positions", "", nil},
		"the rip fence":           {sliding, func(m *machine) { m.setRip(-0.2) }, "rip-fence", "", nil},
		"the scoring line":        {sliding, func(m *machine) { m.score = [2]float64{0.3, -0.1} }, "scoring", "", nil},
		"the riving knife":        {sliding, func(m *machine) { m.knife = 0.2 }, "riving-knife", "", nil},
		"a new blade":             {sliding, nil, "", "new blade", []string{"Runout of the blade", "Runout of the flange", "Riving knife", "Scoring line"}},
		"changed the blade":       {sliding, nil, "", "I changed the blade", []string{"Runout of the blade", "Runout of the flange", "Riving knife", "Scoring line"}},
		"moved":                   {sliding, nil, "", "moved", all},
		"bumped":                  {sliding, nil, "", "bumped", all},
		"hit":                     {sliding, nil, "", "hit", all},
		"moved, without a slider": {table, nil, "", "moved", []string{"Runout of the blade", "Runout of the flange", "Riving knife", "Mitre slot toe", "Blade at 90 deg", "Blade at 45 deg", "Crosscut square", "Rip fence toe", "Rip cut"}},
	} {
		t.Run(name, func(t *testing.T) {
			r := measuredAll(t, c.saw)
			if c.move != nil {
				c.move(r.m)
			}
			said := ""
			if c.job != "" {
				r.adjusted = map[string]int{}
				r.heard.Reset()
				r.run(t, c.job)
				said = r.heard.String()
				if (c.move != nil) != (r.adjusted[c.job] > 0) {
					t.Fatalf("moved %v:\n%s", r.adjusted, said)
				}
			} else {
				r.tell(c.say)
			}
			got := r.stale(t)
			want := slices.Clone(c.want)
			slices.Sort(got)
			slices.Sort(want)
			if !slices.Equal(got, want) {
				t.Errorf("stale are\n%v, want\n%v", got, want)
			}
			for _, what := range c.want {
				if c.job != "" && !strings.Contains(said, what) {
					t.Errorf("the job does not say that it upset %q:\n%s", what, tail(said, 500))
				}
			}
		})
	}
}

// TestNeeds: a job says once, as it begins, what it rests on and has been upset.
func TestNeeds(t *testing.T) {
	r := measuredAll(t, saws[0])
	if r.tell("parallel"); strings.Contains(r.text(), "rests on") {
		t.Errorf("nothing is stale:\n%s", r.text())
	}
	r.tell("park")
	r.tell("moved")
	if r.tell("crosscut"); !strings.Contains(r.text(), "This rests on what may have moved since it was measured: Slider level and Slider toe.") {
		t.Errorf("after the saw was moved:\n%s", r.text())
	}
}

// TestStaleTool: a square that turns out to be out makes stale what was read with
// it, and nothing else.
func TestStaleTool(t *testing.T) {
	r := measuredAll(t, saws[0])
	for _, line := range []string{"references", "square", "0.25", "ok", "right"} {
		r.tell(line)
	}
	if got := r.stale(t); !slices.Equal(got, []string{"Blade at 90 deg"}) {
		t.Errorf("stale are %v\n%s", got, r.text())
	}
}

// TestLevelAndParallelTwice: each job upsets the other; a full run goes round at
// most twice and then says what remains.
func TestLevelAndParallelTwice(t *testing.T) {
	m := newMachine(saws[0].complete())
	r := newRig(m)
	r.setUp(t)
	runs := map[string]int{}
	r.tell("full run")
	job := ""
	for r.prompt().Kind != dialog.KindIdle {
		p := r.prompt()
		if p.Job != job && (p.Job == "slider-level" || p.Job == "slider-parallel") {
			runs[p.Job]++
			// A saw that never settles: whatever was set before is out again.
			m.heights[0] -= 0.15
			m.setToe(m.toe() - 0.1)
		}
		job = p.Job
		for _, a := range r.result.Turn.Advice {
			r.m.move(t, p, a)
			if p.Job == "slider-parallel" {
				m.heights[len(m.heights)-1] += 0.3
			}
		}
		r.tell(m.answer(t, p))
	}
	if runs["slider-level"] > 2 || runs["slider-parallel"] > 2 || runs["slider-level"] == 0 {
		t.Errorf("level and parallel came up %v times", runs)
	}
	if !strings.Contains(r.told.String(), "Still to be measured: Slider level") && !strings.Contains(r.told.String(), "Left outside its limits") {
		t.Errorf("what remains is not said:\n%s", tail(r.told.String(), 1500))
	}
}

// TestEditedInTheMiddle corrects a saw while a job on it is at its moves: with
// fewer supports the heights are read again, without a slider the job is dropped,
// and a corrected nut keeps what was read.
func TestEditedInTheMiddle(t *testing.T) {
	for name, c := range map[string]struct {
		edit      []string
		want, say string
	}{
		"fewer supports": {[]string{"left", "supports", "2", "1", "120", "110", "1000", "ok"}, "slider.height", "read before the change is read again"},
		"other nuts":     {[]string{"left", "nuts", "M12", "ok", "ok", "ok"}, "slider.moves", ""},
		"no slider":      {[]string{"no slider", "left", "ok"}, "safety.guarded", "no slider"},
	} {
		sh := atMoves(t)
		heard := ""
		for _, text := range append([]string{"edit", "none", "ok"}, c.edit...) {
			heard = said(sh.say(text))
		}
		if sh.result.Turn.Prompt.Name == "safety.unplugged" {
			heard += said(sh.say("unplugged"))
		}
		if p := sh.result.Turn.Prompt; p.Name != c.want || !strings.Contains(heard, c.say) {
			t.Errorf("%s: %s is asked, want %s, and %q said:\n%s", name, p.Name, c.want, c.say, heard)
		}
	}
}

// TestTakenBackIsStale takes a reading back on which a record of the same job rests.
// The record stays as it was written and is stale until another one points at it,
// also where the job is left before.
func TestTakenBackIsStale(t *testing.T) {
	for _, take := range []string{"fix 1", "back"} {
		sh := begin("tilt")
		sh.says("gap", "left", "unplugged", "done", "0.05 top", "150")
		first := sh.last(t, "tilt:90")
		sh.say(take)
		for _, leave := range []string{"", "park", "guarded"} {
			if leave != "" {
				sh.say(leave)
			}
			v := sh.view
			v.History, v.HasHistory = sh.all, true
			if r := dialog.ReportOf(v, &v.Saws[0], sh.now); r.Rows[0].Mark != "stale" {
				t.Errorf("%s, %s: the report calls it %s", take, leave, r.Rows[0].Mark)
			}
		}
		if sh.says("menu"); !strings.Contains(sh.text(), "Blade at 90 deg: stale") {
			t.Errorf("%s: the menu calls it fresh:\n%s", take, sh.text())
		}
		sh.says("resume", "unplugged", map[string]string{"fix 1": "0.10 top", "back": "140"}[take])
		if r := sh.last(t, "tilt:90"); r.Corrects != first.ID || sh.all[0].ID != first.ID || sh.all[0].Corrects != "" {
			t.Errorf("%s: the records are %+v", take, sh.all)
		}
		if sh.says("menu"); strings.Contains(sh.text(), "stale") {
			t.Errorf("%s: corrected, it is stale:\n%s", take, sh.text())
		}
	}
}

// TestKnifeTakenBack: no cut is offered on a riving knife of which a reading was
// taken back after it was found to fit.
func TestKnifeTakenBack(t *testing.T) {
	sh := begin("riving knife")
	sh.says("unplugged", "2.8 mm", "2.2 mm", "3.2 mm", "no", "5 mm", "5 mm", "3 mm below", "0.2 mm", "0.2 mm")
	if r := sh.last(t, "riving-knife"); r.Decision != "within" {
		t.Fatalf("the knife does not fit: %+v", r)
	}
	sh.says("fix 2", "park", "guarded", "proof")
	for range 3 {
		if p := sh.prompt(); p.Kind == dialog.KindConfirm {
			sh.say(p.Acknowledge)
		}
	}
	if p := sh.prompt(); p.Job != "riving-knife" {
		t.Errorf("%+v is asked:\n%s", p, sh.text())
	}
}
