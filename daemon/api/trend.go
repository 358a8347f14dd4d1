package api

import (
	"net/http"
	"strconv"

	"meltwarden/daemon/describe"
	"meltwarden/daemon/trend"
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

func trendOperation() describe.Operation {
	return describe.Operation{
		Route: "GET /api/v1/trend", Group: groupWatch, Does: "The session's temperatures so far, in columns",
		More:     "Neighbouring rows are merged until they fit; the lowest and the highest stay, so no peak is lost.",
		In:       []describe.Field{{Name: "rows", Says: "the most rows to answer with; 900 unless it is said", Is: describe.Whole, Least: 1, Example: "300"}},
		Answers:  []describe.Answer{{Status: 200, Body: trend.Table{}, Says: "The trend"}},
		Problems: []*describe.Kind{wrongField},
	}
}
