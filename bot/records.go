package main

import (
	"encoding/json"
	"errors"
	"net/http"
	"slices"
	"time"

	"github.com/gorilla/mux"

	"shimwright/dialog"
	"shimwright/store"
)

// sawRecords are the records of one saw, with the names of who took them.
type sawRecords struct {
	Machine string            `json:"machine"`
	Name    string            `json:"name"`
	People  map[string]string `json:"people"` // names by id, of those who have one
	Records []dialog.Record   `json:"records"`
}

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
	list, err := s.records(r, query)
	if err != nil {
		return err
	}
	w.Header().Set("Vary", "Accept")
	switch choose(r, "application/json", "text/csv") {
	case "application/json":
		return writeJSON(w, list)
	case "text/csv":
		h := w.Header()
		h.Set("Content-Type", "text/csv; charset=utf-8; header=present")
		h.Set("Cache-Control", "no-store")
		_, _ = w.Write(recordsCSV(list.Records, map[string]string{list.Machine: list.Name}, list.People))
		return nil
	}
	return notAcceptable("application/json or text/csv")
}

// records returns the records of a saw that exists.
func (s *server) records(r *http.Request, q store.RecordQuery) (sawRecords, error) {
	out := sawRecords{Machine: q.Saw}
	d, err := s.store.Get(r.Context(), q.Shop, store.KindSaw, q.Saw)
	if errors.Is(err, store.ErrNotFound) || err == nil && string(d.Body) == tombstone {
		return out, notFound("There is no saw of this name.")
	}
	if err != nil {
		return out, storeProblem(err)
	}
	var saw dialog.Saw
	if err := json.Unmarshal(d.Body, &saw); err != nil {
		return out, internal(err)
	}
	people, _, err := loadPeople(r.Context(), s.store, q.Shop)
	if err != nil {
		return out, storeProblem(err)
	}
	list, err := s.store.Records(r.Context(), q)
	if err != nil {
		return out, storeProblem(err)
	}
	out.Name, out.People = saw.Profile.Name, namesOf(people)
	if out.Records, err = decodeRecords(list); err != nil {
		return out, internal(err)
	}
	return out, nil
}

// namesOf are the names of people by id.
func namesOf(people dialog.People) map[string]string {
	names := map[string]string{}
	for _, p := range people.Persons {
		self := people.Self(p.ID)
		i := slices.IndexFunc(people.Persons, func(q dialog.Person) bool { return q.ID == self })
		if i >= 0 && people.Persons[i].Name != "" {
			names[p.ID] = people.Persons[i].Name
		}
	}
	return names
}
