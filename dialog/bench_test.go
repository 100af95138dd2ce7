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
// 100 answers, and the one that ends a round and plans the next pass.
func BenchmarkStep(b *testing.B) {
	b.Run("reading", func(b *testing.B) {
		sh := answers(b, 8, 90)
		for sh.result.Turn.Prompt.Kind != dialog.KindReading || count(sh) < 100 || sh.result.Turn.Prompt.Label == "support 16, outer side" {
			answer(sh)
		}
		bench(b, sh, "-0.9 mm")
	})
	b.Run("plan", func(b *testing.B) {
		sh := answers(b, 3, 5)
		for sh.result.Turn.Prompt.N != 2 {
			answer(sh)
		}
		bench(b, sh, "-0.9 mm")
	})
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
// the last answer, with a table that follows the advice half-way: the mix of a
// service. One operation is one message.
func BenchmarkConversation(b *testing.B) {
	b.ReportAllocs()
	steps := 0
	for steps < b.N {
		sh := newShop()
		heights := map[string]float64{}
		say := func(text string) {
			sh.say(text)
			steps++
		}
		for _, s := range []string{"level", "mm", "Old Blue", "left", "ok", "unplugged", "done", "0"} {
			say(s)
		}
		for range 120 {
			t := sh.result.Turn
			for _, a := range t.Advice {
				heights[a.Part] += a.Change.Z * 0.8
			}
			switch p := t.Prompt; p.Kind {
			case dialog.KindReading:
				if _, ok := heights[p.Label]; !ok {
					heights[p.Label] = float64(len(heights)*37%11)/20 - 0.2
				}
				say(fmt.Sprintf("%.2f mm", heights[p.Label]))
			case dialog.KindConfirm:
				say(p.Acknowledge)
			case dialog.KindChoice:
				say(p.Choices[len(p.Choices)-1])
			}
			if sh.result.Turn.Prompt.Kind == dialog.KindIdle {
				break
			}
		}
	}
}
