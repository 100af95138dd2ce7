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
	return r.URL.Path == "/" || strings.HasPrefix(r.URL.Path, "/page/")
}
