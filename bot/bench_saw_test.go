package main

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"shimwright/dialog"
)

// benchSaw is a saw for tests: it answers prompts as a program on a bench
// would, by their names, and carries out the advice. Each support has a height
// of its own, in hundredths of a millimetre as an indicator reads; a nut moves
// its support by what the advice says and a few hundredths beside it.
type benchSaw struct {
	random  *rand.Rand
	heights map[dialog.Point]float64
	asked   int
}

func newBenchSaw(seed uint64) *benchSaw {
	return &benchSaw{random: rand.New(rand.NewPCG(seed, 1)), heights: map[dialog.Point]float64{}}
}

// errLost: the saw does not know what to say.
type errLost struct{ prompt dialog.PromptView }

func (e errLost) Error() string {
	return fmt.Sprintf("the bench does not know an answer to %+v", e.prompt)
}

// reply is what comes next in the conversation; "" when nothing is asked.
func (b *benchSaw) reply(a answer) (string, error) {
	if b.asked++; b.asked > 400 {
		return "", errLost{a.Prompt}
	}
	switch a.Prompt.Kind {
	case dialog.KindIdle:
		return "", nil
	case dialog.KindChoice:
		return "ok", nil
	case dialog.KindText:
		return "Bench saw", nil
	case dialog.KindConfirm:
		for _, m := range a.Advice {
			b.heights[*m.At] += m.Change.Z + 0.005*b.random.NormFloat64()
		}
		return a.Prompt.Acknowledge, nil
	case dialog.KindReading:
		return b.reading(a.Prompt)
	}
	return "", errLost{a.Prompt}
}

func (b *benchSaw) reading(p dialog.PromptView) (string, error) {
	if p.Unit != "mm" {
		return "", errLost{p}
	}
	if p.Name != "slider.height" {
		return "0", nil // play and the like: there is none
	}
	h, ok := b.heights[*p.At]
	if !ok {
		h = 0.6*b.random.Float64() - 0.3
		b.heights[*p.At] = h
	}
	return fmt.Sprintf("%+.2f", h), nil
}

// level holds a whole conversation, from the first word to a levelled slider,
// through say, and returns every answer.
func (b *benchSaw) level(say func(text string) (answer, error)) ([]answer, error) {
	var all []answer
	text := "level"
	for text != "" {
		a, err := say(text)
		if err != nil {
			return all, err
		}
		all = append(all, a)
		if text, err = b.reply(a); err != nil {
			return all, err
		}
	}
	return all, nil
}

// levelled holds a levelling conversation over HTTP and returns its answers.
func (s *service) levelled(conversation string, seed uint64) []answer {
	s.Helper()
	n := 0
	all, err := newBenchSaw(seed).level(func(text string) (answer, error) {
		n++
		s.clock.advance(2e9)
		return s.post(posted{ID: fmt.Sprint("m-", n), Conversation: conversation, Text: text}), nil
	})
	if err != nil {
		s.Fatalf("after %d messages: %v", n, err)
	}
	return all
}

func TestLevellingOverHTTP(t *testing.T) {
	s := newService(t)
	all := s.levelled("bench", 7)
	var said strings.Builder
	advised := 0
	for _, a := range all {
		advised += len(a.Advice)
		for _, r := range a.Replies {
			said.WriteString(r.Text + "\n")
		}
	}
	if advised == 0 {
		t.Error("a slider that stands up to 0.3 mm out was levelled without a move")
	}
	d, err := s.store.Records(t.Context(), recordsOf(homeShop, "saw-1"))
	if err != nil || len(d) == 0 {
		t.Fatalf("%d records (%v)", len(d), err)
	}
	t.Logf("%d messages, %d moves, %d records", len(all), advised, len(d))
}
