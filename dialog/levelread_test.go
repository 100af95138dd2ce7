package dialog_test

import (
	"strings"
	"testing"
)

// TestLevelTwoReadings answers a height with two readings of the indicator: they
// are no feeler leaves, which add up, and neither is taken.
func TestLevelTwoReadings(t *testing.T) {
	for _, said := range []string{"0.1 and 0.2", "0.10, 0.15", "0.05 0.20"} {
		sh := begin("level")
		sh.says("unplugged", "done", "0", "0.05", said)
		if !strings.Contains(sh.text(), "one reading at a time") {
			t.Errorf("%q is taken:\n%s", said, sh.text())
		}
	}
	// A height below a straightedge may still be felt with a leaf.
	sh := begin("level")
	if sh.says("unplugged", "done", "0", "0.10 goes, 0.15 doesn't"); !strings.Contains(sh.text(), "0.10 to 0.15 mm") {
		t.Errorf("leaves are not taken:\n%s", sh.text())
	}
}
