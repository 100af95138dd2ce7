package dialog_test

import (
	"strings"
	"testing"
)

// TestProofSlip says the width of the second end with its point or a figure
// slipped: it is asked about before the fence is blamed for it.
func TestProofSlip(t *testing.T) {
	for said, doubts := range map[string]bool{"80.30": false, "81.2": false, "8.03": true, "50.3": true, "803 mm": true} {
		sh := begin("proof")
		sh.says("unplugged", "fits", "guarded", "done", "80.00", said)
		if taken := strings.Contains(sh.text(), "How long is the piece"); taken == doubts {
			t.Errorf("%s: taken %v:\n%s", said, taken, sh.text())
		}
	}
}
