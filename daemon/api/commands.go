package api

import (
	"net/http"
	"strconv"
	"strings"

	"meltwarden/control"
)

// accepted is the answer to a mark that was queued. It takes effect in the next
// cycle, and shows in the frame after it.
type accepted struct {
	Accepted string `json:"accepted"`
	Pot      int    `json:"pot,omitempty"` // from 1
}

// benchCommand answers a route that is about the whole bench.
func (s *server) benchCommand(kind control.CommandKind) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		s.submit(w, r, control.Command{Kind: kind})
	}
}

// potCommand answers the routes that are about one pot, numbered from 1.
func (s *server) potCommand(w http.ResponseWriter, r *http.Request) {
	number, err := strconv.Atoi(r.PathValue("pot"))
	if err != nil || number < 1 || number > len(s.Settings.Pots) {
		problem(w, http.StatusNotFound, "there is no such pot; pots are numbered from 1")
		return
	}
	kind, ok := control.CommandNamed(r.PathValue("command"))
	if !ok || !kind.NeedsPot() {
		problem(w, http.StatusNotFound, "there is no such mark for a pot")
		return
	}
	s.submit(w, r, control.Command{Kind: kind, Pot: number - 1})
}

// submit queues the command. A form without script is sent back to the page.
func (s *server) submit(w http.ResponseWriter, r *http.Request, c control.Command) {
	if err := s.Submit(c); err != nil {
		w.Header().Set("Retry-After", "1")
		problem(w, http.StatusServiceUnavailable, err.Error())
		return
	}
	if strings.Contains(r.Header.Get("Accept"), "text/html") {
		http.Redirect(w, r, "/", http.StatusSeeOther)
		return
	}
	a := accepted{Accepted: c.Kind.String()}
	if c.Kind.NeedsPot() {
		a.Pot = c.Pot + 1
	}
	writeJSON(w, http.StatusAccepted, a)
}
