package dialog_test

import (
	"bufio"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
	_ "time/tzdata"

	"shimwright/dialog"
)

// Conversations are kept in testdata/conversations, one a file, so that a
// woodworker can read and correct them:
//
//	# a remark
//	@ 3h later          time passes
//	@ kim               another person speaks
//	@ reminder          the next reminder falls due
//	> text              what the person says
//	text                what Shimwright answers, word for word
//
// go test ./dialog -run Conversations -update writes the answers anew; the
// difference is then to be read.
var update = flag.Bool("update", false, "write the answers of testdata/conversations anew")

func TestConversations(t *testing.T) {
	files, err := filepath.Glob("../testdata/conversations/*.txt")
	if err != nil || len(files) == 0 {
		t.Fatalf("no conversations: %v", err)
	}
	for _, f := range files {
		t.Run(strings.TrimSuffix(filepath.Base(f), ".txt"), func(t *testing.T) {
			want, err := os.ReadFile(f)
			if err != nil {
				t.Fatal(err)
			}
			got := replay(string(want))
			if *update {
				if err := os.WriteFile(f, []byte(got), 0o644); err != nil {
					t.Fatal(err)
				}
				return
			}
			if d := firstDifference(string(want), got); d != "" {
				t.Errorf("%s\n%s", f, d)
			}
		})
	}
}

// replay plays the lines that a person says and returns the whole conversation.
func replay(script string) string {
	sh := newShop()
	var b strings.Builder
	for line := range strings.Lines(script) {
		line = strings.TrimRight(line, "\n")
		switch {
		case strings.HasPrefix(line, "#"), strings.TrimSpace(line) == "" && b.Len() == 0:
			b.WriteString(line + "\n")
		case strings.HasPrefix(line, "@ "):
			b.WriteString("\n" + line + "\n")
			for _, r := range sh.stage(strings.TrimPrefix(line, "@ ")) {
				b.WriteString(r.Text + "\n")
			}
		case strings.HasPrefix(line, "> "):
			b.WriteString("\n" + line + "\n")
			for _, r := range sh.say(strings.TrimPrefix(line, "> ")).Turn.Replies {
				b.WriteString(r.Text + "\n")
			}
		}
	}
	return b.String()
}

func firstDifference(want, got string) string {
	w, g := bufio.NewScanner(strings.NewReader(want)), bufio.NewScanner(strings.NewReader(got))
	for n := 1; ; n++ {
		a, b := w.Scan(), g.Scan()
		if !a && !b {
			return ""
		}
		if w.Text() != g.Text() {
			return fmt.Sprintf("line %d\nwant: %s\n got: %s", n, w.Text(), g.Text())
		}
	}
}

// shop is a shop held in memory, as the service keeps it.
type shop struct {
	view   dialog.View
	states map[string]dialog.State
	now    time.Time
	n      int
	sent   []dialog.Send
	remind map[string]dialog.Reminder
	all    []dialog.Record
	result dialog.Result
}

func newShop() *shop {
	return &shop{
		view: dialog.View{Locate: locate, ZoneGuess: "Europe/Berlin", Token: "k7f3q9m2a4b5c6d7e8f9g2h3j4k5", Base: "https://saw.example.org", Shop: "home", Conversation: "page-owner", Channel: "page", Person: "owner",
			People: dialog.People{Schema: 1, Persons: []dialog.Person{
				{ID: "owner", Name: "Ada", Role: dialog.Owner}, {ID: "kim", Name: "Kim", Role: dialog.Setter}}}},
		states: map[string]dialog.State{},
		now:    time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC),
		remind: map[string]dialog.Reminder{},
	}
}

// locate finds a zone of the tz database, as the service does.
func locate(name string) *time.Location {
	l, err := time.LoadLocation(name)
	if err != nil {
		return nil
	}
	return l
}

