package main

import (
	_ "embed"
	"net/http"
)

// openAPI describes the HTTP interface (OpenAPI 3.0).
//
//go:embed openapi.yaml
var openAPI []byte

// getOpenAPI is GET /v1/openapi.yaml. It says nothing of anybody, but stands
// under /v1 and is read like everything there.
func (s *server) getOpenAPI(w http.ResponseWriter, r *http.Request) error {
	if _, err := s.guard.identify(r, nil); err != nil {
		return err
	}
	w.Header().Set("Content-Type", "application/yaml")
	_, _ = w.Write(openAPI)
	return nil
}
