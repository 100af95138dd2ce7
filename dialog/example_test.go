package dialog_test

import (
	"regexp"
	"strings"
	"testing"
)

// TestExamplesAreTaken answers with nonsense and then with the example that is
// given back: it is one that the same question takes.
func TestExamplesAreTaken(t *testing.T) {
	example := regexp.MustCompile(`For example: (.+)\.`)
	for _, unit := range []string{"mm", "inch"} {
		for job, lines := range map[string][]string{
			"crosscut": {"unplugged", "done", "fits", "guarded", "done"},
			"knife":    {"unplugged", "0.1 in", "0.08 in", "1/8 in", "no"},
			"parallel": {"unplugged", "done"},
			"rip":      {"indicator", "unplugged"},
			"tilt":     {"square", "left", "unplugged", "done"},
			"level":    {"unplugged", "done"},
			"proof":    {"unplugged", "fits", "guarded", "done"},
			"runout":   {"unplugged", "done"},
		} {
			sh := newShop()
			sh.says(job, unit, "Old Blue", "left", "ok")
			sh.says(lines...)
			for range 3 {
				before := sh.prompt().Name
				sh.say("hm")
				m := example.FindStringSubmatch(sh.text())
				if m == nil {
					break // no reading is asked
				}
				sh.say(m[1])
				if text := sh.text(); strings.Contains(text, "I can only use") || strings.Contains(text, "I found no number") {
					t.Errorf("%s in %s: %s asks for one like %q and refuses it:\n%s", job, unit, before, m[1], text)
					break
				}
			}
		}
	}
}
