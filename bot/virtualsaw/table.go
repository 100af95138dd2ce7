package virtualsaw

import (
	"encoding/csv"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
)

// Table is one table of the report.
type Table struct {
	Name  string // of its file, without the ending
	Title string
	Note  string
	Head  []string
	Rows  [][]string
}

// Markdown writes the table.
func (t Table) Markdown(w io.Writer) {
	fmt.Fprintf(w, "## %s\n\n", t.Title)
	if t.Note != "" {
		fmt.Fprintf(w, "%s\n\n", t.Note)
	}
	fmt.Fprintf(w, "| %s |\n|%s\n", strings.Join(t.Head, " | "), strings.Repeat(" --- |", len(t.Head)))
	for _, r := range t.Rows {
		fmt.Fprintf(w, "| %s |\n", strings.Join(r, " | "))
	}
	fmt.Fprintln(w)
}

// CSV writes the table as comma-separated values.
func (t Table) CSV(w io.Writer) error {
	c := csv.NewWriter(w)
	if err := c.WriteAll(append([][]string{t.Head}, t.Rows...)); err != nil {
		return err
	}
	return c.Error()
}

// confidence is that of the bounds in the report.
const confidence = 0.95

// percent writes a share with its bounds.
func (s Share) percent() string {
	if s.All == 0 {
		return "-"
	}
	low, high := s.Interval(confidence)
	return fmt.Sprintf("%.2f %% (%.2f … %.2f; %d of %d)", 100*s.Rate(), 100*low, 100*high, s.Of, s.All)
}

func spread(v []float64, format string) string {
	if len(v) == 0 {
		return "-"
	}
	return fmt.Sprintf(format+" ("+format+")", Quantile(v, 0.5), Quantile(v, 0.95))
}

