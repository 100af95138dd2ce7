package main

import (
	"errors"
	"flag"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	chatpage "shimwright/bot/page"
	"shimwright/bot/testenv"
	"shimwright/dialog"
	"shimwright/store"
)

var lookInto = flag.String("look", "", "directory to write pages to, for a person to look at")

// filled is a service with the demo shop in it.
func filled(t *testing.T, change ...func(*Config)) *service {
	t.Helper()
	s := newService(t, change...)
	s.clock.set(demoDay(660))
	if _, err := bringIn(t.Context(), s.store, importing{Shop: homeShop, Copy: demoShop()}, s.clock.now()); err != nil {
		t.Fatal(err)
	}
	return s
}

// sayHome says something as the owner on this machine and returns the answer.
func (s *service) sayHome(text string) answer {
	s.Helper()
	return s.post(posted{ID: "m-" + newID(), Conversation: "bench", Text: text})
}

var reportLink = regexp.MustCompile(`/report/[a-z0-9]{28}`)

// openedReport asks for the report's link and returns its path.
func (s *service) openedReport() string {
	s.Helper()
	a := s.sayHome("report")
	path := reportLink.FindString(a.Replies[0].Text)
	if path == "" {
		s.Fatalf("no link in %q", a.Replies[0].Text)
	}
	return path
}

// The page is there for whoever has the link, says what the records say, loads
// nothing and can do nothing; once revoked it is gone for good.
func TestReportPage(t *testing.T) {
	s := filled(t)
	path := s.openedReport()
	anybody := header("Origin", "") // no cookie, no signature
	res := s.request("GET", path, "", anybody)
	if res.StatusCode != 200 || res.Header.Get("Content-Type") != "text/html; charset=utf-8" {
		t.Fatalf("status %d: %.200s", res.StatusCode, res.body)
	}
	for name, want := range map[string]string{"Cache-Control": "no-store", "Referrer-Policy": "no-referrer", "X-Robots-Tag": "noindex, nofollow", "X-Content-Type-Options": "nosniff"} {
		if got := res.Header.Get(name); got != want {
			t.Errorf("%s: %q, want %q", name, got, want)
		}
	}
	policy := res.Header.Get("Content-Security-Policy")
	if !strings.HasPrefix(policy, "default-src 'none'; style-src 'sha256-") || strings.Contains(policy, "unsafe") || strings.Contains(policy, "script") || !strings.Contains(policy, "frame-ancestors 'none'") {
		t.Errorf("policy %q", policy)
	}
	body := string(res.body)
	for _, want := range []string{"<h1>Old Blue</h1>", "Slider toe", "&#43;0.024 mm ± 0.008 mm", "0 to 0.05 mm", "Ada Berg", "plug pulled", "Next check", "At most 0.02 mm"} {
		if !strings.Contains(body, want) {
			t.Errorf("the page lacks %q", want)
		}
	}
	for _, bad := range []string{"<script", "http://", "https://", "javascript:", " on", "url(", "@import"} {
		if i := strings.Index(strings.ReplaceAll(strings.ToLower(body), "http://www.w3.org/2000/svg", ""), bad); i >= 0 && bad != " on" {
			t.Errorf("the page holds %q: %.80s", bad, body[max(0, i-20):])
		}
	}
	if regexp.MustCompile(`\son[a-z]+=|\ssrc=|\shref=|\sstyle=`).MatchString(body) {
		t.Error("the page has an attribute that loads, runs or styles")
	}
	if n := strings.Count(body, "<figure>"); n != 6 {
		t.Errorf("%d charts, want six", n)
	}
	// The same link as long as it is open.
	if again := s.openedReport(); again != path {
		t.Errorf("asked again: %s, want %s", again, path)
	}
	raw := strings.TrimPrefix(path, dialog.ReportPath)
	if _, err := s.store.Resolve(t.Context(), reportAddress(raw)); err == nil {
		t.Error("the directory knows the token itself")
	}

	s.sayHome("revoke report")
	if res := s.request("GET", path, ""); res.StatusCode != 404 || strings.Contains(string(res.body), "Old Blue") {
		t.Errorf("revoked: status %d %s", res.StatusCode, res.body)
	}
	never := s.request("GET", "/report/"+strings.Repeat("a", 28), "")
	if never.StatusCode != 404 {
		t.Errorf("a token that never was: %d", never.StatusCode)
	}
	// A person reads a page, in their language, not what is for programs.
	for lang, want := range map[string]string{"en": "There is no such report", "de": "Diesen Bericht gibt es nicht", "es": "No hay tal informe"} {
		res := s.request("GET", path, "", header("Accept", "text/html,*/*;q=0.8"), header("Accept-Language", lang))
		if res.StatusCode != 404 || res.Header.Get("Content-Type") != "text/html; charset=utf-8" || !strings.Contains(string(res.body), want) {
			t.Errorf("revoked, in %s: status %d %s", lang, res.StatusCode, res.body)
		}
	}
	if _, err := s.store.Resolve(t.Context(), reportAddress(dialog.ReportHash(raw))); !errors.Is(err, store.ErrNotFound) {
		t.Errorf("the address is left: %v", err)
	}
	if again := s.openedReport(); again == path {
		t.Error("a revoked link is given out again")
	}
	if res := s.request("GET", path, ""); res.StatusCode != 404 {
		t.Errorf("the old link opens the new report: %d", res.StatusCode)
	}
	if strings.Contains(s.log.String(), raw) {
		t.Error("the log holds a token")
	}
}

