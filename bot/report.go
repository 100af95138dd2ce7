package main

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"time"

	"github.com/gorilla/mux"

	chatpage "shimwright/bot/page"
	"shimwright/dialog"
	"shimwright/dialog/wording"
	"shimwright/store"
)

// getReport is GET /report/{token}: the page of one saw for whoever has its
// link. It says the same of a link that was revoked as of one that never was.
func (s *server) getReport(w http.ResponseWriter, r *http.Request) error {
	if err := s.guard.hosts.check(r); err != nil {
		return err
	}
	report, err := openReport(r.Context(), s.store, mux.Vars(r)["token"], s.now())
	if errors.Is(err, store.ErrNotFound) {
		return showProblem(w, r, notFound("There is no such report, or it was closed. Whoever gave you the link can give another."), wording.ReportClosed())
	}
	if err != nil {
		return storeProblem(err)
	}
	body, err := chatpage.Report(report)
	if err != nil {
		return internal(err)
	}
	h := w.Header()
	h.Set("Content-Type", "text/html; charset=utf-8")
	h.Set("Content-Security-Policy", chatpage.ReportPolicy()+"; frame-ancestors 'none'")
	h.Set("Cache-Control", "no-store")
	h.Set("X-Robots-Tag", "noindex, nofollow")
	_, _ = w.Write(body)
	return nil
}

// openReport returns the report that a token opens; store.ErrNotFound when it
// opens none. The directory knows a hash of it only, the saw the token itself.
func openReport(ctx context.Context, s store.Store, token string, now time.Time) (dialog.Report, error) {
	shop, err := s.Resolve(ctx, reportAddress(dialog.ReportHash(token)))
	if err != nil {
		return dialog.Report{}, err
	}
	saws, _, err := shopSaws(ctx, s, shop)
	if err != nil {
		return dialog.Report{}, err
	}
	for _, saw := range saws {
		if token != "" && saw.Report == token {
			return reportOf(ctx, s, shop, saw, now)
		}
	}
	return dialog.Report{}, store.ErrNotFound
}

// reportOf words the report of a saw.
func reportOf(ctx context.Context, s store.Store, shop string, saw dialog.Saw, now time.Time) (dialog.Report, error) {
	people, _, err := loadPeople(ctx, s, shop)
	if err != nil {
		return dialog.Report{}, err
	}
	list, err := s.Records(ctx, store.RecordQuery{Shop: shop, Saw: saw.ID})
	if err != nil {
		return dialog.Report{}, err
	}
	records, err := decodeRecords(list)
	if err != nil {
		return dialog.Report{}, err
	}
	return dialog.ReportOf(dialog.View{Shop: shop, People: people, Saws: []dialog.Saw{saw}, History: records, Locate: locate}, &saw, now), nil
}

// reportIn is the report of the saw that a command names.
func reportIn(ctx context.Context, s store.Store, q exportQuery, now time.Time) (dialog.Report, error) {
	list, _, err := shopSaws(ctx, s, q.Shop)
	if err != nil {
		return dialog.Report{}, err
	}
	saw, err := oneSaw(list, q.Saw)
	if err != nil {
		return dialog.Report{}, err
	}
	return reportOf(ctx, s, q.Shop, saw, now)
}

// reportCommand writes the report page of a saw, as HTML or as PDF.
func reportCommand(ctx context.Context, c console, args []string) (err error) {
	flags := commandFlags(c, "report")
	saw := flags.String("saw", "", "the saw, by its name; not needed where there is one only")
	shop := flags.String("shop", homeShop, "the shop")
	paper := flags.String("paper", "A4", "paper of the PDF: A4 or Letter")
	if err := flags.Parse(args); err != nil {
		return err
	}
	path := flags.Arg(0)
	kind := strings.ToLower(filepath.Ext(path))
	size, ok := papers()[strings.ToLower(*paper)]
	switch {
	case flags.NArg() > 1 || kind != "" && kind != ".html" && kind != ".pdf":
		return errors.New("give one file, e.g. report saw.html or report saw.pdf, or none for HTML on standard output")
	case !ok:
		return fmt.Errorf("there is no paper %q; give A4 or Letter", *paper)
	}
	cfg, err := LoadConfig()
	if err != nil {
		return err
	}
	a, err := openArchive(ctx, cfg)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, a.close()) }()
	report, err := a.reportOf(ctx, exportQuery{Shop: *shop, Saw: *saw, One: true})
	if err != nil {
		return err
	}
	body, err := chatpage.Report(report)
	if err != nil {
		return err
	}
	if kind == ".pdf" {
		if body, err = printPDF(ctx, body, size); err != nil {
			return err
		}
	}
	return writeOut(c, path, body)
}

// papers are the sizes of paper that a style sheet names.
func papers() map[string]string { return map[string]string{"a4": "A4", "letter": "letter"} }

// browsers are the names under which a Chromium is installed.
func browsers() []string {
	return []string{"chromium", "chromium-browser", "google-chrome", "google-chrome-stable"}
}

// printPDF prints a page of HTML with an installed Chromium, without a window.
func printPDF(ctx context.Context, html []byte, paper string) ([]byte, error) {
	program := ""
	for _, name := range browsers() {
		if found, err := exec.LookPath(name); err == nil && program == "" {
			program = found
		}
	}
	if program == "" {
		return nil, fmt.Errorf("a PDF needs Chromium, and none of %s is installed; write the report as .html and print it from any browser", strings.Join(browsers(), ", "))
	}
	dir, err := os.MkdirTemp("", "shimwright-report-*")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	page, out := filepath.Join(dir, "report.html"), filepath.Join(dir, "report.pdf")
	if err := os.WriteFile(page, sized(html, paper), 0o600); err != nil {
		return nil, err
	}
	options := []string{"--headless", "--disable-gpu", "--no-first-run", "--disable-background-networking", "--disable-component-update",
		"--user-data-dir=" + filepath.Join(dir, "profile"), "--no-pdf-header-footer", "--print-to-pdf=" + out}
	if os.Geteuid() == 0 {
		options = append(options, "--no-sandbox") // it refuses root otherwise; the page is our own and loads nothing
	}
	ctx, cancel := context.WithTimeout(ctx, time.Minute)
	defer cancel()
	said, err := exec.CommandContext(ctx, program, append(options, "file://"+page)...).CombinedOutput()
	pdf, readErr := os.ReadFile(out)
	if err != nil || readErr != nil {
		return nil, fmt.Errorf("%s could not print the report (%v): %s", program, errors.Join(err, readErr), clip(strings.TrimSpace(string(said))))
	}
	return pdf, nil
}

// sized puts the size of the paper in front of the page's own style. The
// policy names that style by its hash, so it goes with the policy.
func sized(html []byte, paper string) []byte {
	text := string(html)
	begin := strings.Index(text, `<meta http-equiv="Content-Security-Policy"`)
	end := begin + strings.Index(text[begin:], ">") + 1
	return []byte(text[:begin] + "<style>@page { size: " + paper + "; }</style>" + text[end:])
}
