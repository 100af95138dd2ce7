package main

import (
	"bytes"
	"errors"
	"html/template"
	"io"
	"net/http"
	"strings"

	"github.com/gorilla/mux"
)

// cookieLife is how long a device stays paired, in seconds: a year. Revoking
// it ends it at once.
const cookieLife = 365 * 24 * 60 * 60

// pairPage is what a pairing link opens: a page with one button. The link is
// used up by the button only, so that neither a preview in a messenger nor a
// scanner that fetches it spends it.
var pairPage = template.Must(template.New("pair").Parse(`<!doctype html>
<html lang="en">
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="robots" content="noindex">
<title>Pair this device</title>
<link rel="icon" href="/page/icon.svg" type="image/svg+xml">
<link rel="stylesheet" href="/page/page.css">
<link rel="stylesheet" href="/pair.css">
<main>
{{if .Person}}<h1>Pair this device</h1>
<p>It will speak for {{.Person}}, until it is shut out again.</p>
<form method="post"><button type="submit">Pair</button></form>
{{else}}<h1>This link is used up</h1>
<p>Each link works once, for {{.Minutes}} minutes. Ask for a new one.</p>
{{end}}</main>
</html>
`))

// pairStyle goes with the chat page's own style, which has the colours.
const pairStyle = `body { display: block; height: auto; overflow: auto; }
main { display: block; max-width: 32rem; margin: 0 auto; padding: 1.5rem 1.25rem; }
h1 { margin: 0 0 1rem; font-size: 1.5rem; }
p { margin: 0 0 1.5rem; }
button { width: 100%; min-height: 3.5rem; font-weight: 600; }
`

// getPairStyle is GET /pair.css.
func (s *server) getPairStyle(w http.ResponseWriter, _ *http.Request) error {
	w.Header().Set("Content-Type", "text/css; charset=utf-8")
	_, _ = io.WriteString(w, pairStyle)
	return nil
}

// getPair is GET /pair/{token}.
func (s *server) getPair(w http.ResponseWriter, r *http.Request) error {
	if err := s.pairable(r); err != nil {
		return err
	}
	person, err := s.pairing.peek(r.Context(), mux.Vars(r)["token"])
	if err != nil && !errors.Is(err, errSpent) {
		return storeProblem(err)
	}
	return showPair(w, person)
}

// postPair is POST /pair/{token}: it sets the device cookie and leads to the
// chat page.
func (s *server) postPair(w http.ResponseWriter, r *http.Request) error {
	if err := s.pairable(r); err != nil {
		return err
	}
	if _, err := readBody(w, r); err != nil {
		return err
	}
	token, err := s.pairing.accept(r.Context(), mux.Vars(r)["token"], r.UserAgent())
	if errors.Is(err, errSpent) {
		return showPair(w, "")
	}
	if err != nil {
		return storeProblem(err)
	}
	http.SetCookie(w, &http.Cookie{Name: cookieName, Value: token, Path: "/", MaxAge: cookieLife,
		HttpOnly: true, Secure: s.secure, SameSite: http.SameSiteStrictMode})
	w.Header().Set("Cache-Control", "no-store")
	http.Redirect(w, r, "/", http.StatusSeeOther)
	return nil
}

// pairable reports, as a *problem, why no device may be paired by a request.
func (s *server) pairable(r *http.Request) error {
	if !s.guard.pairing {
		return notFound("Pairing is off (SHIMWRIGHT_PAIRING).")
	}
	return s.guard.hosts.check(r)
}

func showPair(w http.ResponseWriter, person string) error {
	var b bytes.Buffer
	err := pairPage.Execute(&b, struct {
		Person  string
		Minutes int
	}{strings.TrimSpace(person), int(linkLife.Minutes())})
	if err != nil {
		return internal(err)
	}
	h := w.Header()
	h.Set("Content-Type", "text/html; charset=utf-8")
	h.Set("Cache-Control", "no-store")
	if person == "" {
		w.WriteHeader(http.StatusGone)
	} else {
		// Under no-referrer a browser says "Origin: null" of a form (Fetch, "append
		// a request Origin header"), and whose page asked could not be told.
		h.Set("Referrer-Policy", "same-origin")
	}
	_, _ = w.Write(b.Bytes())
	return nil
}
