package dialog_test

import (
	"strings"
	"testing"
	"time"

	"shimwright/dialog"
)

// TestSentTwice sends an answer a second time because the first is long under way, as
// people and networks do. It is no answer to what is asked next, of which its sender
// knew nothing: the next nut is not taken for turned, the next support not for read. What
// is sent once more after that is taken, and so is what was sent in knowledge of the
// question.
func TestSentTwice(t *testing.T) {
	sh := newShop()
	sh.view.Limits = dialog.Limits{OneMove: true}
	ago := func(text string, d time.Duration) string {
		sh.sayAt(text, sh.now.Add(20*time.Second-d))
		return said(sh.result)
	}
	for _, text := range []string{"level", "mm", "Birch", "left", "ok", "unplugged", "done", "0.01"} {
		sh.say(text)
	}
	ago("0.02", 45*time.Second)
	if got := ago("0.02", 30*time.Second); !strings.Contains(got, "sent before I asked") || !strings.Contains(got, "Support 2") {
		t.Errorf("a reading sent twice is answered with\n%s", got)
	}
	if got := ago("0.02", 30*time.Second); !strings.Contains(got, "Support 3") {
		t.Errorf("sent a third time it is answered with\n%s", got)
	}
	if got := ago("0.02", time.Second); !strings.Contains(got, "Support 4") {
		t.Errorf("the same reading of the next support is answered with\n%s", got)
	}
	for _, text := range []string{"-0.08", "-0.08", "-0.08", "0.02"} {
		sh.say(text)
	}
	if p := sh.result.Turn.Prompt; p.Name != "slider.moves" {
		t.Fatalf("%+v is asked, want the moves", p)
	}
	first := said(sh.result)
	second := ago("done", 45*time.Second)
	if first == second {
		t.Fatalf("the first nut is told again:\n%s", second)
	}
	if got := ago("Done.", 35*time.Second); !strings.Contains(got, "sent before I asked") || !strings.HasSuffix(got, second) {
		t.Errorf("done sent twice is answered with\n%s\nwant\n%s", got, second)
	}
	// Another answer that crossed the question is its sender's affair.
	ago("done", time.Second)
	ago("done", 45*time.Second)
	if got := ago("stuck", 35*time.Second); strings.Contains(got, "sent before I asked") {
		t.Errorf("another answer is answered with\n%s", got)
	}
}
