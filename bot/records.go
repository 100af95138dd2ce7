package main

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"net/http"
	"strconv"
	"time"

	"github.com/gorilla/mux"

	"shimwright/dialog"
	"shimwright/store"
)

// getRecords is GET /v1/machines/{id}/records: what was found and left on a
// saw, oldest first, as JSON or as CSV (RFC 4180).
func (s *server) getRecords(w http.ResponseWriter, r *http.Request) error {
	who, err := s.guard.identify(r, nil)
	if err != nil {
		return err
	}
	q := r.URL.Query()
	if who.kind == program && q.Get("conversation") == "" {
		return badField("conversation", "A program says in which conversation the saw is known: add ?conversation=… to the address.")
	}
	shop, err := s.places.find(r.Context(), who, q.Get("conversation"))
	if errors.Is(err, store.ErrNotFound) {
		return noConversation()
	}
	if err != nil {
		return storeProblem(err)
	}
	query := store.RecordQuery{Shop: shop, Saw: mux.Vars(r)["id"], Characteristic: q.Get("characteristic")}
	if text := q.Get("since"); text != "" {
		if query.Since, err = time.Parse(time.RFC3339, text); err != nil {
			return badField("since", "The parameter %q must be a time as RFC 3339 writes it, e.g. 2026-03-02T09:14:05Z.", "since")
		}
	}
	records, err := s.records(r, query)
	if err != nil {
		return err
	}
	w.Header().Set("Vary", "Accept")
	switch choose(r, "application/json", "text/csv") {
	case "application/json":
		return writeJSON(w, struct {
			Machine string          `json:"machine"`
			Records []dialog.Record `json:"records"`
		}{query.Saw, records})
	case "text/csv":
		h := w.Header()
		h.Set("Content-Type", "text/csv; charset=utf-8; header=present")
		h.Set("Cache-Control", "no-store")
		_, _ = w.Write(recordsCSV(records))
		return nil
	}
	return notAcceptable("application/json or text/csv")
}

// records returns the records of a saw that exists.
func (s *server) records(r *http.Request, q store.RecordQuery) ([]dialog.Record, error) {
	d, err := s.store.Get(r.Context(), q.Shop, store.KindSaw, q.Saw)
	if errors.Is(err, store.ErrNotFound) || err == nil && string(d.Body) == tombstone {
		return nil, notFound("There is no saw of this name.")
	}
	if err != nil {
		return nil, storeProblem(err)
	}
	list, err := s.store.Records(r.Context(), q)
	if err != nil {
		return nil, storeProblem(err)
	}
	records := make([]dialog.Record, len(list))
	for i, rec := range list {
		if err := json.Unmarshal(rec.Body, &records[i]); err != nil {
			return nil, internal(err)
		}
	}
	return records, nil
}

// recordColumns are the columns of the CSV, in order.
func recordColumns() []string {
	return []string{"id", "saw", "procedure", "characteristic", "at", "person", "unit",
		"found", "found_uncertainty", "found_at", "left", "left_uncertainty", "left_at",
		"low", "high", "decision", "adjusted", "tool", "resolution", "blade", "remarks", "corrects"}
}

// recordsCSV writes records as RFC 4180 has it: a header, lines that end in
// CRLF, quotes where they are needed. A value that is not known is empty.
func recordsCSV(records []dialog.Record) []byte {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	w.UseCRLF = true
	_ = w.Write(recordColumns()) // a buffer takes everything
	for _, r := range records {
		row := []string{r.ID, r.Saw, r.Procedure, r.Characteristic, r.At.UTC().Format(time.RFC3339Nano), r.Person, r.Unit}
		row = append(row, measuredCells(r.AsFound)...)
		row = append(row, measuredCells(r.AsLeft)...)
		row = append(row, optional(r.Low), optional(r.High), r.Decision, strconv.FormatBool(r.Adjusted),
			r.Tool, optional(&r.Resolution), r.Blade, r.Remarks, r.Corrects)
		_ = w.Write(row)
	}
	w.Flush()
	return b.Bytes()
}

func measuredCells(m *dialog.Measured) []string {
	if m == nil {
		return []string{"", "", ""}
	}
	return []string{optional(&m.Value), optional(&m.Uncertainty), m.At.UTC().Format(time.RFC3339Nano)}
}

func optional(v *float64) string {
	if v == nil {
		return ""
	}
	return strconv.FormatFloat(*v, 'g', -1, 64)
}