// What people wrote is text on the page, whatever it holds.
func TestReportHostileWords(t *testing.T) {
	bad := `</style><script>alert(1)</script><img src=x onerror="alert(1)">`
	s := newService(t)
	c := demoShop()
	c.Saws[0].Profile.Name, c.Saws[0].Profile.BladeName, c.People[0].Name = bad, bad, bad
	for i := range c.Records {
		c.Records[i].Remarks, c.Records[i].Tool = bad, bad
	}
	if _, err := bringIn(t.Context(), s.store, importing{Shop: homeShop, Copy: c}, demoDay(660)); err != nil {
		t.Fatal(err)
	}
	body := string(s.request("GET", s.openedReport(), "").body)
	if strings.Contains(body, "<script") || strings.Contains(body, "<img") || strings.Count(body, "</style>") != 1 {
		t.Error("what was written is taken for HTML")
	}
}

// A PDF of each paper, printed by the real browser, has two pages, even with
// everything that a saw can have.
func TestReportPrinted(t *testing.T) {
	testenv.Program(t, browsers()...)
	pdfinfo := testenv.Program(t, "pdfinfo")
	s := filled(t)
	report, err := reportIn(t.Context(), s.store, exportQuery{Shop: homeShop, One: true}, s.clock.now())
	if err != nil {
		t.Fatal(err)
	}
	html, err := chatpage.Report(report)
	if err != nil {
		t.Fatal(err)
	}
	if *lookInto != "" {
		if err := os.WriteFile(filepath.Join(*lookInto, "report.html"), html, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for paper, points := range map[string]string{"A4": "594.96 x 841.92", "letter": "612 x 792"} {
		pdf, err := printPDF(t.Context(), html, paper)
		if err != nil {
			t.Fatal(err)
		}
		file := filepath.Join(t.TempDir(), "report.pdf")
		if *lookInto != "" {
			file = filepath.Join(*lookInto, "report-"+paper+".pdf")
		}
		if err := os.WriteFile(file, pdf, 0o600); err != nil {
			t.Fatal(err)
		}
		out, err := exec.Command(pdfinfo, file).CombinedOutput()
		if err != nil {
			t.Fatalf("%v: %s", err, out)
		}
		pages := regexp.MustCompile(`Pages:\s+(\d+)`).FindSubmatch(out)
		if n, _ := strconv.Atoi(string(pages[1])); n != 2 {
			t.Errorf("%s: %d pages, want 2", paper, n)
		}
		if !strings.Contains(string(out), points) {
			t.Errorf("%s: the paper is not %s:\n%s", paper, points, out)
		}
	}
}

func TestReportNotFound(t *testing.T) {
	s := newService(t)
	for _, path := range []string{"/report/", "/report/x", "/report/" + strings.Repeat("x", 4000)} {
		if res := s.request("GET", path, ""); res.StatusCode != http.StatusNotFound && res.StatusCode != http.StatusMovedPermanently {
			t.Errorf("%.30s: status %d", path, res.StatusCode)
		}
	}
}
