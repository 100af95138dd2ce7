package page

import (
	"fmt"
	"math"
	"net/http"
	"net/http/httptest"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

func get(t *testing.T, method, path, tag string) *httptest.ResponseRecorder {
	t.Helper()
	r := httptest.NewRequest(method, path, nil)
	if tag != "" {
		r.Header.Set("If-None-Match", tag)
	}
	w := httptest.NewRecorder()
	Handler().ServeHTTP(w, r)
	return w
}

func TestHandler(t *testing.T) {
	home := get(t, "GET", "/", "")
	if home.Code != 200 || home.Header().Get("Content-Type") != "text/html; charset=utf-8" {
		t.Fatalf("GET / answers %d %s", home.Code, home.Header().Get("Content-Type"))
	}
	for _, bad := range []string{"'unsafe-inline'", "'unsafe-eval'", "*", "http:", "https:", "data:", "blob:"} {
		if strings.Contains(home.Header().Get("Content-Security-Policy"), bad) {
			t.Errorf("the policy allows %s", bad)
		}
	}
	if !strings.HasPrefix(home.Header().Get("Content-Security-Policy"), "default-src 'none'; script-src 'self'; style-src 'self';") {
		t.Errorf("policy %q", home.Header().Get("Content-Security-Policy"))
	}
	if w := get(t, "GET", "/", home.Header().Get("ETag")); w.Code != http.StatusNotModified || w.Body.Len() > 0 {
		t.Errorf("a browser that has the page gets %d and %d bytes", w.Code, w.Body.Len())
	}
	for path, want := range map[string]int{"/page/": 404, "/page/index.html": 404, "/page/../page.go": 404, "/page/none.js": 404, "/index.html": 404} {
		if w := get(t, "GET", path, ""); w.Code != want {
			t.Errorf("GET %s answers %d, want %d", path, w.Code, want)
		}
	}
	if w := get(t, "POST", "/", ""); w.Code != http.StatusMethodNotAllowed || w.Header().Get("Allow") == "" {
		t.Errorf("POST / answers %d, Allow %q", w.Code, w.Header().Get("Allow"))
	}
}

// TestNothingFromElsewhere follows every address that the page and its files
// name: each is one of its own.
func TestNothingFromElsewhere(t *testing.T) {
	seen := map[string]bool{}
	var follow func(path string)
	named := regexp.MustCompile(`(?:src=|href=|"src": |import |from )"([^"]+)"`)
	follow = func(path string) {
		if seen[path] {
			return
		}
		seen[path] = true
		w := get(t, "GET", path, "")
		if w.Code != 200 || w.Header().Get("Content-Type") == "" {
			t.Errorf("%s answers %d %q", path, w.Code, w.Header().Get("Content-Type"))
		}
		body := w.Body.String()
		if strings.Contains(w.Header().Get("Content-Type"), "html") && regexp.MustCompile(`(?i)<style|\son\w+=|style=|<script[^>]*>[^<]`).MatchString(body) {
			t.Errorf("%s holds inline script or style", path)
		}
		if i := strings.Index(strings.ReplaceAll(body, "http://www.w3.org/2000/svg", ""), "://"); i >= 0 {
			t.Errorf("%s names an address elsewhere", path)
		}
		for _, m := range named.FindAllStringSubmatch(body, -1) {
			follow(strings.Replace(m[1], "./", Prefix, 1))
		}
	}
	follow("/")
	entries, err := files.ReadDir("static")
	if err != nil {
		t.Fatal(err)
	}
	if len(seen) != len(entries) {
		t.Errorf("%d files are reached from the page, %d are embedded: %v", len(seen), len(entries), seen)
	}
}

// TestContrast computes the contrast of every pair of colours that the style
// sheet puts on each other, light and dark, by the formula of WCAG 2.2
// (definitions of contrast ratio and relative luminance): at least 4.5:1 for
// text (1.4.3), 3:1 for the edges of what can be used (1.4.11).
func TestContrast(t *testing.T) {
	css, err := files.ReadFile("static/page.css")
	if err != nil {
		t.Fatal(err)
	}
	light, dark, ok := strings.Cut(string(css), "@media (prefers-color-scheme: dark)")
	if !ok {
		t.Fatal("there is no dark scheme")
	}
	pairs := []struct {
		ink, ground string
		least       float64
	}{
		{"ink", "ground", 4.5}, {"ink", "paper", 4.5}, {"ink", "mine", 4.5}, {"ink", "care-paper", 4.5},
		{"quiet", "ground", 4.5}, {"quiet", "paper", 4.5}, {"quiet", "mine", 4.5}, {"quiet", "care-paper", 4.5},
		{"work", "paper", 4.5}, {"on-work", "work", 4.5}, {"care", "care-paper", 4.5},
		{"edge", "paper", 3}, {"edge", "ground", 3}, {"work", "ground", 3}, {"care", "ground", 3}, {"work", "care-paper", 3}, {"work", "mine", 3},
	}
	for scheme, text := range map[string]string{"light": light, "dark": dark} {
		for _, p := range pairs {
			if got := contrast(colour(t, text, p.ink), colour(t, text, p.ground)); got < p.least {
				t.Errorf("%s: %s on %s has %.2f:1, want %.1f:1", scheme, p.ink, p.ground, got, p.least)
			}
		}
	}
	// From the definition: black on white is 21:1, a colour on itself 1:1.
	if got := contrast([3]float64{0, 0, 0}, [3]float64{1, 1, 1}); math.Abs(got-21) > 1e-9 {
		t.Errorf("black on white has %g:1, want 21:1", got)
	}
}

func colour(t *testing.T, css, name string) [3]float64 {
	t.Helper()
	m := regexp.MustCompile(`--` + name + `: #([0-9a-f]{6});`).FindStringSubmatch(css)
	if m == nil {
		t.Fatalf("no colour %s", name)
	}
	var c [3]float64
	for i := range c {
		v, err := strconv.ParseUint(m[1][2*i:2*i+2], 16, 8)
		if err != nil {
			t.Fatal(err)
		}
		c[i] = float64(v) / 255
	}
	return c
}

func contrast(a, b [3]float64) float64 {
	luminance := func(c [3]float64) float64 {
		for i, v := range c {
			if v <= 0.04045 {
				c[i] = v / 12.92
			} else {
				c[i] = math.Pow((v+0.055)/1.055, 2.4)
			}
		}
		return 0.2126*c[0] + 0.7152*c[1] + 0.0722*c[2]
	}
	x, y := luminance(a), luminance(b)
	return (math.Max(x, y) + 0.05) / (math.Min(x, y) + 0.05)
}

func ExampleHandler() {
	service := httptest.NewServer(Handler())
	defer service.Close()
	r, err := http.Get(service.URL + "/page/page.css")
	if err != nil {
		fmt.Println(err)
		return
	}
	r.Body.Close()
	fmt.Println(r.Status, r.Header.Get("Content-Type"))
	// Output: 200 OK text/css; charset=utf-8
}
