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

// TestFenceDrawn compares the picture of a move with its words: at the head the
// rear end of the fence goes sideways (+y is the operator's left), at the rail a
// fixing goes to and fro (+x is to the rear).
func TestFenceDrawn(t *testing.T) {
	for place, want := range map[string]struct {
		kind, words string
		dir         int
	}{"head": {"ripfence", "to the right", -1}, "rail": {"rail", "towards the front", -1}} {
		sh := begin("rip fence")
		sh.says("indicator", "unplugged", "250")
		for range 3 {
			sh.says("done", "1.00", "1.20")
		}
		sh.says(place, "ok")
		if place == "rail" {
			sh.says("ok")
		}
		last := sh.result.Turn.Replies[len(sh.result.Turn.Replies)-1]
		if d := last.Drawing; d == nil || d.Kind != want.kind || len(d.Points) != 1 || d.Points[0].Dir != want.dir || !strings.Contains(sh.text(), want.words) {
			t.Errorf("%s: %+v is drawn for\n%s", place, d, sh.text())
		}
	}
}
