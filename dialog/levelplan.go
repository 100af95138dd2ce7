package dialog

import (
	"slices"

	"shimwright/calc"
	"shimwright/dialog/guard"
	"shimwright/dialog/wording"
)

// One pass over the nuts: planned, told and taken.

// adjust plans one pass over the nuts and takes what became of it. It returns
// false when no move would help.
func (l *levelling) adjust(round int, h heights) bool {
	l.free(round, h)
	if l.open(round) {
		if _, ok := l.plan(h); !ok {
			return false
		}
	}
	made := l.t.Adjust(Key{Name: "slider.moves", Round: round}, wording.T("caution.nuts"), func() guard.Adjustment {
		a, _ := l.plan(h)
		return a
	})
	pass := calc.Pass{Turns: make([]float64, len(l.supports)), Before: h.value, Missing: slices.Clone(h.missing)}
	for _, m := range made {
		pass.Turns[m.Index] = turnsOf(m)
	}
	l.passes = append(l.passes, pass)
	return true
}

// free asks for a nut to be freed whose height no other nut can bring in. From
// then on its answer is learned anew.
func (l *levelling) free(round int, h heights) {
	k := Key{Name: "slider.freed", Round: round}
	if !l.t.has(k) {
		if !l.open(round) {
			return
		}
		plan, err := l.planned(h)
		if err != nil || plan.Done {
			return
		}
		l.next = &plan
		_, findings := l.learned(l.typicalU(h))
		var list wording.List
		for _, i := range plan.Blocked {
			if slices.ContainsFunc(findings, func(f calc.Finding) bool { return f.Kind == calc.Stuck && f.Support == i }) {
				list = append(list, l.supports[i].label())
			}
		}
		if len(list) == 0 {
			return
		}
		l.t.Confirm(question(k, "level.freed", "Part", list), wording.T("caution.nuts"))
	}
	l.t.Confirm(question(k, "level.freed"), wording.T("caution.nuts"))
	l.passes, l.next = nil, nil
}

// planned returns the next pass from all that was read and learned: a support
// whose nut was left alone has been read several times.
func (l *levelling) planned(h heights) (calc.Plan, error) {
	u := l.typicalU(h)
	model, findings := l.learned(u)
	o := calc.DefaultPlanOptions()
	o.Low, o.High, o.U = l.p.Tol.LevelLow, l.p.Tol.LevelHigh, calc.Length(u)
	if len(l.passes) > 0 {
		if best, err := model.Heights(l.passes, findings, calc.Length(u), l.tool.Resolution/2); err == nil {
			all, us, never := make([]calc.Length, len(best)), make([]calc.Length, len(best)), l.never(h)
			for i, e := range best {
				all[i], us[i] = calc.Length(e.Value), calc.Length(e.U)
				if never[i] {
					us[i] = o.U
				}
			}
			from := o
			from.Us = us
			if plan, err := model.Plan(all, never, from); err == nil && !plan.Done {
				return plan, nil
			}
		}
	}
	return model.Plan(h.value, h.missing, o)
}

// never says of each support whether it was never read.
func (l *levelling) never(h heights) []bool {
	out := slices.Clone(h.missing)
	for _, p := range l.passes {
		for i := range out {
			out[i] = out[i] && p.Missing[i] && p.Unread[i]
		}
	}
	return out
}

// plan words the next pass.
func (l *levelling) plan(h heights) (guard.Adjustment, bool) {
	if l.next == nil {
		plan, err := l.planned(h)
		if err != nil || plan.Done {
			return guard.Adjustment{}, false
		}
		l.next = &plan
	}
	plan := *l.next
	a := guard.Adjustment{Text: wording.T("level.moves", "Passes", plan.Passes), Why: wording.T("level.moves.why"),
		After: wording.T("level.after")}
	sketch := &guard.Sketch{Kind: "slider", Title: wording.T("level.sketch.title")}
	var alt wording.List
	for i := range l.supports {
		s := &l.supports[i]
		pt := guard.SketchPoint{Label: wording.Raw(itoa(i + 1)), X: s.at[0], Y: s.at[1], Reading: wording.T("draw.missing")}
		if !h.missing[i] {
			pt.Reading = wording.T("size", "Value", wording.Size{Value: h.value[i], Resolution: l.tool.Resolution, Signed: true})
			pt.Sign = sideOf(float64(h.value[i]), l.window)
		}
		if turns := plan.Turns[i]; turns != 0 {
			m := l.move(i, turns, plan.Watch[i])
			a.Moves = append(a.Moves, m)
			pt.Move = wording.T("draw."+m.Verb, "Turn", wording.Raw(turnOf(turns)))
			pt.Dir, pt.Turns, pt.Clock = sign(turns), turns, clock(m.Clockwise)
			alt = append(alt, wording.T("level.sketch.part", "Part", s.label(), "Move", pt.Move))
		}
		sketch.Points = append(sketch.Points, pt)
	}
	sketch.Alt = wording.T("level.sketch.alt", "List", alt)
	a.Drawing = sketch
	return a, len(a.Moves) > 0
}

// move is one nut's part of a pass; change is what its indicator shows.
func (l *levelling) move(i int, turns float64, change calc.Length) guard.Move {
	s := &l.supports[i]
	th := calc.Thread{Pitch: s.Pitch}
	verb := "raise"
	if turns < 0 {
		verb = "lower"
	}
	turn := th.Turns(calc.Length(turns)*s.Pitch, 64)
	return guard.Move{Part: s.label(), At: &s.at, Verb: verb, Turns: turns, Clockwise: (turns > 0) != l.p.RaiseCCW,
		Travel: change, Index: i, Swing: turn.Swing(l.p.Spanner), Thread: l.p.Thread}
}

func sideOf(v float64, w calc.Window) int {
	switch {
	case v < w.Low:
		return -1
	case v > w.High:
		return 1
	}
	return 0
}

func sign(v float64) int {
	if v < 0 {
		return -1
	}
	return 1
}

func clock(clockwise bool) int {
	if clockwise {
		return 1
	}
	return -1
}
