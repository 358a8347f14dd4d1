package api

import (
	"bytes"
	"net/http"

	"meltwarden/daemon/view"
	"meltwarden/dashboards"
)

// page is what the template of the page is filled with.
type page struct {
	Labels      view.Labels
	Bench       view.Bench
	Title, Run  string
	Simulated   bool
	HeatRefused string
}

// page shows the bench as it is now, in plain HTML; the script keeps it so.
func (s *server) page(w http.ResponseWriter, _ *http.Request) {
	var out bytes.Buffer // so that a failing template leaves no half page behind
	err := dashboards.Page.Execute(&out, page{
		view.Texts(), s.now(), s.Title, s.Run, s.Simulated, s.HeatRefused,
	})
	if err != nil {
		problem(w, http.StatusInternalServerError, err.Error())
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Write(out.Bytes())
}