// Report writes everything that was counted as Markdown.
func (s *Study) Report(w io.Writer) error {
	var b strings.Builder
	fmt.Fprintf(&b, "# Virtual saws\n\n%d saws.", s.Saws)
	for _, k := range SlipKinds {
		if c := s.Slips[k]; c != nil {
			fmt.Fprintf(&b, " %d with the slip \"%s\".", c.Saws, k)
		}
	}
	fmt.Fprintln(&b)
	list(&b, "conversations broke off", s.Faults)
	list(&b, "jobs came to no end", s.Endless)
	if len(s.Guessed) > 0 {
		fmt.Fprintf(&b, "\nQuestions of which the person took the default without knowing them: %v\n\n", s.Guessed)
	}
	for _, t := range s.Tables() {
		t.Markdown(&b)
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// list writes how many of something there are, and the first of them.
func list(b *strings.Builder, what string, items []string) {
	fmt.Fprintf(b, "\n%d %s.\n\n", len(items), what)
	for i, f := range items {
		if i == mostFaults {
			fmt.Fprintf(b, "- and %d more\n", len(items)-i)
			break
		}
		fmt.Fprintf(b, "- %s\n", strings.ReplaceAll(f, "\n", " "))
	}
}

// mostFaults is how many conversations that broke off are listed.
const mostFaults = 20

// Tables returns what was counted as tables.
func (s *Study) Tables() []Table {
	var out []Table
	if len(s.Claims) > 0 {
		out = append(out, s.ends(), s.coverage(), s.advice(), s.effort())
	}
	if len(s.Race) > 0 {
		out = append(out, s.raceTable())
	}
	if len(s.Slips) > 0 {
		out = append(out, s.slipTable())
	}
	return out
}

func (s *Study) claimKeys() []string { return slices.Sorted(maps.Keys(s.Claims)) }

func (s *Study) jobKeys() []string { return slices.Sorted(maps.Keys(s.Jobs)) }

func (s *Study) ends() Table {
	t := Table{Name: "ends", Title: "What the service says at the end, and what is true",
		Note: "Each share with its 95 % bounds (Clopper and Pearson). The window is that of the verdict.",
		Head: []string{"characteristic", "measured by", "ended as within", "of those truly within", "ended as open", "of those truly not toed in", "undecided"}}
	for _, k := range s.claimKeys() {
		c := s.Claims[k]
		if c.Name != HeightEach {
			t.Rows = append(t.Rows, []string{c.Name, c.Method, c.Within.percent(), c.True.percent(), c.Open.percent(), c.NotToedIn.percent(), c.Undecided.percent()})
		}
	}
	return t
}

func (s *Study) coverage() Table {
	t := Table{Name: "coverage", Title: "Does the stated 95 % uncertainty reach the truth?",
		Note: "Of the first verdicts, which no stopping rule has chosen. Width: 1 where the stated U is exactly what 95 of 100 errors need, 1.2 where it is a fifth wider.",
		Head: []string{"characteristic", "measured by", "first verdict", "last verdict", "median U", "width"}}
	for _, k := range s.claimKeys() {
		c := s.Claims[k]
		u, width := c.Width()
		t.Rows = append(t.Rows, []string{c.Name, c.Method, c.CoverFirst.percent(), c.CoverLast.percent(),
			fmt.Sprintf("%.3g", u), fmt.Sprintf("%.2f", width)})
	}
	return t
}

func (s *Study) advice() Table {
	t := Table{Name: "advice", Title: "Advice",
		Note: "Carried out exactly, on the true saw: does the largest miss of the window grow? First turns of a screw of unknown effect are left out.",
		Head: []string{"job", "ended", "came to a verdict", "cannot go on", "worsens", "worsens beyond noise", "reckons with toe-in", "truly toe-in"}}
	for _, k := range s.jobKeys() {
		j := s.Jobs[k]
		t.Rows = append(t.Rows, []string{j.Job, j.Ended.percent(), j.Judged.percent(), j.Stopped.percent(), j.Worsens.percent(), j.WorsensMore.percent(), j.ToeIn.percent(), j.TrueToeIn.percent()})
	}
	return t
}

func (s *Study) effort() Table {
	t := Table{Name: "effort", Title: "Effort", Note: "Median (95th percentile). Set-up is once for a saw.",
		Head: []string{"job", "messages", "set-up messages", "readings", "adjustments", "moves", "something said to be amiss"}}
	for _, k := range s.jobKeys() {
		j := s.Jobs[k]
		t.Rows = append(t.Rows, []string{j.Job, spread(j.Messages, "%.0f"), spread(j.SetUp, "%.0f"), spread(j.Readings, "%.0f"),
			spread(j.Passes, "%.0f"), spread(j.Moves, "%.0f"), j.Remarked.percent()})
	}
	return t
}

func (s *Study) raceTable() Table {
	t := Table{Name: "race", Title: "Levelling against two rules of thumb",
		Note: "The same saws, tools and hands. Median (95th percentile); 20 s a reading, 45 s a nut move; a round is a set of readings after turning.",
		Head: []string{"saws", "by", "minutes", "without the checks", "moves", "rounds", "ended", "of those truly within"}}
	for _, k := range []string{Stiff, Middle, Soft, "all"} {
		r := s.Race[k]
		if r == nil {
			continue
		}
		for _, x := range []struct {
			name string
			r    Runner
		}{{"the service", r.Service}, {"one nut at a time", r.One}, {"every nut by its own reading", r.Own},
			{"one nut at a time, 1/8 turn at most", r.OneCapped}, {"every nut by its own reading, 1/8 turn at most", r.OwnCapped}} {
			t.Rows = append(t.Rows, []string{k, x.name, spread(x.r.Minutes, "%.1f"), spread(x.r.Bare, "%.1f"), spread(x.r.Moves, "%.0f"), spread(x.r.Rounds, "%.0f"), x.r.Ended.percent(), x.r.True.percent()})
		}
	}
	return t
}

func (s *Study) slipTable() Table {
	t := Table{Name: "slips", Title: "Slips, one in each conversation", Note: "Named: the service said what it was, or questioned that reading.",
		Head: []string{"slip", "happened", "noticed", "named", "ended truly within", "ended wrongly as within", "never ended"}}
	for _, k := range SlipKinds {
		if c := s.Slips[k]; c != nil {
			t.Rows = append(t.Rows, []string{string(k), c.Happened.percent(), c.Noticed.percent(), c.Named.percent(), c.EndedTrue.percent(), c.EndedWrongly.percent(), c.NeverEnded.percent()})
		}
	}
	return t
}
