package main

import (
	"mime"
	"net/http"
	"strconv"
	"strings"
)

// choose returns which of the media types offered the request's Accept header
// asks for most (RFC 9110, section 12.5.1), the earlier one where it asks for
// several alike, and "" when it takes none.
func choose(r *http.Request, offered ...string) string {
	accept := strings.Join(r.Header.Values("Accept"), ",")
	if strings.TrimSpace(accept) == "" {
		return offered[0]
	}
	best, most := "", 0.0
	for _, o := range offered {
		if q := quality(accept, o); q > most {
			best, most = o, q
		}
	}
	return best
}

// quality is the weight that an Accept header gives to a media type: that of
// the most specific range which covers it.
func quality(accept, offered string) float64 {
	kind, _, _ := strings.Cut(offered, "/")
	q, specific := 0.0, 0
	for _, part := range strings.Split(accept, ",") {
		t, params, err := mime.ParseMediaType(part)
		if err != nil {
			continue
		}
		level := 0
		switch t {
		case offered:
			level = 3
		case kind + "/*":
			level = 2
		case "*/*":
			level = 1
		}
		if level <= specific {
			continue
		}
		specific, q = level, 1
		if w, ok := params["q"]; ok {
			if q, err = strconv.ParseFloat(w, 64); err != nil || !(q >= 0 && q <= 1) {
				q = 0
			}
		}
	}
	return q
}
