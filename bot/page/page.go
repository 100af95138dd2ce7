// Package page is the chat page: one page of plain HTML, CSS and JavaScript
// that holds a conversation over the HTTP interface of the service. It is
// embedded in the program and loads nothing from anywhere else.
//
// The page keeps what is typed while the service is away and sends it later,
// under the same id and with the time at which it was typed. It does not keep
// the words that confirm something about safety: those must be true when they
// arrive, so they are asked for again.
package page

import (
	"crypto/sha256"
	"embed"
	"encoding/base64"
	"net/http"
	"strings"
)

// Prefix is the path below which the page's own files are served.
const Prefix = "/page/"

// policy lets the page load its own files and speak to its own service, and
// nothing else (Content Security Policy Level 3).
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; " +
	"manifest-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"

//go:embed static
var files embed.FS

// types are the media types of the files, by the end of their names: the
// system's own table is not asked, so that every machine serves the same.
var types = [...][2]string{
	{".html", "text/html; charset=utf-8"},
	{".css", "text/css; charset=utf-8"},
	{".js", "text/javascript; charset=utf-8"},
	{".svg", "image/svg+xml"},
	{".webmanifest", "application/manifest+json"},
}

// file is one file as it is served.
type file struct {
	body []byte
	kind string
	tag  string // entity tag: a hash of the body
}

// Handler returns the handler of "/" and of the files below Prefix. Other
// paths are answered with 404.
func Handler() http.Handler {
	served := map[string]file{}
	entries, err := files.ReadDir("static")
	if err != nil {
		panic(err) // they are part of the program
	}
	for _, e := range entries {
		body, err := files.ReadFile("static/" + e.Name())
		if err != nil {
			panic(err)
		}
		hash := sha256.Sum256(body)
		f := file{body: body, tag: `"` + base64.RawURLEncoding.EncodeToString(hash[:12]) + `"`}
		for _, t := range types {
			if strings.HasSuffix(e.Name(), t[0]) {
				f.kind = t[1]
			}
		}
		served[Prefix+e.Name()] = f
	}
	served["/"] = served[Prefix+"index.html"]
	delete(served, Prefix+"index.html")
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		f, ok := served[r.URL.Path]
		if !ok {
			http.Error(w, "There is no such page; the chat is at /.", http.StatusNotFound)
			return
		}
		f.serve(w, r)
	})
}

// serve writes the file, or that the browser's copy is still the same.
func (f file) serve(w http.ResponseWriter, r *http.Request) {
	if r.Method != http.MethodGet && r.Method != http.MethodHead {
		w.Header().Set("Allow", "GET, HEAD")
		http.Error(w, "The page can only be read.", http.StatusMethodNotAllowed)
		return
	}
	h := w.Header()
	h.Set("Content-Security-Policy", policy)
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Referrer-Policy", "no-referrer")
	h.Set("Content-Type", f.kind)
	// Asked for each time, so that page and service are of one version.
	h.Set("Cache-Control", "no-cache")
	h.Set("ETag", f.tag)
	if strings.Contains(r.Header.Get("If-None-Match"), f.tag) {
		w.WriteHeader(http.StatusNotModified)
		return
	}
	_, _ = w.Write(f.body)
}
