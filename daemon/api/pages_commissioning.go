package api

import (
	"fmt"
	"net/http"
	"time"

	"meltwarden/daemon/calibrate"
	"meltwarden/daemon/commission"
	"meltwarden/daemon/view"
)

// commissioningPage is what the template of the commissioning record is filled with.
type commissioningPage struct {
	head
	Bench, Nothing    string
	Told              bool   // of this bench
	Until             string // of a complete record
	Missing, Warnings []string
	Sections          []commission.Section
	// Steps are what a real bench has to prove, where there is no record to show.
	Steps []commission.Step
}

// commissioningPage shows what is on record of the bench, held against its file. It
// changes nothing: a record is made at the bench.
func (s *server) commissioningPage(w http.ResponseWriter, r *http.Request) {
	l := view.Texts()
	p := commissioningPage{head: s.unitless(r, l.Commissioning, "/commissioning")}
	switch {
	case s.Simulated:
		p.Nothing, p.Steps = l.CommissioningSimulated, commission.Steps(s.Bench)
	case s.Bench == nil:
		p.Nothing, p.Steps = l.CommissioningNoBench, commission.Steps(nil)
	case s.History == nil:
		p.Nothing = l.WithoutStore
	default:
		record, err := commission.Load(s.History)
		if err != nil {
			refuse(w, notReadable, err.Error())
			return
		}
		worn, err := s.relayWear()
		if err != nil {
			refuse(w, notReadable, err.Error())
			return
		}
		status := commission.StatusOf(record, s.Bench)
		status.Relays = worn.Relays
		p.fill(status)
		p.Sections = append(p.Sections, s.calibrated())
	}
	show(w, http.StatusOK, "commissioning.html", p)
}

// calibrated is which probes are corrected, and which should be.
func (s *server) calibrated() commission.Section {
	stand, err := calibrate.Load(s.History, s.Bench)
	told := commission.Section{Title: "probes, calibrated", Lines: calibrate.InForce(stand)}
	if remind := calibrate.Remind(stand, time.Now()); remind != "" {
		told.Lines = append(told.Lines, remind)
	}
	if err != nil {
		told.Lines = []string{err.Error()}
	}
	return told
}

func (p *commissioningPage) fill(status commission.Status) {
	if status.Record != nil {
		p.Bench = fmt.Sprintf(p.Labels.BenchName, status.Bench, status.Record.Saved.Format(time.DateOnly))
	}
	p.Told, p.Until, p.Missing, p.Warnings, p.Sections = true, status.Until(), status.Missing, status.Warnings, status.Sections()
}
