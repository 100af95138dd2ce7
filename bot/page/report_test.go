package page

import (
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"shimwright/dialog"
)

// sample is a report with a row of each kind.
func sample() dialog.Report {
	r := dialog.Report{Lang: "en", Title: "Old Blue", Made: "As of 2 March 2026", Glance: "1 of 6 characteristics inside their tolerance and fresh.",
		Next: "Next check 2 June 2026: Slider toe is drifting towards its limit.", Warning: "Do not run this saw: it was left open. Nuts may be loose, the guard off.",
		Heads: dialog.ReportHeads{Rows: "State at a glance", What: "What", State: "State", Found: "Found", Left: "Left", Tolerance: "Tolerance",
			Date: "Date", By: "By", With: "With", Charts: "How it moved", Facts: "The saw", Remarks: "Remarks", Safety: "Before anybody works on it"},
		Facts: []dialog.ReportFact{{Name: "Blade diameter", Value: "315 mm"}}, Foot: "± is the expanded uncertainty (95 %).",
		Remarks: []string{"Runout of the flange: cleaned."}, Safety: []string{"Plug pulled and kept.", "The manual comes first."}}
	for _, mark := range []string{"within", "outside", "undecided", "open", "stale", "due"} {
		r.Rows = append(r.Rows, dialog.ReportRow{What: "Slider toe", Found: "+0.044 mm ± 0.008 mm", Left: "+0.024 mm ± 0.008 mm", Tolerance: "0 to 0.05 mm",
			Date: "2 March 2026", By: "Ada", With: "Indicator", Mark: mark, State: mark})
	}
	return r
}

// serveReport serves a report as the service does.
func serveReport(t *testing.T, body []byte) string {
	t.Helper()
	s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path != "/report" {
			t.Errorf("the page asks for %s", r.URL.Path)
			http.NotFound(w, r)
			return
		}
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		w.Header().Set("Content-Security-Policy", ReportPolicy())
		_, _ = w.Write(body)
	}))
	t.Cleanup(s.Close)
	return s.URL + "/report"
}

// TestReportInABrowser looks at the page in a real browser, phone and desk,
// light and dark: it fits the width, its style counts under its policy, it asks
// for nothing else, and the console has nothing to complain of.
func TestReportInABrowser(t *testing.T) {
	body, err := Report(sample())
	if err != nil {
		t.Fatal(err)
	}
	if file := os.Getenv("SHIMWRIGHT_LOOK_REPORT"); file != "" {
		if body, err = os.ReadFile(file); err != nil {
			t.Fatal(err)
		}
	}
	url := serveReport(t, body)
	for name, width := range map[string]int64{"phone": 390, "narrow": 320, "desk": 1280} {
		b := open(t, url, width, 844)
		for _, scheme := range []string{"light", "dark"} {
			b.scheme(scheme)
			if over := js[float64](b, `document.documentElement.scrollWidth - window.innerWidth`); over > 0 {
				t.Errorf("%s: the page is %g px too wide", name, over)
			}
			ground, ink := js[string](b, `getComputedStyle(document.body).backgroundColor`), js[string](b, `getComputedStyle(document.body).color`)
			if want := map[string]string{"light": "rgb(246, 243, 236)", "dark": "rgb(20, 25, 28)"}[scheme]; ground != want || ink == ground {
				t.Errorf("%s, %s: ground %s, ink %s", name, scheme, ground, ink)
			}
			if *look != "" {
				png, err := chromedp.Run(b.ctx, chromedp.FullScreenshot(100))
				if err != nil {
					t.Fatal(err)
				}
				if err := os.WriteFile(filepath.Join(*look, "report-"+name+"-"+scheme+".png"), png, 0o644); err != nil {
					t.Fatal(err)
				}
			}
		}
		if list := b.complaints(true); len(list) > 0 {
			t.Errorf("%s: the console says %v", name, list)
		}
		if n := js[float64](b, `document.querySelectorAll("script, img, link, iframe, form, [style], [onclick]").length`); n > 0 {
			t.Errorf("%s: %g elements that run or load", name, n)
		}
	}
}

// TestReportContrast holds the page's colours, light and dark, to WCAG 2.2 as
// the chat page's are.
func TestReportContrast(t *testing.T) {
	light, dark, ok := strings.Cut(reportStyle, "@media screen and (prefers-color-scheme: dark)")
	if !ok {
		t.Fatal("there is no dark scheme")
	}
	for scheme, css := range map[string]string{"light": light, "dark": dark} {
		for _, p := range [][2]string{{"ink", "ground"}, {"ink", "paper"}, {"quiet", "ground"}, {"quiet", "paper"}, {"care", "ground"}, {"care", "paper"}, {"ink", "care-paper"}} {
			if got := contrast(colour(t, css, p[0]), colour(t, css, p[1])); got < 4.5 {
				t.Errorf("%s: %s on %s has %.2f:1", scheme, p[0], p[1], got)
			}
		}
	}
}
