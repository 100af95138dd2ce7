package dialog

import (
	"os"
	"strings"
	"testing"
)

// The conversation in the README is one that a test plays: every part of it,
// between the places where it is shortened, stands in that file word for word.
func TestREADMEConversation(t *testing.T) {
	readme, err := os.ReadFile("../README.md")
	if err != nil {
		t.Fatal(err)
	}
	played, err := os.ReadFile("../testdata/conversations/level-goes-well-mm.txt")
	if err != nil {
		t.Fatal(err)
	}
	words := func(s string) string { return strings.Join(strings.Fields(s), " ") }
	_, text, found := strings.Cut(string(readme), "## A real conversation")
	text, _, end := strings.Cut(text, "\nWords that work anywhere")
	if !found || !end {
		t.Fatal("the README has no conversation")
	}
	var quoted []string
	for _, line := range strings.Split(text, "\n") {
		if strings.HasPrefix(line, "    ") {
			quoted = append(quoted, line)
		}
	}
	parts := strings.Split(strings.Join(quoted, "\n"), "…")
	if len(parts) < 3 {
		t.Fatalf("%d parts", len(parts))
	}
	for _, part := range parts {
		if p := words(part); p == "" || !strings.Contains(words(string(played)), p) {
			t.Errorf("not in the conversation that is played: %s", part)
		}
	}
}
