package main

import (
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"shimwright/bot/virtualsaw"
)

// sure is the confidence with which the counts must prove a rate wrong before a
// test fails. The seeds are fixed, so that it fails always or never.
const sure = 0.999

// atLeast fails when the counts prove that the true rate is below want.
func atLeast(t *testing.T, what string, s virtualsaw.Share, want float64) {
	t.Helper()
	if _, high := s.Interval(sure); high < want {
		t.Errorf("%s: %d of %d, at most %.3f, want %.3f", what, s.Of, s.All, high, want)
	}
}

// atMost fails when the counts prove that the true rate is above want.
func atMost(t *testing.T, what string, s virtualsaw.Share, want float64) {
	t.Helper()
	if low, _ := s.Interval(sure); low > want {
		t.Errorf("%s: %d of %d, at least %.3f, want at most %.3f", what, s.Of, s.All, low, want)
	}
}

// TestVirtualSaws goes through a few saws with the whole service, every job and
// every slip, and holds the rates to what is promised. `simulate` does the same
// for as many thousand as one has time for.
func TestVirtualSaws(t *testing.T) {
	s := simulation{seed: 1, saws: 40, slips: 8, workers: 2, jobs: virtualsaw.Jobs[:]}
	if testing.Short() {
		s.saws, s.slips = 6, 1
	}
	study, err := s.run(t.Context(), io.Discard)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range append(study.Faults, study.Endless...) {
		t.Error("broke off or came to no end: " + f)
	}
	for _, c := range study.Claims {
		name := strings.TrimSpace(c.Name + " " + c.Method)
		atLeast(t, name+": truly within where it ended as within", c.True, 0.99)
		atLeast(t, name+": not toed in where it ended as open", c.NotToedIn, 0.99)
		atLeast(t, name+": the truth within the stated uncertainty", c.CoverFirst, 0.93)
		atMost(t, name+": the truth within five sixths of it", c.Narrower, 0.95)
	}
	for _, j := range study.Jobs {
		if j.ToeIn.Of > 0 {
			t.Errorf("%s: toe-in was advised %d times", j.Job, j.ToeIn.Of)
		}
		atMost(t, j.Job+": advice that leads away, beyond noise", j.WorsensMore, 0.01)
	}
	for _, c := range study.Slips {
		atMost(t, string(c.Kind)+": ended wrongly as within", c.EndedWrongly, 0.01)
	}
	if r := study.Race["all"]; r != nil {
		service, rounds := virtualsaw.Quantile(r.Service.Minutes, 0.5), virtualsaw.Quantile(r.Service.Rounds, 0.95)
		rule := min(virtualsaw.Quantile(r.OneCapped.Minutes, 0.5), virtualsaw.Quantile(r.OwnCapped.Minutes, 0.5))
		t.Logf("levelling: %.1f minutes in the median, %.1f by the better rule of thumb; 95 of 100 within %.0f rounds", service, rule, rounds)
		// a median of fewer saws is that of whichever they are
		if few := len(r.Service.Minutes) < 30; !few && service > 1.15*rule || rounds > 4 {
			t.Errorf("levelling takes %.1f minutes in the median and %.0f rounds for 95 of 100; the better rule of thumb takes %.1f minutes", service, rounds, rule)
		}
	}
}

// The report of a run is complete: one page that names every table and figure,
// and a file of each.
func TestSimulateReport(t *testing.T) {
	folder := filepath.Join(t.TempDir(), "report")
	var out, errs strings.Builder
	c := console{in: strings.NewReader(""), out: &out, err: &errs}
	claims := filepath.Join(t.TempDir(), "claims.csv")
	if code := run(t.Context(), c, []string{"simulate", "-saws", "3", "-slips", "1", "-jobs", "slider-level,slider-parallel", "-claims", claims, "-out", folder}); code != 0 {
		t.Fatalf("status %d: %s", code, errs.String())
	}
	page, err := os.ReadFile(filepath.Join(folder, "report.md"))
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"What the service says at the end", "uncertainty", "Advice", "Effort", "rules of thumb", "Slips", "minutes.svg", "coverage.svg", "slips.svg"} {
		if !strings.Contains(string(page), want) {
			t.Errorf("the page does not have %q", want)
		}
	}
	for _, f := range []string{"ends.csv", "coverage.csv", "advice.csv", "effort.csv", "race.csv", "slips.csv", "minutes.svg", "minutes.png", "coverage.png", "slips.png"} {
		if s, err := os.Stat(filepath.Join(folder, f)); err != nil || s.Size() == 0 {
			t.Errorf("%s: %v", f, err)
		}
	}
	if b, err := os.ReadFile(claims); err != nil || !strings.Contains(string(b), "slider.height") {
		t.Errorf("no verdicts in %s (%v)", claims, err)
	}
}

// Bad flags of the command are told with what is good.
func TestSimulateBadFlags(t *testing.T) {
	for _, args := range [][]string{{"simulate", "-slip", "dropped it"}, {"simulate", "-saws", "many"}, {"simulate", "-saws", "0"}, {"simulate", "-saws", "-1"}, {"simulate", "-workers", "0"},
		{"simulate", "-saws", "1", "-jobs", "slider-levle"}, {"demo", "-slow"}} {
		var out, errs strings.Builder
		if code := run(t.Context(), console{in: strings.NewReader(""), out: &out, err: &errs}, args); code == 0 || errs.Len() == 0 {
			t.Errorf("%v: status %d, said %q", args, code, errs.String())
		}
	}
}

// The demonstration ends by itself on a levelled saw and leaves a page that needs
// nothing from elsewhere.
func TestDemo(t *testing.T) {
	file := filepath.Join(t.TempDir(), "report.html")
	var out, errs strings.Builder
	if code := run(t.Context(), console{in: strings.NewReader(""), out: &out, err: &errs}, []string{"demo", "-fast", file}); code != 0 {
		t.Fatalf("status %d: %s", code, errs.String())
	}
	for _, want := range []string{"> slider-level", "unplugged", "turn", "Level: worst", file} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("the conversation does not have %q", want)
		}
	}
	page, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(string(page), "Ash") || strings.Contains(string(page), "src=\"http") {
		t.Errorf("the page does not name the saw, or is not complete in itself:\n%.300s", page)
	}
}
