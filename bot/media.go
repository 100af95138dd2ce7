package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"strconv"
	"strings"

	"github.com/gorilla/mux"

	"shimwright/bot/draw"
	"shimwright/dialog"
	"shimwright/store"
)

// getMedia is GET /v1/media/{token}: a picture, rendered now from what is
// stored of it, as .png or .svg or as the Accept header asks.
func (s *server) getMedia(w http.ResponseWriter, r *http.Request) error {
	who, err := s.guard.identify(r, nil)
	if err != nil {
		return err
	}
	shop, _, _ := strings.Cut(mux.Vars(r)["token"], ".")
	if who.kind != program && shop != who.shop {
		return noPicture()
	}
	return s.picture(w, r)
}

// getPicture is GET /picture/{token}: the same for the link in a text message,
// which a telephone opens that nobody paired. The token cannot be guessed, and
// the picture shows a saw and its readings, nobody's name.
func (s *server) getPicture(w http.ResponseWriter, r *http.Request) error {
	if err := s.guard.hosts.check(r); err != nil {
		return err
	}
	return s.picture(w, r)
}

// picture answers with the picture of the token in the address.
func (s *server) picture(w http.ResponseWriter, r *http.Request) error {
	token, format := mux.Vars(r)["token"], ""
	for _, f := range []string{".png", ".svg"} {
		if t, ok := strings.CutSuffix(token, f); ok {
			token, format = t, f
		}
	}
	shop, id, _ := strings.Cut(token, ".")
	if id == "" {
		return noPicture()
	}
	d, err := s.store.Get(r.Context(), shop, store.KindDrawing, id)
	if errors.Is(err, store.ErrNotFound) || err == nil && store.Expired(d.Expires, s.now()) {
		return noPicture()
	}
	if err != nil {
		return storeProblem(err)
	}
	var spec dialog.Drawing
	if err := json.Unmarshal(d.Body, &spec); err != nil {
		return internal(fmt.Errorf("the stored drawing cannot be read: %w", err))
	}
	// Drawing is work: as many at once as there are processors, no more.
	select {
	case s.easels <- struct{}{}:
		defer func() { <-s.easels }()
	case <-r.Context().Done():
		return unavailable(r.Context().Err())
	}
	body, kind, err := render(spec, format, r)
	if err != nil {
		return err
	}
	h := w.Header()
	h.Set("Content-Type", kind)
	h.Set("Content-Length", strconv.Itoa(len(body)))
	h.Set("Vary", "Accept")
	// A picture never changes, and is not to be shown after its expiry.
	h.Set("Cache-Control", "private, max-age="+strconv.Itoa(int(d.Expires.Sub(s.now()).Seconds())))
	_, _ = w.Write(body)
	return nil
}

func noPicture() error {
	return notFound("There is no such picture, or its time is over; ask again with the word where.")
}

// render draws the picture in the form that is asked for.
func render(spec dialog.Drawing, format string, r *http.Request) (body []byte, kind string, err error) {
	kind = map[string]string{".png": "image/png", ".svg": "image/svg+xml"}[format]
	if kind == "" {
		kind = choose(r, "image/png", "image/svg+xml")
	}
	switch kind {
	case "image/png":
		body, err = draw.PNG(spec)
	case "image/svg+xml":
		body, err = draw.SVG(spec)
	default:
		return nil, "", notAcceptable("image/png or image/svg+xml")
	}
	if err != nil {
		return nil, "", internal(err)
	}
	return body, kind, nil
}
