package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"net/http"
	"strconv"
	"time"
)

// problem is an error as a client sees it: a problem document of RFC 9457.
// Detail is a sentence that says what to do.
type problem struct {
	Code   string // last part of the type; fixed, for programs
	Status int    // of HTTP
	Title  string // the same for every problem of the code
	Detail string // of this one
	Field  string // the field of the message at fault, "" when none is
	// Missing names the dependencies that do not answer.
	Missing []string
	After   time.Duration // when another attempt may succeed; 0: not said
	cause   error         // for the log only
}

func (p *problem) Error() string {
	if p.cause != nil {
		return p.Code + ": " + p.cause.Error()
	}
	return p.Code + ": " + p.Detail
}

func (p *problem) Unwrap() error { return p.cause }

// because keeps the cause for the log.
func (p *problem) because(err error) *problem {
	p.cause = err
	return p
}

// problemType is the namespace of the types: names, not addresses.
const problemType = "urn:shimwright:problem:"

// The problems. Each has one code, status and title.

func badField(field, format string, args ...any) *problem {
	return &problem{Code: "bad-field", Status: http.StatusBadRequest, Title: "A field cannot be used",
		Field: field, Detail: fmt.Sprintf(format, args...)}
}

func notJSON(format string, args ...any) *problem {
	return &problem{Code: "not-json", Status: http.StatusBadRequest, Title: "The body is not the JSON object that is asked for",
		Detail: fmt.Sprintf(format, args...)}
}

func unauthorized(format string, args ...any) *problem {
	return &problem{Code: "unauthorized", Status: http.StatusUnauthorized, Title: "Neither signed nor paired",
		Detail: fmt.Sprintf(format, args...)}
}

func forbidden(format string, args ...any) *problem {
	return &problem{Code: "forbidden", Status: http.StatusForbidden, Title: "Not from here",
		Detail: fmt.Sprintf(format, args...)}
}

func notFound(format string, args ...any) *problem {
	return &problem{Code: "not-found", Status: http.StatusNotFound, Title: "There is nothing here",
		Detail: fmt.Sprintf(format, args...)}
}

func wrongMethod(method string) *problem {
	return &problem{Code: "wrong-method", Status: http.StatusMethodNotAllowed, Title: "Not with this method",
		Detail: fmt.Sprintf("%s is not possible here; the Allow header lists what is.", method)}
}

func notAcceptable(types string) *problem {
	return &problem{Code: "not-acceptable", Status: http.StatusNotAcceptable, Title: "Not in this form",
		Detail: "This can be had as " + types + "."}
}

func tooSlow() *problem {
	return &problem{Code: "too-slow", Status: http.StatusRequestTimeout, Title: "The body did not arrive in time",
		Detail: "Send the whole body at once; the same id may be used again."}
}

func conflict() *problem {
	return &problem{Code: "conflict", Status: http.StatusConflict, Title: "This id was used before",
		Field: "id", Detail: "Another message of this conversation had this id. Give each message an id of its own; only a message that is sent again keeps it."}
}

func expired() *problem {
	return &problem{Code: "expired", Status: http.StatusGone, Title: "The answer is no longer safe to follow",
		Detail: "The message was handled, but its answer rested on a saw that was unplugged at that time. Send the word where, with a new id, to be asked again."}
}

func tooLarge() *problem {
	return &problem{Code: "too-large", Status: http.StatusRequestEntityTooLarge, Title: "The body is too large",
		Detail: fmt.Sprintf("A body may have %d bytes.", maxBody)}
}

func wrongType() *problem {
	return &problem{Code: "wrong-type", Status: http.StatusUnsupportedMediaType, Title: "The body is not declared as JSON",
		Detail: "Send the header Content-Type: application/json."}
}

func wrongHost() *problem {
	return &problem{Code: "wrong-host", Status: http.StatusMisdirectedRequest, Title: "The service does not go by this name",
		Detail: "Use its address, or add the name to SHIMWRIGHT_HOSTS."}
}

func tooMany(after time.Duration) *problem {
	return &problem{Code: "too-many", Status: http.StatusTooManyRequests, Title: "Too many messages",
		Detail: "Wait as long as the Retry-After header says, then send the message again with the same id.", After: after}
}

func overloaded() *problem {
	return &problem{Code: "overloaded", Status: http.StatusServiceUnavailable, Title: "Too much at once",
		Detail: "More people write than the service can answer now. Nothing was done; wait as long as the Retry-After header says, then send the message again with the same id.", After: time.Second}
}

func unavailable(err error) *problem {
	return (&problem{Code: "unavailable", Status: http.StatusServiceUnavailable, Title: "The store does not answer",
		Detail: "Nothing half done is left. Try again; a message goes with the same id.", After: 2 * time.Second}).because(err)
}

func full(err error) *problem {
	return (&problem{Code: "full", Status: http.StatusInsufficientStorage, Title: "There is no room for this",
		Detail: "A size limit was passed, or the disk is full. Nothing half done is left; the operator finds the cause in the log."}).because(err)
}

func internal(err error) *problem {
	return (&problem{Code: "internal", Status: http.StatusInternalServerError, Title: "A fault of the service",
		Detail: "The fault is in the log under the request's id. The same id may be sent again."}).because(err)
}

// asProblem returns err as a problem; what is none is internal.
func asProblem(err error) *problem {
	var p *problem
	if errors.As(err, &p) {
		return p
	}
	return internal(err)
}

// retry says when another attempt may succeed.
func (p *problem) retry(w http.ResponseWriter) {
	if p.After > 0 {
		w.Header().Set("Retry-After", strconv.Itoa(int(math.Ceil(p.After.Seconds()))))
	}
}

// write sends the problem document.
func (p *problem) write(w http.ResponseWriter, requestID string) {
	doc := struct {
		Type      string   `json:"type"`
		Title     string   `json:"title"`
		Status    int      `json:"status"`
		Detail    string   `json:"detail"`
		Field     string   `json:"field,omitempty"`
		Missing   []string `json:"missing,omitempty"`
		RequestID string   `json:"request_id,omitempty"`
	}{problemType + p.Code, p.Title, p.Status, p.Detail, p.Field, p.Missing, requestID}
	body, err := json.Marshal(doc)
	if err != nil {
		panic(err) // text and numbers only
	}
	h := w.Header()
	h.Set("Content-Type", "application/problem+json")
	h.Set("Cache-Control", "no-store")
	p.retry(w)
	if p.Status == http.StatusUnauthorized {
		h.Set("WWW-Authenticate", `Pairing realm="shimwright"`)
	}
	w.WriteHeader(p.Status)
	_, _ = w.Write(append(body, '\n'))
}
