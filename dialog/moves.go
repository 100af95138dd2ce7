package dialog

import (
	"strconv"
	"strings"

	"shimwright/dialog/guard"
	"shimwright/dialog/reading"
	"shimwright/dialog/wording"
)

// What became of the moves of an adjustment. It is outstanding, as told, until that
// is said of each of them.

// restToken stands for the parts that are not named: "the rest".
const restToken = "rest"

// toldName is the question what became of moves that the job no longer comes to, or
// that are to be known before their job goes on.
const toldName = "told"

// openMoves returns the moves of which it is not yet said what became of them; where
// a channel carries one nut a message, the one that was told.
func (st *step) openMoves(told *Told) []guard.Move {
	open := told.Moves[len(told.Made):]
	if st.v.Limits.OneMove && len(open) > 1 {
		open = open[:1]
	}
	return open
}

// becameOf asks what became of the moves that are still open. It brings no hand to
// the saw: it tells none of them again.
func (st *step) becameOf(told *Told) guard.Prompt {
	open := st.openMoves(told)
	moves := wording.T("told.move", "Part", wording.Raw(open[0].Label))
	if len(open) > 1 {
		var list wording.List
		for _, m := range open {
			list = append(list, wording.Raw(itoa(m.Index+1)))
		}
		moves = wording.T("told.moves", "List", list)
	}
	a := question(Key{Name: toldName}, "told", "Moves", moves, "Number", open[len(open)-1].Index+1)
	a.Form, a.NoSkip = guard.Pick, true
	a.Choices = append(choices("done"), guard.Choice{Value: "untouched", Text: wording.T("choice.untouched"), Also: "words.none"})
	return guard.Plain(a)
}

// owing reports whether moves were told of which it must first be said what became
// of them, before anything that they rest on is taken back.
func owing(saw *Saw, o outcome) bool {
	return o.prompt.Ask().Key.Name == toldName || saw.Running.Told != nil && anyMade(saw.Running.Told.Made)
}

// settled takes what became of moves that are no longer asked for. What was made is
// kept as a fact; advice of which nothing was made is dropped.
func (st *step) settled(saw *Saw, o outcome, text string) {
	told, a := saw.Running.Told, o.prompt.Ask()
	open := st.openMoves(told)
	made, ok := st.parseMoves(text, open)
	if same(text, st.voice.Say(a.Choices[1].Text)) || st.voice.Is(a.Choices[1].Also, bare(text)) >= 0 {
		made, ok = statusAll(open, "not"), true
	}
	if !ok {
		st.unclear(o, text, "moves.unclear", "Example", st.moveExample(open))
		st.show()
		return
	}
	all := append(append([]Made(nil), told.Made...), made...)
	all = append(all, statusAll(told.Moves[len(all):], "not")...) // was not told yet
	if anyMade(all) {
		st.accept(saw, Answer{Key: told.Key, Moves: all})
		st.fresh = false // what follows from it was not waited for
	} else {
		st.touch(saw).Running = saw.Running.edit()
	}
	saw.Running.Told = nil
	st.sayMade(all)
	if len(st.madeList(all)) > 0 {
		st.say("told.eased")
	}
	if told.Edit {
		st.edit(saw)
		return
	}
	st.show()
}

// moves takes the answer to an adjustment: what became of each move.
func (st *step) moves(saw *Saw, o outcome, text string) {
	told := saw.Running.Told
	open := st.openMoves(told)
	made, ok := st.parseMoves(text, open)
	if !ok {
		st.unclear(o, text, "moves.unclear", "Example", st.moveExample(open))
		st.show()
		return
	}
	if len(told.Made)+len(made) < len(told.Moves) {
		j := saw.Running.edit()
		j.Told.Made = append(j.Told.Made, made...)
		st.touch(saw).Running = j
		st.show()
		return
	}
	all := append(append([]Made(nil), told.Made...), made...)
	st.accept(saw, Answer{Key: told.Key, Moves: all})
	saw.Running.Told = nil
	st.sayMade(all)
	st.show()
}

// sayMade says back what was not simply made.
func (st *step) sayMade(all []Made) {
	switch list := st.madeList(all); {
	case len(list) == len(all):
		st.say("moves.taken.all", "List", list)
	case len(list) > 0:
		st.say("moves.taken", "List", list)
	}
}

func (st *step) moveExample(open []guard.Move) wording.Text {
	return wording.T("moves.example", "Number", open[len(open)-1].Index+1)
}

