package main

import (
	"bytes"
	"context"
	"io"
	"net/http"
	"strings"
	"sync"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/getkin/kin-openapi/openapi3filter"
	"github.com/getkin/kin-openapi/routers"
	"github.com/getkin/kin-openapi/routers/gorillamux"
)

// described is the description of the interface, read and checked once.
var described = sync.OnceValues(func() (routers.Router, error) {
	doc, err := openapi3.NewLoader().LoadFromData(openAPI)
	if err != nil {
		return nil, err
	}
	if err := doc.Validate(context.Background()); err != nil {
		return nil, err
	}
	text := func(body io.Reader, _ http.Header, _ *openapi3.SchemaRef, _ openapi3filter.EncodingFn) (any, error) {
		b, err := io.ReadAll(body)
		return string(b), err
	}
	for _, t := range []string{"text/csv", "image/svg+xml", "image/png", "text/html", "application/yaml"} {
		openapi3filter.RegisterBodyDecoder(t, text)
	}
	return gorillamux.NewRouter(doc)
})

// conform checks an exchange with the running service against the
// description: an answer always, a request where the service took it.
func conform(t testing.TB, req *http.Request, body string, res *http.Response, got []byte) {
	t.Helper()
	router, err := described()
	if err != nil {
		t.Fatalf("the description of the interface: %v", err)
	}
	again := req.Clone(req.Context())
	again.Body = io.NopCloser(strings.NewReader(body))
	route, params, err := router.FindRoute(again)
	if err != nil {
		if res.StatusCode != http.StatusNotFound && res.StatusCode != http.StatusMethodNotAllowed && !isPage(req) {
			t.Errorf("%s %s is not described, but was answered with %d", req.Method, req.URL.Path, res.StatusCode)
		}
		return
	}
	in := &openapi3filter.RequestValidationInput{Request: again, PathParams: params, Route: route,
		Options: &openapi3filter.Options{AuthenticationFunc: openapi3filter.NoopAuthenticationFunc, IncludeResponseStatus: true}}
	if res.StatusCode < 400 {
		if err := openapi3filter.ValidateRequest(context.Background(), in); err != nil {
			t.Errorf("%s %s was taken, but is not as described: %v", req.Method, req.URL.Path, err)
		}
	}
	if req.Method == http.MethodHead {
		return
	}
	out := &openapi3filter.ResponseValidationInput{RequestValidationInput: in, Status: res.StatusCode, Header: res.Header,
		Body: io.NopCloser(bytes.NewReader(got)), Options: in.Options}
	if err := openapi3filter.ValidateResponse(context.Background(), out); err != nil {
		t.Errorf("%s %s: status %d is not as described: %v\n%s", req.Method, req.URL.Path, res.StatusCode, err, got)
	}
}

// isPage reports whether a request is for the chat page or one of its files,
// which no program reads.
func isPage(r *http.Request) bool {
	return r.URL.Path == "/" || r.URL.Path == "/pair.css" || strings.HasPrefix(r.URL.Path, "/page/")
}

// TestEveryOperationIsTried: nothing is described that was not seen to work.
// Each exchange is checked against the description as it is made.
func TestEveryOperationIsTried(t *testing.T) {
	s := newService(t)
	s.levelled("bench", 9)
	_, a := s.handsOn("bench-2")
	l, err := s.app.pairing.invite(t.Context(), invitation{})
	if err != nil {
		t.Fatal(err)
	}
	picture := a.Replies[len(a.Replies)-1].Media[0].URL
	tried := map[string]response{
		"POST /v1/messages":             s.request("POST", "/v1/messages", bodyOf(posted{ID: "m-x", Conversation: "bench", Text: "menu"})),
		"GET /v1/conversations/{id}":    s.request("GET", "/v1/conversations/bench?max=200", ""),
		"GET /v1/media/{token}":         s.request("GET", picture, ""),
		"GET /picture/{token}":          s.request("GET", picturePath+strings.TrimPrefix(picture, mediaPath), ""),
		"GET /v1/machines/{id}/records": s.request("GET", "/v1/machines/saw-1/records", ""),
		"GET /report/{token}":           s.request("GET", s.openedReport(), ""),
		"GET /v1/openapi.yaml":          s.request("GET", "/v1/openapi.yaml", ""),
		"GET /pair/{token}":             s.request("GET", "/pair/"+l.Token, ""),
		"POST /pair/{token}":            s.request("POST", "/pair/"+l.Token, ""),
		"GET /healthz":                  s.request("GET", "/healthz", ""),
		"GET /readyz":                   s.request("GET", "/readyz", ""),
		"GET /metrics":                  s.request("GET", "/metrics", ""),
	}
	for name, res := range tried {
		if res.StatusCode >= 400 {
			t.Errorf("%s: status %d: %s", name, res.StatusCode, res.body)
		}
	}
	doc, err := openapi3.NewLoader().LoadFromData(tried["GET /v1/openapi.yaml"].body)
	if err != nil {
		t.Fatal(err)
	}
	for path, item := range doc.Paths.Map() {
		for method := range item.Operations() {
			if _, ok := tried[method+" "+path]; !ok {
				t.Errorf("%s %s is described and not tried", method, path)
			}
		}
	}
}

// TestProblemsAreDescribed: every problem that the program makes is in the
// description, and no other.
func TestProblemsAreDescribed(t *testing.T) {
	doc, err := openapi3.NewLoader().LoadFromData(openAPI)
	if err != nil {
		t.Fatal(err)
	}
	described := map[string]bool{}
	for _, v := range doc.Components.Schemas["Problem"].Value.Properties["type"].Value.Enum {
		described[v.(string)] = true
	}
	for _, err := range []error{badField("x", ""), notJSON(""), unauthorized(""), forbidden(""), notFound(""), wrongMethod(""),
		notAcceptable(""), tooSlow(), conflict(), expired(), tooLarge(), wrongType(), wrongHost(), tooMany(0), overloaded(), unavailable(nil),
		full(nil), internal(nil), answerErased(), notReady("", "", nil)} {
		name := problemType + asProblem(err).Code
		if !described[name] {
			t.Errorf("%s is not described", name)
		}
		delete(described, name)
	}
	for name := range described {
		t.Errorf("%s is described, but nothing makes it", name)
	}
}
