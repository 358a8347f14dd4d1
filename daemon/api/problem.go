package api

import (
	"encoding/json"
	"net/http"
)

// details is a problem as RFC 9457 spells it, without a type of its own: then
// the title is the status in words.
type details struct {
	Type   string `json:"type"`
	Title  string `json:"title"`
	Status int    `json:"status"`
	Detail string `json:"detail,omitempty"`
}

func problem(w http.ResponseWriter, status int, detail string) {
	write(w, status, "application/problem+json", details{"about:blank", http.StatusText(status), status, detail})
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
// into problems.
func withProblems(mux *http.ServeMux) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if _, pattern := mux.Handler(r); pattern != "" {
			mux.ServeHTTP(w, r)
			return
		}
		var s statusOnly
		s.header = w.Header()
		mux.ServeHTTP(&s, r)
		problem(w, s.status, "")
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
