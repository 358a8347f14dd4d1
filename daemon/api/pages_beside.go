package api

import (
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"slices"

	"meltwarden/daemon/evidence"
	"meltwarden/daemon/history"
	"meltwarden/daemon/review"
	"meltwarden/daemon/view"
)

// What two runs can be aligned by.
const (
	byReady = "ready"
	byShot  = "shot"
)

// besidePage is what the template of two runs over each other is filled with.
type besidePage struct {
	head
	Heading, Subheading, RunAddress string
	Runs                            []runChoice
	Other                           int64 // zero where none is chosen
	ByShot                          bool
	OwnShot, TheirShot              int
	// Problem says why they can not be laid over each other; "" where they can.
	Problem string
	Over    *overPart // nil without another run
	Words   []evidence.Words
}

// runChoice is a run to choose.
type runChoice struct {
	Number int64
	Words  string
}

// mostRuns is how many runs of a recipe are offered.
const mostRuns = 50

// besidePage lays another run over one.
func (s *server) besidePage(w http.ResponseWriter, r *http.Request) {
	id := s.runOf(w, r)
	if id == 0 {
		return
	}
	about, err := review.Of(s.History, id)
	if err != nil {
		pastProblem(w, err)
		return
	}
	h := s.head(r, about.Heading()+": "+view.Texts().OverRuns, "/runs")
	h.Simulated = about.Run.Invented
	p := besidePage{head: h, Heading: about.Heading(), Subheading: about.Subheading(), RunAddress: fmt.Sprintf("/runs/%d%s", id, h.Carry)}
	if p.Runs, err = s.runsLike(about.Run); err != nil {
		pastProblem(w, err)
		return
	}
	p.OwnShot, p.TheirShot = 1, 1
	if q := r.URL.Query(); q.Has("other") {
		if err := s.lay(&p, about, q, unitOf(r)); err != nil {
			pastProblem(w, err)
			return
		}
		if p.Over != nil {
			themed(r, p.Over.Sizes)
		}
	}
	if p.Over == nil {
		p.OtherUnit = "" // without the picture no temperature is shown
	}
	show(w, http.StatusOK, "beside.html", p)
}

// lay puts another run over the one of the page. What the maker can mend is told on the
// page.
func (s *server) lay(p *besidePage, about review.Review, q url.Values, u review.Unit) error {
	p.ByShot = q.Get("align") == byShot
	if !p.ByShot {
		q.Del("shot")
		q.Del("their")
	}
	own, other, err := momentsOf(about.Run.ID, q)
	if err != nil {
		return err
	}
	p.Other = other.Run
	if p.ByShot {
		own.Shot, other.Shot = max(1, own.Shot), max(1, other.Shot)
		p.OwnShot, p.TheirShot = own.Shot, other.Shot
	}
	that, err := review.Of(s.History, other.Run)
	if err != nil {
		return err
	}
	if !slices.ContainsFunc(p.Runs, func(c runChoice) bool { return c.Number == other.Run }) {
		p.Runs = append(p.Runs, choiceOf(that.Run))
	}
	p.Words = evidence.BetweenRuns(about, that, u)
	for _, m := range []struct {
		moment review.Moment
		of     review.Review
	}{{own, about}, {other, that}} {
		switch _, err := m.moment.At(m.of); {
		case errors.Is(err, review.ErrNoMoment), errors.Is(err, history.ErrNoShot):
			p.Problem = err.Error()
			return nil
		case err != nil:
			return err
		}
	}
	p.Over = overPartOf(own, other, u, stretch{})
	return nil
}

// runsLike are the other runs with the same recipe, the newest first.
func (s *server) runsLike(run history.Run) ([]runChoice, error) {
	all, err := s.History.Runs(history.Filter{})
	if err != nil {
		return nil, err
	}
	var like []runChoice
	for _, other := range all {
		if other.ID != run.ID && other.Recipe == run.Recipe && len(like) < mostRuns {
			like = append(like, choiceOf(other))
		}
	}
	return like, nil
}

func choiceOf(run history.Run) runChoice {
	return runChoice{run.ID, review.Review{Run: run}.Heading() + " · " + run.Began.Format("2006-01-02")}
}