// madeList words what was not simply made.
func (st *step) madeList(all []Made) wording.List {
	var list wording.List
	for _, m := range all {
		if m.Status != "made" {
			list = append(list, wording.T("moves."+m.Status, "Part", wording.Raw(m.Label)))
		}
	}
	return list
}

// parseMoves understands "done", "1 and 2 done, 3 is stuck", "3 stuck",
// "2 the wrong way". Numbers are those of the parts. Moves that are not named
// are made when only exceptions are; otherwise the answer is not complete.
func (st *step) parseMoves(text string, open []guard.Move) ([]Made, bool) {
	if st.finished(text, wording.T("word.done")) {
		return statusAll(open, "made"), true
	}
	tokens, idle := st.moveTokens(text, open)
	if !idle || strings.Contains(text, "?") {
		return nil, false // "nearly done", "3 turned too far"
	}
	status := map[int]string{}
	var waiting []int
	last, alone := "", "" // alone: said of no part
	for _, tok := range tokens {
		if n, err := strconv.Atoi(tok); err == nil {
			waiting = append(waiting, n)
			continue
		}
		if tok == restToken {
			waiting = append(waiting, unnamed(open, status)...)
			continue
		}
		if len(waiting) == 0 && len(open) == 1 {
			waiting = []int{open[0].Index + 1}
		}
		if len(waiting) == 0 && tok != last {
			alone = tok
		}
		for _, n := range waiting {
			status[n] = tok
		}
		waiting, last = nil, tok
	}
	if len(waiting) > 0 && last == alone { // "skipped 3"
		alone = ""
	}
	for _, n := range waiting {
		if last == "" {
			return nil, false
		}
		status[n] = last
	}
	if alone != "" && alone != "made" {
		return nil, false // "not done, 3 stuck"
	}
	return became(open, status)
}

// unnamed lists the parts of which nothing was said yet.
func unnamed(open []guard.Move, status map[int]string) (rest []int) {
	for _, m := range open {
		if _, ok := status[m.Index+1]; !ok {
			rest = append(rest, m.Index+1)
		}
	}
	return rest
}

func statusAll(open []guard.Move, status string) []Made {
	made := make([]Made, len(open))
	for i, m := range open {
		made[i] = madeAs(m, status)
	}
	return made
}

// madeAs is a move with what became of it.
func madeAs(m guard.Move, status string) Made {
	switch status {
	case "stuck", "not":
		return Made{Move: m, Status: status}
	case "reversed":
		return Made{Move: m, Status: status, Actual: -m.Turns}
	}
	return Made{Move: m, Status: status, Actual: m.Turns}
}

func became(open []guard.Move, status map[int]string) ([]Made, bool) {
	if len(status) == 0 {
		return nil, false
	}
	exceptions := true
	known := 0
	for _, s := range status {
		exceptions = exceptions && s != "made"
	}
	made := make([]Made, len(open))
	for i, m := range open {
		s, ok := status[m.Index+1]
		switch {
		case ok:
			known++
		case exceptions:
			s = "made"
		default:
			return nil, false
		}
		made[i] = madeAs(m, s)
	}
	return made, known == len(status)
}

// moveTokens turns an answer about moves into numbers and statuses. idle says that
// nothing else in it has a meaning.
func (st *step) moveTokens(text string, open []guard.Move) (out []string, idle bool) {
	t := " " + reading.Fold(strings.NewReplacer(",", " , ", ";", " , ", ".", " ", "#", " ", ":", " ", "'", "", "’", "").Replace(text)) + " "
	for _, status := range []string{"reversed", "stuck", "not", "made", restToken} {
		for _, forms := range st.voice.Forms("words.moves." + status) {
			for _, w := range forms {
				t = strings.ReplaceAll(t, " "+w+" ", " \x00"+status+" ")
			}
		}
	}
	parts := ""
	for _, m := range open {
		parts += words(m.Label)
	}
	var rest []string
	for _, f := range strings.Fields(t) {
		if s, ok := strings.CutPrefix(f, "\x00"); ok {
			out = append(out, s)
		} else if _, err := strconv.Atoi(f); err == nil {
			out = append(out, f)
		} else if !strings.Contains(parts, words(f)) {
			rest = append(rest, f)
		}
	}
	return out, reading.Idle(strings.Join(rest, " "), st.voice.Lang())
}

// turnsOf returns what a nut was really turned, for the arithmetic.
func turnsOf(m Made) float64 {
	if m.Status == "made" {
		return m.Turns
	}
	return m.Actual
}

func anyMade(moves []Made) bool {
	for _, m := range moves {
		if m.Status != "not" && m.Status != "stuck" {
			return true
		}
	}
	return false
}
