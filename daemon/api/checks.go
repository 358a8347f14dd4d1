package api

import (
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"

	"meltwarden/control"
	"meltwarden/control/guard"
	"meltwarden/daemon/calibrate"
	"meltwarden/daemon/checks"
	"meltwarden/daemon/describe"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history"
	"meltwarden/daemon/review"
	"meltwarden/daemon/view"
)

// checksNow are the before-heat checks of the bench, and what of them is ticked off.
type checksNow struct {
	// Invented is true for a simulated bench, as the demo's is.
	Invented bool       `json:"simulated"`
	Checks   []checkRow `json:"checks"`
	// Probes are those of the pots, as they read now.
	Probes []probeRow `json:"probes"`
	// Agreement is how they lie together: "agree", "do not agree", "too warm to compare",
	// "not all read", "fewer than two probes" or "not compared: heat has been on".
	Agreement string `json:"agreement"`
	// SpreadC is the largest reading less the smallest, in kelvins; AgreeC is how far they may
	// lie apart cold.
	SpreadC frames.Figure `json:"spread_c"`
	AgreeC  float64       `json:"agree_c"`
	// Calibration says in a sentence which probes should be calibrated; "" for none.
	Calibration string `json:"calibration"`
	// Relays says in a sentence which mechanical relays should be changed; "" for none.
	Relays string `json:"relays"`
	// HeatOn is true while heat is enabled: the checks are for before it.
	HeatOn bool `json:"heat_on"`
	// Kept is what of them was written down last with the run; "" for nothing.
	Kept string `json:"kept"`
	// At is when that was.
	At *time.Time `json:"kept_at"`
}

// checksPage is what the template of the before-heat checks is filled with.
type checksPage struct {
	head
	checksNow
	KeptWords string
	NoRun     bool
	Potfuls   potfuls
	Said      string // of the probes, in the page's unit
	Agree     bool
}

// checkRow is one check with what is known of it.
type checkRow struct {
	checks.Check
	// Ticked is when it was ticked off; null where it is not. From is what it was ticked off
	// from; "" is the bench's own computer.
	Ticked *time.Time `json:"ticked"`
	From   string     `json:"from"`
	// Said is both in words.
	Said string `json:"said"`
	// Reads is what the program reads of it now; null where that is nothing.
	Reads *view.Interlock `json:"reads"`
}

// probeRow is a probe with its reading in words.
type probeRow struct {
	checks.Probe
	Words string `json:"-"`
}

// checksOf is the state of the before-heat checks.
func (s *server) checksOf(r *http.Request) (checksPage, error) {
	u := unitOf(r)
	p := checksPage{head: s.head(r, view.Texts().Checks, "/checks"), checksNow: checksNow{Invented: s.Simulated, AgreeC: guard.ColdAgreeC}, NoRun: true}
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
	var err error
	p.HeatOn = s.heatIsOn()
	if is, p.SpreadC, err = s.compared(probes); err != nil {
		return p, err
	}
	p.Agreement, p.Agree, p.Said = string(is), is == checks.Agree, in(view.ProbesWords(is, p.SpreadC))
	p.Checks = s.checkRows(u)
	if s.History == nil || s.History.Live() == 0 {
		return p, nil
	}
	p.NoRun = false
	p.Calibration = s.remind()
	worn, err := s.relayWear()
	if err != nil {
		return p, err
	}
	p.Relays = worn.Remind
	if err := p.kept(s.History); err != nil {
		return p, err
	}
	p.Potfuls, err = s.potfulsNow(r)
	p.Potfuls.AtBench = false // its forms come back here
	return p, err
}

// remind says which probes of a real bench should be calibrated.
func (s *server) remind() string {
	if s.Bench == nil || s.Simulated {
		return ""
	}
	stand, err := calibrate.Load(s.History, s.Bench)
	if err != nil {
		return "Calibration: " + err.Error() + "."
	}
	return calibrate.Remind(stand, time.Now())
}

// heatIsOn reports whether heat is enabled now.
func (s *server) heatIsOn() bool {
	f := s.Hub.Latest()
	return f.Live(time.Now()) && f.Heat == control.HeatEnabled
}

// compared says how probes lie together. Once heat was enabled in this run they are warmed
// unalike, and nothing follows from that.
func (s *server) compared(probes []checks.Probe) (checks.Agreement, frames.Figure, error) {
	heated := s.heatIsOn()
	if run := s.liveRun(); run != 0 && !heated {
		events, err := s.History.Events(run)
		if err != nil {
			return checks.NotToTell, frames.Unknown(), err
		}
		heated = slices.ContainsFunc(events, func(e history.Event) bool { return e.Kind == history.HeatEnabled })
	}
	if heated {
		return checks.Heated, frames.Unknown(), nil
	}
	is, spreadC := checks.Compare(probes)
	return is, spreadC, nil
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
	run := s.liveRun()
	s.ticked.recall(s.History, run, s.allChecks(u))
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
		if t, is := s.ticked.when(c.Key, time.Now(), run); is {
			row.Ticked, row.From, row.Said = &t.at, t.from, view.TickedWords(t.at, t.from)
		}
		rows = append(rows, row)
	}
	return rows
}

