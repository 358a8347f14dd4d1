package api

import (
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"strconv"

	"meltwarden/config/quantity"
	"meltwarden/config/strict"
	"meltwarden/daemon/describe"
	"meltwarden/daemon/view"
)

// Problem is a problem as RFC 9457 has it, and what a program needs beside the words.
type Problem struct {
	// Type is the kind of problem, as an address of this reference, or about:blank for one
	// that says no more than its status.
	Type string `json:"type"`
	// Title is the kind in words.
	Title  string `json:"title"`
	Status int    `json:"status"`
	// Detail is what is wrong in this case, and what to do, for people.
	Detail string `json:"detail,omitempty"`
	members
}

// members are those that a problem has beside the standard's; what is empty is left out.
type members struct {
	// Field is what is wrong in the form or the address, by its name.
	Field string `json:"field,omitempty"`
	// Value is what was sent there; left out where it is no short text.
	Value *string `json:"value,omitempty"`
	// Fix is what to do about it.
	Fix string `json:"fix,omitempty"`
	// RetryAfterS is when to ask again.
	RetryAfterS int `json:"retry_after_s,omitempty"`
	// Problems are the mistakes of a recipe, where there may be several.
	Problems []Mistake `json:"problems,omitempty"`
}

// Mistake is what is wrong with one value of a recipe.
type Mistake struct {
	Line  int    `json:"line,omitempty"` // from 1
	Field string `json:"field"`          // its key, with the keys above it
	Value string `json:"value"`          // as typed
	Wrong string `json:"wrong"`
	Fix   string `json:"fix"`
}

// problem answers with one that says no more than its status (RFC 9457, section 4.2.1).
func problem(w http.ResponseWriter, status int, detail string) {
	writeProblem(w, Problem{Type: "about:blank", Title: http.StatusText(status), Status: status, Detail: detail})
}

// refuse answers with a problem of a kind; an empty detail is what the kind says.
func refuse(w http.ResponseWriter, k *describe.Kind, detail string) {
	refuseFor(w, k, errors.New(cmp.Or(detail, k.Means)))
}

// refuseFor answers with a problem of a kind, and takes from the error what a program needs.
func refuseFor(w http.ResponseWriter, k *describe.Kind, err error) {
	p := Problem{Type: typeOf(k), Title: k.Title, Status: k.Status, Detail: err.Error(), members: membersOf(k, err)}
	if p.RetryAfterS = k.RetryAfterS; k.RetryAfterS > 0 {
		w.Header().Set("Retry-After", strconv.Itoa(k.RetryAfterS))
	}
	writeProblem(w, p)
}

// typeOf is the address that names a kind.
func typeOf(k *describe.Kind) string { return apiPage + "#" + k.Name }

func writeProblem(w http.ResponseWriter, p Problem) {
	write(w, p.Status, "application/problem+json", p)
}

// fieldError is what is wrong with one field of a form or of an address.
type fieldError struct {
	field string
	value *string // nil says nothing of it
	why   string  // this and the next may be empty, but not both
	fix   string
}

// wrong is about a field with a value that it can not have.
func wrong(field, value, fix string) error { return &fieldError{field: field, value: &value, fix: fix} }

// wrongBy is about a field whose value another package refused.
func wrongBy(field, value string, err error) error {
	e := &fieldError{field: field, value: &value, why: err.Error()}
	var f *quantity.Fault
	if errors.As(err, &f) {
		e.why, e.fix = f.Wrong, f.Fix
	}
	return e
}

// Error implements error.
func (e *fieldError) Error() string {
	says := e.field
	if e.value != nil {
		says += fmt.Sprintf(" %q", *e.value)
	}
	if e.why != "" && e.fix != "" {
		return says + ": " + e.why + "; " + e.fix
	}
	return says + ": " + e.why + e.fix
}

func membersOf(k *describe.Kind, err error) members {
	var field *fieldError
	var typed *strict.Error
	switch {
	case errors.As(err, &field):
		return members{Field: field.field, Value: field.value, Fix: field.fix}
	case !errors.As(err, &typed):
		return members{}
	case k == wrongField:
		p := typed.Problems[0] // a field has one
		return members{Field: p.Key, Value: &p.Value, Fix: p.Fix}
	}
	return members{Problems: mistakesOf(typed)}
}

func mistakesOf(e *strict.Error) (all []Mistake) {
	for _, p := range e.Problems {
		all = append(all, Mistake{Line: p.Line, Field: p.Key, Value: p.Value, Wrong: p.Wrong, Fix: p.Fix})
	}
	return all
}

func writeJSON(w http.ResponseWriter, status int, body any) {
	write(w, status, "application/json", body)
}

// write answers with JSON. All that is written here can be marshalled, and a
// reader who has gone away needs no answer, so there is no error to handle.
func write(w http.ResponseWriter, status int, mediaType string, body any) {
	w.Header().Set("Content-Type", mediaType)
	w.WriteHeader(status)
	json.NewEncoder(w).Encode(body)
}

// withProblems turns the mux's own plain "not found" and "method not allowed"
// into problems; whoever looks for a page is shown one.
func (s *server) withProblems(mux *http.ServeMux) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if _, pattern := mux.Handler(r); pattern != "" {
			mux.ServeHTTP(w, r)
			return
		}
		var plain statusOnly
		plain.header = w.Header()
		mux.ServeHTTP(&plain, r)
		if plain.status == http.StatusNotFound && wantsPage(r) {
			l := view.Texts()
			show(w, plain.status, "trouble.html", troublePage{s.unitless(r, l.NoPage, ""), r.URL.Path, l.NoPageHelp})
			return
		}
		problem(w, plain.status, "")
	})
}

// statusOnly keeps an answer's headers and status and drops its body.
type statusOnly struct {
	header http.Header
	status int
}

func (s *statusOnly) Header() http.Header         { return s.header }
func (s *statusOnly) WriteHeader(status int)      { s.status = status }
func (s *statusOnly) Write(p []byte) (int, error) { return len(p), nil }
