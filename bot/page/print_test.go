package page

import (
	"bytes"
	"fmt"
	"os/exec"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"

	"shimwright/bot/testenv"
)

// TestPrinted prints a conversation longer than the screen and reads the paper
// back: all of it stands there, and nothing that is only there to be pressed.
func TestPrinted(t *testing.T) {
	pdftotext := testenv.Program(t, "pdftotext")
	s := newService(t)
	for i := range 60 {
		s.unasked(fmt.Sprintf("Line number %d of the conversation.", i+1))
	}
	b := open(t, s.url(), 390, 844)
	b.sends("level")
	b.says("Answer with the word unplugged")
	// On paper a screen that is dark is white, too.
	b.scheme("dark")
	got, err := chromedp.Call(b.ctx, page.PrintToPDF, page.PrintToPDFParams{})
	if err != nil {
		t.Fatal(err)
	}
	read := exec.Command(pdftotext, "-layout", "-", "-")
	read.Stdin = bytes.NewReader(got.Data)
	text, err := read.Output()
	if err != nil {
		t.Fatal(err)
	}
	for i := range 60 {
		if line := fmt.Sprintf("Line number %d of", i+1); !strings.Contains(string(text), line) {
			t.Fatalf("%q is not on the paper:\n%s", line, text)
		}
	}
	for _, want := range []string{"level", "Caution", "Answer with the word unplugged"} {
		if !strings.Contains(string(text), want) {
			t.Errorf("%q is not on the paper", want)
		}
	}
	for _, not := range []string{"Send\n", "Type an answer", "More"} {
		if strings.Contains(string(text), not) {
			t.Errorf("%q is on the paper", not)
		}
	}
}