// stage carries out a stage direction: time passing, who speaks, or a reminder,
// of which it returns what is said.
func (s *shop) stage(d string) []dialog.Reply {
	if d == "reminder" {
		return s.fire().Turn.Replies
	}
	if later, ok := strings.CutSuffix(d, " later"); ok {
		days := 0
		if n, err := fmt.Sscanf(later, "%dd", &days); n == 1 && err == nil {
			s.now = s.now.AddDate(0, 0, days)
			return nil
		}
		dur, err := time.ParseDuration(later)
		if err != nil {
			panic(err)
		}
		s.now = s.now.Add(dur)
		return nil
	}
	s.view.Person, s.view.Conversation = d, "page-"+d
	return nil
}

// fire lets the next reminder fall due, as the service does: at its time, or
// now where that has passed.
func (s *shop) fire() dialog.Result {
	var next dialog.Reminder
	for _, r := range s.remind {
		if next.ID == "" || r.Due.Before(next.Due) || r.Due.Equal(next.Due) && r.ID < next.ID {
			next = r
		}
	}
	if next.ID == "" {
		return dialog.Result{Turn: dialog.Turn{Replies: []dialog.Reply{{Text: "(no reminder is set)"}}}}
	}
	if next.Due.After(s.now) {
		s.now = next.Due
	}
	s.stage(next.Person)
	res := s.step(dialog.Due{ID: next.ID, Saw: next.Saw, Body: next.Body})
	if again := s.remind[next.ID]; again.Due.Equal(next.Due) {
		delete(s.remind, next.ID) // it was not set anew
	}
	return res
}

// say plays one message and takes its effects.
func (s *shop) say(text string) dialog.Result { return s.sayAt(text, time.Time{}) }

func (s *shop) sayAt(text string, sent time.Time) dialog.Result {
	s.n++
	s.now = s.now.Add(20 * time.Second)
	return s.step(dialog.Message{ID: fmt.Sprintf("m-%d", s.n), Text: text, SentAt: sent})
}

func (s *shop) step(in dialog.Input) dialog.Result {
	s.view.Due = nil
	for _, r := range s.remind {
		s.view.Due = append(s.view.Due, dialog.DueMark{ID: r.ID, Saw: r.Saw, Person: r.Person, Due: r.Due, Body: r.Body})
	}
	r := dialog.Step(s.view, s.states[s.view.Conversation], in, s.now)
	if r.NeedHistory != "" {
		v := s.view
		v.History, v.HasHistory = s.all, true
		r = dialog.Step(v, s.states[s.view.Conversation], in, s.now)
	}
	s.take(r)
	return r
}

func (s *shop) take(r dialog.Result) {
	s.result = r
	s.states[s.view.Conversation] = r.State
	if r.People != nil {
		s.view.People = *r.People
	}
	saws := append([]dialog.Saw(nil), s.view.Saws...)
next:
	for _, c := range r.Saws {
		for i := range saws {
			if saws[i].ID == c.ID {
				saws[i] = c
				continue next
			}
		}
		saws = append(saws, c)
	}
	s.view.Saws = saws
	for _, rec := range r.Records {
		last := s.view.Last[:0:0]
		for _, o := range s.view.Last {
			if o.Saw != rec.Saw || o.Characteristic != rec.Characteristic {
				last = append(last, o)
			}
		}
		s.view.Last = append(last, rec)
		s.all = append(s.all, rec)
	}
	if r.EraseSaw != "" {
		s.view.Saws = slices.DeleteFunc(s.view.Saws, func(o dialog.Saw) bool { return o.ID == r.EraseSaw })
		gone := func(o dialog.Record) bool { return o.Saw == r.EraseSaw }
		s.view.Last, s.all = slices.DeleteFunc(s.view.Last, gone), slices.DeleteFunc(s.all, gone)
	}
	for _, rm := range r.Remind {
		s.remind[rm.ID] = rm
	}
	for _, f := range r.Forget {
		delete(s.remind, f)
	}
	s.sent = append(s.sent, r.Send...)
}
