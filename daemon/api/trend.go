package api

import (
	"net/http"
	"strconv"
)

// rowsUnlessAsked is enough for a screen; "?rows=" asks for another number.
const rowsUnlessAsked = 900

func (s *server) trend(w http.ResponseWriter, r *http.Request) {
	rows := rowsUnlessAsked
	if asked := r.URL.Query().Get("rows"); asked != "" {
		n, err := strconv.Atoi(asked)
		if err != nil || n < 1 {
			refuseFor(w, wrongField, wrong("rows", asked, "write a whole number from 1"))
			return
		}
		rows = n
	}
	writeJSON(w, http.StatusOK, s.Trend.Table(rows))
}
