package dialog_test

import (
	"math"
	"strings"
	"testing"
)

func contains(s, part string) bool { return strings.Contains(s, part) }

// line returns the line of a text that begins with something.
func line(text, begins string) string {
	for l := range strings.Lines(text) {
		if strings.HasPrefix(l, begins) {
			return l
		}
	}
	return ""
}

// scored sets a saw with a scoring blade up and makes the first cut.
func scored() *shop {
	sh := newShop()
	sh.says("scoring", "mm", "Old Blue", "left", "blade", "ok", "ok", "yes", "ok", "unplugged", "fits", "guarded", "done", "unplugged")
	return sh
}

// TestScoringMoves reads lines of every kind and looks at what is advised.
func TestScoringMoves(t *testing.T) {
	for name, c := range map[string]struct {
		left, right, depth string
		then               []string
		moves              map[string]float64 // by verb; none: it is good
	}{
		"even":              {"0.07", "0.07", "1.5", nil, nil},
		"far over the left": {"0.15", "0.01", "1.5", nil, map[string]float64{"right": 0.07}},
		"short on the left": {"-0.05", "0.15", "1.5", nil, map[string]float64{"left": 0.10}},
		"too shallow":       {"0.07", "0.07", "0.5", nil, map[string]float64{"raise": 1}},
		"too deep":          {"0.07", "0.07", "3", nil, map[string]float64{"lower": 1.5}},
		"split, narrow":     {"-0.05", "-0.05", "1.5", []string{"split"}, map[string]float64{"wider": 0.2}},
		"split, broad":      {"0.25", "0.25", "1.5", []string{"split"}, map[string]float64{"narrower": 0.4}},
		// By hand: 0.14 mm wider with flanks of 10 degrees is 0.14/(2·tan 10°) = 0.397 mm deeper.
		"conical, narrow": {"-0.02", "-0.02", "1.2", []string{"conical", "10"}, map[string]float64{"raise": 0.397}},
		"both at once":    {"0.2", "0", "0.5", nil, map[string]float64{"right": 0.1, "raise": 1}},
	} {
		t.Run(name, func(t *testing.T) {
			sh := scored()
			sh.says(c.left, c.right, c.depth)
			sh.says(c.then...)
			got := map[string]float64{}
			for _, a := range sh.result.Turn.Advice {
				got[a.Move] = a.Amount
			}
			if len(got) != len(c.moves) {
				t.Errorf("advice %v, want %v\n%s", got, c.moves, sh.text())
			}
			for verb, want := range c.moves {
				if math.Abs(got[verb]-want) > 0.001 {
					t.Errorf("%s by %g, want %g", verb, got[verb], want)
				}
			}
			if c.moves == nil && sh.last(t, "score.shift").Decision != "within" {
				t.Errorf("%+v", sh.last(t, "score.shift"))
			}
		})
	}
}

// TestScoringWithoutBlade: a saw without a scoring blade is asked nothing.
func TestScoringWithoutBlade(t *testing.T) {
	sh := begin("scoring")
	if p := sh.prompt(); p.Kind != "idle" || len(sh.view.Last) > 0 {
		t.Errorf("%+v\n%s", p, sh.text())
	}
	sh.say("menu")
	if contains(sh.text(), "Scoring") {
		t.Errorf("the menu speaks of a scoring blade:\n%s", sh.text())
	}
}

// TestScoringLarge: a move that no scoring blade needs is questioned first.
func TestScoringLarge(t *testing.T) {
	sh := scored()
	sh.says("5", "again", "2.9", "-2.9", "1.5")
	if p := sh.prompt(); p.Name != "large" || len(sh.result.Turn.Advice) > 0 {
		t.Fatalf("%+v\n%s", p, sh.text())
	}
	sh.says("read again", "0.07", "0.07", "1.5")
	if r := sh.last(t, "score.shift"); r.Decision != "within" {
		t.Errorf("%+v", r)
	}
}
