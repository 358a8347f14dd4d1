package api

import (
	"fmt"
	"net/http"

	"meltwarden/daemon/batch"
	"meltwarden/daemon/history"
	"meltwarden/daemon/review"
)

// runPage is what the template of one run is filled with.
type runPage struct {
	head
	Run                                history.Run
	Heading, Subheading, RecipeAddress string
	BesideAddress, ReportAddress       string
	Plot                               *plotPart // nil when nothing was recorded
	Deviations                         []string
	Checks                             string
	Ticks                              []string
	Shots                              []shotCard
	Potfuls                            potfuls
	// Lines are the events without the stirs, WithStirs all of them.
	Lines, WithStirs []review.Line
	Stirs            int
	// FromHere is true on the bench's own computer, for a run that is over.
	FromHere bool
}

// runPage shows one run: its picture, what deviated, its shots and events.
func (s *server) runPage(w http.ResponseWriter, r *http.Request) {
	id := s.runOf(w, r)
	if id == 0 {
		return
	}
	about, err := review.Of(s.History, id)
	if err != nil {
		pastProblem(w, err)
		return
	}
	part, err := s.plotPart(r, about)
	if err != nil {
		pastProblem(w, err)
		return
	}
	page := s.pageOf(r, about, part)
	book, err := batch.Near(s.History, about.Run.ID)
	if err == nil {
		page.Potfuls, err = s.potfulsOf(book, about.Run.ID, page.head)
	}
	if err != nil {
		pastProblem(w, err)
		return
	}
	show(w, http.StatusOK, "run.html", page)
}

func (s *server) pageOf(r *http.Request, about review.Review, part *plotPart) runPage {
	h := s.head(r, about.Heading(), "/runs")
	h.Simulated = about.Run.Invented
	p := runPage{
		head: h, Run: about.Run, Heading: about.Heading(), Subheading: about.Subheading(),
		RecipeAddress: "/recipes/" + about.Run.Fingerprint + h.Carry, Plot: part,
		Deviations: about.DeviationLines(unitOf(r)), Lines: about.Lines(false), WithStirs: about.Lines(true),
		Shots: cardsOf(about.Run.ID, about.Recipe, about.Settings, about.Shots, unitOf(r)),
	}
	p.Checks, p.Ticks = about.ChecksLine(), about.TickLines()
	p.FromHere = fromHere(r) && about.Run.State != history.Recording
	p.Stirs = len(p.WithStirs) - len(p.Lines)
	path := fmt.Sprintf("/runs/%d", about.Run.ID)
	p.BesideAddress, p.ReportAddress = path+"/beside"+h.Carry, path+"/report"+h.Carry
	base := addressOfRun(about.Run.ID, unitOf(r))
	for i := range p.Shots {
		c := &p.Shots[i]
		c.OnItsPage, c.FromHere, c.Around = true, fromHere(r), base.of(stretch{c.From, c.To})
		c.Why = fmt.Sprintf("%s/shots/%d%s", path, c.Number, h.Carry)
	}
	return p
}

// runAddress is the address of a run's page.
type runAddress struct {
	path string
	unit review.Unit
}

func addressOfRun(id int64, u review.Unit) runAddress {
	return runAddress{fmt.Sprintf("/runs/%d", id), u}
}

// of is the address with a stretch of time, at the picture.
func (a runAddress) of(s stretch) string {
	q := s.query()
	if a.unit == review.Fahrenheit {
		q.Set(unitKey, inFahrenheit)
	}
	return address(a.path, q) + "#plot"
}

// whole is the address without a stretch.
func (a runAddress) whole() string { return a.of(stretch{}) }
