package api

import (
	"fmt"
	"net/http"
	"time"

	"meltwarden/control/guard"
	"meltwarden/daemon/checks"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history"
	"meltwarden/daemon/review"
	"meltwarden/daemon/view"
)

// checksPage is what the template of the before-heat checks is filled with, and their JSON.
type checksPage struct {
	head      `json:"-"`
	Checks    []checkRow    `json:"checks"`
	Probes    []probeRow    `json:"probes"`
	Agreement string        `json:"agreement"`
	SpreadC   frames.Figure `json:"spread_c"`
	AgreeC    float64       `json:"agree_c"` // how far they may lie apart
	Heat      string        `json:"heat"`
	// Kept is what of them was written down last with the run, and when; "" for nothing.
	Kept string     `json:"kept"`
	At   *time.Time `json:"kept_at"`

	KeptWords string  `json:"-"`
	NoRun     bool    `json:"-"`
	Potfuls   potfuls `json:"-"`
	Said      string  `json:"-"` // of the probes, in the page's unit
	Agree     bool    `json:"-"`
}

// checkRow is one check with what is known of it.
type checkRow struct {
	checks.Check
	// Ticked is when it was ticked off; null where it is not. Reads is what the program
	// reads of it now.
	Ticked *time.Time      `json:"ticked"`
	Reads  *view.Interlock `json:"reads"`

	Clock string `json:"-"`
}

type probeRow struct {
	checks.Probe
	Words string `json:"-"`
}

// checksOf is the state of the before-heat checks.
func (s *server) checksOf(r *http.Request) (checksPage, error) {
	u := unitOf(r)
	p := checksPage{head: s.head(r, view.Texts().Checks, "/checks"), AgreeC: guard.ColdAgreeC, NoRun: true, Heat: s.now().Heat}
	in := func(b view.Both) string {
		if u == review.Fahrenheit {
			return b.F
		}
		return b.C
	}
	probes := s.coldProbes()
	for _, x := range probes {
		p.Probes = append(p.Probes, probeRow{x, in(view.Degrees(x.C))})
	}
	var is checks.Agreement
	is, p.SpreadC = checks.Compare(probes)
	p.Agreement, p.Agree, p.Said = string(is), is == checks.Agree, in(view.ProbesWords(is, p.SpreadC))
	p.Checks = s.checkRows(u)
	if s.History == nil || s.History.Live() == 0 {
		return p, nil
	}
	p.NoRun = false
	if err := p.kept(s.History); err != nil {
		return p, err
	}
	var err error
	p.Potfuls, err = s.potfulsNow(r)
	p.Potfuls.AtBench = false // its forms come back here
	return p, err
}

// kept takes over what was written down last.
func (p *checksPage) kept(h *history.Store) error {
	e, times, err := lastChecks(h)
	if times > 0 {
		p.Kept, p.At = e.Text, &e.Wall
		p.KeptWords = fmt.Sprintf(p.Labels.ChecksKept, e.Wall.Format("15:04"), e.Text)
	}
	return err
}

// lastChecks is what was written down last in the run being recorded, and how many times
// anything was.
func lastChecks(h *history.Store) (last history.Event, times int, err error) {
	events, err := h.Events(h.Live())
	for _, e := range events {
		if e.Kind == history.Checked {
			last, times = e, times+1
		}
	}
	return last, times, err
}

// allChecks are the words of this bench.
func (s *server) allChecks(u review.Unit) []checks.Check {
	agree := fmt.Sprintf("%.0f °C", guard.ColdAgreeC)
	if u == review.Fahrenheit {
		agree = fmt.Sprintf("%.0f °F", guard.ColdAgreeC*1.8)
	}
	return checks.Of(s.Bench, s.liveRecipe(), agree)
}

func (s *server) checkRows(u review.Unit) (rows []checkRow) {
	f := s.Hub.Latest()
	locks := view.Interlocks(f, f.Live(time.Now()))
	for _, c := range s.allChecks(u) {
		row := checkRow{Check: c}
		switch c.Key {
		case checks.Stop:
			row.Reads = &locks[0]
		case checks.CutOut:
			row.Reads = &locks[1]
		}
		if at := s.ticked.when(c.Key); !at.IsZero() {
			row.Ticked, row.Clock = &at, at.Format("15:04")
		}
		rows = append(rows, row)
	}
	return rows
}

// coldProbes are the probes of the pots, as they read now.
func (s *server) coldProbes() (all []checks.Probe) {
	b := s.now()
	for i, p := range b.Pots {
		has := s.Settings.Pots[i].Probes
		name := fmt.Sprintf("%d %s", p.Number, p.Name)
		if has.HasMelt() {
			all = append(all, checks.Probe{Of: name + ", " + view.Texts().Melt, C: p.MeltC})
		}
		if has.HasPlate() {
			all = append(all, checks.Probe{Of: name + ", " + view.Texts().Plate, C: p.PlateC})
		}
	}
	return all
}

func (s *server) checksPage(w http.ResponseWriter, r *http.Request) {
	p, err := s.checksOf(r)
	if err != nil {
		pastProblem(w, err)
		return
	}
	show(w, http.StatusOK, "checks.html", p)
}

func (s *server) checks(w http.ResponseWriter, r *http.Request) {
	p, err := s.checksOf(r)
	if err != nil {
		pastProblem(w, err)
		return
	}
	writeJSON(w, http.StatusOK, p)
}

// tick takes what is ticked off, in the form fields "ticked"; with keep=yes it is written
// down with the run as well. Heat has nothing to do with it.
func (s *server) tick(w http.ResponseWriter, r *http.Request) {
	if err := r.ParseForm(); err != nil {
		problem(w, http.StatusBadRequest, err.Error())
		return
	}
	all, keys := s.allChecks(unitOf(r)), r.PostForm["ticked"]
	if key := checks.Unknown(all, keys); key != "" {
		problem(w, http.StatusBadRequest, fmt.Sprintf("ticked %q: there is no such check; GET /api/v1/checks lists their keys", key))
		return
	}
	s.ticked.set(keys, time.Now())
	if r.PostFormValue("keep") == "yes" {
		if s.History == nil || s.History.Live() == 0 {
			problem(w, http.StatusConflict, view.Texts().ChecksNoRun)
			return
		}
		_, before, _ := lastChecks(s.History)
		is, spread := checks.Compare(s.coldProbes())
		text := checks.Summary(all, func(key string) bool { return !s.ticked.when(key).IsZero() }) + "; probes: " + string(is)
		if spread.Known() {
			text += fmt.Sprintf(", %.1f °C apart", float64(spread))
		}
		if err := s.Submit(history.Mark{Text: text, As: history.Checked}); err != nil {
			problem(w, http.StatusServiceUnavailable, err.Error())
			return
		}
		s.awaitChecks(r, before)
	}
	if wantsPage(r) {
		http.Redirect(w, r, "/checks", http.StatusSeeOther)
		return
	}
	writeJSON(w, http.StatusAccepted, accepted{Accepted: "checks"})
}

const (
	writtenWithin = 2 * time.Second // E: a commit holds less than a second of the bench
	lookEvery     = 100 * time.Millisecond
)

// awaitChecks waits a little until what was submitted is on disk, so that the page that is
// shown next says so.
func (s *server) awaitChecks(r *http.Request, before int) {
	for range writtenWithin / lookEvery {
		if _, times, err := lastChecks(s.History); err != nil || times > before || !pause(r, lookEvery) {
			return
		}
	}
}
