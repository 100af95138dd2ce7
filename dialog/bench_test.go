package dialog_test

import (
	"fmt"
	"testing"

	"shimwright/dialog"
)

// answers plays set-up and n answers of the levelling job: a table far from
// level, so that rounds go on. stations is what the slider stands on.
func answers(b testing.TB, stations, n int) *shop {
	b.Helper()
	sh := newShop()
	for _, s := range []string{"level", "mm", "Old Blue", "left", "supports", fmt.Sprint(stations), "2", "ok", "ok"} {
		sh.say(s)
	}
	for sh.result.Turn.Prompt.Name == "setup.station" {
		sh.say("ok")
	}
	for _, s := range []string{"ok", "unplugged", "done", "0"} {
		sh.say(s)
	}
	for i := range n {
		switch p := sh.result.Turn.Prompt; p.Kind {
		case dialog.KindReading:
			sh.say(fmt.Sprintf("%.2f mm", -0.9+0.01*float64(i%7)))
		case dialog.KindConfirm:
			sh.say(p.Acknowledge)
		case dialog.KindChoice:
			sh.say(p.Choices[len(p.Choices)-1])
		default:
			b.Fatalf("after %d answers: %+v", i, sh.result.Turn)
		}
	}
	return sh
}

func count(sh *shop) int { return len(sh.view.Saws[0].Running.Answers) }

// BenchmarkStep measures one message: a reading within a round of a job of
// 100 answers, one that is doubted there, the one that ends the first round and
// plans a pass, and the one that ends the second, which teaches besides.
func BenchmarkStep(b *testing.B) {
	b.Run("reading", func(b *testing.B) {
		sh := answers(b, 8, 90)
		for sh.result.Turn.Prompt.Kind != dialog.KindReading || count(sh) < 100 || sh.result.Turn.Prompt.Label == "support 16, outer side" {
			answer(sh)
		}
		b.Run("taken", func(b *testing.B) { bench(b, sh, "-0.9 mm") })
		b.Run("doubted", func(b *testing.B) { bench(b, sh, "-0.05 mm") })
	})
	b.Run("plan", func(b *testing.B) {
		sh, table := answers(b, 3, 0), table{}
		for rounds := range 2 {
			for sh.result.Turn.Prompt.N != 2 {
				sh.say(table.answer(sh.result.Turn))
			}
			text := table.answer(sh.result.Turn)
			b.Run([...]string{"first", "next"}[rounds], func(b *testing.B) { bench(b, sh, text) })
			if sh.say(text); len(sh.result.Turn.Advice) == 0 {
				b.Fatalf("no advice: %+v", sh.result.Turn)
			}
		}
	})
}

// table is the heights of a table that follows advice four fifths of the way, by
// the words of each support.
type table map[string]float64

// answer is what the table answers to a turn.
func (heights table) answer(t dialog.Turn) string {
	for _, a := range t.Advice {
		heights[a.Part] += a.Change.Z * 0.8
	}
	switch p := t.Prompt; p.Kind {
	case dialog.KindReading:
		if _, ok := heights[p.Label]; !ok {
			heights[p.Label] = float64(len(heights)*37%11)/20 - 0.2
		}
		return fmt.Sprintf("%.2f mm", heights[p.Label])
	case dialog.KindConfirm:
		return p.Acknowledge
	default:
		return p.Choices[len(p.Choices)-1]
	}
}

func answer(sh *shop) {
	switch p := sh.result.Turn.Prompt; p.Kind {
	case dialog.KindReading:
		sh.say("-0.9 mm")
	case dialog.KindConfirm:
		sh.say(p.Acknowledge)
	default:
		sh.say(p.Choices[len(p.Choices)-1])
	}
}

func bench(b *testing.B, sh *shop, text string) {
	b.ReportAllocs()
	b.ReportMetric(float64(count(sh)), "answers")
	m := dialog.Message{ID: "m", Text: text}
	for b.Loop() {
		if r := dialog.Step(sh.view, sh.states[sh.view.Conversation], m, sh.now); len(r.Turn.Replies) == 0 {
			b.Fatal("no reply")
		}
	}
}

// BenchmarkConversation plays a whole levelling conversation, from set-up to
// the last answer, with a table that follows the advice four fifths of the way: the mix of a
// service. One operation is one message.
func BenchmarkConversation(b *testing.B) {
	b.ReportAllocs()
	steps := 0
	for steps < b.N {
		sh, table := newShop(), table{}
		say := func(text string) {
			sh.say(text)
			steps++
		}
		for _, s := range []string{"level", "mm", "Old Blue", "left", "ok", "unplugged", "done", "0"} {
			say(s)
		}
		for range 120 {
			say(table.answer(sh.result.Turn))
			if sh.result.Turn.Prompt.Kind == dialog.KindIdle {
				break
			}
		}
	}
}
