package main

import (
	"bytes"
	"errors"
	"html/template"
	"io"
	"net/http"

	"github.com/gorilla/mux"

	"shimwright/dialog"
	"shimwright/dialog/wording"
)

// cookieLife is how long a device stays paired, in seconds: a year. Revoking
// it ends it at once.
const cookieLife = 365 * 24 * 60 * 60

// pairPage is what a pairing link opens: a page with one button. The link is
// used up by the button only, so that neither a preview in a messenger nor a
// scanner that fetches it spends it.
var pairPage = template.Must(template.New("pair").Parse(`<!doctype html>
<html lang="{{.Lang}}">
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="light dark">
<meta name="robots" content="noindex">
<title>{{.Title}}</title>
<link rel="icon" href="/page/icon.svg" type="image/svg+xml">
<link rel="stylesheet" href="/page/page.css">
<link rel="stylesheet" href="/pair.css">
<main>
<h1>{{.Title}}</h1>
<p>{{.Text}}</p>
{{if .Button}}<form method="post"><button type="submit">{{.Button}}</button></form>
{{end}}</main>
</html>
`))

// pairStyle goes with the chat page's own style, which has the colours.
const pairStyle = `body { display: block; height: auto; overflow: auto; }
main { display: block; max-width: 32rem; margin: 0 auto; padding: 1.5rem 1.25rem; }
h1 { margin: 0 0 1rem; overflow: visible; font-size: 1.5rem; line-height: 1.2; overflow-wrap: break-word; }
p { margin: 0 0 1.5rem; overflow-wrap: break-word; }
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
		return pairFailed(w, r, err)
	}
	person, err := s.pairing.peek(r.Context(), mux.Vars(r)["token"])
	switch {
	case errors.Is(err, errSpent):
		return showPair(w, pairLang(r), http.StatusGone, wording.PairSpent(linkLife))
	case err != nil:
		return pairFailed(w, r, storeProblem(err))
	}
	lang := pairLang(r)
	if lang == "" {
		lang = person.Lang
	}
	return showPair(w, lang, http.StatusOK, wording.PairFor(person.Name, person.Role == dialog.Owner))
}

// postPair is POST /pair/{token}: it sets the device cookie and leads to the
// chat page.
func (s *server) postPair(w http.ResponseWriter, r *http.Request) error {
	if err := s.pairable(r); err != nil {
		return pairFailed(w, r, err)
	}
	if _, err := readBody(w, r); err != nil {
		return pairFailed(w, r, err)
	}
	token, err := s.pairing.accept(r.Context(), mux.Vars(r)["token"], r.UserAgent())
	switch {
	case errors.Is(err, errSpent):
		return showPair(w, pairLang(r), http.StatusGone, wording.PairSpent(linkLife))
	case err != nil:
		return pairFailed(w, r, storeProblem(err))
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

// pairLang is the language that a browser asks for, "" where none of its own is
// spoken here.
func pairLang(r *http.Request) string { return wording.Accepted(r.Header.Get("Accept-Language")) }

// pairFailed shows a person what went wrong as a page; a program gets the
// problem document.
func pairFailed(w http.ResponseWriter, r *http.Request, err error) error {
	page := wording.PairAway()
	switch asProblem(err).Status {
	case http.StatusNotFound:
		page = wording.PairOff()
	case http.StatusForbidden, http.StatusMisdirectedRequest:
		page = wording.PairHost()
	}
	return showProblem(w, r, err, page)
}

// showProblem shows a person who follows a link why there is nothing, as a page;
// a program gets the problem document.
func showProblem(w http.ResponseWriter, r *http.Request, err error, page wording.Page) error {
	w.Header().Add("Vary", "Accept")
	if choose(r, "application/problem+json", "text/html") != "text/html" {
		return err
	}
	p := asProblem(err)
	info(r).problem = p
	p.retry(w)
	return showPair(w, pairLang(r), p.Status, page)
}

func showPair(w http.ResponseWriter, lang string, status int, page wording.Page) error {
	voice := wording.NewVoice(lang, 0)
	var b bytes.Buffer
	err := pairPage.Execute(&b, struct{ Lang, Title, Text, Button string }{
		string(voice.Lang()), voice.Say(page.Title), voice.Say(page.Text), voice.Say(page.Button)})
	if err != nil {
		return internal(err)
	}
	h := w.Header()
	h.Set("Content-Type", "text/html; charset=utf-8")
	h.Set("Content-Language", string(voice.Lang()))
	h.Add("Vary", "Accept-Language")
	h.Set("Cache-Control", "no-store")
	if !page.Button.Empty() {
		// Under no-referrer a browser says "Origin: null" of a form (Fetch, "append
		// a request Origin header"), and whose page asked could not be told.
		h.Set("Referrer-Policy", "same-origin")
	}
	w.WriteHeader(status)
	_, _ = w.Write(b.Bytes())
	return nil
}
