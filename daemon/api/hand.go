package api

import (
	"net/http"
	"strings"
	"time"

	"meltwarden/config"
	"meltwarden/control"
	"meltwarden/daemon/history"
	"meltwarden/daemon/view"
)

// handReading answers the route of what was read in a melt that has no probe. One that is
// refused for what is thought of the melt goes on to control all the same, which believes
// the next like it, or takes heat away.
func (s *server) handReading(w http.ResponseWriter, r *http.Request, m history.Mark) {
	m.Amount = strings.TrimSpace(r.PostFormValue("reading") + " " + r.PostFormValue("unit"))
	var err error
	if m.C, err = config.HandReading(s.Settings, m.Pot, m.Amount); err != nil {
		refuseFor(w, wrongField, err)
		return
	}
	verdict, shortC := s.handVerdict(m.Pot, m.C)
	if verdict == control.HandFar || verdict == control.HandLow || verdict == control.HandOver {
		if err := s.Submit(m); err != nil {
			refuseFor(w, queueFull, err)
			return
		}
		countsThough(w)
	}
	if why := view.HandRefused(verdict, shortC); why != "" {
		refuse(w, readingRefused, m.Amount+": "+why)
		return
	}
	s.submit(w, r, m)
}

// handVerdict judges a reading by the bench's last frame, and says by how many kelvin it is
// below what was expected.
func (s *server) handVerdict(pot int, c float64) (v control.HandVerdict, shortC float64) {
	f := s.Hub.Latest()
	if !f.Live(time.Now()) || pot >= len(f.Pots) {
		return control.HandUnseen, 0
	}
	p := &f.Pots[pot]
	return p.HandCanBe(c), p.MeltEstimate.C - c
}
