package dialog_test

import (
	"strings"
	"testing"
)

// TestFenceMethodOffered asks for the slider's edge, or the mitre slot, only
// once its own toe is known, and takes it then in the short words of the shop.
func TestFenceMethodOffered(t *testing.T) {
	sh := begin("rip fence")
	if strings.Contains(sh.text(), "slider's edge") {
		t.Errorf("offered while the slider's toe is unknown:\n%s", sh.text())
	}
	if sh.says("by caliper"); sh.result.Turn.Prompt.Acknowledge != "unplugged" {
		t.Errorf("by caliper is not taken:\n%s", sh.text())
	}
	// "slot" starts a job elsewhere; where the slot is offered it is the answer.
	sh = newShop()
	sh.says("parallel", "mm", "Fir", "no slider", "left", "ok", "unplugged", "done", "200")
	for range 3 {
		sh.says("0.10", "0.07", "0.10")
	}
	if sh.says("guarded", "no", "rip fence", "slot", "unplugged"); !strings.Contains(sh.text(), "How far apart") {
		t.Errorf("slot is not taken:\n%s", sh.text())
	}
	for _, word := range []string{"slider", "slider edge", "the slider's edge", "slider's edge"} {
		sh = begin("parallel")
		sh.says("unplugged", "done", "250")
		for range 3 {
			sh.says("0.10", "0.07", "0.10")
		}
		sh.says("guarded", "no", "rip fence")
		if !strings.Contains(sh.text(), "slider's edge") {
			t.Fatalf("not offered while the slider's toe is fresh:\n%s", sh.text())
		}
		sh.says(word, "unplugged")
		if !strings.Contains(sh.text(), "along the slider") {
			t.Errorf("%q is not taken:\n%s", word, sh.text())
		}
	}
}