// liveRun is the run being recorded; zero where none is.
func (s *server) liveRun() int64 {
	if s.History == nil {
		return 0
	}
	return s.History.Live()
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
	writeJSON(w, http.StatusOK, p.checksNow)
}

// The form fields of what is ticked off.
const (
	tickedKey = "ticked"
	wasKey    = "was_ticked"
	keepKey   = "keep"
)

// tick takes what is ticked off, in the form fields "ticked", and what was so when the form
// was shown, in "was_ticked": what is only among those is taken away, and all others stay as
// they are, whatever a page shows that was left open. With keep=yes all is written down with
// the run in a line as well. Heat has nothing to do with it.
func (s *server) tick(w http.ResponseWriter, r *http.Request) {
	if err := r.ParseForm(); err != nil {
		refuseFor(w, wrongField, err)
		return
	}
	all := s.allChecks(unitOf(r))
	for _, field := range []string{tickedKey, wasKey} {
		if key := checks.Unknown(all, r.PostForm[field]); key != "" {
			refuseFor(w, wrongField, &fieldError{field, &key, "there is no such check", "write one of " + strings.Join(keysOf(all), ", ")})
			return
		}
	}
	if err := s.tickChanged(r, all); err != nil {
		refuseFor(w, queueFull, err)
		return
	}
	if r.PostFormValue(keepKey) == "yes" {
		if s.History == nil || s.History.Live() == 0 {
			refuse(w, notRecording, view.Texts().ChecksNoRun)
			return
		}
		_, before, _ := lastChecks(s.History)
		is, spread, _ := s.compared(s.coldProbes())
		text := checks.Summary(all, func(key string) bool { _, is := s.ticked.when(key, time.Now(), s.liveRun()); return is }) + "; probes: " + string(is)
		if spread.Known() {
			text += fmt.Sprintf(", %.1f °C apart", float64(spread))
		}
		if err := s.Submit(history.Mark{Text: text, As: history.Checked, From: visitorOf(r).from()}); err != nil {
			refuseFor(w, queueFull, err)
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

func keysOf(all []checks.Check) (keys []string) {
	for _, c := range all {
		keys = append(keys, c.Key)
	}
	return keys
}

// tickChanged ticks off, and takes away, what a form changes, each by itself.
func (s *server) tickChanged(r *http.Request, all []checks.Check) error {
	is := tick{at: time.Now(), from: visitorOf(r).from(), run: s.liveRun()}
	s.ticked.recall(s.History, is.run, all)
	for _, c := range all {
		on, was := slices.Contains(r.PostForm[tickedKey], c.Key), slices.Contains(r.PostForm[wasKey], c.Key)
		if on == was {
			continue
		}
		err := s.ticked.set(c.Key, on, is, func() error {
			if is.run == 0 {
				return nil
			}
			m := history.Mark{Text: c.Short, As: history.Ticked, From: is.from}
			if !on {
				m.As = history.Unticked
			}
			return s.Submit(m)
		})
		if err != nil {
			return err
		}
	}
	return nil
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

func checksOperations() []describe.Operation {
	return []describe.Operation{
		{
			Route: "GET /api/v1/checks", Group: groupMark, Does: "The before-heat checks, what is ticked off, and what probes and interlocks read",
			More:    "They are advice: nothing heats by a tick, and nothing is kept from heating by one that is missing.",
			Answers: []describe.Answer{{Status: 200, Body: checksNow{}, Says: "The checks"}}, Problems: []*describe.Kind{notReadable},
		},
		{
			Route: "POST /api/v1/checks", Group: groupMark, Does: "Tick before-heat checks off, or take ticks away",
			More: view.Texts().ChecksLapse + " When, and from where, each was ticked off is kept with the run. What is named in neither field stays as it is; " +
				"before there was " + wasKey + ", what ticked did not name was taken away: a program that meant that names it in " + wasKey + ".",
			Form: []describe.Field{
				{Name: tickedKey, Says: "the key of a check that is ticked off; as many as there are", Example: "dry"},
				{Name: wasKey, Says: "the key of a check that was ticked off when the form was shown: one that is not in ticked any more is taken away; as many as there are"},
				{Name: keepKey, Says: "yes writes them down with the run as well", Choices: []string{"yes"}},
			},
			Answers: answers(http.StatusAccepted, accepted{}, "They are ticked off"), Problems: []*describe.Kind{wrongField, notRecording, queueFull},
		},
		aPage("/checks", "The before-heat checks, to tick off", []describe.Field{inFahrenheitField}, notReadable),
	}
}
