package dialog_test

import (
	"strings"
	"testing"
)

// TestWork: a piece that a person names is spoken of from then on, in their unit;
// what is no piece says what one looks like and changes nothing.
func TestWork(t *testing.T) {
	for said, want := range map[string]string{
		"work 600 x 900":       "a panel 600 mm wide, 900 mm long, 20 mm thick",
		"door 600":             "a door 600 mm wide, 900 mm long, 20 mm thick",
		"work door 720 x 2000": "a door 720 mm wide, 2000 mm long, 20 mm thick",
		"carcass 900 deep":     "a carcass 900 mm wide, 900 mm long, 20 mm thick",
		"Doors 60 cm by 2 m":   "a door 600 mm wide, 2000 mm long, 20 mm thick",
		"panel 24 in x 36 in":  "a panel 610 mm wide, 914 mm long, 20 mm thick",
		"work 600x900x18":      "a panel 600 mm wide, 900 mm long, 18 mm thick",
		"work":                 "I speak of a panel 600 mm wide",
		"door 6 x 900":         "I did not understand that. Width, then length",
		"door 600 x 9 x 4 x 2": "I did not understand that. Width, then length",
		"door wide 6":          "I did not understand that. Width, then length",
	} {
		t.Run(said, func(t *testing.T) {
			sh := begin("crosscut")
			sh.say(said)
			if !strings.Contains(sh.text(), want) {
				t.Errorf("%q is answered\n%s", said, sh.text())
			}
			if sh.prompt().Name != "safety.unplugged" {
				t.Errorf("the question is gone: %+v", sh.prompt())
			}
		})
	}
	// A verdict speaks of it.
	sh := begin("crosscut")
	sh.says("door 720", "unplugged", "done", "fits", "guarded", "done", "20.12", "20.00", "400")
	if !strings.Contains(sh.text(), "A door 720 mm wide is out by 0.05 mm") { // 0.12/(4·400)·720
		t.Errorf("the verdict says\n%s", sh.text())
	}
}
